"""The chance of noticing a change is that of the whole analysis of the pour, on batches drawn here."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.jobs.chance.noticing import noticing
from qc.pour.analysis import IMPORTANT_CHANGE_PERCENT, analyse_pour
from qc.pour.assay_list import CONTENT_LEVEL
from qc.results import TrendFlag
from qc.stats.detectable import chance_to_call
from qc.stats.order_test import Places

UNITS, POURS, SCATTER = 24, 30, 1.5


def called(change: float, places: tuple[int, ...], seed: int) -> bool:
    """Whether a straight change of the concentration is called possible or clear, masses steady to 0.9 %."""
    rng, along = np.random.default_rng(seed), np.linspace(-0.5, 0.5, UNITS)
    fill = 2.0 * np.exp(0.009 * rng.standard_normal(UNITS))
    content = 125.0 * fill * (1.0 + change / 100.0 * along) * np.exp(SCATTER / 100.0 * rng.standard_normal(UNITS))
    batch = Batch(
        units=tuple(
            Unit(name=str(at), pour_order=at, mass_g=Decimal(f"{mass:.4f}")) for at, mass in enumerate(fill, start=1)
        ),
        assays=tuple(
            Assay(unit=str(at), active="A", part=Part.WHOLE, content_mg=Decimal(f"{content[at - 1]:.3f}"))
            for at in places
        ),
        actives=(Active(name="A", label_claim_mg=Decimal(250)),),
    )
    found = analyse_pour(batch, seed=1, important_change_percent=IMPORTANT_CHANGE_PERCENT)
    return found.trend.concentration["A"].flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE)


@pytest.mark.parametrize(("change", "at_ends"), [(6.0, False), (6.0, True)])
def test_as_many_pours_are_called_as_is_said(change: float, at_ends: bool) -> None:
    """Within three standard errors of 30 pours, and a tenth by which the answer is low where units lie evenly."""
    said = noticing(change, units=UNITS, assays=10, scatter_percent=SCATTER)
    chance, places = said.asked.evenly, said.even_units
    if at_ends:
        assert said.asked.at_ends is not None
        chance, places = said.asked.at_ends, said.end_units
    share = sum(called(change, places, seed) for seed in range(POURS)) / POURS
    error = 3.0 * (max(chance * (1.0 - chance), 0.02) / POURS) ** 0.5
    assert chance - error <= share <= chance + error + 0.15


@pytest.mark.parametrize(
    ("assays", "even", "ends"),
    [
        (6, (1, 6, 10, 15, 19, 24), (1, 2, 3, 22, 23, 24)),
        (10, (1, 4, 6, 9, 11, 14, 16, 19, 21, 24), (1, 2, 3, 4, 5, 20, 21, 22, 23, 24)),
    ],
)
def test_the_units_are_placed_from_the_first_to_the_last_of_the_pour(
    assays: int, even: tuple[int, ...], ends: tuple[int, ...]
) -> None:
    found = noticing(20.0, units=24, assays=assays, scatter_percent=10.0)
    assert (found.even_units, found.end_units) == (even, ends)
    for units, said in ((even, found.asked.evenly), (ends, found.asked.at_ends)):
        along = np.array([(unit - 1) / 23 for unit in units])
        expected = chance_to_call(along, Places.of(along), level=CONTENT_LEVEL, change=2.0)
        # Of two threes in order one of ten is there by chance, which is too often.
        assert said == (None if assays == 6 and units == ends else pytest.approx(expected))
