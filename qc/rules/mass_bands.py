"""Which row of a rule's table holds for a form: the mass band, the exemption, the route of the dosage-unit test."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.rules.records import DosageUnitRule, MassBand, MassExemption, MassRule, Route


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
        if form in exemption.forms and (exemption.up_to_mg is None or mean_mg <= Fraction(exemption.up_to_mg)):
            return exemption
    return None


def route_for(rule: DosageUnitRule, *, form: str, at_threshold: bool) -> Route | None:
    """How the table of forms lets the contents of an active be found.

    Parameters
    ----------
    rule : DosageUnitRule
        The record with the table.
    form : str
        Canonical name of the dosage form.
    at_threshold : bool
        Whether the active reaches both the dose and the share of mass that the rule names.

    Returns
    -------
    Route or None
        None where the table does not name the form. Content uniformity may be used for every form, so a reader who
        finds None uses that.
    """
    for row in rule.routes:
        if form in row.forms:
            return row.at_threshold if at_threshold else row.otherwise
    return None


def forms_named(rule: MassRule) -> tuple[str, ...]:
    """Every form that a mass rule has a limit or an exemption for, in the order of its table."""
    rows: list[MassBand | MassExemption] = [*rule.bands, *rule.exemptions]
    return tuple(dict.fromkeys(form for row in rows for form in row.forms))


def _holds(band: MassBand, mass_mg: Fraction) -> bool:
    return (
        (band.above_mg is None or mass_mg > Fraction(band.above_mg))
        and (band.from_mg is None or mass_mg >= Fraction(band.from_mg))
        and (band.below_mg is None or mass_mg < Fraction(band.below_mg))
        and (band.up_to_mg is None or mass_mg <= Fraction(band.up_to_mg))
    )


def range_in_words(band: MassBand) -> str:
    """The masses that a row holds for, as the table writes them.

    Examples
    --------
    >>> from qc.rules.records import Mark
    >>> row = MassBand(forms=("capsules",), limit_percent=Decimal(10), outer_percent=Decimal(20), mark=Mark.SEEN)
    >>> range_in_words(row)
    'every mass'
    """
    ends = (
        ("more than", band.above_mg),
        ("from", band.from_mg),
        ("less than", band.below_mg),
        ("up to", band.up_to_mg),
    )
    words = [f"{word} {_mass(end)}" for word, end in ends if end is not None]
    return " and ".join(words).replace(" and up to", " up to") or "every mass"


def _mass(mass_mg: Decimal) -> str:
    return f"{mass_mg:f} mg"
