"""Which units a lot falls on: one order for the whole batch, fixed by the batch number and the places of its units.

Every sample is drawn from the front of that order, the further units of a second stage after the first ones. A mass
that is corrected, an assay that is entered and a word that is added draw no other units: a lot once drawn is kept.
"""

from __future__ import annotations

import hashlib

from qc.batch import Batch, counting_order
from qc.stats.permutations import generator

_DRAW = 5


def seed_of(batch: Batch) -> int:
    """The seed of a batch for everything that is drawn at random: from its number and the places of its units."""
    places = sorted(unit.place for unit in batch.units)
    return int(hashlib.sha256(repr((batch.number, places)).encode()).hexdigest()[:8], 16)


def lot_of(batch: Batch, *, seed: int) -> tuple[str, ...]:
    """The units of a batch in the order of the lot, without those that nobody can take for a test any more."""
    lost = batch.lost
    return tuple(name for name in drawn_order(batch, seed=seed) if name not in lost)


def drawn_order(batch: Batch, *, seed: int) -> tuple[str, ...]:
    """Every unit of a batch by name, in the order of the lot.

    Parameters
    ----------
    batch : Batch
    seed : int
        The recorded seed, not negative.
    """
    units = sorted(batch.units, key=lambda unit: (*unit.place, counting_order(unit.name)))
    lot = generator(seed, stream=_DRAW).permutation(len(units))
    return tuple(units[at].name for at in lot)
