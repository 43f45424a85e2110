"""What must be true of the numbers of a rule before anything is judged by it: limits nested, no gap, no overlap."""

from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

from qc.rules.mass_bands import forms_named
from qc.rules.records import (
    AnyRule,
    ContentRule,
    DosageUnitRule,
    MassBand,
    MassExemption,
    MassRule,
    MeanMassRule,
)
from qc.rules.release_shapes import note_misshapen_release
from qc.rules.strict_records import Findings

# An end of a mass range: the mass [mg], and whether the range begins just above that mass (1) or at it (0).
_End = tuple[Decimal, int]
_OPEN_TOP: _End = (Decimal("Infinity"), 0)


def note_misshapen(rule: AnyRule, *, at: str, findings: Findings) -> None:
    """Note what cannot be true of a rule's numbers.

    Parameters
    ----------
    rule : AnyRule
        A record whose keys and types are right.
    at : str
        Key of the rule in its file; empty for the file itself.
    findings : Findings
        Takes the problems.
    """
    place = f"{at}." if at else ""
    if not rule.clauses:
        findings.add(f"{place}clauses", "the rule has no clause", "Add at least one")
    match rule:
        case MassRule():
            _mass(rule, place=place, findings=findings)
        case ContentRule():
            _content(rule, place=place, findings=findings)
        case DosageUnitRule():
            _dosage_units(rule, place=place, findings=findings)
        case MeanMassRule():
            _positive("limit_percent", rule.limit_percent, place=place, findings=findings)
        case _:
            note_misshapen_release(rule, place=place, findings=findings)


def _mass(rule: MassRule, *, place: str, findings: Findings) -> None:
    if rule.sample_size < 2:
        findings.add(f"{place}sample_size", f"a sample of {rule.sample_size} has no spread", "Give two or more")
    if rule.most_beyond_outer > rule.most_beyond_limit:
        findings.add(
            f"{place}most_beyond_outer",
            f"{rule.most_beyond_outer} units may lie beyond the outer limit but only {rule.most_beyond_limit} "
            "beyond the inner one",
            "Give the same number or fewer",
        )
    for number, band in enumerate(rule.bands, start=1):
        key = f"{place}bands[{number}]"
        _positive("limit_percent", band.limit_percent, place=f"{key}.", findings=findings)
        whose = f" of {', '.join(band.forms)}"
        _inside(key, inner=band.limit_percent, outer=band.outer_percent, findings=findings, whose=whose)
        if not band.forms:
            findings.add(f"{key}.forms", "the row names no form", "Name at least one")
    for form in forms_named(rule):
        _covered(form, rule, place=place, findings=findings)


def _covered(form: str, rule: MassRule, *, place: str, findings: Findings) -> None:
    """Every mass of a form stands in exactly one row: of the table or of the exemptions."""
    rows = [_ends(band) for band in rule.bands if form in band.forms]
    rows += [_ends(exemption) for exemption in rule.exemptions if form in exemption.forms]
    rows.sort()
    if rows[0][0] != (Decimal(0), 0):
        findings.add(
            f"{place}bands", f"no row holds for the lightest {form}", "Begin the first row without a lower end"
        )
    for (start, stop), (following, _) in pairwise(rows):
        if stop != following or start >= stop:
            fault = "overlap" if following < stop else "leave a gap"
            findings.add(
                f"{place}bands",
                f"two rows for {form} {fault} near {min(stop[0], following[0]):f} mg",
                "Let each row begin where the one before it ends",
            )
    if rows[-1][1] != _OPEN_TOP:
        findings.add(f"{place}bands", f"no row holds for the heaviest {form}", "End the last row without an upper end")


def _ends(row: MassBand | MassExemption) -> tuple[_End, _End]:
    start: _End = (Decimal(0), 0)
    stop = _OPEN_TOP
    if isinstance(row, MassBand):
        if row.from_mg is not None:
            start = (row.from_mg, 0)
        if row.above_mg is not None:
            start = (row.above_mg, 1)
        if row.below_mg is not None:
            stop = (row.below_mg, 0)
    if row.up_to_mg is not None:
        stop = (row.up_to_mg, 1)
    return start, stop


def _content(rule: ContentRule, *, place: str, findings: Findings) -> None:
    _positive("inner_percent", rule.inner_percent, place=place, findings=findings)
    _inside(
        place.rstrip("."),
        inner=rule.inner_percent,
        outer=rule.outer_percent,
        findings=findings,
        name="inner_percent",
        may_meet=not rule.inner_applies,
    )
    if rule.first_size < 2:
        findings.add(f"{place}first_size", f"a sample of {rule.first_size} has no spread", "Give two or more")
    if not rule.passes_with <= rule.continues_with:
        findings.add(
            f"{place}continues_with",
            f"a sample passes with {rule.passes_with} outside but goes on only up to {rule.continues_with}",
            "Give passes_with or more",
        )
    if not rule.second_size and rule.continues_with != rule.passes_with:
        findings.add(f"{place}continues_with", "there is no second stage to go on to", "Give the number of passes_with")
    low, high = rule.mean_low_percent, rule.mean_high_percent
    if low is not None and high is not None and low >= high:
        findings.add(f"{place}mean_low_percent", f"{low:f} is not below {high:f}", "Give the lower bound of the mean")


def _dosage_units(rule: DosageUnitRule, *, place: str, findings: Findings) -> None:
    _positive("l1_percent", rule.l1_percent, place=place, findings=findings)
    _inside(place.rstrip("."), inner=rule.l1_percent, outer=rule.l2_percent, findings=findings, name="l1_percent")
    if rule.reference_low_percent >= rule.reference_high_percent:
        findings.add(
            f"{place}reference_low_percent",
            f"{rule.reference_low_percent:f} is not below {rule.reference_high_percent:f}",
            "Give the lower end of the range in which the mean is its own reference",
        )
    if rule.first_k < rule.second_k:
        found = f"k grows from {rule.first_k:f} to {rule.second_k:f}"
        findings.add(f"{place}first_k", found, "Give a second k no greater than the first")
    named: set[str] = set()
    for number, row in enumerate(rule.routes, start=1):
        for form in row.forms:
            if form in named:
                findings.add(f"{place}routes[{number}].forms", f"{form} stands in two rows", "Name each form once")
            named.add(form)


def _positive(name: str, value: Decimal, *, place: str, findings: Findings) -> None:
    if value <= 0:
        findings.add(f"{place}{name}", f"a limit of {value:f} lets nothing pass", "Give a number above zero")


def _inside(
    key: str,
    *,
    inner: Decimal,
    outer: Decimal,
    findings: Findings,
    name: str = "limit_percent",
    whose: str = "",
    may_meet: bool = False,
) -> None:
    if inner > outer or (inner == outer and not may_meet):
        findings.add(
            f"{key}.{name}" if key else name,
            f"the inner limit {inner:f}{whose} does not lie inside the outer limit {outer:f}",
            "Give an inner limit below the outer one",
        )
