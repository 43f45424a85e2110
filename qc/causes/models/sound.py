"""Nothing is wrong: the batch varies as a well made batch does."""

from __future__ import annotations

from collections.abc import Iterator

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.results.messages import Message, message


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """The background as it is, every variance at each node (nodes,)."""
    return (Likelihood(),)


def speak(facts: Facts) -> Iterator[Message]:
    """How far the spreads and means are those of a good batch."""
    yield from facts.masses_scatter()
    for active in facts.actives:
        yield from active.scatter()
        yield from active.mean_of_label()
    if not any(active.n for active in facts.actives):
        yield message("causes.no_assay_sound")


MODEL = CauseModel(id="sound", likelihood=likelihood, speak=speak)
