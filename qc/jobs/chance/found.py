"""What units that were found say of their batch: how likely it is bad, and that another sample of it passes."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.jobs.chance import Question
from qc.jobs.chance.text import of_hundred
from qc.results.chance import LEAST_ASSURED
from qc.say.numbers import at_least, plain_limit, probability
from qc.say.text import counted
from qc.stats.sample_plans import CountPlan

FEWEST = 3
BAD = 0.5
"""A batch is called bad whose samples pass less often than they fail [-]."""


class UnitsFound(Struct, frozen=True, kw_only=True):
    """What so many units of a batch say of it.

    Parameters
    ----------
    test, rule : str
    n : int
    bad, good : float
        How likely its samples pass less often than they fail, and at least as often as wanted [-].
    pass_chance, pass_chance_low : float
        That another sample passes, and its bound with the confidence asked for [-].
    """

    test: str
    rule: str
    n: int
    bad: float
    good: float
    pass_chance: float
    pass_chance_low: float


def batch_of(values: Sequence[float], *, asked: Question) -> UnitsFound:
    """What these units say of the batch they were drawn from at random.

    Parameters
    ----------
    values : sequence of float
        In % of label; for tests about the own mean in any unit of measure.
    asked : Question

    Raises
    ------
    ValueError
        When there are too few, or they do not differ.

    Examples
    --------
    >>> from qc.jobs.chance import question
    >>> ten = (98.1, 101.2, 99.4, 97.6, 103.0, 100.3, 96.8, 99.9, 102.4, 98.8)
    >>> batch_of(ten, asked=question("dosage-unit-uniformity")).bad < 0.15
    True
    """
    from qc.assurance.posterior import chances_of, pass_chance

    plan, mean = asked.plan(), sum(values) / max(len(values), 1)
    if len(values) < FEWEST or min(values) == max(values) or min(values) < 0.0:
        many = counted(len(values), "unit")
        raise ValueError(f"{many} cannot be used; give {FEWEST} or more that differ, from 0 up")
    own_mean = isinstance(plan, CountPlan) and not plan.about_label
    units = tuple(100.0 * value / mean if own_mean else value for value in values)
    chances, passing = chances_of(units, plan=plan), pass_chance(units, plan=plan, confidence=asked.confidence)
    assert passing is not None
    return UnitsFound(
        test=asked.test,
        rule=asked.rule.id,
        n=len(values),
        bad=float((chances < BAD).mean()),
        good=float((chances >= asked.wanted).mean()),
        pass_chance=passing.mean,
        pass_chance_low=passing.low,
    )


def in_words(found: UnitsFound, *, asked: Question) -> str:
    """The answer, its first sentence for people who are no statisticians."""
    wanted, sure = (f"{plain_limit(100.0 * share)} %" for share in (asked.wanted, asked.confidence))
    low = f", at least {at_least(found.pass_chance_low)} with {sure} confidence"
    return (
        f"Of 100 batches that show these {found.n} units {of_hundred(found.bad)} are bad: their samples fail more "
        f"often than they pass. {of_hundred(found.good).capitalize()} are good: their samples pass in {wanted} of the "
        f"cases or more. Another sample of this batch passes with a chance of {probability(found.pass_chance)}"
        f"{low if found.pass_chance_low >= LEAST_ASSURED else ''}. For units drawn at random, averaged over normal, "
        "heavy-tailed, skewed and mixed spreads; how often batches are bad beforehand does not enter."
    )
