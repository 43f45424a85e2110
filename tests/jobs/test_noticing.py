"""The chance of noticing a change is that of the whole analysis of the pour, on batches drawn here."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.jobs.chance import noticing as under_test
from qc.jobs.chance.noticing import noticing, page, pieces
from qc.pour.analysis import IMPORTANT_CHANGE_PERCENT, analyse_pour
from qc.pour.assay_list import CONTENT_LEVEL
from qc.results import TrendFlag
from qc.show.pages_text import text_page
from qc.show.pieces import Lines, Prose
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


def test_the_answer_names_the_units_and_what_others_would_notice_at_their_cost() -> None:
    """Figures of our own run; an assay is counted as 12 weighings (qc/causes/data/priors.toml)."""
    assert text_page(pieces(noticing(-5.0, units=16, assays=10))) == (
        "Of 100 pours whose concentration changes by -5.0 % from the first unit to the\n"
        "last, assays of 10 units evenly over the pour notice about 58, of its first and\n"
        "last units about 75.\n"
        "\n"
        "  - Evenly: units 1, 3, 4, 6, 8, 9, 11, 13, 14 and 16.\n"
        "  - First and last: 1, 2, 3, 4, 5, 12, 13, 14, 15 and 16.\n"
        "\n"
        "Pours of 100 in which it is noticed, of 16 units each, by how many are assayed\n"
        "  Units         Evenly   First and last   Cost [weighings]\n"
        "      4   fewer than 1                -                 48\n"
        "      6       about 24                -                 72\n"
        "      8       about 48                -                 96\n"
        "     10       about 58         about 75                120\n"
        "     15       about 83         about 83                180\n"
        "\n"
        "For a straight change, called possible or clear by qc check, and units that\n"
        "scatter by 1.6 % (SD, assay included). A change that bends is noticed by units\n"
        "between the ends; the tests of content judge units drawn at random. In simulated\n"
        "pours as many were noticed or more: up to thirty of 100 more of six units\n"
        "assayed, five of ten or more."
    )


def test_where_two_ends_prove_nothing_they_are_not_named() -> None:
    all_of_a_few = noticing(20.0, units=6, assays=6)
    assert [one.n for one in all_of_a_few.others] == [4, 6]
    assert [line for piece in pieces(all_of_a_few) if isinstance(piece, Lines) for line in piece.items] == [
        "Evenly: units 1, 2, 3, 4, 5 and 6."
    ]
    most = noticing(20.0, units=34, assays=31)
    assert [one.n for one in most.others] == [4, 6, 8, 10, 15, 20, 30, 31]
    assert text_page(pieces(most)).count("and 1 more.") == 2


@pytest.mark.parametrize(("units", "assays", "scatter"), [(24, 3, None), (24, 25, None), (24, 10, 0.0), (24, 10, -1.0)])
def test_what_cannot_be_asked_is_refused(units: int, assays: int, scatter: float | None) -> None:
    with pytest.raises(ValueError, match=(
        f"^{assays} assays of {units} units that scatter by .* % cannot be asked about; give at least 4 assays, no "
        "fewer units, and a scatter above 0$"
    )):  # fmt: skip
        noticing(5.0, units=units, assays=assays, scatter_percent=scatter)


def test_a_scatter_is_asked_about_however_small() -> None:
    assert noticing(5.0, units=4, assays=4, scatter_percent=0.1).scatter_percent == 0.1


def test_the_page_shows_the_change_beside_the_answer(monkeypatch: pytest.MonkeyPatch) -> None:
    drawn: list[dict[str, object]] = []
    monkeypatch.setattr(under_test, "drift_picture", lambda **what: drawn.append(what) or Prose(text="the picture"))
    found = noticing(-5.0, units=16, assays=10)
    shown = page(found)
    assert drawn == [{"units": 16, "change": -5.0, "scatter": found.scatter_percent, "assayed": found.even_units}]
    words = ("Noticing a change along the pour", "Chances", "The answer", "First and last", "the picture", "The change")
    assert [word for word in words if word not in shown] == []
