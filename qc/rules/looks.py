"""What every test of single units does: lay a sample against limits about a centre, decide, and write the result down.

A kind of rule writes its decision as cases, each a condition with its verdict, of which the first that holds decides.
The conditions are made of counts and truths by `<`, `>`, `&` and `|` alone, so that one and the same text decides on a
batch in hand (exact counts), on very many samples at once (arrays, `qc.assurance`) and in a spreadsheet (`qc.expr`).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.quantities import deviation_percent, mean, sample_variance, square_root
from qc.results import Limit, Message, Outside, TestResult, Verdict, message
from qc.rules.kinds import kind_of
from qc.rules.measured import Measured, Stages
from qc.rules.records import Rule

ONE = Fraction(1)

Cases = Sequence[tuple[Any, Verdict]]
"""Conditions with their verdicts; the last condition is True."""


def first_that_holds(cases: Cases) -> Verdict:
    """The verdict of the first case that holds, of conditions that are true or false."""
    return next(verdict for holds, verdict in cases if holds)


class Look(Struct, frozen=True, kw_only=True):
    """The units of one sample laid against limits about a centre, with those that were measured beside it.

    `deviations` are exact [% of the centre]: those of the sample first, then those of the others; a centre of zero has
    none.
    """

    units: tuple[Measured, ...]
    others: tuple[Measured, ...]
    centre: Fraction
    deviations: tuple[Fraction, ...]
    stage: int

    @property
    def n(self) -> int:
        """Units of the sample."""
        return len(self.units)

    @property
    def mean(self) -> Fraction:
        """The mean of the sample, exact."""
        return mean([unit.value for unit in self.units])

    @property
    def variance(self) -> Fraction | None:
        """The sample variance, exact; None of a single unit."""
        return sample_variance([unit.value for unit in self.units]) if self.n > 1 else None

    def spread(self, *, per: Fraction = ONE) -> float | None:
        """The standard deviation of the sample over a value; None of a single unit, and over zero."""
        return None if self.variance is None or not per else square_root(self.variance / per**2)

    @property
    def of_units(self) -> tuple[Fraction, ...]:
        """The deviations of the sample."""
        return self.deviations[: self.n]

    def beyond(self, limit: Decimal) -> tuple[str, ...]:
        """Units of the sample that deviate by more than a limit [%], decided exactly."""
        return _farther(self.units, self.of_units, limit)

    def beside(self, first: int, limit: Decimal) -> tuple[str, ...]:
        """All but the first so many units, the others too, that deviate by more than a limit [%] from its centre."""
        return _farther((*self.units, *self.others)[first:], self.deviations[first:], limit)

    def outside(self, *, inner: Decimal, outer: Decimal) -> tuple[Outside, ...]:
        """Every unit that deviates by more than the inner limit [%]."""
        laid = zip((*self.units, *self.others), self.deviations, strict=False)
        return tuple(
            Outside(
                unit=unit.unit,
                deviation_percent=float(deviation),
                in_sample=place < self.n,
                beyond_outer=abs(deviation) > Fraction(outer),
            )
            for place, (unit, deviation) in enumerate(laid)
            if abs(deviation) > Fraction(inner)
        )


def look_at(units: Sequence[Measured], *, others: Sequence[Measured] = (), centre: Fraction, stage: int = 1) -> Look:
    """Lay units against limits about a centre."""
    laid = (*units, *others) if centre else ()
    deviations = tuple(deviation_percent(unit.value, centre=centre) for unit in laid)
    return Look(units=tuple(units), others=tuple(others), centre=centre, deviations=deviations, stage=stage)


def _farther(units: Sequence[Measured], deviations: Sequence[Fraction], limit: Decimal) -> tuple[str, ...]:
    most = Fraction(limit)
    return tuple(unit.unit for unit, deviation in zip(units, deviations, strict=False) if abs(deviation) > most)


def count_limit(
    what: str, names: Sequence[str], *, of: int, allowed: int | None, met: bool | None, **where: Any
) -> Limit:
    """How many units lie beyond a limit, beside how many may; `where` says beyond what, for the words.

    Parameters
    ----------
    names : sequence of str
        Units that lie there.
    of : int
        Units looked at.
    allowed : int or None
        None where the count decides at a later stage only.
    """
    values = {"names": tuple(names), "of": of, **where}
    return Limit(what=what, figure=len(names), bound=allowed, met=met, unit="units", values=values)


def figures_of(limits: Mapping[str, Limit], **asked: str) -> dict[str, Any]:
    """The figures of limits by the names under which a decision asks for them; zero of a limit that is not there."""
    return {name: limits[what].figure if what in limits else 0 for name, what in asked.items()}


def limits_and_units(look: Look, limits: Sequence[Decimal], *, unit: str, centre: str) -> list[Message]:
    """The ends of each limit [% of the centre], then the deviation of every unit of the sample."""
    ends = [message("working.ends", percent=percent, value=look.centre, unit=unit, centre=centre) for percent in limits]
    return ends + [
        message("working.deviation", name=one.unit, value=one.value, centre=look.centre, deviation=deviation, unit=unit)
        for one, deviation in zip(look.units, look.deviations, strict=False)
    ]


def unassessed(
    rule: Rule, *, missing: Message, reason: Message, active: str | None = None, required: bool = True
) -> TestResult:
    """The result of a test while something is missing."""
    return TestResult(
        id=rule.test,
        rule=rule.id,
        active=active,
        verdict=Verdict.NOT_ASSESSED,
        missing=missing,
        reasons=(reason,),
        required=required,
    )


def written_down(
    look: Look,
    *,
    rule: Rule,
    active: str | None = None,
    verdict: Verdict,
    reasons: Sequence[Message],
    limits: Iterable[Limit],
    figures: Mapping[str, float | int | None],
    outside: Sequence[Outside] = (),
    mass_limits: tuple[Decimal, Decimal] | None = None,
    working: Sequence[Message],
    more_units: int = 0,
    opening: Sequence[Message] = (),
    remarks: Sequence[Message] = (),
) -> TestResult:
    """The result of a test of units: what it rests on, its limits, why, and the calculation line by line.

    Parameters
    ----------
    look : Look
        That which decided.
    opening, remarks : sequence of Message
        Said before and after the reasons, whatever the verdict is.
    """
    criteria = tuple(replace(limit, clause=rule.clause_of(limit.what, stage=look.stage)) for limit in limits)
    lines = [
        message("tests.beside_bound", limit=limit)
        for limit in criteria
        if "names" in limit.values or (limit.bound is not None and limit.unit != "units")
    ]
    return TestResult(
        id=rule.test,
        rule=rule.id,
        active=active,
        verdict=verdict,
        n=look.n,
        mass_limits=mass_limits,
        figures=figures,
        outside=tuple(outside),
        reasons=(*opening, *reasons, *remarks),
        criteria=criteria,
        sample=tuple(unit.unit for unit in look.units),
        more_units=more_units,
        working=(*working, *lines, message("tests.therefore", verdict=verdict, reasons=tuple(reasons))),
    )


def not_begun(stages: Stages, *, rule: Rule, active: str) -> TestResult:
    """The result of a test of which no first stage is known: nothing was assayed, or nobody said what came first.

    Parameters
    ----------
    stages : Stages
        With no unit of the first stage.
    rule : Rule
    active : str

    Returns
    -------
    TestResult
        Too few units where only units of the second stage were entered; else not assessed.
    """
    first_size, second_size = kind_of(rule).sizes(rule)
    later = len(stages.second) + len(stages.others)
    if stages.unclear is not None:
        reason, missing = stages.unclear, message("tests.first_units", size=first_size)
    elif later:
        missing = message("tests.first_stage_missing", size=first_size)
        reason = message("tests.second_stage_only", later=later, first=first_size, whole=first_size + second_size)
    else:
        reason = message("tests.nothing_assayed", active=active)
        missing = message("advice.contents", number=first_size, mass_route="")
    found = unassessed(rule, active=active, missing=missing, reason=reason)
    return replace(found, verdict=Verdict.TOO_FEW_UNITS) if later and stages.unclear is None else found
