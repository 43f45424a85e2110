"""Remarks on mistakes that are common in practice, and on units left out."""

from __future__ import annotations

from collections.abc import Sequence

from qc.batch import Active, Batch, DisplacementConvention
from qc.pour.planned_mass import overfull
from qc.results import PlannedMass, Remark, TestResult, message

# A step of a tenth of the allowed deviation is too coarse: our own reading, no pharmacopoeia names a figure.
STEPS_IN_ALLOWED = 10


def remarks(
    batch: Batch, *, actives: Sequence[Active], tests: Sequence[TestResult], plan: PlannedMass | None
) -> tuple[Remark, ...]:
    """Remarks on mistakes that are common in practice, and on units left out.

    Parameters
    ----------
    batch : Batch
    actives : sequence of Active
    tests : sequence of TestResult
    plan : PlannedMass or None

    Returns
    -------
    tuple of Remark
    """
    found = [*(_convention(active) for active in actives), _left_out(batch), *(_without(test) for test in tests)]
    if overfull(batch):
        found.append(Remark(where="planned mass", text=message("remarks.overfull", holds_g=batch.nominal_mass_g)))
    found += [_balance(batch, tests=tests), _too_few_left(tests)]
    if plan is not None and plan.limit_percent is None and plan.difference_percent is not None:
        text = message("remarks.no_limit_for_mean", percent=plan.difference_percent)
        found.append(Remark(where="planned mass", text=text))
    return tuple(remark for remark in found if remark is not None)


def _convention(active: Active) -> Remark | None:
    number = active.displacement
    if number is None:
        return None
    is_value = number.convention is DisplacementConvention.VALUE
    if not (number.given < 1 if is_value else number.given > 1):
        return None
    text = message("remarks.convention", number=number.given, convention=number.convention.value, is_value=is_value)
    return Remark(where=f"Actives, {active.name}", text=text)


def _left_out(batch: Batch) -> Remark | None:
    left_out = [unit.name for unit in batch.units if unit.left_out_because]
    if not left_out:
        return None
    return Remark(where="Units", text=message("remarks.left_out", units=left_out, of_units=len(batch.units)))


def _without(test: TestResult) -> Remark | None:
    other = test.without_left_out
    if other is None:
        return None
    text = message("remarks.without", verdict=test.verdict, units=other.units, other=other.verdict)
    return Remark(where=f"{test.id}, {test.active}" if test.active else test.id, text=text)


def _balance(batch: Batch, *, tests: Sequence[TestResult]) -> Remark | None:
    for test in tests:
        mean_g, limit = test.figures.get("mean_g"), test.figures.get("limit_percent")
        if test.id != "mass-uniformity" or not mean_g or not limit or batch.balance_readability_g is None:
            continue
        allowed_g = mean_g * limit / 100
        if STEPS_IN_ALLOWED * float(batch.balance_readability_g) >= allowed_g:
            text = message("remarks.coarse_balance", step_g=batch.balance_readability_g, allowed_g=allowed_g)
            return Remark(where="Batch, Balance readability (g)", text=text)
    return None


def _too_few_left(tests: Sequence[TestResult]) -> Remark | None:
    short = [test for test in tests if test.more_units and len(test.next_units) < test.more_units]
    if not short:
        return None
    text = message("remarks.too_few_left", asked=short[0].more_units, left=len(short[0].next_units))
    return Remark(where=short[0].id, text=text)
