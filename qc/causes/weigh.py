"""Weigh the causes against each other: which explain the measurements, how likely each is, and what would tell."""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch
from qc.causes.background import Field, nodes_for
from qc.causes.catalogue import CAUSES
from qc.causes.evidence import Fit, Likelihood, fit, log_sum
from qc.causes.facts import Facts, facts_of
from qc.causes.next_measurement import thought_of, weigh_next
from qc.causes.pairs import Hypothesis, normalised, shared_out, weigh_pairs
from qc.causes.priors import Priors, builtin_priors
from qc.causes.rows import Rows, rows_of
from qc.causes.seen import with_what_was_seen
from qc.results import CauseFound, CausePair, NextMeasurement
from qc.results.messages import Message, Remark, message
from qc.results.pour import PourTrend
from qc.stats.one_thread import one_thread

# A pair is named when it is at least this likely.
PAIR_NAMED = 0.2

# The causes that need an active which is not dissolved.
SETTLING = ("settling-in-pour", "settling-in-unit")


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


def weigh_causes(
    batch: Batch, *, priors: Priors | None = None, trend: PourTrend | None = None, seed: int = 0
) -> CausesWeighed:
    """Weigh all causes against the measurements of a batch.

    Parameters
    ----------
    batch : Batch
        As it was read.
    priors : Priors, optional
        Prior distributions; the built-in values when left out.
    trend : PourTrend, optional
        What the analysis of the pour found; its changes are quoted among the evidence.
    seed : int
        For the expected information of further measurements, the only figure that is worked out by drawing lots.

    Returns
    -------
    CausesWeighed
        Probabilities given that one of the known causes, or two of them, is at work.

    Notes
    -----
    Each cause is a generative model of all rows at once (masses, contents, parts, base pours). Given the background
    spreads and the strength of the cause the logarithms are jointly normal; both are integrated over numerically.
    Measurements that are missing are left out: causes they could have shown stay as probable, one against the
    other. What the eye saw counts last, by the factor of the priors.
    """
    believed = priors or builtin_priors()
    with one_thread():
        weighed = _weighed(batch, priors=believed, trend=trend, seed=seed)
    return replace(weighed, causes=with_what_was_seen(weighed.causes, batch=batch, priors=believed))


def _weighed(batch: Batch, *, priors: Priors, trend: PourTrend | None, seed: int) -> CausesWeighed:
    rows = rows_of(batch, thought_of=thought_of(batch))
    chances = prior_chances(rows, priors)
    facts = facts_of(rows, trend=trend)
    if not rows.measured.any():
        return CausesWeighed(causes=_ranked(chances, _spoken(facts)))
    field = Field(rows=rows, priors=priors, nodes=nodes_for(rows))
    likelihoods = {model.id: model.likelihood(field) for model in CAUSES}
    fits = {id: fits_of(field, ways) for id, ways in likelihoods.items()}
    evidence = {id: log_sum(np.array([fit.log_evidence for fit in found])) for id, found in fits.items()}
    hypotheses = weigh_hypotheses(field, likelihoods=likelihoods, evidence=evidence, chances=chances)
    probabilities = shared_out(hypotheses, evidence=evidence)
    spoken = _spoken(facts)
    return CausesWeighed(
        causes=_ranked(probabilities, spoken),
        pairs=_pairs_named(hypotheses, evidence),
        next_measurements=weigh_next(field, fits=fits, probabilities=probabilities, seed=seed),
        notices=_notices(rows),
    )


def _spoken(facts: Facts) -> dict[str, tuple[Message, ...]]:
    """What speaks for and against each cause."""
    return {model.id: model.speak(facts) for model in CAUSES}


def prior_chances(rows: Rows, priors: Priors) -> dict[str, float]:
    """Prior probability of each cause, adding up to 1 [-]."""
    chances = priors.prior()
    if rows.substances and not any(substance.suspended for substance in rows.substances):
        for id in SETTLING:
            chances[id] *= priors.number("settling-in-pour", "dissolved_weight")
    total = sum(chances.values())
    return {id: chance / total for id, chance in chances.items()}


def fits_of(field: Field, ways: tuple[Likelihood, ...]) -> tuple[Fit, ...]:
    """Fits of all the ways in which a cause acts, their weight in the evidence."""
    return tuple(fit(field, one).weighed(one.weight) for one in ways if one.weight > 0.0)


def weigh_hypotheses(
    field: Field,
    *,
    likelihoods: dict[str, tuple[Likelihood, ...]],
    evidence: dict[str, float],
    chances: dict[str, float],
) -> tuple[Hypothesis, ...]:
    """Each cause alone, and the pairs that may matter, with their probabilities."""
    second = field.priors.number("pairs", "second_fault")
    alone = tuple(
        Hypothesis(
            causes=(id,),
            log_evidence=evidence[id],
            prior=chance * (1.0 if id == "sound" else 1.0 - second),
        )
        for id, chance in chances.items()
    )
    pairs: tuple[Hypothesis, ...] = ()
    if second > 0.0:
        pairs = weigh_pairs(field, likelihoods=likelihoods, evidence=evidence, chances=chances, second_fault=second)
    return normalised(alone + pairs)


def _ranked(probabilities: dict[str, float], spoken: dict[str, tuple[Message, ...]]) -> tuple[CauseFound, ...]:
    order = sorted(CAUSES, key=lambda model: -probabilities[model.id])
    return tuple(
        CauseFound(cause=model.id, probability=probabilities[model.id], evidence=spoken[model.id]) for model in order
    )


def _pairs_named(hypotheses: tuple[Hypothesis, ...], evidence: dict[str, float]) -> tuple[CausePair, ...]:
    likely = [one for one in hypotheses if len(one.causes) == 2 and one.probability >= PAIR_NAMED]
    named = []
    for pair in sorted(likely, key=lambda one: -one.probability):
        one, two = pair.causes
        better = pair.log_evidence - max(evidence[one], evidence[two])
        named.append(
            CausePair(
                causes=(one, two),
                probability=pair.probability,
                sentence=message("causes.pair", causes=(one, two), log_ratio=better),
            )
        )
    return tuple(named)


def _notices(rows: Rows) -> tuple[Remark, ...]:
    if rows.thinned_from is None:
        return ()
    text = message("causes.thinned", looked_at=len(rows.units), units=rows.thinned_from)
    return (Remark(where="causes", text=text),)
