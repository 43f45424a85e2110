"""What every cause brings: how it explains measurements, what speaks for and against it, and how it is drawn."""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterator
from importlib import import_module
from importlib.util import find_spec
from typing import TYPE_CHECKING, TypeAlias, TypeVar

from msgspec import Struct

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.priors import builtin_priors
from qc.results.messages import Message

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour
    from qc.simulate.record import Written

Drawable = TypeVar("Drawable")
ChangePour: TypeAlias = "Callable[[Pour, FaultDraw], Pour]"
ChangeRecord: TypeAlias = "Callable[[Written, FaultDraw], Written]"

CAUSE_IDS: tuple[str, ...] = tuple(builtin_priors().prior())
"""All causes, in the order of the priors and of the result document."""

SOMETHING_ELSE = "something-else"

TAUGHT: tuple[str, ...] = tuple(id for id in CAUSE_IDS if id != SOMETHING_ELSE)
"""What a batch can be drawn of: what no model describes has nothing to draw."""


def leave(sound: Drawable, draw: FaultDraw) -> Drawable:
    """Leave it as it is."""
    return sound


class CauseModel(Struct, frozen=True, kw_only=True):
    """One cause: a file of its id in `qc/causes/models`, and its line in the section `prior` of the priors.

    Parameters
    ----------
    id : str
        As in the result document.
    likelihood : callable
        From the background to the ways in which the cause acts.
    speak : callable
        The two or three facts for and against it, each with its number.
    spoil : callable
        Spoils a sound pour, at a strength of 1 by default.
    weigh : callable
        Spoils the balance that the units are weighed on.
    miswrite : callable
        Spoils what was written down of it.
    """

    id: str
    likelihood: Callable[[Background], tuple[Likelihood, ...]]
    speak: Callable[[Facts], Iterator[Message]]
    spoil: ChangePour = leave
    weigh: ChangePour = leave
    miswrite: ChangeRecord = leave


class UnknownCause(ValueError):
    """A cause that has no model."""


def cause(id: str) -> CauseModel:
    """The cause of that id.

    Raises
    ------
    UnknownCause
        When there is none; the message names the nearest.

    Examples
    --------
    >>> cause("poor-mixing").id
    'poor-mixing'
    """
    module = f"qc.causes.models.{id.replace('-', '_')}"
    if find_spec(module) is None:
        near = difflib.get_close_matches(id, CAUSE_IDS, n=1, cutoff=0.0)[0]
        raise UnknownCause(f'"{id}" is not a known cause. Did you mean {near}? Known are: {", ".join(CAUSE_IDS)}.')
    model: CauseModel = import_module(module).MODEL
    return model
