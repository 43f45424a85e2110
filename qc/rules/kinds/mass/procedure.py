"""Uniformity of mass: how far each unit lies from the centre, and how many may lie beyond the limit."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec.structs import replace

from qc.quantities import mean
from qc.results import Limit, Message, TestResult, Verdict, message
from qc.rules import looks
from qc.rules.kinds.mass.bands import band_for, exemption_for
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule
from qc.rules.measured import Measured
from qc.stats.proportion import share_of_samples, upper_bound

BOUND_CONFIDENCE = 0.95
LEAST_SHARE_PERCENT = 5
"""A marked sample that complies is doubted where fewer of the possible samples would [%]: common practice for what is
unlikely by chance; no pharmacopoeia names a figure."""


_OF_ALL = ("beyond_limit_of_all", "samples_that_comply")


def mass_cases(*, n: Any, beyond: Any, farther: Any, hidden: Any, rule: Any, doubted: Any = None) -> looks.Cases:
    """What a sample of masses comes to, in the order in which the rule decides.

    Of more units than the rule asks for nobody said which were drawn. As many as are too many may all be those beyond
    the limit; what then still fails, fails whichever were drawn.

    Parameters
    ----------
    n, beyond, farther : count, array of counts, or Expression
        Units of the sample, those beyond the limit, and those beyond the outer limit, of too small a sample whatever
        the units weigh that are still missing [units].
    hidden : likewise
        Units weighed although the sample left them out, beyond the outer limit [units].
    rule : MassRule, or what holds its figures by the same names
    doubted : truth or Expression, optional
        Whether hardly any other sample of the units weighed would comply.
    """
    return (
        ((farther > rule.most_beyond_outer) | (hidden > 0), Verdict.DOES_NOT_COMPLY),
        (n < rule.sample_size, Verdict.TOO_FEW_UNITS),
        (beyond > rule.most_beyond_limit + (n - rule.sample_size), Verdict.DOES_NOT_COMPLY),
        (beyond > rule.most_beyond_limit, Verdict.NOT_ASSESSED),
        *([] if doubted is None else [(doubted, Verdict.NOT_ASSESSED)]),
        (True, Verdict.COMPLIES),
    )


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
        greatest_deviation_percent, fraction_beyond_at_most_percent (95 % one-sided bound). Where more units were
        weighed than the rule asks for, also beyond_limit_of_all and beyond_double_of_all, from the mean of all of them,
        and samples_that_comply_percent, the share of the possible samples of them that would comply.
    """
    if not sample:
        return looks.unassessed(rule, missing=message("tests.masses"), reason=message("tests.none_weighed"))
    by_label = rule.basis is MassBasis.LABELLED_MASS and labelled_mass_g is not None
    centre = Fraction(labelled_mass_g or 0) if by_label else mean([unit.value for unit in sample])
    exemption = exemption_for(rule, form=form, mean_mg=centre * 1000)
    if exemption is not None:
        reason = message("tests.exempt", reason=exemption.reason)
        return looks.unassessed(rule, missing=message("tests.nothing"), reason=reason, required=False)
    band = band_for(rule, form=form, mean_mg=centre * 1000)
    if band is None:
        reason = message("tests.no_mass_limit", work=rule.reference.work, section=rule.reference.section, form=form)
        return looks.unassessed(rule, missing=message("tests.mass_limit", form=form), reason=reason, required=False)
    look = looks.look_at(sample, others=others, centre=centre)
    every = (*sample, *others)
    of_all = looks.look_at(every, centre=centre if by_label else mean([unit.value for unit in every]))
    limits = _limits(look, of_all, band=band, rule=rule, centre="label" if by_label else "mean")
    counts = looks.figures_of(limits, beyond="beyond_limit")
    for name, what in (("farther", "beyond_double"), ("hidden", "others_beyond")):
        counts[name] = limits[what].values["sure"] if what in limits else 0
    doubted = "samples_that_comply" in limits and limits["samples_that_comply"].met is False
    verdict = looks.first_that_holds(mass_cases(n=look.n, rule=rule, doubted=doubted, **counts))
    figures = _figures(look, limits, band=band)
    missing: Message | str = ""
    # Where every unit weighed is in the sample and it complies, its own lines say all of this.
    matters = bool(look.others) or verdict is Verdict.NOT_ASSESSED
    asked = rule.sample_size
    if look.n < asked <= of_all.n:
        missing = message("tests.drawn_sample", asked=asked)
    elif verdict is Verdict.NOT_ASSESSED:
        missing = message("tests.how_drawn", asked=asked) if doubted else message("tests.drawn_sample", asked=asked)
    written = looks.written_down(
        look,
        mass_limits=(band.limit_percent, band.outer_percent),
        rule=rule,
        verdict=verdict,
        reasons=_reasons(verdict, limits, figures=figures),
        limits=[limit for limit in limits.values() if matters or limit.what not in _OF_ALL],
        figures=figures,
        outside=look.outside(inner=band.limit_percent, outer=band.outer_percent),
        working=_working(look, band=band, centre="label" if by_label else "mean"),
        more_units=max(0, asked - of_all.n),
    )
    return replace(written, missing=missing)


def _limits(look: looks.Look, of_all: looks.Look, *, band: MassBand, rule: MassRule, centre: str) -> dict[str, Limit]:
    """The counts beside their bounds, open while too few units are weighed.

    Units still to be weighed move the mean: a unit beyond the outer limit fails too small a sample only where it lies
    there whatever they weigh. Of more units than are asked for, those drawn may be others.
    """
    enough, spare = look.n >= rule.sample_size, max(look.n - rule.sample_size, 0)
    inner, outer, of = band.limit_percent, band.outer_percent, look.n
    beyond, farther = look.beyond(inner), look.beyond(outer)
    sure = frozenset(one.unit for one in (*look.units, *look.others))
    if not enough and centre == "mean":
        sure = beyond_whatever_is_missing(look, missing=rule.sample_size - look.n, outer_percent=outer)

    def count(
        what: str, names: Sequence[str], percent: Decimal, *, of: int, allowed: int, at_once: bool = True
    ) -> Limit:
        failing = len(sure.intersection(names)) if at_once else 0
        met = len(names) <= allowed if enough else False if failing > allowed else None
        if spare and not at_once and allowed < len(names) <= allowed + spare:
            met = None
        laid = {"percent": percent, "centre": centre, "sure": failing}
        # Of more units than the sample holds nobody said which it was: whichever it is holds no more than all do.
        laid |= {"any": rule.sample_size} if spare and not at_once else {}
        return looks.count_limit(what, names, of=of, allowed=allowed, met=met, **laid)

    limits = [
        Limit(
            what="units_weighed",
            figure=look.n,
            bound=rule.sample_size,
            met=True if enough else None,
            unit="units",
            values={"of": of_all.n},
        ),
        count("beyond_limit", beyond, inner, of=of, allowed=rule.most_beyond_limit, at_once=False),
        count("beyond_double", farther, outer, of=of, allowed=rule.most_beyond_outer),
    ]
    if look.others:
        hidden = look.beside(look.n, outer)
        limits.append(count("others_beyond", hidden, outer, of=len(look.others), allowed=0))
    if of_all.n > rule.sample_size:
        limits += _of_all(of_all, band=band, rule=rule, centre=centre, marked=bool(look.others))
    place = max(range(look.n), key=lambda place: abs(look.deviations[place]))
    laid = {"unit": look.units[place].unit, "limit": inner, "outer": outer}
    limits.append(Limit(what="greatest_deviation", figure=look.deviations[place], unit="%", values=laid))
    return {limit.what: limit for limit in limits}


def beyond_whatever_is_missing(look: looks.Look, *, missing: int, outer_percent: Decimal) -> frozenset[str]:
    """Units beyond the outer limit of the mean of a whole sample, whatever those weigh that are still missing.

    Where none of the missing ones fails the sample itself, each lies within the outer limit of that mean M, so that M
    lies between S / (N - (1 - d) m) and S / (N - (1 + d) m): S is the sum of those weighed, N the whole sample, m the
    number missing, d the outer limit.

    Parameters
    ----------
    look : Look
        The units weighed [g], and those beside them.
    missing : int
        Units still to be weighed.
    outer_percent : Decimal
        The outer limit [% of the mean].
    """
    total, whole = sum(unit.value for unit in look.units), look.n + missing
    low, high = 1 - Fraction(outer_percent) / 100, 1 + Fraction(outer_percent) / 100
    least, room = low * total / (whole - low * missing), whole - high * missing
    return frozenset(
        unit.unit
        for unit in (*look.units, *look.others)
        if unit.value < least or (room > 0 and unit.value > high * total / room)
    )


def _of_all(of_all: looks.Look, *, band: MassBand, rule: MassRule, centre: str, marked: bool) -> list[Limit]:
    """The counts over all units weighed, and the share of the possible samples that would comply [%]."""
    beyond, farther = (len(of_all.beyond(limit)) for limit in (band.limit_percent, band.outer_percent))
    share = share_of_samples(
        of_all.n,
        drawn=rule.sample_size,
        hits=beyond,
        graver=farther,
        most_hits=rule.most_beyond_limit,
        most_graver=rule.most_beyond_outer,
    )
    laid = {"of": of_all.n, "farther": farther, "percent": band.limit_percent, "centre": centre}
    bound = LEAST_SHARE_PERCENT if marked else None
    return [
        Limit(what="beyond_limit_of_all", figure=beyond, unit="units", values=laid),
        Limit(
            what="samples_that_comply",
            figure=share * 100,
            bound=bound,
            met=None if bound is None else share * 100 >= bound,
            unit="%",
            values={"of": of_all.n, "drawn": rule.sample_size},
        ),
    ]


def _reasons(
    verdict: Verdict, limits: dict[str, Limit], *, figures: dict[str, float | int | None]
) -> tuple[Message, ...]:
    weighed, beyond, farther = limits["units_weighed"], limits["beyond_limit"], limits["beyond_double"]
    if verdict is Verdict.DOES_NOT_COMPLY:
        # What lies beyond the outer limit is said before, and in place of, what lies beyond the inner one.
        graver = [one for one in (farther, limits.get("others_beyond")) if one is not None and one.met is False]
        return tuple(message("tests.exceeded", limit=one) for one in graver or (beyond,))
    if verdict is Verdict.TOO_FEW_UNITS:
        at_most = figures["fraction_beyond_at_most_percent"]
        return (
            message("tests.too_few_weighed", asked=weighed.bound, picked=weighed.figure, of=weighed.values["of"]),
            message("tests.masses_so_far", inner=beyond, outer=farther, at_most_percent=at_most),
        )
    if verdict is Verdict.NOT_ASSESSED:
        every, share = limits["beyond_limit_of_all"], limits["samples_that_comply"].figure
        assert isinstance(share, Fraction)
        told = {**every.values, "beyond": every.figure, "asked": weighed.bound, "share": float(share / 100)}
        if limits["samples_that_comply"].met is False:
            return (message("tests.within", inner=beyond, outer=farther), message("tests.unlikely_sample", **told))
        return (message("tests.sample-not-marked", **told, weighed=weighed.figure),)
    reasons = [message("tests.within", inner=beyond, outer=farther)]
    if weighed.figure != weighed.bound:
        reasons.append(message("tests.more_weighed", asked=weighed.bound, weighed=weighed.figure, allowed=beyond.bound))
    return tuple(reasons)


def _figures(look: looks.Look, limits: Mapping[str, Limit], *, band: MassBand) -> dict[str, float | int | None]:
    counts = looks.figures_of(limits, beyond_limit="beyond_limit", beyond_double="beyond_double")
    at_most = upper_bound(counts["beyond_limit"], n=look.n, confidence=BOUND_CONFIDENCE)
    of_all: dict[str, float | int | None] = {}
    if "beyond_limit_of_all" in limits:
        every, share = limits["beyond_limit_of_all"], limits["samples_that_comply"].figure
        assert isinstance(every.figure, int)
        assert isinstance(share, Fraction)
        of_all = {
            "beyond_limit_of_all": every.figure,
            "beyond_double_of_all": every.values["farther"],
            "samples_that_comply_percent": float(share),
        }
    return {
        "mean_g": float(look.mean),
        "sd_g": look.spread(),
        "rsd_percent": look.spread(per=look.mean / 100),
        "limit_percent": float(band.limit_percent),
        "outer_percent": float(band.outer_percent),
        **counts,
        "greatest_deviation_percent": float(max(look.of_units, key=abs)),
        "fraction_beyond_at_most_percent": 100 * at_most,
        **of_all,
    }


def _working(look: looks.Look, *, band: MassBand, centre: str) -> list[Message]:
    lines = [message("working.mean", n=look.n, mean=look.mean, unit="g")]
    if look.variance is not None:
        lines += [
            message("working.spread", n=look.n, variance=look.variance, unit="g"),
            message("working.relative_spread", square=look.variance / look.mean**2),
        ]
    return [*lines, *looks.limits_and_units(look, (band.limit_percent, band.outer_percent), unit="g", centre=centre)]
