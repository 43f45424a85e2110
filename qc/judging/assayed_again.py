"""Units assayed more often than the others, or with determinations far apart: no mean of them turns a verdict.

The mean of all determinations of a unit counts where every unit has as many and they agree within what repeated
assays differ by (critical range, ISO 5725-6:1994, 5.2.2; from memory). Else a test whose verdict would be another with
one of them alone is left open: whether a first result is invalid is found by investigation, not by averaging (FDA,
Guidance for Industry: Investigating Out-of-Specification Test Results, 2022, on averaging; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from statistics import fmean, multimode

from msgspec.structs import replace

from qc.batch import Active, Assay, Batch
from qc.contents import actives_of, determinations, typed
from qc.pour.assay_list import ASSAY_PERCENT
from qc.results import TestResult, Verdict, message

# With which probability determinations of one unit lie within the critical range [-].
SURE = 0.99

_Unit = tuple[str, str]
"""An active and a unit."""


def judged_by_each_assay(
    judge: Callable[[Batch], TestResult], batch: Batch, *, again: Mapping[_Unit, tuple[Assay, ...]]
) -> TestResult:
    """The result of a test by the mean of all determinations; left open where a repeat may have turned it.

    Parameters
    ----------
    judge : callable
        Judges a batch.
    batch : Batch
    again : mapping
        The determinations in question, as `assayed_again` finds them: the same for every test of a batch.
    """
    record = judge(batch)
    for chosen in _alone(again):
        other = judge(replace(batch, assays=tuple(_without_others(batch, chosen))))
        if other.verdict is not record.verdict:
            units = sorted({unit for _, unit in chosen})
            alone = next(iter(chosen.values())) if len(chosen) == 1 else None
            count = len(again[next(iter(chosen))])
            said = message(
                "tests.assays_differ",
                units=units,
                count=count,
                alone=None if alone is None else typed(alone),
                in_mg=alone is not None and alone.content_mg is not None,
                first=record.verdict,
                second=other.verdict,
            )
            return replace(
                record,
                verdict=Verdict.NOT_ASSESSED,
                required=True,
                more_units=0,
                reasons=(said, *record.reasons),
                missing=message("tests.which_assay", units=units),
            )
    return record


def assayed_again(batch: Batch) -> dict[_Unit, tuple[Assay, ...]]:
    """The determinations of units that have more of an active than most other units have, or that do not agree."""
    found: dict[_Unit, tuple[Assay, ...]] = {}
    for active in actives_of(batch):
        rows: dict[str, list[Assay]] = {}
        for assay in determinations(batch, active=active):
            rows.setdefault(assay.unit, []).append(assay)
        usual = min(multimode(map(len, rows.values())), default=0)
        found |= {
            (active.name, unit): tuple(own) for unit, own in rows.items() if len(own) > usual or _far_apart(own, active)
        }
    return found


def _far_apart(own: Sequence[Assay], active: Active) -> bool:
    """Whether determinations of one unit, all in mg or all in % of label, differ by more than the critical range."""
    values = [float(value) for assay in own if (value := typed(assay)) is not None]
    if len(values) < 2 or len({assay.content_mg is None for assay in own}) > 1:
        return False
    from scipy.stats import studentized_range

    percent = float(active.assay_repeatability_percent or ASSAY_PERCENT)
    most = studentized_range.ppf(SURE, len(values), math.inf) * percent / 100 * fmean(values)
    return bool(max(values) - min(values) > most)


def _alone(again: Mapping[_Unit, tuple[Assay, ...]]) -> Iterator[dict[_Unit, Assay]]:
    """Each unit with its lowest and with its highest determination alone, then all of them together."""
    ends = [
        {unit: end(rows, key=lambda one: (one.content_mg is None, typed(one) or 0)) for unit, rows in again.items()}
        for end in (min, max)
    ]
    yield from ({unit: assay} for chosen in ends for unit, assay in chosen.items())
    if len(again) > 1:
        yield from ends


def _without_others(batch: Batch, chosen: Mapping[_Unit, Assay]) -> Iterator[Assay]:
    """The determinations of a batch, of some units no more than the one that was chosen."""
    for active in actives_of(batch):
        whole = determinations(batch, active=active)
        yield from (one for one in whole if chosen.get((one.active, one.unit), one) is one)
        yield from determinations(batch, active=active, whole=False)
