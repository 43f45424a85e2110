"""Uniformity of mass: how far each unit lies from the centre, and how many may lie beyond the limit."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.quantities import deviation_percent, mean, sample_variance, square_root
from qc.results import Criterion, Outside, TestResult, Verdict
from qc.rules.closing import count_line, therefore_line
from qc.rules.display import MINUS, at_most, counted, listed, plain, shown, signed
from qc.rules.kinds.mass.bands import band_for, exemption_for
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.rules.measured import Measured
from qc.stats.proportion import upper_bound

TEST = "mass-uniformity"
BOUND_CONFIDENCE = 0.95


class _Sample(Struct, frozen=True, kw_only=True):
    """A weighed sample laid against its limits."""

    masses: Sequence[Measured]
    centre: Fraction
    centre_name: str
    band: MassBand
    deviations: Sequence[Fraction]
    others: Sequence[Measured]
    other_deviations: Sequence[Fraction]

    def beyond(self, limit: Decimal) -> list[str]:
        """Units of the sample that deviate by more than a limit, decided exactly."""
        pairs = zip(self.masses, self.deviations, strict=True)
        return [unit.unit for unit, deviation in pairs if abs(deviation) > Fraction(limit)]

    def others_beyond(self, limit: Decimal) -> list[str]:
        """Weighed units outside the sample that deviate by more than a limit from the sample's centre."""
        pairs = zip(self.others, self.other_deviations, strict=True)
        return [unit.unit for unit, deviation in pairs if abs(deviation) > Fraction(limit)]


def judge_masses(
    sample: Sequence[Measured],
    *,
    others: Sequence[Measured] = (),
    rule: MassRule,
    form: str,
    labelled_mass_g: Decimal | None = None,
) -> TestResult:
    """Judge the masses of single units by a mass rule.

    Parameters
    ----------
    sample : sequence of Measured
        The units of the test sample with their masses [g].
    others : sequence of Measured
        Units weighed although the sample left them out [g]; they never help, and none beyond the outer limit is hidden.
    rule : MassRule
    form : str
        Canonical name of the dosage form.
    labelled_mass_g : Decimal or None
        Mass on the label, for a rule that compares with it [g].

    Returns
    -------
    TestResult
        `figures`: mean_g, sd_g, rsd_percent, limit_percent, outer_percent, beyond_limit, beyond_double,
        greatest_deviation_percent, fraction_beyond_at_most_percent (95 % one-sided bound).
    """
    if not sample:
        return _not_assessed(rule, "the masses of single units", "No unit was weighed.")
    centre, centre_name = _centre(sample, rule=rule, labelled_mass_g=labelled_mass_g)
    exemption = exemption_for(rule, form=form, mean_mg=centre * 1000)
    if exemption is not None:
        return _not_assessed(rule, "nothing", exemption.reason, required=False)
    band = band_for(rule, form=form, mean_mg=centre * 1000)
    if band is None:
        return _not_assessed(
            rule,
            f"a mass limit for {form} with its source",
            f"{rule.reference.work} {rule.reference.section} has no mass limit for {form}; "
            "give a limit and its source in a house rule file.",
        )
    weighed = _Sample(
        masses=sample,
        centre=centre,
        centre_name=centre_name,
        band=band,
        deviations=[deviation_percent(unit.value, centre=centre) for unit in sample],
        others=others,
        other_deviations=[deviation_percent(unit.value, centre=centre) for unit in others],
    )
    verdict, reasons = _verdict(weighed, rule=rule)
    return TestResult(
        id=TEST,
        rule=rule.id,
        verdict=verdict,
        n=len(sample),
        figures=_figures(weighed),
        outside=_outside(weighed),
        reasons=reasons,
        criteria=_criteria(weighed, rule=rule),
        sample=tuple(unit.unit for unit in sample),
        more_units=max(0, rule.sample_size - len(sample)),
        mass_limits=(band.limit_percent, band.outer_percent),
        working=(*_working(weighed), *_closing(weighed, rule=rule), therefore_line(verdict, reasons=reasons)),
    )


def _centre(sample: Sequence[Measured], *, rule: MassRule, labelled_mass_g: Decimal | None) -> tuple[Fraction, str]:
    if rule.basis is MassBasis.LABELLED_MASS and labelled_mass_g is not None:
        return Fraction(labelled_mass_g), "labelled mass"
    return mean([unit.value for unit in sample]), "mean"


def _not_assessed(rule: MassRule, missing: str, reason: str, *, required: bool = True) -> TestResult:
    return TestResult(
        id=TEST, rule=rule.id, verdict=Verdict.NOT_ASSESSED, missing=missing, reasons=(reason,), required=required
    )


def _verdict(weighed: _Sample, *, rule: MassRule) -> tuple[Verdict, tuple[str, ...]]:
    band, n = weighed.band, len(weighed.masses)
    beyond = weighed.beyond(band.limit_percent)
    beyond_outer = weighed.beyond(band.outer_percent)
    hidden = weighed.others_beyond(band.outer_percent)
    limit, outer, centre = plain(band.limit_percent), plain(band.outer_percent), weighed.centre_name
    reasons: list[str] = []
    if len(beyond_outer) > rule.most_beyond_outer:
        reasons.append(
            f"{_units(beyond_outer)} by more than {outer} % from the {centre}; the rule allows "
            f"{at_most(rule.most_beyond_outer)}."
        )
    if hidden:
        reasons.append(
            f"{_units(hidden)} by more than {outer} % from the {centre} of the sample, although the test sample left "
            f"{'it' if len(hidden) == 1 else 'them'} out; a unit known to be beyond the outer limit is not hidden."
        )
    if reasons:
        return Verdict.DOES_NOT_COMPLY, tuple(reasons)
    if n < rule.sample_size:
        bound = upper_bound(len(beyond), n=n, confidence=BOUND_CONFIDENCE)
        return Verdict.TOO_FEW_UNITS, (
            f"The rule asks for {rule.sample_size} units; {n} were weighed, so the test cannot be passed yet.",
            f"So far {counted(len(beyond), 'unit')} of {n} beyond {limit} % and none beyond {outer} %; with 95 % "
            f"confidence at most {shown(bound * 100, decimals=0)} % of such units lie beyond {limit} %.",
        )
    if len(beyond) > rule.most_beyond_limit:
        return Verdict.DOES_NOT_COMPLY, (
            f"{_units(beyond)} by more than {limit} % from the {centre}; the rule allows "
            f"{at_most(rule.most_beyond_limit)}.",
        )
    reasons.append(
        f"{counted(len(beyond), 'unit')} of {n} beyond {limit} % of the {centre} ({at_most(rule.most_beyond_limit)} "
        f"allowed), none beyond {outer} %."
    )
    if n > rule.sample_size:
        reasons.append(
            f"The rule asks for {rule.sample_size} units; all {n} were counted with the same allowance of "
            f"{rule.most_beyond_limit}, which is stricter."
        )
    return Verdict.COMPLIES, tuple(reasons)


def _units(names: Sequence[str]) -> str:
    return f"Unit {names[0]} deviates" if len(names) == 1 else f"Units {listed(names)} deviate"


def _figures(weighed: _Sample) -> dict[str, float | int | None]:
    values = [unit.value for unit in weighed.masses]
    average = mean(values)
    sd = square_root(sample_variance(values)) if len(values) > 1 else None
    beyond = len(weighed.beyond(weighed.band.limit_percent))
    return {
        "mean_g": float(average),
        "sd_g": sd,
        "rsd_percent": square_root(sample_variance(values) / average**2 * 10000) if len(values) > 1 else None,
        "limit_percent": float(weighed.band.limit_percent),
        "outer_percent": float(weighed.band.outer_percent),
        "beyond_limit": beyond,
        "beyond_double": len(weighed.beyond(weighed.band.outer_percent)),
        "greatest_deviation_percent": float(max(weighed.deviations, key=abs)),
        "fraction_beyond_at_most_percent": 100 * upper_bound(beyond, n=len(values), confidence=BOUND_CONFIDENCE),
    }


def _outside(weighed: _Sample) -> tuple[Outside, ...]:
    laid = [(unit, deviation, True) for unit, deviation in zip(weighed.masses, weighed.deviations, strict=True)]
    laid += [(unit, deviation, False) for unit, deviation in zip(weighed.others, weighed.other_deviations, strict=True)]
    return tuple(
        Outside(
            unit=unit.unit,
            deviation_percent=float(deviation),
            in_sample=in_sample,
            beyond_outer=abs(deviation) > Fraction(weighed.band.outer_percent),
        )
        for unit, deviation, in_sample in laid
        if abs(deviation) > Fraction(weighed.band.limit_percent)
    )


def _criteria(weighed: _Sample, *, rule: MassRule) -> tuple[Criterion, ...]:
    band, n = weighed.band, len(weighed.masses)
    enough = n >= rule.sample_size
    beyond, outer = len(weighed.beyond(band.limit_percent)), len(weighed.beyond(band.outer_percent))
    hidden = len(weighed.others_beyond(band.outer_percent))
    farthest = max(range(n), key=lambda place: abs(weighed.deviations[place]))
    within = beyond <= rule.most_beyond_limit
    criteria = [
        Criterion(
            what="units weighed",
            figure=str(n),
            limit=f"at least {rule.sample_size}",
            met=True if enough else None,
        ),
        Criterion(
            what=f"units beyond {plain(band.limit_percent)} % of the {weighed.centre_name}",
            figure=f"{beyond} of {n}",
            limit=at_most(rule.most_beyond_limit),
            met=within if enough or not within else None,
        ),
        Criterion(
            what=f"units beyond {plain(band.outer_percent)} % of the {weighed.centre_name}",
            figure=f"{outer} of {n}",
            limit=at_most(rule.most_beyond_outer),
            met=outer <= rule.most_beyond_outer if enough or outer > rule.most_beyond_outer else None,
        ),
        Criterion(
            what="farthest in the sample",
            figure=f"{signed(weighed.deviations[farthest], decimals=2)} % (unit {weighed.masses[farthest].unit})",
            limit=f"{plain(band.limit_percent)} % / {plain(band.outer_percent)} %",
            met=None,
            for_information=True,
        ),
    ]
    if weighed.others:
        criteria.insert(
            3,
            Criterion(
                what=f"other units weighed, beyond {plain(band.outer_percent)} %",
                figure=f"{hidden} of {len(weighed.others)}",
                limit="none",
                met=hidden == 0,
            ),
        )
    return tuple(criteria)


def _working(weighed: _Sample) -> tuple[str, ...]:
    values = [unit.value for unit in weighed.masses]
    n, average = len(values), mean(values)
    total = n * average
    lines = [
        f"Sum of {n} masses = {shown(total, decimals=4)} g.",
        f"Mean = {shown(total, decimals=4)} g / {n} = {shown(average, decimals=6)} g.",
    ]
    if n > 1:
        variance = sample_variance(values)
        squares = (n - 1) * variance
        lines += [
            f"Sum of squared differences from the mean = {shown(squares, decimals=8)} g².",
            f"SD = √({shown(squares, decimals=8)} g² / ({n} {MINUS} 1)) = "
            f"{shown(square_root(variance), decimals=6)} g.",
            f"RSD = SD / mean × 100 = {shown(square_root(variance / average**2) * 100, decimals=3)} %.",
        ]
    centre = weighed.centre
    for percent in (weighed.band.limit_percent, weighed.band.outer_percent):
        share = Fraction(percent) / 100
        lines.append(
            f"{plain(percent)} % limits = {shown(centre, decimals=6)} g × (1 ± {shown(share, decimals=3)}) = "
            f"{shown(centre * (1 - share), decimals=6)} g to {shown(centre * (1 + share), decimals=6)} g."
        )
    for unit, deviation in zip(weighed.masses, weighed.deviations, strict=True):
        lines.append(
            f"Unit {unit.unit}: ({shown(unit.value, decimals=4)} {MINUS} {shown(centre, decimals=6)}) / "
            f"{shown(centre, decimals=6)} × 100 = {signed(deviation, decimals=3)} %."
        )
    return tuple(lines)


def _closing(weighed: _Sample, *, rule: MassRule) -> tuple[str, ...]:
    """Who lies beyond each limit, beside what the rule allows."""
    band, n, centre = weighed.band, len(weighed.masses), weighed.centre_name
    lines = [
        count_line(
            f"Beyond {plain(limit)} % of the {centre}",
            weighed.beyond(limit),
            of=n,
            allowed=f"{at_most(allowed)} allowed",
        )
        for limit, allowed in (
            (band.limit_percent, rule.most_beyond_limit),
            (band.outer_percent, rule.most_beyond_outer),
        )
    ]
    if weighed.others:
        lines.append(
            count_line(
                f"Weighed beyond the sample, beyond {plain(band.outer_percent)} % of its {centre}",
                weighed.others_beyond(band.outer_percent),
                of=len(weighed.others),
                allowed="none allowed",
            )
        )
    return tuple(lines)
