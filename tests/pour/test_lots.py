"""A lot once drawn stays drawn: lists of units to assay that were handed out name the same units in every version."""

from __future__ import annotations

from qc.batch import Batch, Unit
from qc.pour.lots import drawn_order, seed_of


def test_the_lot_of_a_batch_is_the_one_that_was_drawn_first() -> None:
    """Our own run: it proves nothing and guards against change."""
    batch = Batch(number="7", units=tuple(Unit(name=str(place), pour_order=place) for place in range(1, 13)))
    assert seed_of(batch) == 1858543207
    assert drawn_order(batch, seed=1858543207) == ("12", "1", "11", "9", "2", "10", "6", "3", "5", "8", "4", "7")
    assert seed_of(Batch(number="8", units=batch.units)) != 1858543207
