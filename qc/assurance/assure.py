"""What the data in hand assure about another sample of the same batch and about its units: one record a test."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction

from msgspec.structs import replace

from qc.assurance.acceptance_geometry import geometry_of
from qc.assurance.joint_region import JointRegion, assured_chance, fraction_outside_at_most, joint_region
from qc.assurance.operating import pass_chances
from qc.assurance.remaining import known_size, marked_contents, marked_masses, rest_of, with_the_rest
from qc.batch import Batch, Part
from qc.results import Assurance, TestResult
from qc.rules.records import AnyRule, ContentRule, DosageUnitRule, MassBand, MassBasis, MassRule
from qc.stats.tolerance import two_sided_factor

# No data assure certainty, whatever the arithmetic of far tails says; a bound is stated no higher than this.
MOST_ASSURED = 1.0 - 1e-6
MOST_STATED_PERCENT = 99.9
COVERAGE = 0.95
"""Share of the units that the tolerance interval is to hold: common practice."""

_CHANGED = "The pour changed along its course: this holds only for units drawn at random from all of it."

_IN_WORDS = {10: "ten", 20: "twenty", 30: "thirty"}


def assure_batch(
    *,
    tests: Sequence[TestResult],
    book_rules: Mapping[str, AnyRule],
    batch: Batch,
    confidence: float = 0.95,
    changed: Collection[str | None] = (),
    contents: Mapping[str, Mapping[str, Fraction]] | None = None,
) -> tuple[Assurance, ...]:
    """What the tests of a batch assure, for every test whose figures have a mean and a spread.

    Parameters
    ----------
    tests : sequence of TestResult
        Judged tests; their figures and n are read.
    book_rules : mapping
        Rule records by id.
    batch : Batch
        For the number of units that are left.
    confidence : float
        Of every bound [-].
    changed : collection of str or None
        What clearly changed along the pour: names of actives, None for the mass. The sentence then says what the
        bound still holds for.
    contents : mapping or None
        By active, the content of every whole unit assayed [% of label], for the number of units outside the limits.

    Returns
    -------
    tuple of Assurance
        `pass_chance_low` is None where the spread is zero, and where the rule sets no chance of passing.

    Notes
    -----
    The units tested are taken as a random sample of normal units. A change along the pour breaks that for units that
    are neighbours; units drawn at random from the whole pour remain a random sample, if no longer quite a normal one.
    In a small batch the units that are left are further draws from the same pour, so the bound on a fresh sample needs
    no correction for the size of the batch. What is said of the units that are left, see
    `qc.assurance.remaining.with_the_rest`.
    """
    found = []
    for test in tests:
        rule = book_rules.get(test.rule) if test.n >= 2 else None
        if isinstance(rule, DosageUnitRule):
            of_units = (contents or {}).get(test.active or "", {})
            found.append(_dosage_units(test, rule, batch, confidence, contents=of_units))
        elif isinstance(rule, MassRule | ContentRule):
            found.append(_about_own_mean(test, rule, batch, confidence))
    return tuple(
        replace(record, sentence=f"{record.sentence} {_CHANGED}", caveat=_CHANGED)
        if record.active in changed
        else record
        for record in found
        if record is not None
    )


def _dosage_units(
    test: TestResult, rule: DosageUnitRule, batch: Batch, confidence: float, *, contents: Mapping[str, Fraction]
) -> Assurance | None:
    mean, sd = test.figures.get("mean_percent"), test.figures.get("sd_percent")
    if mean is None or sd is None:
        return None
    region = joint_region(float(mean), float(sd), n=test.n, confidence=confidence)
    chance: float | None = None
    if sd > 0.0:
        target = test.figures.get("target_percent")
        geometry = geometry_of(rule, target_percent=100.0 if target is None else float(target))
        chance = min(assured_chance(region, geometry=geometry), MOST_ASSURED)
    limit = float(rule.l1_percent)
    outside = fraction_outside_at_most(region, low=100.0 - limit, high=100.0 + limit)
    record = _record(
        test,
        region,
        chance=chance,
        who=_asked(batch, size=rule.first_size, further=rule.second_size, used_up=True),
        scale="of label",
        extra=f", and not more than {_up(outside)} of them outside {100 - limit:g} to {100 + limit:g} %",
    )
    # Without an assay of single units the test went by mass, and every unit is still there.
    assayed = any(assay.active == test.active and assay.part is Part.WHOLE for assay in batch.assays)
    marked = marked_contents(contents, sample=test.sample, limit=Fraction(rule.l1_percent)) if assayed else None
    rest = rest_of(batch, by_mass=not assayed)
    return with_the_rest(record, region=region, rest=rest, scale="of label", marked=marked)


def _about_own_mean(
    test: TestResult, rule: MassRule | ContentRule, batch: Batch, confidence: float
) -> Assurance | None:
    relative = test.figures.get("rsd_percent")
    if relative is None:
        return None
    mean, sd, scale = 100.0, float(relative), "of the mean"
    label_mean, label_sd = test.figures.get("mean_percent"), test.figures.get("sd_percent")
    if isinstance(rule, ContentRule) and label_mean is not None and label_sd is not None and label_mean > 0:
        mean, sd, scale = float(label_mean), float(label_sd), "of label"
    region = joint_region(mean, sd, n=test.n, confidence=confidence)
    band = _band(rule, test) if isinstance(rule, MassRule) else None
    limited = band is not None if isinstance(rule, MassRule) else scale == "of label" or not _bounds_the_mean(rule)
    chance = _least_chance(region, rule=rule, band=band) if sd > 0.0 and limited else None
    size = rule.sample_size if isinstance(rule, MassRule) else rule.first_size
    further = rule.second_size if isinstance(rule, ContentRule) else 0
    who = _asked(batch, size=size, further=further, used_up=isinstance(rule, ContentRule))
    record = _record(test, region, chance=chance, who=who, scale=scale, extra="")
    rest = rest_of(batch, by_mass=isinstance(rule, MassRule))
    marked = marked_masses(test, rule=rule, batch=batch) if isinstance(rule, MassRule) else None
    return with_the_rest(record, region=region, rest=rest, scale=scale, marked=marked)


def _least_chance(region: JointRegion, *, rule: MassRule | ContentRule, band: MassBand | None) -> float:
    """The least chance on the region; where only the ratio of SD to mean counts, that of the corner on the left.

    A corner at or below zero means that the data say nothing of the mean.
    """
    if region.mean_low <= 0.0:
        return 0.0
    bounded = isinstance(rule, ContentRule) and _bounds_the_mean(rule)
    fixed = isinstance(rule, MassRule) and rule.basis is MassBasis.LABELLED_MASS
    corners = [region.mean_low, region.mean_high] if bounded or fixed else [region.mean_low]
    chances = pass_chances(corners, region.sd_high, rule=rule, band=band)
    return float((chances.overall - chances.error_bound).clip(0.0, MOST_ASSURED).min())


def _bounds_the_mean(rule: ContentRule) -> bool:
    return rule.mean_low_percent is not None or rule.mean_high_percent is not None


def _band(rule: MassRule, test: TestResult) -> MassBand | None:
    """The row of the mass table that the test was judged by, told by its limit."""
    limit = test.figures.get("limit_percent")
    return next((band for band in rule.bands if limit is not None and float(band.limit_percent) == limit), None)


def _record(
    test: TestResult, region: JointRegion, *, chance: float | None, who: str, scale: str, extra: str
) -> Assurance:
    factor = two_sided_factor(region.n, coverage=COVERAGE, confidence=region.confidence)
    low, high = region.mean - factor * region.sd, region.mean + factor * region.sd
    sure = f"{region.confidence * 100:g} %"
    if chance is None:
        first = f"The {region.n} units in hand do not differ at all, so nothing is assured about {who.rstrip(',')}."
        low_shown = high_shown = None
        if region.sd > 0.0:
            who = who.rstrip(",")
            first = f"The limit of the rule cannot be told from these data, so nothing is assured about {who}."
            low_shown, high_shown = low, high
    else:
        low_shown, high_shown = low, high
        first = (
            f"{who[0].upper()}{who[1:]} would pass with a chance of at least {_down(chance)} ({sure} confidence)."
            if chance >= 0.01
            else f"The {region.n} units in hand do not assure that {who} would pass: "
            f"the chance may be less than 1 % ({sure} confidence)."
        )
    held = (
        ""
        if low_shown is None
        else f"With {'the same' if chance is not None else sure} confidence at least {COVERAGE * 100:g} % of all units "
        f"lie between {low:.1f} and {high:.1f} % {scale}{extra}."
    )
    return Assurance(
        test=test.id,
        active=test.active,
        confidence=region.confidence,
        pass_chance_low=chance,
        coverage=COVERAGE,
        tolerance_low_percent=low_shown,
        tolerance_high_percent=high_shown,
        sentence=" ".join(part for part in (first, held) if part),
    )


def _asked(batch: Batch, *, size: int, further: int, used_up: bool) -> str:
    """Who would be tested: another sample of this batch, or of a batch like it where too few units are left."""
    known = known_size(batch)
    whole = len(batch.units) if known is None else known
    # An assay uses a unit up; a weighing does not.
    left = max(whole - (len({assay.unit for assay in batch.assays}) if used_up else 0), 0)
    who = f"another {_words(size)} units of this batch"
    if left < size:
        remaining = {0: "none of it is left", 1: "only 1 of it is left"}.get(left, f"only {left} of it are left")
        who = f"{_words(size)} units of a batch like this one ({remaining})"
    if not further:
        return who
    # The first stage takes its units first; a batch like this one has all that a second stage asks for.
    short = size <= left < size + further
    return f"{who}, second stage included{' (too few are left for it)' if short else ''},"


def _words(count: int) -> str:
    return _IN_WORDS.get(count, str(count))


def _down(chance: float) -> str:
    """A chance in percent, rounded down so that "at least" stays true."""
    percent = chance * 100.0
    if percent < 99.0:
        return f"{math.floor(percent)} %"
    return f"{min(math.floor(percent * 10.0) / 10.0, MOST_STATED_PERCENT):.1f} %"


def _up(fraction: float) -> str:
    """A fraction in percent, rounded up so that "not more than" stays true."""
    return f"{max(math.ceil(fraction * 1000.0) / 10.0, 100.0 - MOST_STATED_PERCENT):.1f} %"
