"""The foreign batches are records that can be entered, are the same for the same seed, and show their faults.

    pytest -m benchmarks tests/benchmarks/test_foreign_batches.py

The bounds are on means over `SEEDS` batches and follow from the sizes stated in `foreign_batches.SIZES`.
"""

from __future__ import annotations

import csv
import importlib.util
import sys
from collections import Counter
from collections.abc import Iterable
from decimal import Decimal
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

import qc
from qc.batch import Batch, DisplacementConvention, Part
from qc.causes.model import TAUGHT

pytestmark = pytest.mark.benchmarks

SEEDS = range(60)


def beside(name: str) -> ModuleType:
    """A module of this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


foreign, third = beside("foreign_batches"), beside("foreign_kinds_third")
SETTINGS = [(world, "own") for world in foreign.WORLDS] + [(world, "standard") for world in foreign.WORLDS[:2]]
EVERYWHERE = pytest.mark.parametrize(("world", "layout"), SETTINGS)


def drawn(cause: str, world: str, layout: str) -> list[tuple[Batch, dict]]:  # type: ignore[type-arg]
    return [foreign.draw_foreign(cause, seed=seed, world=world, layout=layout) for seed in SEEDS]


def masses(batch: Batch) -> np.ndarray:
    return np.array([float(unit.mass_g) for unit in batch.units if unit.mass_g is not None])


def true_masses(batch: Batch, truth: dict) -> np.ndarray:  # type: ignore[type-arg]
    return np.array([truth["true_mass_g"][unit.name] for unit in batch.units])


def true_percents(batch: Batch, truth: dict) -> np.ndarray:  # type: ignore[type-arg]
    """True contents of the first active in the order of pouring [% of label]."""
    claim = batch.actives[0].label_claim_mg
    assert claim is not None
    return 100.0 * np.array(list(truth["true_content_mg"]["Active A"].values())) / float(claim)


def rsd(values: np.ndarray) -> float:
    return float(100.0 * values.std(ddof=1) / values.mean())


def sheet(folder: Path, name: str, header: list[str], rows: Iterable[Iterable[object]]) -> None:
    with (folder / f"{name}.csv").open("w", newline="", encoding="utf-8") as file:
        csv.writer(file).writerows([header, *([("" if cell is None else cell) for cell in row] for row in rows)])


def enter(batch: Batch, folder: Path) -> None:
    """Write a batch down as a folder of tables."""
    facts = {
        "Batch number": batch.number,
        "Product": batch.product,
        "Dosage form": batch.dosage_form,
        "Base": batch.base,
        "Units poured": batch.units_poured,
        "Nominal mass (g)": batch.nominal_mass_g,
        "Planned mass (g)": batch.planned_mass_g,
        "Balance readability (g)": batch.balance_readability_g,
        "Balance repeatability (g)": batch.balance_repeatability_g,
    }
    sheet(folder, "batch", ["Field", "Value"], facts.items())
    factors = [a.displacement and a.displacement.convention is DisplacementConvention.FACTOR for a in batch.actives]
    sheet(
        folder,
        "actives",
        [
            "Active",
            "Label claim (mg)",
            "Displacement factor" if any(factors) else "Displacement value",
            "State",
            "Assay repeatability (% RSD)",
        ],
        [
            (a.name, a.label_claim_mg, a.displacement and a.displacement.given, a.state, a.assay_repeatability_percent)
            for a in batch.actives
        ],
    )
    sheet(
        folder,
        "units",
        ["Unit", "Pour order", "Mould", "Cavity", "Mass (g)"],
        [(unit.name, unit.pour_order, unit.mould, unit.cavity, unit.mass_g) for unit in batch.units],
    )
    sheet(
        folder,
        "assay",
        ["Unit", "Active", "Part", "Content (mg)", "Content (% of label)", "Mass of part (g)"],
        [(a.unit, a.active, a.part, a.content_mg, a.content_percent, a.part_mass_g) for a in batch.assays],
    )
    if batch.cavity_pours:
        sheet(
            folder,
            "cavities",
            ["Mould", "Cavity", "Base mass (g)"],
            [(pour.mould, pour.cavity, pour.base_mass_g) for pour in batch.cavity_pours],
        )


@EVERYWHERE
@pytest.mark.parametrize("cause", foreign.CAUSES)
def test_a_drawn_batch_can_be_entered_and_read_back(cause: str, world: str, layout: str, tmp_path: Path) -> None:
    for seed in range(4):
        batch, _ = foreign.draw_foreign(cause, seed=seed, world=world, layout=layout)
        folder = tmp_path / str(seed)
        folder.mkdir()
        enter(batch, folder)
        read = qc.read(folder)
        assert read.units == batch.units
        assert Counter(read.assays) == Counter(batch.assays)
        assert read.actives == batch.actives
        assert read.cavity_pours == batch.cavity_pours
        assert read.planned_mass_g == batch.planned_mass_g
        assert [notice.text for notice in read.notices] == []


@EVERYWHERE
@pytest.mark.parametrize("cause", foreign.CAUSES)
def test_the_same_seed_gives_the_same_batch_and_another_seed_another(cause: str, world: str, layout: str) -> None:
    first = foreign.draw_foreign(cause, seed=5, world=world, layout=layout)
    assert foreign.draw_foreign(cause, seed=5, world=world, layout=layout) == first
    assert foreign.draw_foreign(cause, seed=6, world=world, layout=layout)[0].units != first[0].units


@EVERYWHERE
@pytest.mark.parametrize("cause", foreign.CAUSES)
def test_layouts_stay_within_what_is_stated(cause: str, world: str, layout: str) -> None:
    step = Decimal("0.01") if world == "heavy-noise" else Decimal("0.001")
    with_parts = 0
    for batch, truth in drawn(cause, world, layout):
        whole = {assay.unit for assay in batch.assays if assay.part is Part.WHOLE}
        parted = {assay.unit for assay in batch.assays if assay.part is not Part.WHOLE}
        with_parts += bool(parted)
        assert len(parted) in (0, 3, 4)
        assert not whole & parted
        assert 6 <= len(whole) <= 30
        assert 12 <= len(batch.units) <= 60
        assert len({unit.mould for unit in batch.units}) <= 6
        assert all(unit.mass_g is not None and unit.mass_g > 0 for unit in batch.units)
        assert {unit.mass_g.as_tuple().exponent for unit in batch.units if unit.mass_g} == {step.as_tuple().exponent}
        assert truth["cause"] == cause
        assert set(truth["true_mass_g"]) == {unit.name for unit in batch.units}
        if layout == "standard":
            assert len(batch.units) == 24
            assert Counter(unit.mould for unit in batch.units) == {"1": 12, "2": 12}
            assert len(whole) == 10
    assert 0.2 <= with_parts / len(SEEDS) <= 0.6


@EVERYWHERE
class TestEachFaultHasItsEffect:
    def test_a_sound_batch_is_even_and_on_its_label(self, world: str, layout: str) -> None:
        batches = drawn("sound", world, layout)
        assert np.mean([rsd(masses(batch)) for batch, _ in batches]) < 2.0
        assert np.mean([rsd(true_percents(*pair)) for pair in batches]) < 2.5
        assert np.mean([true_percents(*pair).mean() for pair in batches]) == pytest.approx(100.0, abs=0.5)

    def test_settling_in_pour_runs_along_the_pour(self, world: str, layout: str) -> None:
        rises = []
        for batch, truth in drawn("settling-in-pour", world, layout):
            contents = true_percents(batch, truth)
            third = len(contents) // 3
            rises.append(truth["parameters"]["direction"] * (contents[-third:].mean() - contents[:third].mean()))
            assert contents.max() - contents.min() >= 8.0
        assert 6.0 < np.mean(rises) < 25.0
        assert np.mean(np.array(rises) > 0.0) > 0.95

    def test_settling_in_unit_leaves_the_tip_rich_and_whole_units_even(self, world: str, layout: str) -> None:
        falls = []
        for batch, truth in drawn("settling-in-unit", world, layout):
            displacement = batch.actives[0].displacement
            for unit in {assay.unit for assay in batch.assays if assay.part is not Part.WHOLE}:
                parts = {a.part: a for a in batch.assays if a.unit == unit and a.active == "Active A"}
                tip, end = parts[Part.TIP], parts[Part.END]
                if tip.part_mass_g and end.part_mass_g and displacement and displacement.value > 1:
                    rich = float(tip.content_mg / tip.part_mass_g)  # type: ignore[operator]
                    poor = float(end.content_mg / end.part_mass_g)  # type: ignore[operator]
                    falls.append(200.0 * (rich - poor) / (rich + poor))
            assert rsd(true_percents(batch, truth)) < 7.0
        assert len(falls) > 10
        assert 18.0 < np.mean(falls) < 34.0

    def test_poor_mixing_spreads_the_concentration_alone(self, world: str, layout: str) -> None:
        spreads = []
        for batch, truth in drawn("poor-mixing", world, layout):
            units = np.array(list(truth["true_mass_g"].values()))
            order = list(truth["true_mass_g"])
            assert order == list(truth["true_content_mg"]["Active A"])
            spreads.append(rsd(true_percents(batch, truth) / units))
            assert 3.0 < spreads[-1] < 13.0
        assert np.mean(spreads) == pytest.approx(6.6, abs=1.0)

    def test_uneven_fill_moves_mass_and_content_together(self, world: str, layout: str) -> None:
        for batch, truth in drawn("uneven-fill", world, layout):
            units = np.array(list(truth["true_mass_g"].values()))
            assert rsd(units) > 2.4
            assert rsd(true_percents(batch, truth) / units) < 4.0
            assert np.corrcoef(units, true_percents(batch, truth))[0, 1] > 0.6

    def test_cavity_differences_come_back_in_the_calibration_pours(self, world: str, layout: str) -> None:
        likeness = []
        for batch, _ in drawn("cavity-differences", world, layout):
            base: dict[tuple[str | None, str | None], list[float]] = {}
            for pour in batch.cavity_pours:
                base.setdefault((pour.mould, pour.cavity), []).append(float(pour.base_mass_g))
            if base:
                expected = [np.mean(base[unit.mould, unit.cavity]) for unit in batch.units]
                likeness.append(np.corrcoef(expected, masses(batch))[0, 1])
        assert len(likeness) > 10
        assert np.mean(likeness) > 0.7

    def test_a_wrong_displacement_value_moves_mass_and_content_off_the_plan(self, world: str, layout: str) -> None:
        for batch, truth in drawn("wrong-displacement", world, layout):
            shift = 100.0 * truth["parameters"]["size"]
            assert 2.0 <= abs(shift) <= 12.0
            mass_shift = 100.0 * (true_masses(batch, truth).mean() / planned_g(batch) - 1.0)
            assert mass_shift == pytest.approx(shift, abs=3.0)
            assert true_percents(batch, truth).mean() - 100.0 == pytest.approx(shift, abs=3.5)

    def test_lost_active_lowers_every_content_alike(self, world: str, layout: str) -> None:
        for batch, truth in drawn("active-lost", world, layout):
            name = truth["parameters"]["active"]
            claim = float(next(one for one in batch.actives if one.name == name).label_claim_mg)  # type: ignore[arg-type]
            contents = 100.0 * np.array(list(truth["true_content_mg"][name].values())) / claim
            size = 100.0 * truth["parameters"]["size"]
            if truth["parameters"]["shape"] == "destroyed":
                assert contents.mean() == pytest.approx(100.0 - size, abs=2.0)
            # Less active in the melt is less melt, of which each unit then takes a larger share.
            assert 98.0 - size < contents.mean() < 102.0 - 0.65 * size
            assert rsd(contents) < 7.0

    def test_a_drifting_balance_moves_the_readings_and_leaves_the_units(self, world: str, layout: str) -> None:
        for batch, truth in drawn("balance-drift", world, layout):
            true = true_masses(batch, truth)
            off = 100.0 * (masses(batch) / true - 1.0)
            allowance = 1.6 if world == "heavy-noise" else 0.8
            assert np.ptp(off) == pytest.approx(100.0 * truth["parameters"]["size"], abs=allowance)
            assert rsd(true) < 6.0

    def test_a_slip_of_the_pen_spoils_one_or_two_entries(self, world: str, layout: str) -> None:
        places = Counter[str]()
        for batch, truth in drawn("slip-of-pen", world, layout):
            off = np.abs(masses(batch) / true_masses(batch, truth) - 1.0)
            slips = [place for place in truth["parameters"] if " of unit " in place]
            assert len(slips) in (1, 2)
            for place in slips:
                places[place.split()[0]] += 1
                right, wrong = str(truth["parameters"][place]).split(" as ")
                assert 0.04 <= abs(float(wrong) / float(right) - 1.0) <= 0.35
                assert len(wrong) == len(right)
            of_mass = sum(place.startswith("mass") for place in slips)
            assert (off > 0.025).sum() == of_mass
        assert places["mass"] > places["content"] > 0


@pytest.mark.parametrize("kind", [*third.FAULTS, *third.INNOCENT])
def test_a_batch_by_a_later_hand_can_be_entered_and_comes_again(kind: str, tmp_path: Path) -> None:
    for seed in range(4):
        batch, true = third.draw(kind, seed)
        assert third.draw(kind, seed) == (batch, true)
        assert third.draw(kind, seed + 4)[0].units != batch.units
        assert true <= {*TAUGHT}
        assert len(batch.assays) == (10 if seed % 2 else len(batch.units))
        folder = tmp_path / str(seed)
        folder.mkdir()
        enter(batch, folder)
        read = qc.read(folder)
        assert (read.units, Counter(read.assays), read.actives) == (batch.units, Counter(batch.assays), batch.actives)


@pytest.mark.parametrize("kind", third.FAULTS)
def test_a_fault_by_a_later_hand_is_there_to_be_seen(kind: str) -> None:
    """What was laid over the batch is at least 1.5 % somewhere, in the mean of what the sheets hold of ten batches."""
    off = []
    for seed in range(0, 20, 2):
        with_it, without = third.draw(kind, seed)[0], third.draw(kind, seed, laid=False)[0]
        contents = [np.array([float(one.content_mg) for one in batch.assays]) for batch in (with_it, without)]
        off.append(max(np.abs(a / b - 1.0).max() for a, b in (contents, (masses(with_it), masses(without)))))
    assert 0.015 < np.mean(off) < 2.0


def planned_g(batch: Batch) -> float:
    """Planned mass, from the nominal mass and the displacement values where it was left empty [g]."""
    if batch.planned_mass_g is not None:
        return float(batch.planned_mass_g)
    assert batch.nominal_mass_g is not None
    planned = float(batch.nominal_mass_g)
    for active in batch.actives:
        assert active.displacement is not None
        assert active.label_claim_mg is not None
        planned += float(active.label_claim_mg) / 1000.0 * (1.0 - 1.0 / float(active.displacement.value))
    return planned


@pytest.mark.parametrize(
    ("cause", "world", "layout", "message"),
    [
        ("bad-luck", "heavy-noise", "own", f"cause 'bad-luck' is not one of {', '.join(foreign.CAUSES)}"),
        ("sound", "moon", "own", "world 'moon' is not one of other-shapes, heavy-noise, other-layouts"),
        (
            "sound",
            "other-layouts",
            "standard",
            "layout 'standard' is not to be had in world 'other-layouts'; \"own\" is in every world",
        ),
    ],
)
def test_unknown_names_are_refused(cause: str, world: str, layout: str, message: str) -> None:
    with pytest.raises(ValueError) as refusal:
        foreign.draw_foreign(cause, seed=1, world=world, layout=layout)
    assert str(refusal.value) == message
