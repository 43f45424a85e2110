"""Units assayed more often than the others, or with determinations far apart: no mean of them turns a verdict.

The mean of all determinations of a unit counts where every unit has as many and they agree within what repeated
assays differ by (critical range, ISO 5725-6:1994, 5.2.2; from memory). Else a test whose verdict would be another with
one of them alone is left open: whether a first result is invalid is found by investigation, not by averaging (FDA,
Guidance for Industry: Investigating Out-of-Specification Test Results, 2022, on averaging; from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from fractions import Fraction
from operator import itemgetter
from statistics import fmean, multimode

from msgspec.structs import replace

from qc.batch import Active, Assay, Batch
from qc.contents import actives_of, determinations, scale_of, typed
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
    """The determinations of units that have more of an active than most other units have, or that do not agree.

    Those of a unit come from the lowest to the highest content.
    """
    found: dict[_Unit, tuple[Assay, ...]] = {}
    for active in actives_of(batch):
        scale, rows = scale_of(batch, active=active), dict[str, list[tuple[Fraction, Assay]]]()
        for assay in determinations(batch, active=active):
            content = Fraction(typed(assay) or 0) * (1 if scale is None else scale.factor(assay))
            rows.setdefault(assay.unit, []).append((content, assay))
        usual = min(multimode(map(len, rows.values())), default=0)
        for unit, own in rows.items():
            own.sort(key=itemgetter(0))
            contents = [float(content) for content, assay in own if typed(assay) is not None]
            if len(own) > usual or (scale is not None and _far_apart(contents, active)):
                found[active.name, unit] = tuple(assay for _, assay in own)
    return found


def _far_apart(contents: Sequence[float], active: Active) -> bool:
    """Whether the determinations of one unit, lowest first, differ by more than the critical range."""
    if len(contents) < 2:
        return False
    from scipy.stats import studentized_range

    percent = float(active.assay_repeatability_percent or ASSAY_PERCENT)
    most = studentized_range.ppf(SURE, len(contents), math.inf) * percent / 100 * fmean(contents)
    return bool(contents[-1] - contents[0] > most)


def _alone(again: Mapping[_Unit, tuple[Assay, ...]]) -> Iterator[dict[_Unit, Assay]]:
    """Each unit with its lowest and with its highest determination alone, then all of them together."""
    ends = [{unit: rows[end] for unit, rows in again.items()} for end in (0, -1)]
    yield from ({unit: assay} for chosen in ends for unit, assay in chosen.items())
    if len(again) > 1:
        yield from ends


def _without_others(batch: Batch, chosen: Mapping[_Unit, Assay]) -> Iterator[Assay]:
    """The determinations of a batch, of some units no more than the one that was chosen."""
    for active in actives_of(batch):
        whole = determinations(batch, active=active)
        yield from (one for one in whole if chosen.get((one.active, one.unit), one) is one)
        yield from determinations(batch, active=active, whole=False)
