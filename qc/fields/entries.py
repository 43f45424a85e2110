"""What is typed into each sheet for a batch: every entry under its heading, row by row."""

from __future__ import annotations

import functools
from datetime import date
from decimal import Decimal
from typing import Any

from msgspec import Struct, structs

from qc.batch import Batch
from qc.fields.field import Sheet
from qc.fields.sheets import ACTIVES, ASSAY, BATCH, CAVITIES, CHECKS, UNITS

Cell = Decimal | int | str | date | None
Row = dict[str, Cell]


class Entries(Struct, frozen=True, kw_only=True):
    """What is typed into each sheet: `batch` maps field to value, the others map header to cell, row by row."""

    batch: Row
    actives: tuple[Row, ...]
    units: tuple[Row, ...]
    assay: tuple[Row, ...]
    cavities: tuple[Row, ...]
    checks: tuple[Row, ...]


def entries_of(batch: Batch) -> Entries:
    """Every entry of a batch; masses in grams, a content as it was given."""
    return Entries(
        batch=_row(BATCH, batch),
        actives=tuple(_row(ACTIVES, active) for active in batch.actives),
        units=tuple(_row(UNITS, unit) for unit in batch.units),
        assay=tuple(_row(ASSAY, assay) for assay in batch.assays),
        cavities=tuple(_row(CAVITIES, pour) for pour in batch.cavity_pours),
        checks=tuple(_row(CHECKS, check) for check in batch.checks),
    )


def _row(sheet: Sheet, record: Struct) -> Row:
    unsaid = _defaults(type(record))
    return {
        field.heading: _typed(getattr(record, field.attribute), unsaid.get(field.attribute)) for field in sheet.entered
    }


@functools.cache
def _defaults(record: type[Struct]) -> dict[str, Any]:
    return {field.name: field.default for field in structs.fields(record)}


def _typed(value: Any, unsaid: object) -> Cell:
    """A value as a person types it; nothing where an empty cell says the same."""
    if value == unsaid:
        return None
    if isinstance(value, bool):
        return "yes" if value else "no"
    cell: Cell = "; ".join(value) if isinstance(value, tuple) else value
    return cell
