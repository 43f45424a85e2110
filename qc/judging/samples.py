"""Which units a mass test rests on, and what a test would say without those that carry a reason to be left out."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch, Part, Unit
from qc.results import TestResult, WithoutLeftOut
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.measured import Measured, Stages, split_by_stage


class MassSample(Struct, frozen=True, kw_only=True):
    """The weighed units a mass test rests on, and those it left out [g]."""

    sample: tuple[Measured, ...]
    others: tuple[Measured, ...]


def mass_sample(batch: Batch, *, asked: int = 0) -> MassSample:
    """The test sample by mass: of the weighed units those of the test sample.

    Every unit weighed counts where none of them is picked, and where the mark is that of a test of content: fewer units
    than the mass test asks for, all of them assayed or judged by the route of mass.

    Parameters
    ----------
    batch : Batch
    asked : int
        Units that the mass test asks for.
    """
    names = _picked(batch.units) & {unit.name for unit in batch.weighed}
    if not names or (len(names) < asked and _of_content(batch, names)):
        names = {unit.name for unit in batch.weighed}
    return MassSample(
        sample=masses_of([unit for unit in batch.weighed if unit.name in names]),
        others=masses_of([unit for unit in batch.weighed if unit.name not in names]),
    )


def _of_content(batch: Batch, names: Collection[str]) -> bool:
    """Whether some units may be the sample of a test of content: each was assayed, or a batch assay stands for all."""
    assayed = {assay.unit for assay in batch.assays if assay.part is Part.WHOLE}
    return assayed.issuperset(names) or any(active.batch_assay_percent is not None for active in batch.actives)


def _picked(units: Sequence[Unit]) -> set[str]:
    """The units marked "yes" as test sample; where none is, every unit that is not marked "no"."""
    marked = any(unit.test_sample for unit in units)
    return {unit.name for unit in units if (unit.test_sample if marked else unit.test_sample is not False)}


def shared_out(
    batch: Batch,
    measured: Sequence[Measured],
    *,
    marked: Sequence[int | None],
    rule: ContentRule | DosageUnitRule,
    less: Collection[str] = (),
) -> Stages:
    """Units shared out over the stages of a test, by their marks; then less those that do not count.

    Parameters
    ----------
    batch : Batch
        For the marks of the test sample.
    measured : sequence of Measured
    marked : sequence of int or None
        The stage written beside each unit.
    rule : ContentRule or DosageUnitRule
    less : collection of str
        Units that do not count; nobody takes their places.
    """
    sizes = {"first_size": rule.first_size, "second_size": rule.second_size}
    return split_by_stage(measured, marked=marked, picked=_picked(batch.units), **sizes).without(less)


def masses_of(units: Sequence[Unit]) -> tuple[Measured, ...]:
    """The masses of those units that were weighed [g]."""
    return tuple(Measured(unit=unit.name, value=Fraction(unit.mass_g)) for unit in units if unit.mass_g is not None)


def with_all_units(judge: Callable[[Collection[str]], TestResult], *, left_out: Sequence[str]) -> TestResult:
    """The result of a test over every unit, with what it would be without some of them beside it.

    Parameters
    ----------
    judge : callable
        Judges without the units named.
    left_out : sequence of str
        Units that carry a reason to be left out.
    """
    record = judge(())
    if not left_out:
        return record
    other = judge(left_out)
    without = WithoutLeftOut(units=tuple(left_out), verdict=other.verdict, figures=other.figures)
    return replace(record, without_left_out=without)
