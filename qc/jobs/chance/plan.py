"""What a planned batch needs: the spread it may have, the units to test, and what a smaller sample would cost."""

from __future__ import annotations

from typing import TYPE_CHECKING

from msgspec import Struct

from qc.jobs.chance import Question
from qc.rules.kinds import dosage_units

_POOR_CHANCE = 0.05
_NUMBERS = (10, 20, 30, 40, 50, 60, 100)

if TYPE_CHECKING:
    from qc.assurance.planning import AcceptanceLimits, SampleChoice


class ChancePlan(Struct, frozen=True, kw_only=True):
    """Answers for a planned mean and SD.

    Parameters
    ----------
    first_size : int
        Units of the rule's first stage.
    wanted, confidence : float
        Chance of passing that is wanted, and the confidence of assurances [-].
    greatest_sd_percent : float
        Greatest true SD with which a batch of this mean passes with the chance wanted [% of label].
    even_sd_percent : float
        The SD with which it is as likely to pass as not [% of label].
    poor_sd_percent : float
        The SD from which on it passes with a chance of 5 % at most: the poor batch of `samples` [% of label].
    units_needed : int or None
        Units to test so that, with the confidence, the chance wanted is assured, if they show this mean and SD. None
        where no thousand units would do, and for tests other than of dosage units.
    greatest_sample_sd_percent : float or None
        The greatest SD that the units of one first stage may show to assure as much; dosage units only [% of label].
    samples : tuple of SampleChoice
        First stages of other sizes; the sound batch has `greatest_sd_percent`, the poor one `poor_sd_percent`.
    """

    first_size: int
    wanted: float
    confidence: float
    greatest_sd_percent: float
    even_sd_percent: float
    poor_sd_percent: float
    units_needed: int | None
    greatest_sample_sd_percent: float | None
    samples: tuple[SampleChoice, ...]


def chance_plan(asked: Question, mean: float, sd: float) -> ChancePlan:
    """What a batch of a planned mean and SD needs to pass a test.

    Parameters
    ----------
    asked : Question
    mean, sd : float
        True mean and SD that are planned, as for `chance` [% of label].

    Returns
    -------
    ChancePlan

    Raises
    ------
    ValueError
        When a figure cannot be used, or the rule has no chance of passing to work out.

    Examples
    --------
    >>> from qc.jobs.chance import question
    >>> plan = chance_plan(question("dosage-unit-uniformity"), 100, 4)
    >>> round(plan.greatest_sd_percent, 2), plan.units_needed
    (6.19, 26)
    """
    from qc.assurance.planning import greatest_sample_sd, greatest_true_sd, price_of_sample, units_needed
    from qc.stats.sample_plans import AcceptanceGeometry

    plan, wanted, sure = asked.plan(), asked.wanted, asked.confidence
    greatest, even, poor = (greatest_true_sd(mean, plan=plan, chance=chance) for chance in (wanted, 0.5, _POOR_CHANCE))
    needed, shown = None, None
    size = plan.first_size
    if isinstance(plan, AcceptanceGeometry):
        needed = units_needed(mean, sd, plan=plan, wanted=wanted, confidence=sure)
        shown = greatest_sample_sd(mean, n=size, plan=plan, wanted=wanted, confidence=sure)
    sizes = sorted({max(6, size // 2), size, 2 * size, 3 * size})
    costs = price_of_sample(plan=plan, numbers=sizes, sound=(mean, greatest), poor=(mean, poor))
    return ChancePlan(
        first_size=size,
        wanted=wanted,
        confidence=sure,
        greatest_sd_percent=greatest,
        even_sd_percent=even,
        poor_sd_percent=poor,
        units_needed=needed,
        greatest_sample_sd_percent=shown,
        samples=costs,
    )


def dosage_unit_limits(asked: Question) -> AcceptanceLimits:
    """The table of acceptance limits of a dosage-unit rule, for means over its whole range.

    Parameters
    ----------
    asked : Question

    Returns
    -------
    AcceptanceLimits
        Means one percent of label apart, 10 to 100 units.

    Raises
    ------
    ValueError
        When the rule is not one of the dosage-unit test.
    """
    from qc.assurance.planning import acceptance_limits

    record = dosage_units.KIND.own(asked.rule)
    if record is None:
        raise ValueError(f"{asked.rule.id} has no acceptance value; name a rule of dosage-unit-uniformity")
    reach = int(record.l1_percent) - 3
    low = int(record.reference_low_percent) - reach
    high = int(max(float(record.reference_high_percent), asked.target_percent)) + reach
    return acceptance_limits(
        plan=dosage_units.KIND.plan(record, target_percent=asked.target_percent, rounded=asked.rounded),
        means=[float(mean) for mean in range(low, high + 1)],
        numbers=_NUMBERS,
        wanted=asked.wanted,
        confidence=asked.confidence,
    )
