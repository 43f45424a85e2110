"""Remarks on mistakes that are common in practice, and on units left out."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from qc.batch import Active, Batch, DisplacementConvention
from qc.judging.weighed_again import second_counts
from qc.pour.planned_mass import overfull, unlike_plan
from qc.results import PlannedMass, Remark, TestResult, Verdict, message
from qc.rules.forms import find_form, form_within, stem

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
    found = [
        *_other_form(batch),
        *(remark for active in actives for remark in _convention(active)),
        *_left_out(batch),
        *_without(tests),
    ]
    found += _weighed_again(batch)
    marked, of_units = {unit.name for unit in batch.units if unit.test_sample}, [test for test in tests if test.sample]
    if marked and len(of_units) > 1 and not any(_rests_on(marked, test) for test in of_units):
        text = message("remarks.marks_passed_over", marked=len(marked))
        found.append(Remark(where="Units, Test sample", text=text))
    if overfull(batch):
        found.append(Remark(where="planned mass", text=message("remarks.overfull", holds_g=batch.nominal_mass_g)))
    if (worked_out_g := unlike_plan(batch)) is not None:
        text = message("remarks.unlike_plan", entered_g=batch.planned_mass_g, worked_out_g=worked_out_g)
        found.append(Remark(where="Batch, Planned mass (g)", text=text))
    found += _balance(batch, tests=tests)
    if plan is not None and plan.limit_percent is None and plan.difference_percent is not None:
        text = message("remarks.no_limit_for_mean", percent=plan.difference_percent)
        found.append(Remark(where="planned mass", text=text))
    return tuple(found)


def _rests_on(marked: set[str], test: TestResult) -> bool:
    """Whether a test rests on just the marked units, or on those that are measured of them while it waits for more."""
    waits = test.verdict is Verdict.TOO_FEW_UNITS and set(test.sample) < marked
    return waits or marked == set(test.sample)


def _other_form(batch: Batch) -> Iterator[Remark]:
    """A product that is called by another dosage form than the one it is judged as, by which its limits are chosen."""
    named, form = form_within(batch.product or ""), find_form(batch.dosage_form or "")
    if named is not None and form is not None and named is not form:
        words = [set(stem(one.name).split()) for one in (named, form)]
        # "Tablets" may be film-coated ones.
        if not (words[0] <= words[1] or words[1] <= words[0]):
            text = message("remarks.other_form", product=batch.product, named=named.name, form=batch.dosage_form)
            yield Remark(where="Batch, Product", text=text)


def _convention(active: Active) -> Iterator[Remark]:
    number = active.displacement
    if number is not None:
        is_value = number.convention is DisplacementConvention.VALUE
        said = {"number": number.given, "convention": number.convention.value, "is_value": is_value}
        if number.given < 1 if is_value else number.given > 1:
            yield Remark(where=f"Actives, {active.name}", text=message("remarks.convention", **said))


def _left_out(batch: Batch) -> Iterator[Remark]:
    left_out = [unit.name for unit in batch.units if unit.left_out_because]
    if left_out:
        yield Remark(where="Units", text=message("remarks.left_out", units=left_out, of_units=len(batch.units)))


def _weighed_again(batch: Batch) -> Iterator[Remark]:
    """Which mass counts, once for the units of which it does for the same reason."""
    twice = [unit for unit in batch.units if unit.weighed_again_g is not None]
    for counts, reasoned in ((True, True), (False, True), (False, False)):
        alike = [
            one for one in twice if (second_counts(batch, one), bool(one.weighed_again_because)) == (counts, reasoned)
        ]
        masses = [(one.name, one.mass_g, one.weighed_again_g, one.weighed_again_because) for one in alike]
        if masses:
            text = message("remarks.weighed_again", masses=masses, counts=counts, reasoned=reasoned)
            yield Remark(where="Units, Weighed again (g)", text=text)


def _without(tests: Sequence[TestResult]) -> Iterator[Remark]:
    for test in tests:
        other = test.without_left_out
        if other is not None:
            text = message("remarks.without", verdict=test.verdict, units=other.units, other=other.verdict)
            yield Remark(where=f"{test.id}, {test.active}" if test.active else test.id, text=text)


def _balance(batch: Batch, *, tests: Sequence[TestResult]) -> Iterator[Remark]:
    step_g = batch.balance_readability_g or 0
    judged = [test.figures for test in tests if test.id == "mass-uniformity" and test.figures]
    allowed = [math.prod(one[of] or 0 for of in ("mean_g", "limit_percent")) / 100 for one in judged]
    if (least_g := min(allowed, default=math.inf)) <= STEPS_IN_ALLOWED * float(step_g):
        text = message("remarks.coarse_balance", step_g=step_g, allowed_g=least_g)
        yield Remark(where="Batch, Balance readability (g)", text=text)
