"""Which differences between cavities and moulds can be told from a change along the pour."""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, CavityPour, Unit
from qc.pour.correction import Corrected, calibrated_base, corrected_contents, corrected_masses, layout_of
from qc.pour.series import content_series, mass_series


def units(cavities: str = "", moulds: str = "") -> list[Unit]:
    n = max(len(cavities), len(moulds))
    return [
        Unit(
            name=str(index),
            pour_order=index,
            cavity=cavities[index] if cavities else None,
            mould=moulds[index] if moulds else None,
        )
        for index in range(n)
    ]


def test_cavities_filled_three_times_by_turns_are_taken_out_and_twice_are_not() -> None:
    three, two = layout_of(units("123" * 4)), layout_of(units("123456" * 2))
    assert (three.levels_are, three.levels[:4], three.loose_cavities) == ("cavity", (0, 1, 2, 0), ())
    assert (two.levels_are, two.has_levels, two.loose_cavities) == ("", False, (0, 1, 2, 3, 4, 5) * 2)


def test_cavities_filled_one_after_the_other_are_not_taken_out() -> None:
    assert not layout_of(units("111222333444")).has_levels


def test_moulds_one_after_the_other_are_blocks_and_moulds_by_turns_are_levels() -> None:
    blocks, turns = layout_of(units(moulds="AAAABBBBCCCC")), layout_of(units(moulds="ABABABABABAB"))
    assert (blocks.blocks, blocks.has_levels) == ((0,) * 4 + (1,) * 4 + (2,) * 4, False)
    assert (turns.blocks, turns.levels_are) == ((), "mould")


def test_cavity_numbers_that_recur_in_moulds_one_after_the_other_are_levels_inside_blocks() -> None:
    layout = layout_of(units("123" * 4, "AAABBBCCCDDD"))
    assert layout.levels_are == "cavity"
    assert len(set(layout.levels)) == 3
    assert len(set(layout.blocks)) == 4


def test_one_mould_only_is_no_block() -> None:
    assert layout_of(units(moulds="AAAAAA")).blocks == ()


def test_calibration_pours_are_averaged_by_cavity_and_one_without_a_mould_serves_every_mould() -> None:
    batch = Batch(
        units=(
            Unit(name="a", mould="A", cavity="1"),
            Unit(name="b", mould="B", cavity="1"),
            Unit(name="c", mould="B", cavity="2"),
            Unit(name="d"),
        ),
        cavity_pours=(
            CavityPour(mould="A", cavity="1", base_mass_g=Decimal("2.00")),
            CavityPour(mould="A", cavity="1", base_mass_g=Decimal("2.02")),
            CavityPour(mould=None, cavity="1", base_mass_g=Decimal("1.90")),
        ),
    )
    assert calibrated_base(batch) == {"a": 2.01, "b": 1.90}


CAVITY_FILL = {"1": 0.95, "2": 1.0, "3": 1.05}


def by_turns(*, mass: bool = True) -> Batch:
    """Three cavities of different size, filled by turns four times; contents follow the fill, and nothing else."""
    cavities = list(CAVITY_FILL) * 4
    units = tuple(
        Unit(
            name=str(at + 1),
            pour_order=at + 1,
            mould="A",
            cavity=cavity,
            mass_g=Decimal(str(2 * CAVITY_FILL[cavity])) if mass else None,
        )
        for at, cavity in enumerate(cavities)
    )
    assays = tuple(
        Assay(unit=str(at + 1), active="A", content_mg=Decimal(str(100 * CAVITY_FILL[cavity])))
        for at, cavity in enumerate(cavities)
    )
    return Batch(units=units, assays=assays, actives=(Active(name="A", label_claim_mg=Decimal(100)),))


def contents_of(batch: Batch) -> Corrected:
    (contents, *_), _ = content_series(batch)
    return corrected_contents(contents, corrected_masses(mass_series(batch), batch), batch)


def test_contents_that_follow_the_fill_of_their_cavities_are_alike_without_it() -> None:
    found = contents_of(by_turns())
    assert found.taken_out
    assert found.tested == pytest.approx([100.0] * 12)
    assert found.blocks == ()


def test_calibration_pours_take_the_fill_out_of_contents_where_nothing_was_weighed() -> None:
    pours = tuple(
        CavityPour(mould="A", cavity=cavity, base_mass_g=Decimal(str(2 * fill))) for cavity, fill in CAVITY_FILL.items()
    )
    found = contents_of(replace(by_turns(mass=False), cavity_pours=pours))
    assert found.taken_out
    assert found.tested == pytest.approx([100.0] * 12)
    without = contents_of(by_turns(mass=False))
    assert not without.taken_out
    assert without.loose_cavities
    assert without.tested == pytest.approx([95.0, 100.0, 105.0] * 4)
