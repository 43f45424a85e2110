"""What a test procedure is given: measured units, split into the stages of a test."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from qc.results import Message, message


class Measured(Struct, frozen=True, kw_only=True):
    """One unit with its measured value, exact, in the unit of measure of the series."""

    unit: str
    value: Fraction


class Stages(Struct, frozen=True, kw_only=True):
    """Measured units as a two-stage test sees them.

    `others` were measured beyond what the test asks for; they never help a batch to pass, and a unit among them beyond
    the outer limit is not hidden.
    """

    first: tuple[Measured, ...]
    second: tuple[Measured, ...] = ()
    others: tuple[Measured, ...] = ()
    remarks: tuple[Message, ...] = ()

    @property
    def pooled(self) -> tuple[Measured, ...]:
        """The units of both stages."""
        return (*self.first, *self.second)


def split_by_stage(
    measured: Sequence[Measured], *, marked: Sequence[int | None], first_size: int, second_size: int
) -> Stages:
    """Share measured units out over the stages of a test.

    Parameters
    ----------
    measured : sequence of Measured
        Units in the order of their rows.
    marked : sequence of int or None
        The stage written beside each unit, as long as `measured`.
    first_size, second_size : int
        Number of units the rule asks for at each stage [units].

    Returns
    -------
    Stages
        With no stage written anywhere the first `first_size` rows are the first stage and the next `second_size` the
        second. With stage 2 written and stage 1 nowhere, the unmarked units among the first `first_size` rows are the
        first stage. Any other unit without a stage counts among the others.
    """
    if not any(marked):
        first_end, second_end = first_size, first_size + second_size
        return Stages(
            first=tuple(measured[:first_end]),
            second=tuple(measured[first_end:second_end]),
            others=tuple(measured[second_end:]),
        )
    if 1 not in marked:
        marked = [1 if mark is None and row < first_size else mark for row, mark in enumerate(marked)]
    by_stage = {
        stage: [unit for unit, mark in zip(measured, marked, strict=True) if mark == stage] for stage in (1, 2, None)
    }
    remarks = [
        message("tests.too_many_marked", marked=len(by_stage[stage]), stage=stage, size=size)
        for stage, size in ((1, first_size), (2, second_size))
        if len(by_stage[stage]) > size
    ]
    if by_stage[None] and len(by_stage[2]) < second_size:
        remarks.append(message("tests.without_a_stage", number=len(by_stage[None])))
    return Stages(
        first=tuple(by_stage[1][:first_size]),
        second=tuple(by_stage[2][:second_size]),
        others=tuple(by_stage[1][first_size:] + by_stage[2][second_size:] + by_stage[None]),
        remarks=tuple(remarks),
    )
