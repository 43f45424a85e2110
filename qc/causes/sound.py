"""Nothing is wrong: the batch varies as a well made batch does."""

from __future__ import annotations

from qc.causes.background import Field
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """The background alone."""
    return (Likelihood(),)


def speak(facts: Facts) -> tuple[str, ...]:
    """How far the spreads and means are those of a good batch."""
    said = []
    if facts.mass_rsd is not None:
        said.append(
            f"masses vary by {facts.mass_rsd:.1f} % (RSD of {facts.masses} units; well made batches have 0.5 to 2 %)"
        )
    for active in facts.actives:
        if active.concentration_rsd is not None:
            said.append(
                f"{active.measure} of {active.name} varies by {active.concentration_rsd:.1f} % ({active.n} units)"
            )
        if active.mean_percent is not None and active.labelled:
            said.append(f"mean content of {active.name} is {active.mean_percent:.1f} % of label")
    if not any(active.n for active in facts.actives):
        said.append(
            "no unit was assayed: the weights alone cannot tell a sound batch from one whose active is unevenly spread"
        )
    return tuple(said)


MODEL = CauseModel(
    id="sound",
    title="nothing is wrong",
    does="Masses, contents and parts vary as those of a well made batch do, in no order.",
    likelihood=likelihood,
    speak=speak,
)
