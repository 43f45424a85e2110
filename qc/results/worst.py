"""The worst unit of those that a test judged, of the masses and of each active, with those outside beside it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from msgspec import Struct
from msgspec.structs import replace

from qc.results.judged import CONTENT_TESTS, OF_MASS, JudgedBatch, TestResult, Verdict
from qc.results.units import Place

_GRAVER = (None, *Place)
_PASSED = ({Verdict.COMPLIES}, {Verdict.COMPLIES, Verdict.NOT_ASSESSED})


class UnitOff(Struct, frozen=True, kw_only=True):
    """How far a unit lies off.

    Parameters
    ----------
    unit : str
    deviation_percent : float
        Signed deviation from the centre [% of that centre].
    centre : str
        What it deviates from: "mean", "label" (the labelled mass) or "M".
    in_sample : bool
        Whether the test rests on it.
    place : Place or None
        With regard to the limits; None where none was judged.
    percent_of_label : float or None
        Its content [% of label claim].
    """

    unit: str
    deviation_percent: float
    centre: str
    in_sample: bool
    place: Place | None = None
    percent_of_label: float | None = None

    @property
    def counts(self) -> bool:
        """Whether a test judges it: it is of the sample, or lies beyond the limit that holds for every unit."""
        return self.in_sample or self.place is Place.BEYOND_OUTER

    @property
    def is_outside(self) -> bool:
        """Whether it lies beyond a limit."""
        return self.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER)


class WorstUnit(Struct, frozen=True, kw_only=True):
    """The worst judged unit of one quantity.

    Parameters
    ----------
    active : str or None
        Whose contents; None of the masses.
    judged : bool
        False where no test judged any; `worst` is then the unit that lies farthest off.
    passed : bool
        False where a test of this quantity is not met or not decided.
    limits : tuple of float or None
        Inner and outer limit, either side of the centre [% of that centre].
    worst : UnitOff
    outside : tuple of UnitOff
        Further units that were judged and lie beyond a limit, the farthest first.
    not_judged : tuple of UnitOff
        Units beside the sample that lie farther off than the worst, or beyond a limit that counts for the sample only.
    """

    active: str | None
    judged: bool
    passed: bool
    limits: tuple[float | None, float | None]
    worst: UnitOff
    outside: tuple[UnitOff, ...] = ()
    not_judged: tuple[UnitOff, ...] = ()


def worst_units(judged: JudgedBatch) -> tuple[WorstUnit, ...]:
    """The worst judged unit of each quantity, that of a test that is not met first, then the nearest to its limit.

    Where no unit was judged, those that lie farthest off.
    """
    actives = dict.fromkeys(active for row in judged.unit_rows for active in row.contents)
    found = [one for active in (None, *actives) if (one := _worst(judged, active)) is not None]
    of_tests = [one for one in found if one.judged] or found
    return tuple(sorted(of_tests, key=lambda one: (one.passed, -_share_of_limit(one))))


def _share_of_limit(one: WorstUnit) -> float:
    outer = one.limits[1]
    return abs(one.worst.deviation_percent) / outer if outer else 0.0


def _worst(judged: JudgedBatch, active: str | None) -> WorstUnit | None:
    ids = (OF_MASS,) if active is None else CONTENT_TESTS
    tests = [test for test in judged.tests if test.active == active and test.id in ids and test.sample]
    measured = _masses(judged, tests) if active is None else _contents(judged, active, tests)
    units = {one.unit: one for one in measured}
    for test in tests:
        for found in _outside(test):
            known = units.get(found.unit)
            if known is None or _GRAVER.index(found.place) > _GRAVER.index(known.place):
                units[found.unit] = replace(found, percent_of_label=None if known is None else known.percent_of_label)
    farthest = sorted(units.values(), key=lambda one: (-_GRAVER.index(one.place), -abs(one.deviation_percent)))
    counting = [one for one in farthest if one.counts]
    # Where all units are alike, none is the worst.
    if not counting or not counting[0].deviation_percent:
        return None
    worst = counting[0]
    return WorstUnit(
        active=active,
        judged=bool(tests),
        passed={test.verdict for test in tests} in _PASSED,
        limits=judged.mass_limits if active is None else judged.content_limits,
        worst=worst,
        outside=tuple(one for one in counting[1:] if one.is_outside),
        not_judged=tuple(
            one
            for one in farthest
            if not one.counts and (one.is_outside or abs(one.deviation_percent) > abs(worst.deviation_percent))
        ),
    )


def _masses(judged: JudgedBatch, tests: Sequence[TestResult]) -> list[UnitOff]:
    sample, centre = _sample(tests), _centre(tests[0]) if tests else "mean"
    return [
        UnitOff(
            unit=row.unit,
            deviation_percent=row.deviation_percent,
            centre=centre,
            place=row.place,
            in_sample=not sample or row.unit in sample,
        )
        for row in judged.unit_rows
        if row.deviation_percent is not None
    ]


def _contents(judged: JudgedBatch, active: str, tests: Sequence[TestResult]) -> list[UnitOff]:
    """From the mean of the sample, whatever a test compares with."""
    sample = _sample(tests)
    found = ((row.unit, row.contents[active]) for row in judged.unit_rows if active in row.contents)
    return [
        UnitOff(
            unit=unit,
            deviation_percent=content.percent_of_mean - 100.0,
            centre="mean",
            place=content.place,
            in_sample=not sample or unit in sample,
            percent_of_label=content.percent_of_label,
        )
        for unit, content in found
        if content.percent_of_mean is not None
    ]


def _outside(test: TestResult) -> Iterator[UnitOff]:
    """The units outside a test, as that test sees them."""
    for one in test.outside:
        yield UnitOff(
            unit=one.unit,
            deviation_percent=one.deviation_percent,
            centre=_centre(test),
            place=Place.BEYOND_OUTER if one.beyond_outer else Place.BEYOND_INNER,
            in_sample=one.in_sample,
        )


def _sample(tests: Sequence[TestResult]) -> frozenset[str]:
    return frozenset(tests[0].sample) if tests else frozenset()


def _centre(test: TestResult) -> str:
    """What a test compares its units with."""
    centres: Iterator[str] = (limit.values["centre"] for limit in test.criteria if "centre" in limit.values)
    return next(centres, "mean")
