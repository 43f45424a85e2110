"""Weigh the causes against each other: which explain the measurements, how likely each is, and what would tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations
from math import inf, log

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch
from qc.causes.background import Background, nodes_for
from qc.causes.evidence import Fit, Likelihood, fit, log_sum
from qc.causes.facts import facts_of
from qc.causes.model import SOMETHING_ELSE, cause, leave
from qc.causes.next_measurement import thought_of, weigh_next
from qc.causes.priors import Priors, builtin_priors
from qc.causes.rows import RowKind, Rows, rows_of
from qc.results import SOUND, CauseFound, CausePair, NextMeasurement
from qc.results.messages import Message, Remark, message
from qc.results.pour import PourTrend
from qc.stats.one_thread import one_thread

# The causes that need an active which is not dissolved.
SETTLING = ("settling-in-pour", "settling-in-unit")
# Only pairs with one of the causes that explain most alone are tried: where two are at work, one of them shows.
LEADING = 2
# Nor is a pair with a cause that the measurements are less likely by than by a sound batch, by this logarithm: a second
# fault that shows makes them likelier by itself too.
UNLIKE = 3.0
# A pair is named when it is at least this likely.
PAIR_NAMED = 0.2


class CausesWeighed(Struct, frozen=True, kw_only=True):
    """What the measurements say about the causes.

    Parameters
    ----------
    causes : tuple of CauseFound
        All causes, most probable first; the probabilities add up to 1.
    pairs : tuple of CausePair
        Pairs that the measurements single out, most probable first.
    next_measurements : tuple of NextMeasurement
        What would tell the likeliest causes apart, the most telling for its effort first.
    notices : tuple of Remark
        What was left out; empty when everything was used.
    """

    causes: tuple[CauseFound, ...]
    pairs: tuple[CausePair, ...] = ()
    next_measurements: tuple[NextMeasurement, ...] = ()
    notices: tuple[Remark, ...] = ()


class Hypothesis(Struct, frozen=True, kw_only=True):
    """One cause alone, or two: the logarithm of its evidence, its prior and its posterior probability [-]."""

    causes: tuple[str, ...]
    log_evidence: float
    prior: float
    probability: float = 0.0


def weigh_causes(batch: Batch, *, priors: Priors | None = None, trend: PourTrend | None = None) -> CausesWeighed:
    """Weigh all causes against the measurements of a batch.

    Parameters
    ----------
    batch : Batch
        As it was read.
    priors : Priors, optional
        Prior distributions; the built-in values when left out. The causes weighed are those of its section `prior`.
    trend : PourTrend, optional
        What the analysis of the pour found; its changes are quoted among the evidence.

    Returns
    -------
    CausesWeighed
        Probabilities that each of the known causes, two of them, or something else is at work.

    Notes
    -----
    Each cause is a generative model of all rows at once (masses, contents, parts, base pours). Given the background
    spreads and the strength of the cause the logarithms are jointly normal; both are integrated over numerically.
    Measurements that are missing are left out: causes they could have shown stay as probable, one against the
    other. What the eye saw counts last, by the factor of the priors.
    """
    believed = priors or builtin_priors()
    with one_thread():
        weighed = _weighed(batch, priors=believed, trend=trend)
    return replace(weighed, causes=with_what_was_seen(weighed.causes, batch=batch, priors=believed))


def _weighed(batch: Batch, *, priors: Priors, trend: PourTrend | None) -> CausesWeighed:
    measured = rows_of(batch)
    rows = replace(measured, rows=(*measured.rows, *thought_of(batch, measured)))
    chances = prior_chances(rows, priors)
    models = {id: cause(id) for id in chances}
    facts = facts_of(rows, trend=trend)
    spoken = {id: tuple(model.speak(facts)) for id, model in models.items()}
    if not rows.measured.any():
        return CausesWeighed(causes=_ranked(chances, spoken, alike=alike(dict.fromkeys(chances, 0.0), priors=priors)))
    background = Background(rows=rows, priors=priors, nodes=nodes_for(rows))
    likelihoods = {id: model.likelihood(background) for id, model in models.items()}
    fits = {id: fits_of(background, ways) for id, ways in likelihoods.items()}
    evidence = {id: log_sum(np.array([one.log_evidence for one in found])) for id, found in fits.items()}
    hypotheses = weigh_hypotheses(background, likelihoods=likelihoods, evidence=evidence, chances=chances)
    probabilities = shared_out(hypotheses, evidence=evidence)
    pairs = _pairs_named(hypotheses, evidence)
    if SOMETHING_ELSE in spoken:
        spoken[SOMETHING_ELSE] = (_beside_the_best(evidence, fits[SOMETHING_ELSE]), *spoken[SOMETHING_ELSE])
    return CausesWeighed(
        causes=_ranked(probabilities, spoken, alike=alike(evidence, priors=priors, pairs=pairs)),
        pairs=pairs,
        next_measurements=weigh_next(background, fits=fits, probabilities=probabilities),
        notices=_notices(rows),
    )


def prior_chances(rows: Rows, priors: Priors) -> dict[str, float]:
    """Prior probability of each cause, adding up to 1 [-]."""
    chances = priors.prior()
    if rows.substances and not any(substance.suspended for substance in rows.substances):
        for id in SETTLING:
            chances[id] *= priors.number("settling-in-pour", "dissolved_weight")
    if rows.measured.any() and not (rows.of(RowKind.MASS) & rows.measured).any():
        # A balance that nobody used cannot be what went wrong.
        chances |= {id: 0.0 for id in chances if cause(id).weigh is not leave}
    total = sum(chances.values())
    return {id: chance / total for id, chance in chances.items()}


def fits_of(background: Background, ways: Sequence[Likelihood]) -> tuple[Fit, ...]:
    """Fits of all the ways in which a cause acts, their weight in the evidence."""
    return tuple(fit(background, one) for one in ways if one.weight > 0.0)


def weigh_hypotheses(
    background: Background,
    *,
    likelihoods: Mapping[str, tuple[Likelihood, ...]],
    evidence: Mapping[str, float],
    chances: Mapping[str, float],
) -> tuple[Hypothesis, ...]:
    """Each cause alone, and the pairs that may matter, with their probabilities.

    Parameters
    ----------
    background : Background
        The rows.
    likelihoods : mapping
        The ways in which each cause acts; in a pair the likeliest of them is taken as its only one.
    evidence : mapping
        Logarithm of the evidence of each cause alone.
    chances : mapping
        Prior probability of each cause, adding up to 1 [-].
    """
    second = background.priors.number("pairs", "second_fault")
    priors = {(id,): chance * (1.0 if id == SOUND else 1.0 - second) for id, chance in chances.items()}
    found = [
        Hypothesis(causes=causes, log_evidence=evidence[causes[0]], prior=prior) for causes, prior in priors.items()
    ]
    faults = [id for id, chance in chances.items() if id not in (SOUND, SOMETHING_ELSE) and chance > 0.0]
    leading = sorted(faults, key=lambda id: -(evidence[id] + log(chances[id])))[:LEADING]
    main = {id: max(likelihoods[id], key=lambda way: way.weight) for id in faults}
    shown = {
        id
        for id, way in main.items()
        if (way.added or way.shifts) and evidence[id] > evidence.get(SOUND, -inf) - UNLIKE
    }
    products = {pair: chances[pair[0]] * chances[pair[1]] for pair in combinations(faults, 2)}
    scale = second * sum(chances[id] for id in faults) / (sum(products.values()) or 1.0)
    for (one, two), product in products.items():
        if second > 0.0 and {one, two} & set(leading) and {one, two} <= shown:
            both = fit(background, main[one].together_with(main[two]))
            found.append(Hypothesis(causes=(one, two), log_evidence=both.log_evidence, prior=scale * product))
    return normalised(found)


def normalised(hypotheses: Sequence[Hypothesis]) -> tuple[Hypothesis, ...]:
    """The same hypotheses with their probability after the measurements, adding up to 1."""
    logs = np.array([one.log_evidence + log(one.prior) if one.prior > 0.0 else -inf for one in hypotheses])
    weights = np.exp(logs - logs.max())
    shares = (weights / weights.sum()).tolist()
    return tuple(replace(one, probability=share) for one, share in zip(hypotheses, shares, strict=True))


def shared_out(hypotheses: Sequence[Hypothesis], *, evidence: Mapping[str, float]) -> dict[str, float]:
    """Probability of each cause when the probability of a pair is shared between its two.

    Each of the two gets a share in proportion to what the pair would lose without it: a second cause that adds nothing
    gets nothing.
    """
    shared = dict.fromkeys(evidence, 0.0)
    for hypothesis in hypotheses:
        others = reversed(hypothesis.causes) if len(hypothesis.causes) > 1 else ()
        lost = [max(hypothesis.log_evidence - evidence[other], 1e-9) for other in others] or [1.0]
        for id, share in zip(hypothesis.causes, lost, strict=True):
            shared[id] += share / sum(lost) * hypothesis.probability
    return shared


def with_what_was_seen(causes: tuple[CauseFound, ...], *, batch: Batch, priors: Priors) -> tuple[CauseFound, ...]:
    """Causes with the defects that speak for them among their evidence, most probable first.

    Parameters
    ----------
    causes : tuple of CauseFound
        As weighed by the measurements; their probabilities add up to 1.
    batch : Batch
        For what was seen on its units.
    priors : Priors
        For how much a defect weighs.

    Returns
    -------
    tuple of CauseFound
        The probability of a cause that defects speak for is raised once, by one factor, however many units show them:
        defects of one batch are no independent witnesses.
    """
    if not any(unit.seen for unit in batch.units):
        return causes
    from qc.rules.kinds.visual.defects import defect_evidence

    spoken = defect_evidence(batch)
    factor = priors.number("seen", "supports")
    weights = {one.cause: one.probability * (factor if one.cause in spoken else 1.0) for one in causes}
    total = sum(weights.values())
    evidence = {one.cause: (*one.evidence, spoken[one.cause]) for one in causes if one.cause in spoken}
    told = (
        replace(one, probability=weights[one.cause] / total, evidence=evidence.get(one.cause, one.evidence))
        for one in causes
    )
    return tuple(sorted(told, key=lambda one: -one.probability))


def alike(
    evidence: Mapping[str, float], *, priors: Priors, pairs: Sequence[CausePair] = ()
) -> dict[str, tuple[str, ...]]:
    """Which causes the measurements cannot tell from each.

    Two causes are alike when their Bayes factor lies near 1: when the measurements are, averaged over all that was held
    possible under each cause, less than so many times as likely under the one as under the other. What was believed
    beforehand has no say in it, and two that the measurements single out as a pair at work together are not alike.

    Parameters
    ----------
    evidence : mapping
        Logarithm of the evidence of each cause alone.
    priors : Priors
        For the factors: one between faults, a smaller one between a fault and a sound batch.
    pairs : sequence of CausePair
        Those singled out.

    References
    ----------
    Kass and Raftery (1995), Bayes factors, J. Am. Stat. Assoc. 90, 773-795, section 3.2 (from memory).
    """
    together = [set(pair.causes) for pair in pairs]
    within = {key: log(priors.number("alike", key)) for key in ("faults", "sound")}
    return {
        one: tuple(
            other
            for other in evidence
            if other != one
            and abs(evidence[one] - evidence[other]) < within["sound" if SOUND in (one, other) else "faults"]
            and {one, other} not in together
        )
        for one in evidence
    }


def _beside_the_best(evidence: Mapping[str, float], otherwise: Sequence[Fit]) -> Message:
    """How much better, or worse, what is on no list agrees with the measurements than the best model; its best form."""
    best = max((id for id in evidence if id != SOMETHING_ELSE), key=evidence.__getitem__)
    form = max(otherwise, key=lambda one: one.log_evidence).likelihood.form
    log_ratio = evidence[SOMETHING_ELSE] - evidence[best]
    return message("causes.beside_the_best", cause=best, form=form, log_ratio=log_ratio)


def _ranked(
    probabilities: Mapping[str, float],
    spoken: Mapping[str, tuple[Message, ...]],
    *,
    alike: Mapping[str, tuple[str, ...]],
) -> tuple[CauseFound, ...]:
    order = sorted(probabilities, key=lambda id: -probabilities[id])
    return tuple(
        CauseFound(
            cause=id,
            probability=probabilities[id],
            alike=tuple(other for other in order if other in alike[id] and probabilities[other] > 0.0),
            evidence=spoken[id],
        )
        for id in order
    )


def _pairs_named(hypotheses: Sequence[Hypothesis], evidence: Mapping[str, float]) -> tuple[CausePair, ...]:
    likely = [one for one in hypotheses if len(one.causes) == 2 and one.probability >= PAIR_NAMED]
    named = []
    for pair in sorted(likely, key=lambda one: -one.probability):
        one, two = pair.causes
        better = pair.log_evidence - max(evidence[one], evidence[two])
        sentence = message("causes.pair", causes=(one, two), log_ratio=better)
        named.append(CausePair(causes=(one, two), probability=pair.probability, sentence=sentence))
    return tuple(named)


def _notices(rows: Rows) -> tuple[Remark, ...]:
    if rows.thinned_from is None:
        return ()
    text = message("causes.thinned", looked_at=len(rows.units), units=rows.thinned_from)
    return (Remark(where="causes", text=text),)
