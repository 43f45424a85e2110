"""What a test procedure is given: measured units, split into the stages of a test."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from qc.results import Message, message

BESIDE_THE_TEST = 0
"""The stage of a unit that was assayed beside the test, such as one chosen because it would show settling."""


class Measured(Struct, frozen=True, kw_only=True):
    """One unit with its measured value, exact, in the unit of measure of the series."""

    unit: str
    value: Fraction


class Stages(Struct, frozen=True, kw_only=True):
    """Measured units as a two-stage test sees them.

    `others` were measured beyond what the test asks for; they never help a batch to pass, and a unit among them beyond
    the outer limit is not hidden. `together` says that `first` holds the units of both stages, of which nobody said
    which came first; `unclear` is why nothing can be said of either stage.
    """

    first: tuple[Measured, ...]
    second: tuple[Measured, ...] = ()
    others: tuple[Measured, ...] = ()
    remarks: tuple[Message, ...] = ()
    together: bool = False
    unclear: Message | None = None

    @property
    def pooled(self) -> tuple[Measured, ...]:
        """The units of both stages."""
        return (*self.first, *self.second)

    def without(self, units: Collection[str]) -> Stages:
        """The same stages less some units, whose places nobody takes."""
        parts = (self.first, self.second, self.others)
        first, second, others = (tuple(one for one in part if one.unit not in units) for part in parts)
        return replace(self, first=first, second=second, others=others)


def split_by_stage(
    measured: Sequence[Measured],
    *,
    marked: Sequence[int | None],
    picked: Collection[str] = (),
    first_size: int,
    second_size: int,
) -> Stages:
    """Share measured units out over the stages of a test; the order in which they stand has no say.

    Parameters
    ----------
    measured : sequence of Measured
    marked : sequence of int or None
        The stage written beside each unit, as long as `measured`; 0 for one that was assayed beside the test.
    picked : collection of str
        Units of the test sample, where units are marked as such.
    first_size, second_size : int
        Number of units the rule asks for at each stage [units].

    Returns
    -------
    Stages
        As marked. Without a mark, `first_size` units or fewer are the first stage, exactly as many as both stages ask
        for count together, and of any other number the test sample must be one of these two.
    """
    if all(mark is None for mark in marked):
        return _unmarked(measured, picked=picked, first_size=first_size, second_size=second_size)
    first, second, beside, without = (
        tuple(unit for unit, mark in zip(measured, marked, strict=True) if mark == stage)
        for stage in (1, 2, BESIDE_THE_TEST, None)
    )
    if second and not first and len(without) <= first_size:
        first, without = without, ()
    if not second_size:
        second, beside = (), (*second, *beside)
    for stage, units, size in ((1, first, first_size), (2, second, second_size)):
        if len(units) > size:
            too_many = message("tests.too_many_marked", marked=len(units), stage=stage, size=size)
            return Stages(first=(), others=tuple(measured), unclear=too_many)
    remarks = []
    if without and len(second) < second_size:
        remarks.append(message("tests.without_a_stage", number=len(without)))
    return Stages(first=first, second=second, others=(*beside, *without), remarks=tuple(remarks))


def _unmarked(measured: Sequence[Measured], *, picked: Collection[str], first_size: int, second_size: int) -> Stages:
    if len(measured) <= first_size:
        return Stages(first=tuple(measured))
    whole = first_size + second_size if second_size else None
    chosen = [unit for unit in measured if unit.unit in picked]
    for units in (measured, chosen):
        if len(units) == whole or (units is chosen and len(units) == first_size):
            names = {unit.unit for unit in units}
            others = tuple(unit for unit in measured if unit.unit not in names)
            return Stages(first=tuple(units), others=others, together=len(units) == whole)
    return Stages(
        first=(),
        others=tuple(measured),
        unclear=message(
            "tests.which_came_first", number=len(measured), picked=len(chosen), first=first_size, whole=whole
        ),
    )
