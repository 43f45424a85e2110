"""Causes as frozen records: how probable, which are named together, what would tell them apart or do away with them."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.results.messages import Message


class CauseFound(Struct, frozen=True, kw_only=True):
    """A possible cause with its probability and the facts that speak for and against it.

    Parameters
    ----------
    cause : str
    probability : float
        After the measurements; those of all causes add up to 1 [-].
    alike : tuple of str
        Causes that these measurements cannot tell from it.
    evidence : tuple of Message
    """

    cause: str
    probability: float
    alike: tuple[str, ...] = ()
    evidence: tuple[Message | str, ...] = ()


class CauseGroup(Struct, frozen=True, kw_only=True):
    """Causes that the measurements cannot tell apart, the likeliest first, with the probability of them together."""

    causes: tuple[CauseFound, ...]

    @property
    def probability(self) -> float:
        """The sum of theirs [-]."""
        return min(1.0, sum(one.probability for one in self.causes))

    @property
    def ids(self) -> tuple[str, ...]:
        """What a sentence names together, joined by "or"."""
        return tuple(one.cause for one in self.causes)

    @property
    def probabilities(self) -> tuple[float, ...]:
        """Of each of them [-]."""
        return tuple(one.probability for one in self.causes)


SOUND = "sound"
LEAST_TOGETHER = 0.01
"""From which probability on a cause is named together with others [-]."""


def named_together(causes: Sequence[CauseFound]) -> tuple[CauseGroup, ...]:
    """The causes in groups of those that are to be named together, the most probable group first.

    The likeliest cause takes with it those that are alike to it, then the likeliest of the rest, and so on. A sound
    batch stands by itself, and so does a fault that is alike to it, which no measurement speaks for or against: named
    together they would make a batch look better than it is, or worse. So does a cause that has hardly a chance.
    """
    left = sorted(causes, key=lambda one: -one.probability)
    apart = {one.cause for one in left if one.cause == SOUND or SOUND in one.alike or one.probability < LEAST_TOGETHER}
    groups = []
    while left:
        first = left[0]
        with_it = set() if first.cause in apart else {*first.alike} - apart
        groups.append(CauseGroup(causes=tuple(one for one in left if one is first or one.cause in with_it)))
        left = [one for one in left if one not in groups[-1].causes]
    return tuple(sorted(groups, key=lambda group: -group.probability))


class CausePair(Struct, frozen=True, kw_only=True):
    """Two causes at once that fit the measurements better than either by itself."""

    causes: tuple[str, str]
    probability: float
    sentence: Message | str = ""


class NextMeasurement(Struct, frozen=True, kw_only=True):
    """A measurement that would tell the causes apart, and how much it is expected to settle.

    Parameters
    ----------
    what : Message or str
        What to do, an imperative sentence.
    units : tuple of str
        Names of the units it is done on; empty for base-only pours.
    bits : float
        Expected information about the cause [bits].
    open_bits : float
        What is still open before it [bits].
    effort : float
        Effort on the scale of the priors file, 1 for one weighing [-].
    between : tuple of str
        The two likeliest causes it is to tell apart.
    """

    what: Message | str
    units: tuple[str, ...]
    bits: float
    open_bits: float
    effort: float
    between: tuple[str, str]

    @property
    def settles(self) -> float | None:
        """The share of the uncertainty about the cause that it is expected to remove [-]; None where there is none."""
        return min(self.bits / self.open_bits, 1.0) if self.open_bits > 0 else None


class Remedied(Struct, frozen=True, kw_only=True):
    """What to change of the next pour, and what that is predicted to leave: a proposal, not a promise.

    Parameters
    ----------
    remedy, cause, figure : str
        Ids.
    before, after : float
        The figure as found, and as predicted [%].
    low, high : float
        Where it lies in 95 of 100 draws [%].
    what : Message
        What to do, an imperative sentence.
    sentence : Message
        All of it.
    """

    remedy: str
    cause: str
    figure: str
    before: float
    after: float
    low: float
    high: float
    what: Message | str = ""
    sentence: Message | str = ""

    @property
    def worst(self) -> float:
        """The far end of the range [%]."""
        return max(abs(self.low), abs(self.high))
