"""An observer that knows how the project's own generator draws: its strengths, its slips, no second fault.

The same algebra as the product's, with the generator's own distribution of strengths in place of the wide priors,
every cause as likely as it is drawn, and three times as many nodes. It bounds what any observer could reach, up to the
error of that sum and of the logarithms taken as normal.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from qc.batch import Batch
from qc.causes.background import Background
from qc.causes.evidence import Likelihood, even_shift, log_sum
from qc.causes.model import CAUSE_IDS, cause
from qc.causes.priors import Priors, builtin_priors, middles, normal_quantile
from qc.causes.rows import rows_of
from qc.causes.weigh import Hypothesis, fits_of, normalised

NODES = 64
KNOWN: dict[str, dict[str, Any]] = {
    "settling-in-pour": {"rise": 0.28, "loss": 0.01, "ends": 0.15, "falling": 0.0},
    "settling-in-unit": {"rise": 0.28, "falling": 0.0},
    "poor-mixing": {"spread": 0.08},
    "uneven-fill": {"spread": 0.04},
    "cavity-differences": {"spread": 0.035, "moulds": 0.0, "one_cavity": 0.0},
    "active-lost": {"lost": 0.11},
    "balance-drift": {"drift": 0.05},
    "slip-of-pen": {
        "exchanged_digits": 0.5,
        "wrong_digit": 0.5,
        "shifted_point": 0.0,
        "other": 1e-9,
        "two": 0.0,
        "least": 0.06,
    },
}


def knowing_priors() -> Priors:
    """The priors with the generator's own strengths, each spread by 15 % as it is drawn."""
    sections = {name: dict(section) for name, section in builtin_priors().sections.items()}
    for name, known in KNOWN.items():
        for key, value in known.items():
            old = sections[name][key]
            sections[name][key] = {"median": value, "factor": float(np.exp(0.15))} if isinstance(old, dict) else value
    return Priors(sections=sections)


def weigh_knowing(batch: Batch, *, strength: float = 1.0) -> Mapping[str, float]:
    """Probabilities of an observer that knows the generator."""
    background = Background(rows=rows_of(batch), priors=knowing_priors(), nodes=NODES)
    hypotheses = []
    for model in map(cause, CAUSE_IDS):
        ways = _wrong_volume(background) if model.id == "wrong-displacement" else model.likelihood(background)
        evidence = log_sum(np.array([one.log_evidence for one in fits_of(background, ways)]))
        hypotheses.append(Hypothesis(causes=(model.id,), log_evidence=evidence, prior=1.0 / len(CAUSE_IDS)))
    return {one.causes[0]: one.probability for one in normalised(tuple(hypotheses))}


def _wrong_volume(background: Background) -> tuple[Likelihood, ...]:
    size = 0.07 * np.exp(0.15 * normal_quantile(middles(24)))
    amplitudes = np.concatenate([np.log1p(size), np.log1p(-size)])
    return (Likelihood(shifts=(even_shift(background.volumes.astype(np.float64)[None], amplitudes),)),)
