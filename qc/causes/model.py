"""What every cause brings: how it explains measurements, how it spoils a pour, how it spoils the record."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, TypeAlias

import numpy as np
from msgspec import Struct

from qc.causes.background import Field
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.results.messages import Message

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.pouring import Pour
    from qc.simulate.recipe import Recipe
    from qc.simulate.record import Balance, Written

LikelihoodFunction = Callable[[Field], tuple[Likelihood, ...]]
Speak = Callable[[Facts], tuple[Message, ...]]
Spoil: TypeAlias = "Callable[[Pour, Recipe, float, np.random.Generator], Pour]"
Weigh: TypeAlias = "Callable[[Recipe, float, np.random.Generator], Balance]"
Miswrite: TypeAlias = "Callable[[Written, Recipe, float, np.random.Generator], Written]"


def leave_pour(pour: Pour, recipe: Recipe, strength: float, rng: np.random.Generator) -> Pour:
    """Leave the pour as it is."""
    return pour


def right_balance(recipe: Recipe, strength: float, rng: np.random.Generator) -> Balance:
    """A balance that shows what lies on it."""
    from qc.simulate.record import Balance

    return Balance(indicated=np.ones(recipe.units))


def leave_record(written: Written, recipe: Recipe, strength: float, rng: np.random.Generator) -> Written:
    """Leave the record as it is."""
    return written


class CauseModel(Struct, frozen=True, kw_only=True):
    """One cause.

    Parameters
    ----------
    id : str
        As in the result document.
    likelihood : callable
        From a field to the ways in which the cause acts.
    speak : callable
        The two or three facts for and against it, each with its number.
    spoil : callable
        Spoils a sound pour, at a strength of 1 by default.
    balance : callable
        The balance the units are weighed on.
    miswrite : callable
        Spoils what was written down of it.
    """

    id: str
    likelihood: LikelihoodFunction
    speak: Speak
    spoil: Spoil = leave_pour
    balance: Weigh = right_balance
    miswrite: Miswrite = leave_record
