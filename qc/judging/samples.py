"""Which units a mass test rests on, and what a test would say without those that carry a reason to be left out."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch, Unit
from qc.results import TestResult, WithoutLeftOut
from qc.rules.measured import Measured


class MassSample(Struct, frozen=True, kw_only=True):
    """The weighed units a mass test rests on, and those it left out [g]."""

    sample: tuple[Measured, ...]
    others: tuple[Measured, ...]


def mass_sample(batch: Batch) -> MassSample:
    """The test sample by mass: the units marked "yes", or every weighed unit that is not marked "no"."""
    marked = any(unit.test_sample for unit in batch.units)
    chosen = [unit for unit in batch.weighed if (unit.test_sample if marked else unit.test_sample is not False)]
    names = {unit.name for unit in chosen}
    return MassSample(
        sample=_masses(chosen),
        others=_masses([unit for unit in batch.weighed if unit.name not in names]),
    )


def _masses(units: Sequence[Unit]) -> tuple[Measured, ...]:
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
