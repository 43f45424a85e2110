"""A mass table: which row holds for a form at a mass, and whether every mass of a form stands in exactly one row."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction
from itertools import pairwise

from qc.rules.kinds.mass.record import MASS_ENDS, MassBand, MassExemption, MassRule
from qc.rules.strict_records import Findings

# An end of a mass range: the mass [mg], and whether the range begins just above that mass (1) or at it (0).
_End = tuple[Fraction | float, int]
_LEAST: _End = (0, 0)
_OPEN_TOP: _End = (math.inf, 0)


def band_for(rule: MassRule, *, form: str, mean_mg: Fraction) -> MassBand | None:
    """The row of the mass table that holds for a form at a mass, its ends inclusive or exclusive as the book has them.

    Parameters
    ----------
    rule : MassRule
        The record with the table.
    form : str
        Canonical name of the dosage form.
    mean_mg : Fraction
        Mass that the rule goes by [mg].

    Returns
    -------
    MassBand or None
        None where the rule has no limit for that form at that mass.
    """
    for band in rule.bands:
        if form in band.forms and _holds(band, mean_mg):
            return band
    return None


def exemption_for(rule: MassRule, *, form: str, mean_mg: Fraction) -> MassExemption | None:
    """The exemption from the mass test that holds for a form at a mass [mg]; None where there is none."""
    for exemption in rule.exemptions:
        if form in exemption.forms and _holds(exemption, mean_mg):
            return exemption
    return None


def _holds(row: MassBand | MassExemption, mass_mg: Fraction) -> bool:
    start, stop = _ends(row)
    return start <= (mass_mg, 0) < stop


def forms_named(rule: MassRule) -> tuple[str, ...]:
    """Every form that a mass rule has a limit or an exemption for, in the order of its table."""
    rows: list[MassBand | MassExemption] = [*rule.bands, *rule.exemptions]
    return tuple(dict.fromkeys(form for row in rows for form in row.forms))


def note_uncovered(rule: MassRule, findings: Findings) -> None:
    """Note gaps and overlaps of the rows of each form, and rows that name no form."""
    for number, band in enumerate(rule.bands, start=1):
        if not band.forms:
            findings.add(f"bands[{number}].forms", "the row names no form", "Name at least one")
    for form in forms_named(rule):
        _covered(form, rule, findings)


def _covered(form: str, rule: MassRule, findings: Findings) -> None:
    rows = [_ends(band) for band in rule.bands if form in band.forms]
    rows += [_ends(exemption) for exemption in rule.exemptions if form in exemption.forms]
    rows.sort()
    if rows[0][0] != _LEAST:
        findings.add("bands", f"no row holds for the lightest {form}", "Begin the first row without a lower end")
    for (start, stop), (following, _) in pairwise(rows):
        if stop != following or start >= stop:
            fault = "overlap" if following < stop else "leave a gap"
            findings.add(
                "bands",
                f"two rows for {form} {fault} near {float(min(stop[0], following[0])):g} mg",
                "Let each row begin where the one before it ends",
            )
    if rows[-1][1] != _OPEN_TOP:
        findings.add("bands", f"no row holds for the heaviest {form}", "End the last row without an upper end")


def _ends(row: MassBand | MassExemption) -> tuple[_End, _End]:
    """Where the masses of a row begin, and where those of the next one do."""
    ends = [_LEAST, _OPEN_TOP]
    for name, end in MASS_ENDS.items():
        mass: Decimal | None = getattr(row, name, None)
        if mass is not None:
            ends[end.upper] = (Fraction(mass), int(end.just_above))
    return ends[0], ends[1]
