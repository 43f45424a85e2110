"""The worst judged unit in words: a sentence a quantity for page one, a few words for a line of the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from qc.results import JudgedBatch, Place
from qc.results.worst import UnitOff, WorstUnit, worst_units
from qc.say.limits import CENTRES
from qc.say.numbers import fixed, plain_limit, signed_beside
from qc.say.text import listed, shortened, shown_text

TITLE, IN_SHORT = "Worst unit", "Worst judged unit"
"""Of the sentences, and of a line of the terminal."""
UNITS_NAMED = 8
LONGEST_UNIT, LONGEST_ACTIVE = 24, 50


def of_each_quantity(judged: JudgedBatch) -> tuple[str, ...]:
    """The worst judged unit of the masses and of each active, with those outside beside it, a few sentences each."""
    return tuple(map(_told, worst_units(judged)))


def in_short(judged: JudgedBatch) -> tuple[str, ...]:
    """The same in a few words; of those beside it only the ones outside, or farther off, that no test judged."""
    every = worst_units(judged)
    first = next((one for one in every if not one.judged), None)
    return tuple(
        f"{'none was judged; farthest off ' if one is first else ''}{_unit(one.worst)}, {_name(one, most=24)} "
        f"{_away(one.worst, one)} %{_not_judged_in_short(one)}"
        for one in sorted(every, key=lambda one: not one.judged)
    )


def _not_judged_in_short(one: WorstUnit) -> str:
    farther = [unit for unit in one.not_judged if unit.is_outside or _is_farther(unit, one)]
    if not farther:
        return ""
    more = f", and {len(farther) - 1} more" if len(farther) > 1 else ""
    first, how = farther[0], "outside, " if farther[0].is_outside else ""
    return f" ({how}not in the sample: {_unit(first)}, {_away(first, one)} %{more})"


def _is_farther(unit: UnitOff, one: WorstUnit) -> bool:
    return abs(unit.deviation_percent) > abs(one.worst.deviation_percent)


def _told(one: WorstUnit) -> str:
    worst, (inner, outer) = one.worst, one.limits
    about = [f"{_away(worst, one)} % from {CENTRES[worst.centre]}"]
    about += [] if worst.percent_of_label is None else [f"{fixed(worst.percent_of_label, decimals=1)} % of label"]
    if inner is not None and outer is not None:
        allowed = ", as the test allows" if one.passed and worst.is_outside else ""
        about.append(_reach(worst, inner, outer) + allowed)
    what = _quantity(one, most=LONGEST_ACTIVE)
    lead = "" if one.judged else "no unit was judged; farthest off is "
    if farther := [unit for unit in one.not_judged if _is_farther(unit, one)]:
        lead = f"{_units(farther, one)}, not in the sample of this test; of those judged "
    said = f"{what[0].upper()}{what[1:]}: {lead}{_unit(worst)} ({', '.join(about)})"
    said += f"; also outside: {_units(one.outside, one)}." if one.outside else "."
    return said + _beside_the_sample(one, [unit for unit in one.not_judged if unit not in farther])


def _reach(unit: UnitOff, inner: float, outer: float) -> str:
    """How a unit lies with regard to the limits."""
    if unit.place is Place.BEYOND_OUTER:
        held = "" if unit.in_sample else ", which holds for units beside the sample too"
        return _outer(unit, outer) + held
    return f"{'beyond' if unit.is_outside else 'within'} ±{plain_limit(inner)} %"


def _outer(unit: UnitOff, outer: float) -> str:
    """That a unit is beyond the outer limit; where another test than that of the limits sees it, they are not its."""
    return f"beyond {'the outer limit' if unit.centre == 'M' else f'±{plain_limit(outer)} %'}"


def _beside_the_sample(one: WorstUnit, others: Sequence[UnitOff]) -> str:
    """Others that are outside and were not judged, and why the test is met with units outside."""
    said = f" Outside too, but not in the sample of this test: {_units(others, one)}." if others else ""
    inner, outer = one.limits
    if one.passed and inner is not None and outer is not None and any(unit.is_outside for unit in one.not_judged):
        said += (
            f" The limit of ±{plain_limit(inner)} % counts units of the sample only; every unit has to lie within "
            f"±{plain_limit(outer)} %, and does."
        )
    return said


def _units(units: Sequence[UnitOff], one: WorstUnit) -> str:
    outer = one.limits[1]

    def far(unit: UnitOff) -> str:
        beyond = outer is not None and unit.place is Place.BEYOND_OUTER
        return f", {_outer(unit, outer)}" if beyond and outer is not None else ""

    return listed([f"{_unit(unit)} ({_away(unit, one)} %{far(unit)})" for unit in units], most=UNITS_NAMED)


def _quantity(one: WorstUnit, *, most: int) -> str:
    return f"{'' if one.active is None else 'content of '}{_name(one, most=most)}"


def _name(one: WorstUnit, *, most: int) -> str:
    return "mass" if one.active is None else shortened(shown_text(one.active), most=most)


def _unit(unit: UnitOff) -> str:
    return f"unit {shortened(shown_text(unit.unit), most=LONGEST_UNIT)}"


def _away(unit: UnitOff, one: WorstUnit) -> str:
    return signed_beside(unit.deviation_percent, limits=one.limits, decimals=1)
