"""The list of units to assay as rows of a workbook, each marked with its stage, so that what was drawn stays drawn."""

from __future__ import annotations

from collections.abc import Iterator

from msgspec.structs import replace

from qc.batch import Assay, Batch, Part, Unit, counting_order
from qc.contents import actives_of
from qc.judging.advice import acts_of
from qc.pour.lots import drawn_order
from qc.results import BatchVerdict, JudgedBatch, TestResult, Verdict
from qc.rules.measured import BESIDE_THE_TEST

FIRST, SECOND = 1, 2


def marked_for_assay(judged: JudgedBatch) -> Batch | None:
    """The batch with a row for every unit that is to be assayed, each with its stage.

    Parameters
    ----------
    judged : JudgedBatch

    Returns
    -------
    Batch or None
        Units chosen because they would show settling are marked as beside the test. Where more units were weighed than
        the mass test asks for and none is marked, those on which the lot fell are its test sample. None when no unit is
        to be assayed, and where the batch does not comply: it is held.
    """
    if judged.verdict is BatchVerdict.DOES_NOT_COMPLY:
        return None
    batch, rows, marked = judged.batch, list[Assay](), list[Assay]()
    for name in [active.name for active in actives_of(batch)] or [""]:
        own = [assay for assay in batch.assays if assay.active == name and assay.part is Part.WHOLE]
        tests = [test for test in judged.tests if test.active == name and not test.subject]
        stages = _stages(own, tests)
        if stages is None:
            continue
        marked += [replace(assay, stage=stages[assay.unit]) for assay in own]
        to_come = {unit: stage for unit, stage in _to_come(judged, tests, own) if unit not in stages}
        rows += [Assay(unit=unit, active=name, stage=stage) for unit, stage in to_come.items()]
    if not rows:
        return None
    active = {assay.active for assay in marked}
    others = [assay for assay in batch.assays if assay.active not in active or assay.part is not Part.WHOLE]
    units = batch.units
    if not any(unit.pour_order is not None for unit in units):
        units = tuple(sorted(units, key=lambda unit: counting_order(unit.name)))
    return replace(batch, units=_with_sample(units, judged), assays=(*marked, *others, *rows))


def _stages(own: list[Assay], tests: list[TestResult]) -> dict[str, int] | None:
    """The stage of every unit that was assayed; None where nobody can say it."""
    first = {unit for test in tests if test.figures.get("stage") == FIRST for unit in test.sample}
    found = {assay.unit: assay.stage for assay in own if assay.stage is not None}
    for assay in own:
        if assay.unit in first:
            found.setdefault(assay.unit, FIRST)
    return found if all(assay.unit in found for assay in own) else None


def _to_come(judged: JudgedBatch, tests: list[TestResult], own: list[Assay]) -> Iterator[tuple[str, int]]:
    """Units to assay with their stages, those drawn before those chosen."""
    for act in acts_of(judged.next_steps):
        if act.id == "advice.assay_ends":
            yield from ((unit, BESIDE_THE_TEST) for unit in act.values["units"])
    listed = judged.pour.assay_list if judged.pour else None
    if listed is not None:
        yield from ((unit, BESIDE_THE_TEST) for unit, _ in listed.revealing)
        if not own:
            yield from ((unit, FIRST) for unit in listed.random_units)
    for test in tests:
        stage = SECOND if test.verdict is Verdict.SECOND_STAGE else FIRST
        yield from ((unit, stage) for unit in test.next_units)


def _with_sample(units: tuple[Unit, ...], judged: JudgedBatch) -> tuple[Unit, ...]:
    """The units with the test sample of the mass test marked, where that is to be drawn."""
    bounds = [limit.bound for test in judged.tests for limit in test.criteria if limit.what == "units_weighed"]
    asked = max((bound for bound in bounds if isinstance(bound, int)), default=0)
    gone = judged.batch.lost
    weighed = {unit.name for unit in units if unit.mass_g is not None and unit.name not in gone}
    if not asked or len(weighed) <= asked or any(unit.test_sample is not None for unit in units):
        return units
    lot = [name for name in drawn_order(judged.batch, seed=judged.seed) if name in weighed][:asked]
    return tuple(replace(unit, test_sample=True) if unit.name in lot else unit for unit in units)
