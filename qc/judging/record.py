"""What does not fit among the facts of the record: days in an order that cannot be, one person in two roles."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date

from qc.batch import Batch
from qc.fields.days import days_meant
from qc.fields.field import same_name
from qc.fields.sheets import BATCH
from qc.results import Message, Remark, message

_IN_ORDER = (("made_on", "weighed_on"), ("made_on", "assayed_on"), ("balance_calibrated_on", "weighed_on"))
"""Pairs of days of which the second is not before the first."""


def record_findings(batch: Batch) -> Iterator[Remark]:
    """What does not fit, for whoever releases the batch; of a day that can be read in several ways one that fits.

    Parameters
    ----------
    batch : Batch
    """
    made, expiry = _days(batch, "made_on"), _days(batch, "expiry")
    if made and expiry and expiry[1] <= made[0]:
        yield _at("expiry", message("record.expiry", expiry=batch.expiry, made=batch.made_on))
    for earlier, later in _IN_ORDER:
        first, second = _days(batch, earlier), _days(batch, later)
        if first and second and second[1] < first[0]:
            fields = [BATCH.field(name).heading for name in (later, earlier)]
            days = [getattr(batch, name) for name in (later, earlier)]
            yield _at(later, message("record.out_of_order", fields=fields, days=days))
    weighed, due = _days(batch, "weighed_on"), _days(batch, "balance_calibration_due")
    if weighed and due and weighed[0] > due[1]:
        text = message("record.calibration_over", weighed=batch.weighed_on, due=batch.balance_calibration_due)
        yield _at("balance_calibration_due", text)
    if batch.checked_by and batch.weighed_by and same_name(batch.checked_by) == same_name(batch.weighed_by):
        yield _at("checked_by", message("record.one_person", name=batch.checked_by))


def _days(batch: Batch, name: str) -> tuple[date, date] | None:
    return days_meant(getattr(batch, name))


def _at(attribute: str, text: Message) -> Remark:
    return Remark(where=f"Batch, {BATCH.field(attribute).heading}", text=text)
