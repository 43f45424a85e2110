"""Uniformity of dosage units by large samples: the acceptance value and the single units far out, in one stage."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Annotated

from msgspec.structs import replace

from qc.results import Limit, TestResult, Verdict, message
from qc.rules.kind import Kind, shown
from qc.rules.kinds.dosage_units.acceptance_value import acceptance_value, beside_l1, figures_of_value
from qc.rules.kinds.dosage_units.record import AcceptanceRule
from qc.rules.looks import count_limit, look_at, unassessed, written_down
from qc.rules.measured import Measured
from qc.rules.records import TableRow
from qc.rules.schema import About
from qc.rules.strict_records import Findings

_BY_SIZE = "Figures by size belong together"


class SizeRow(TableRow, frozen=True, kw_only=True):
    """A figure of a table that goes by the number of units: in force from so many on."""

    from_units: int
    figure: Decimal

    @property
    def holds(self) -> str:
        """From how many units on."""
        return str(self.from_units)

    def said(self, rule: LargeSampleRule) -> str:
        """The figure."""
        return shown(self.figure)


class LargeSampleRule(AcceptanceRule, frozen=True, kw_only=True):
    """Uniformity of dosage units by a large sample: AV against L1, and how many units may lie outside L2."""

    least_units: Annotated[int, About("units in the sample, at least", fixed=_BY_SIZE)]
    l1_percent: Annotated[Decimal, About("greatest acceptance value L1", fixed=_BY_SIZE)]
    l2_percent: Annotated[Decimal, About("bound on single units L2", "% of M", fixed=_BY_SIZE)]
    reference_low_percent: Annotated[Decimal, About("reference range from", "% of label", fixed=_BY_SIZE)]
    reference_high_percent: Annotated[Decimal, About("reference range to", "% of label", fixed=_BY_SIZE)]
    rounding_decimals: Annotated[int, About("decimals of AV", fixed=_BY_SIZE)]
    k: Annotated[tuple[SizeRow, ...], About("constant k, from so many units on", fixed=_BY_SIZE)]
    outside_l2: Annotated[tuple[SizeRow, ...], About("units outside L2, at most, from so many on", fixed=_BY_SIZE)]


def in_force(rows: Sequence[SizeRow], n: int) -> Decimal:
    """The figure for a number of units: that of the row with the greatest number not above it."""
    return max((one for one in rows if one.from_units <= n), key=lambda one: one.from_units).figure


class _LargeSamples(Kind[LargeSampleRule], frozen=True, kw_only=True):
    def sizes(self, rule: LargeSampleRule) -> tuple[int, int]:
        return rule.least_units, 0

    def note_misshapen(self, rule: LargeSampleRule, findings: Findings) -> None:
        for name in ("k", "outside_l2"):
            sizes = [one.from_units for one in getattr(rule, name)]
            if sizes != sorted(set(sizes)) or sizes[:1] != [rule.least_units]:
                what = "the rows do not go up by their number of units"
                findings.add(name, what, f"Sort them; the first is from {rule.least_units} on")


def judge_large_sample(
    units: Sequence[Measured], *, rule: LargeSampleRule, active: str, target_percent: Decimal
) -> TestResult:
    """Judge the contents of a large sample by the acceptance value and the units outside L2.

    Parameters
    ----------
    units : sequence of Measured
        Contents [% of label].
    rule : LargeSampleRule
    active : str
    target_percent : Decimal
        T, the target content at the time of manufacture [% of label].

    Returns
    -------
    TestResult
        "not-assessed" where this alternative is not met and the other one, whose table was not read, could be;
        "does-not-comply" where neither can be, because more units lie outside L2 than either allows.
    """
    n = len(units)
    if n < rule.least_units:
        asked = rule.least_units
        reason = message("tests.too_few_for_large", asked=asked, assayed=n)
        few = unassessed(rule, active=active, missing=message("tests.large_sample", asked=asked), reason=reason)
        return replace(few, verdict=Verdict.TOO_FEW_UNITS, n=n)
    k, allowed = in_force(rule.k, n), int(in_force(rule.outside_l2, n))
    av = acceptance_value(units, stage=1, k=k, target_percent=target_percent, rule=rule)
    look, of_target = (look_at(units, centre=one) for one in (av.reference_percent, Fraction(target_percent)))
    outside, percent = look.beyond(rule.l2_percent), rule.l2_percent
    about = {"percent": percent, "centre": "M", "as_range": True}
    limits = [
        Limit(what="units_assayed", figure=n, bound=rule.least_units, met=True, unit="units"),
        beside_l1(av, rule=rule),
        count_limit("outside_l2", outside, of=n, allowed=allowed, met=len(outside) <= allowed, **about),
    ]
    hopeless = min(len(outside), len(of_target.beyond(percent))) > allowed
    complies = limits[1].met and len(outside) <= allowed
    verdict = Verdict.COMPLIES if complies else Verdict.DOES_NOT_COMPLY if hopeless else Verdict.NOT_ASSESSED
    reasons = [message("tests.acceptance_value", limit=limits[1])]
    reasons += [] if len(outside) <= allowed else [message("tests.exceeded", limit=limits[2])]
    other = message("tests.second_alternative")
    written = written_down(
        look,
        rule=rule,
        active=active,
        verdict=verdict,
        reasons=[*reasons, *([message("tests.other_alternative")] if verdict is Verdict.NOT_ASSESSED else [])],
        limits=limits,
        figures=figures_of_value(look, av, target=target_percent, rule=rule) | {"outside_l2": len(outside)},
        outside=look.outside(inner=percent, outer=percent),
        working=[message("working.mean", n=n, mean=av.mean_percent, unit="% of label")],
    )
    return replace(written, missing=other if verdict is Verdict.NOT_ASSESSED else "")


KIND = _LargeSamples(record=LargeSampleRule, tests=("large-sample-uniformity",), place=11, per_active=True)
