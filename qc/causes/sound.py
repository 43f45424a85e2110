"""Nothing is wrong: the batch varies as a well made batch does."""

from __future__ import annotations

from qc.causes.background import Field
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.results.messages import Message, message


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """The background alone."""
    return (Likelihood(),)


def speak(facts: Facts) -> tuple[Message, ...]:
    """How far the spreads and means are those of a good batch."""
    said = facts.masses_scatter()
    for active in facts.actives:
        said += [*active.scatter(), *active.mean_of_label()]
    if not any(active.n for active in facts.actives):
        said.append(message("causes.no_assay_sound"))
    return tuple(said)


MODEL = CauseModel(
    id="sound",
    likelihood=likelihood,
    speak=speak,
)
