"""What the data in hand assure about another sample of the same batch and about its units: one record a test."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction

from msgspec.structs import replace

from qc.assurance.joint_region import JointRegion, assured_chance, fraction_outside_at_most, joint_region
from qc.assurance.operating import plan_chances
from qc.assurance.remaining import contents_outside, known_size, masses_outside, with_the_rest
from qc.batch import Batch, Part
from qc.results import Assurance, Message, TestResult, Verdict, message
from qc.rules.kinds import dosage_units, kind_of, mass
from qc.rules.kinds.mass.record import MassBand
from qc.rules.records import Rule
from qc.stats.sample_plans import CountPlan, SamplePlan
from qc.stats.tolerance import two_sided_factor

# No data assure certainty, whatever the arithmetic of far tails says; a bound is stated no higher than this.
MOST_ASSURED = 1.0 - 1e-6
REFUTED = 0.5
"""A sample that fails although its mean and spread assure a greater chance than this is not like normal units."""
COVERAGE = 0.95
"""Share of the units that the tolerance interval is to hold: common practice."""


def assure_batch(
    *,
    tests: Sequence[TestResult],
    book_rules: Mapping[str, Rule],
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
        What clearly changed along the pour: names of actives, None for the mass. A caveat then says what the bound
        still holds for.
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
        rule = book_rules.get(test.rule)
        if rule is not None and kind_of(rule).chance and test.n >= 2:
            of_units = (contents or {}).get(test.active or "", {})
            found.append(_assured(test, rule, batch, confidence, contents=of_units))
    caveat = message("assurance.changed")
    return tuple(
        replace(record, said=(*record.said, caveat), caveat=caveat) if record.active in changed else record
        for record in found
        if record is not None
    )


def _assured(
    test: TestResult, rule: Rule, batch: Batch, confidence: float, *, contents: Mapping[str, Fraction]
) -> Assurance | None:
    """What one test assures; None where it has no mean and spread."""
    of_label, of_mass = dosage_units.KIND.own(rule), mass.KIND.own(rule)
    mean, sd, scale = test.figures.get("mean_percent"), test.figures.get("sd_percent"), "label"
    if of_label is None and (of_mass is not None or not mean or sd is None):
        mean, sd, scale = 100.0, test.figures.get("rsd_percent"), "mean"
    if mean is None or sd is None:
        return None
    region = joint_region(float(mean), float(sd), n=test.n, confidence=confidence)
    by_mass, counted, outside = of_mass is not None, None, None
    if of_label is not None:
        limit = float(of_label.l1_percent)
        low, high = 100.0 - limit, 100.0 + limit
        share = fraction_outside_at_most(region, low=low, high=high)
        outside = message("assurance.share_outside", share=share, low=low, high=high)
        # Without an assay of single units the test went by mass, and every unit is still there.
        by_mass = not any(assay.active == test.active and assay.part is Part.WHOLE for assay in batch.assays)
        if not by_mass:
            counted = contents_outside(contents, sample=test.sample, limit=Fraction(of_label.l1_percent))
    elif of_mass is not None:
        counted = masses_outside(test, rule=of_mass, batch=batch)
    record = _record(
        test,
        region,
        chance=_least_chance(region, plan=_plan(rule, test, scale=scale)),
        asked=_asked(batch, rule, used_up=of_mass is None),
        scale=scale,
        outside=outside,
    )
    return with_the_rest(record, region=region, batch=batch, by_mass=by_mass, scale=scale, counted=counted)


def _plan(rule: Rule, test: TestResult, *, scale: str) -> SamplePlan | None:
    """What the rule asks of a sample, by the row of its table that judged the test; None where no limit holds.

    A bound on the mean asks for contents in % of label.
    """
    band = None
    if mass.KIND.own(rule) is not None:
        if test.mass_limits is None:
            return None
        limit, outer = test.mass_limits
        band = MassBand(forms=(), limit_percent=limit, outer_percent=outer, mark=rule.reference.mark)
    target = test.figures.get("target_percent")
    plan = kind_of(rule).plan(rule, band=band, target_percent=100.0 if target is None else float(target))
    return None if isinstance(plan, CountPlan) and plan.bounds_the_mean and scale == "mean" else plan


def _least_chance(region: JointRegion, *, plan: SamplePlan | None) -> float | None:
    """The least chance on the region; None without a plan or a spread.

    Where only the ratio of SD to mean counts, it is that of the corner on the left. A corner at or below zero means
    that the data say nothing of the mean.
    """
    if plan is None or region.sd <= 0.0:
        return None
    if not isinstance(plan, CountPlan):
        return min(assured_chance(region, geometry=plan), MOST_ASSURED)
    if region.mean_low <= 0.0:
        return 0.0
    both = plan.bounds_the_mean or plan.about_label
    corners = [region.mean_low, region.mean_high] if both else [region.mean_low]
    chances = plan_chances(corners, region.sd_high, plan=plan)
    return float((chances.overall - chances.error_bound).clip(0.0, MOST_ASSURED).min())


def _record(
    test: TestResult,
    region: JointRegion,
    *,
    chance: float | None,
    asked: Message,
    scale: str,
    outside: Message | None,
) -> Assurance:
    """The chance of another sample, and the tolerance interval of all units; none where the sample has no spread."""
    confidence, low, high = region.confidence, None, None
    if chance is not None and chance > REFUTED and test.verdict is Verdict.DOES_NOT_COMPLY:
        said, chance = [message("assurance.refuted", asked=asked)], None
    elif chance is not None:
        said = [message("assurance.passes", chance=chance, n=region.n, confidence=confidence, asked=asked)]
    elif region.sd > 0.0:
        said = [message("assurance.no_limit", asked=asked)]
    else:
        said = [message("assurance.no_difference", n=region.n, asked=asked)]
    if region.sd > 0.0:
        reach = two_sided_factor(region.n, coverage=COVERAGE, confidence=confidence) * region.sd
        low, high = region.mean - reach, region.mean + reach
        said.append(
            message(
                "assurance.all_units",
                low=low,
                high=high,
                scale=scale,
                coverage=COVERAGE,
                confidence=confidence,
                same=chance is not None,
                outside=outside or "",
            )
        )
    return Assurance(
        test=test.id,
        active=test.active,
        confidence=confidence,
        pass_chance_low=chance,
        coverage=COVERAGE,
        tolerance_low_percent=low,
        tolerance_high_percent=high,
        said=tuple(said),
    )


def _asked(batch: Batch, rule: Rule, *, used_up: bool) -> Message:
    """Who would be tested, as the words for it take it: how many units are asked for, and how many are left."""
    size, further = kind_of(rule).sizes(rule)
    whole = known_size(batch) or len(batch.units)
    # An assay uses a unit up; a weighing does not.
    left = max(whole - (len({assay.unit for assay in batch.assays}) if used_up else 0), 0)
    # The first stage takes its units first; a batch like this one has all that a second stage asks for.
    return message("assurance.asked", size=size, left=left, further=further, short=size <= left < size + further)
