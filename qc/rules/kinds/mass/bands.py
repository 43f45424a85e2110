"""Which row of a mass table holds for a form at a mass: the band with its limits, or the exemption."""

from __future__ import annotations

from fractions import Fraction

from qc.rules.kinds.mass.record import MassBand, MassExemption, MassRule


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
