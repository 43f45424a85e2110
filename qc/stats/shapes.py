"""The shapes that a change along an order may have, and what is believed of each before anything is measured."""

from __future__ import annotations

import math

import numpy as np
from msgspec import Struct

from qc.stats.arrays import Floats

STRAIGHT, EARLY, LATE, STEP, END_STEP, BOTH_ENDS, TURN = "straight", "early", "late", "step", "end", "ends", "turn"

# Shapes that set some of the values apart from the rest.
APART = (STEP, EARLY, LATE)

# What is believed of the shape before anything is measured, shared out evenly inside each kind. Own choice, by the
# coverage that the intervals have over straight, stepped, early, late and turning pours (tests/benchmarks).
BELIEVED = {STRAIGHT: 0.2, EARLY: 0.08, LATE: 0.08, STEP: 0.08, END_STEP: 0.36, BOTH_ENDS: 0.14, TURN: 0.06}
# How many e-folds the early and the late curves run through from end to end, and where their straight cousins bend.
E_FOLDS, BEND = (3.0, 8.0), 0.7
# Steep enough that four fifths of the change lie in the first and the last sixth.
ENDS = 8.0
# Steps are looked for after each of so many places; of longer pours after the first and last few and every so-and-so.
MOST_STEPS, NEAR_AN_END = 40, 3


class Shapes(Struct, frozen=True, kw_only=True):
    """Ways to get from the first value to the last: 0 at the first place of the pour, and 1 at the last but for turns.

    Parameters
    ----------
    kinds : tuple of str
    columns : array, shapes x values
        Height of each shape at each value [-].
    rises : array, one a shape
        What each adds to the last place over the first: 1, or 0 for a shape that comes back [-].
    """

    kinds: tuple[str, ...]
    columns: Floats
    rises: Floats

    @property
    def believed(self) -> Floats:
        """What is believed of each shape beforehand [-]."""
        shares = np.array([BELIEVED[kind] / self.kinds.count(kind) for kind in self.kinds])
        return np.asarray(shares / shares.sum())


def shapes_along(along: Floats) -> Shapes:
    """The shapes that an average runs over.

    Parameters
    ----------
    along : array, one a value
        Places, 0 at the first of the whole pour and 1 at the last; rising [-].
    """
    kinds, columns = [STRAIGHT], [along]
    for folds in E_FOLDS:
        kinds += [LATE, EARLY]
        columns += [np.expm1(folds * along) / math.expm1(folds), np.expm1(-folds * along) / math.expm1(-folds)]
    kinds += [LATE, EARLY, BOTH_ENDS, TURN, TURN]
    columns += [np.maximum(0.0, along - BEND) / (1 - BEND), np.minimum(along, 1 - BEND) / (1 - BEND)]
    columns += [0.5 + np.sinh(ENDS * (along - 0.5)) / (2 * math.sinh(ENDS / 2))]
    columns += [along * (1 - along), along * (1 - along) * (1 - 2 * along)]
    places = np.array(sorted(set(along.tolist()))[1:])
    if len(places) > MOST_STEPS:
        spread = np.linspace(0, len(places) - 1, MOST_STEPS - 2 * NEAR_AN_END).astype(int).tolist()
        ends = [*range(NEAR_AN_END), *range(len(places) - NEAR_AN_END, len(places))]
        places = places[sorted({*spread, *ends})]
    kinds += [END_STEP if min(at, len(places) - 1 - at) < 2 else STEP for at in range(len(places))]
    rises = [0.0 if kind == TURN else 1.0 for kind in kinds]
    steps = (along >= places[:, None]).astype(float)
    return Shapes(kinds=tuple(kinds), columns=np.vstack([*columns, steps]), rises=np.array(rises))
