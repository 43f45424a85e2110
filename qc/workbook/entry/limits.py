"""The limits that the sheet shows while units are weighed, read from a rule record."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.rules.kinds.mass.bands import band_for
from qc.rules.kinds.mass.record import MassBand, MassRule


class ShownLimits(Struct, frozen=True, kw_only=True):
    """What the live box and the colours on the sheet Units go by.

    Parameters
    ----------
    rule_id, source : str
        The record, and the work, section and edition it rests on.
    sample_size, most_beyond_limit, most_beyond_outer : int
        How many units the test takes, and how many of them may lie beyond each limit [-].
    by_form : tuple of (str, Decimal, Decimal)
        Forms that have the same limits at every mass: form, limit and outer limit [% of mean].
    forms : tuple of str
        Every form the record names, moulded ones first.
    limit_percent, outer_percent : Decimal or None
        Limits of the planned form at the planned mass [% of mean]; None where they hang on what is entered.
    """

    rule_id: str
    source: str
    sample_size: int
    most_beyond_limit: int
    most_beyond_outer: int
    by_form: tuple[tuple[str, Decimal, Decimal], ...]
    forms: tuple[str, ...]
    limit_percent: Decimal | None = None
    outer_percent: Decimal | None = None


def shown_limits(rule: MassRule, *, form: str | None, planned_mass_g: Decimal | None) -> ShownLimits:
    """The limits of a mass rule as far as form and planned mass settle them before anything is weighed.

    Parameters
    ----------
    rule : MassRule
        The record.
    form : str or None
        Canonical name of the dosage form.
    planned_mass_g : Decimal or None
        What a unit should weigh [g]; picks the row where the limits of a form hang on the mass.
    """
    at_every_mass = tuple(
        (name, band.limit_percent, band.outer_percent)
        for band in rule.bands
        if _holds_at_every_mass(band)
        for name in band.forms
    )
    moulded_first = [name for name, _, _ in at_every_mass]
    others = sorted({name for band in rule.bands for name in band.forms} - set(moulded_first))
    band = None
    if form is not None and planned_mass_g is not None:
        band = band_for(rule, form=form, mean_mg=Fraction(planned_mass_g) * 1000)
    elif form is not None:
        band = next((band for band in rule.bands if form in band.forms and _holds_at_every_mass(band)), None)
    return ShownLimits(
        rule_id=rule.id,
        source=f"{rule.reference.work} {rule.reference.section} ({rule.reference.edition})",
        sample_size=rule.sample_size,
        most_beyond_limit=rule.most_beyond_limit,
        most_beyond_outer=rule.most_beyond_outer,
        by_form=at_every_mass,
        forms=(*moulded_first, *others),
        limit_percent=None if band is None else band.limit_percent,
        outer_percent=None if band is None else band.outer_percent,
    )


def _holds_at_every_mass(band: MassBand) -> bool:
    return band.above_mg is band.from_mg is band.below_mg is band.up_to_mg is None
