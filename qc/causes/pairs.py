"""Two causes at once: how well each pair explains the measurements, and how the two share its probability."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations
from math import exp, log

from msgspec import Struct

from qc.causes.background import Field
from qc.causes.catalogue import CAUSES
from qc.causes.evidence import Likelihood, fit

SOUND = "sound"

# Only pairs with one of the causes that explain most alone are tried: where two are at work, one of them shows.
LEADING = 2


class Hypothesis(Struct, frozen=True, kw_only=True):
    """One cause alone, or two: the logarithm of its evidence, its prior and its posterior probability [-]."""

    causes: tuple[str, ...]
    log_evidence: float
    prior: float
    probability: float = 0.0


def weigh_pairs(
    field: Field,
    *,
    likelihoods: Mapping[str, tuple[Likelihood, ...]],
    evidence: Mapping[str, float],
    chances: Mapping[str, float],
    second_fault: float,
) -> tuple[Hypothesis, ...]:
    """The evidence for the pairs that may matter.

    Parameters
    ----------
    field : Field
        The rows.
    likelihoods : mapping
        The ways in which each cause acts.
    evidence : mapping
        Logarithm of the evidence of each cause alone.
    chances : mapping
        Prior probability of each cause, adding up to 1 [-].
    second_fault : float
        Chance that a faulty batch has a second fault [-].
    """
    faults = [model for model in CAUSES if model.id != SOUND and chances[model.id] > 0.0]
    leading = sorted(faults, key=lambda model: -(evidence[model.id] + log(chances[model.id])))[:LEADING]
    faulty = sum(chances[model.id] for model in faults)
    main = {model.id: _main(likelihoods[model.id]) for model in faults}
    both = list(combinations([model.id for model in faults], 2))
    products = {pair: chances[pair[0]] * chances[pair[1]] for pair in both}
    total = sum(products.values())
    names = {model.id for model in leading}
    return tuple(
        Hypothesis(
            causes=pair,
            log_evidence=fit(field, main[pair[0]].together_with(main[pair[1]])).log_evidence,
            prior=second_fault * faulty * products[pair] / total,
        )
        for pair in both
        if names & set(pair) and _says_something(main[pair[0]]) and _says_something(main[pair[1]])
    )


def _main(likelihoods: tuple[Likelihood, ...]) -> Likelihood:
    """The likeliest way in which a cause acts, taken as its only one."""
    return max(likelihoods, key=lambda one: one.weight)


def _says_something(likelihood: Likelihood) -> bool:
    return bool(likelihood.added or likelihood.shifts)


def shared_out(hypotheses: tuple[Hypothesis, ...], *, evidence: Mapping[str, float]) -> dict[str, float]:
    """Probability of each cause when the probability of a pair is shared between its two.

    Each of the two gets a share in proportion to what the pair would lose without it: a second cause that adds nothing
    gets nothing.
    """
    shared: dict[str, float] = {model.id: 0.0 for model in CAUSES}
    for hypothesis in hypotheses:
        if len(hypothesis.causes) == 1:
            shared[hypothesis.causes[0]] += hypothesis.probability
            continue
        one, two = hypothesis.causes
        without_one = max(hypothesis.log_evidence - evidence[two], 1e-9)
        without_two = max(hypothesis.log_evidence - evidence[one], 1e-9)
        share = without_one / (without_one + without_two)
        shared[one] += share * hypothesis.probability
        shared[two] += (1.0 - share) * hypothesis.probability
    return shared


def normalised(hypotheses: tuple[Hypothesis, ...]) -> tuple[Hypothesis, ...]:
    """The same hypotheses with their probability after the measurements, adding up to 1."""
    logs = [one.log_evidence + log(one.prior) if one.prior > 0.0 else float("-inf") for one in hypotheses]
    top = max(logs)
    weights = [exp(one - top) for one in logs]
    total = sum(weights)
    return tuple(
        Hypothesis(causes=one.causes, log_evidence=one.log_evidence, prior=one.prior, probability=weight / total)
        for one, weight in zip(hypotheses, weights, strict=True)
    )
