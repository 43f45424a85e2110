"""Nothing but the data decides: no order of rows, sheets and columns, and no name of a unit moves a result."""

from __future__ import annotations

import functools
import random
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from examples import examples
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, CavityPour, Check, Unit
from qc.document import result_document
from qc.judging.judge import judge_batch
from qc.pour.lots import drawn_order, seed_of
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.rules.rule_books import rule_book

SAMPLES = Path(__file__).parents[2] / "sample_data"
WORKBOOKS = ("pour-step", "two-actives", "second-stage")


def document(batch: Batch) -> dict[str, Any]:
    return result_document(judge_batch(batch, book=rule_book()))


@functools.cache
def sample(name: str) -> Batch:
    return read_batch(SAMPLES / f"{name}.xlsx", options=ReadOptions())


@functools.cache
def of_sample(name: str) -> dict[str, Any]:
    """The document of a sample, to be read or copied."""
    return document(sample(name))


def shuffled(batch: Batch, rng: random.Random) -> Batch:
    """The same batch with every list in another order."""

    def anew(every: tuple[Any, ...]) -> tuple[Any, ...]:
        return tuple(rng.sample(every, len(every)))

    lists = ("units", "assays", "actives", "cavity_pours", "checks", "notices")
    return replace(batch, **{name: anew(getattr(batch, name)) for name in lists})


def renamed(batch: Batch, names: Mapping[str, str]) -> Batch:
    units = tuple(replace(unit, name=names[unit.name]) for unit in batch.units)
    assays = tuple(replace(assay, unit=names[assay.unit]) for assay in batch.assays)
    return replace(batch, units=units, assays=assays)


def without_names(value: object, names: Mapping[str, str]) -> object:
    """A document with the units by their first names; sentences, in which names stand, are left out."""
    match value:
        case dict():
            return {names.get(key, key): without_names(one, names) for key, one in value.items()}
        case list():
            return [without_names(one, names) for one in value]
        case str():
            return names.get(value, value if " " not in value else "a sentence")
    return value


@st.composite
def batches(draw: st.DrawFn) -> Batch:
    """Batches with ties, duplicates, marks and gaps, some with an order of pouring and some without."""
    count, ordered, moulds = draw(st.integers(4, 34)), draw(st.booleans()), draw(st.integers(0, 2))
    masses = st.integers(1880, 2120) if draw(st.booleans()) else st.sampled_from([1890, 1990, 2000, 2010, 2110])
    together = draw(st.integers(1, 3))
    units = tuple(
        Unit(
            name=str(at + 1),
            pour_order=1 + at // together if ordered else None,
            mould="AB"[at % moulds] if moulds else None,
            cavity=str(1 + at // 2) if moulds else None,
            mass_g=Decimal(draw(masses)).scaleb(-3),
            test_sample=draw(st.sampled_from([None, None, None, True])) if draw(st.booleans()) else None,
        )
        for at in range(count)
    )
    contents = st.sampled_from(["80.1", "97.0", "99.9", "100.0", "100.1", "103.2", "121"])
    assays = tuple(
        Assay(unit=unit.name, active=active, content_percent=Decimal(draw(contents)))
        for active in ("drug", "other")[: draw(st.integers(0, 2))]
        for unit in draw(st.permutations(units))[: draw(st.sampled_from([3, 10, 12, 30]))]
        for _ in range(draw(st.integers(1, 2)))
    )
    pours = tuple(CavityPour(mould="A", cavity=str(at), base_mass_g=Decimal(2000 + at).scaleb(-3)) for at in (1, 2, 1))
    return Batch(
        number="7",
        dosage_form="suppositories",
        units=units,
        assays=assays,
        actives=(Active(name="drug", label_claim_mg=Decimal(100)), Active(name="other", label_claim_mg=Decimal(20))),
        cavity_pours=pours if moulds else (),
        checks=(Check(name="appearance", result="complies"), Check(name="odour", result="complies")),
    )


# What bears the number of a batch, or names units that a lot falls on.
NUMBERED = {"batch", "seed", "next_steps", "tests"}


@examples(15)
@given(batch=batches(), rng=st.randoms(use_true_random=False), number=st.text(max_size=12))
def test_the_order_of_rows_moves_nothing_and_the_batch_number_but_the_lot(
    batch: Batch, rng: random.Random, number: str
) -> None:
    first, second = document(batch), document(replace(batch, number=number))
    assert document(shuffled(batch, rng)) == first
    assert {key for key in first if first[key] != second[key]} <= {*NUMBERED, "assay_list"}
    drawn = ("next_units", "reasons")
    for one, other in zip(first["tests"], second["tests"], strict=True):
        assert {key: one[key] for key in one if key not in drawn} == {
            key: other[key] for key in other if key not in drawn
        }
    assert first["next_measurements"] == second["next_measurements"]


@examples(12)
@given(batch=batches(), rng=st.randoms(use_true_random=False))
def test_the_names_of_units_move_nothing_where_they_have_places(batch: Batch, rng: random.Random) -> None:
    batch = replace(batch, units=tuple(replace(one, pour_order=at) for at, one in enumerate(batch.units, start=1)))
    anew = rng.sample([f"{letter}{at}" for letter in "xyz" for at in range(20)], len(batch.units))
    names = dict(zip((unit.name for unit in batch.units), anew, strict=True))
    back = {new: old for old, new in names.items()}
    other = without_names(document(shuffled(renamed(batch, names), rng)), back)
    assert other == without_names(document(batch), {name: name for name in names})


@examples(8)
@given(batch=batches(), rng=st.randoms(use_true_random=False))
def test_the_names_of_units_move_no_figure_without_places_either(batch: Batch, rng: random.Random) -> None:
    batch = replace(batch, units=tuple(replace(one, pour_order=None, mould=None, cavity=None) for one in batch.units))
    anew = rng.sample([str(at) for at in range(100)], len(batch.units))
    names = dict(zip((unit.name for unit in batch.units), anew, strict=True))
    first, second = document(batch), document(renamed(batch, names))
    for one, other in zip(first["tests"], second["tests"], strict=True):
        assert (one["verdict"], one["figures"]) == (other["verdict"], other["figures"])
    assert [(one["cause"], one["probability"]) for one in first["causes"]] == [
        (one["cause"], one["probability"]) for one in second["causes"]
    ]


@pytest.mark.parametrize("name", [*WORKBOOKS, "fails-on-content", "sound"])
def test_the_names_of_units_move_no_last_digit_of_a_workbook(name: str) -> None:
    """Neither probabilities nor expected information: rounded sums are taken in an order that no name decides."""
    batch = sample(name)
    rng = random.Random(3)
    anew = rng.sample([f"{letter}{at}" for letter in "xyz" for at in range(20)], len(batch.units))
    names = dict(zip((unit.name for unit in batch.units), anew, strict=True))
    back = {new: old for old, new in names.items()}
    other = without_names(document(shuffled(renamed(batch, names), rng)), back)
    assert other == without_names(of_sample(name), {name: name for name in names})


@pytest.mark.parametrize("name", WORKBOOKS)
@pytest.mark.parametrize("seed", [1, 2])
def test_rows_columns_and_sheets_of_a_workbook_may_stand_in_any_order(name: str, seed: int, tmp_path: Path) -> None:
    source, rng = SAMPLES / f"{name}.xlsx", random.Random(seed)
    book = openpyxl.load_workbook(source)
    for sheet in book:
        # A format shows the zeros at the end of a number, and goes with it.
        rows = [[(cell.value, cell.number_format) for cell in row] for row in sheet.iter_rows()]
        heads = {"Unit", "Active", "Cavity", "Check", "Field"}
        head = next((at for at, row in enumerate(rows) if heads & {value for value, _ in row}), None)
        if head is None or sheet.title not in {"Units", "Assay", "Actives", "Cavities", "Checks", "Batch"}:
            continue
        table = [row for row in rows[head + 1 :] if any(value is not None for value, _ in row)]
        filled = [at for at, (value, _) in enumerate(rows[head]) if value is not None]
        columns = filled if sheet.title == "Batch" else rng.sample(filled, len(filled))
        body = [rows[head], *rng.sample(table, len(table))]
        for at in range(head + 1, sheet.max_row + 1):
            for column in range(1, sheet.max_column + 1):
                sheet.cell(at, column).value = None
        for at, row in enumerate(body):
            for place, column in zip(filled, columns, strict=True):
                cell = sheet.cell(head + 1 + at, place + 1)
                cell.value, cell.number_format = row[column]
    book._sheets = rng.sample(book._sheets, len(book._sheets))
    other = tmp_path / "shuffled.xlsx"
    book.save(other)
    first, second = dict(of_sample(name)), document(read_batch(other, options=ReadOptions()))
    for one in (first, second):
        one.pop("read")
        one["notices"] = sorted(notice["text"] for notice in one["notices"])
    assert second == first


def test_a_lot_once_drawn_is_kept() -> None:
    """A mass that is corrected, an assay that is entered and a note draw no other units."""
    batch = sample("second-stage")
    units = (replace(batch.units[0], mass_g=Decimal("2.1"), note="corrected"), *batch.units[1:])
    other = replace(batch, units=units, assays=batch.assays[:5])
    assert seed_of(other) == seed_of(batch)
    assert drawn_order(other, seed=3) == drawn_order(batch, seed=3)
    book = rule_book()
    first = judge_batch(batch, book=book)
    lot = next(test.next_units for test in first.tests if test.next_units)
    assayed = tuple(
        Assay(unit=name, active=batch.actives[0].name, stage=2, content_percent=Decimal(100)) for name in lot
    )
    staged = tuple(replace(assay, stage=1) for assay in batch.assays)
    later = judge_batch(replace(batch, assays=(*staged, *assayed[:7])), book=book)
    rest = next(test.next_units for test in later.tests if test.next_units)
    assert set(rest) == {one.unit for one in assayed[7:]}


def results_of(batch: Batch, *, active: str | None = None) -> list[dict[str, Any]]:
    """What every test comes to, or those of masses and of one active alone; units outside by name."""
    every = [one for one in document(batch)["tests"] if active is None or one["active"] in (None, active)]
    return [
        {key: one[key] for key in ("id", "active", "verdict", "n", "figures", "limits")}
        | {"outside": sorted(one["outside"], key=lambda unit: str(unit["unit"]))}
        for one in every
    ]


def alike(one: float | None, other: float | None, *, times: float = 1, within: float = 1e-12) -> bool:
    """Whether a figure is the other one times a factor, or neither is known."""
    if one is None or other is None:
        return one is other
    return one == pytest.approx(other * times, rel=within, abs=within)


IN_GRAMS = ("planned_mass_g", "nominal_mass_g", "balance_readability_g", "balance_repeatability_g")


@examples(5)
@given(batch=batches(), planned=st.sampled_from([None, "1.9", "2", "2.07"]))
def test_ten_times_every_mass_moves_nothing_relative(batch: Batch, planned: str | None) -> None:
    batch = replace(batch, planned_mass_g=None if planned is None else Decimal(planned), rules=None)
    batch = replace(batch, balance_readability_g=Decimal("0.001"), balance_repeatability_g=Decimal("0.0008"))

    def tenfold(mass: Decimal | None) -> Decimal | None:
        return None if mass is None else mass.scaleb(1)

    heavy = replace(
        batch,
        units=tuple(replace(unit, mass_g=tenfold(unit.mass_g)) for unit in batch.units),
        cavity_pours=tuple(replace(one, base_mass_g=one.base_mass_g * 10) for one in batch.cavity_pours),
        **{name: tenfold(getattr(batch, name)) for name in IN_GRAMS},
    )
    for rules in (None, "mean-mass-3"):
        first, second = (judge_batch(one, book=rule_book(rules)) for one in (batch, heavy))
        assert [one.verdict for one in first.tests] == [one.verdict for one in second.tests]
        for one, other in zip(first.tests, second.tests, strict=True):
            assert one.figures.keys() == other.figures.keys()
            for name, figure in one.figures.items():
                assert alike(other.figures[name], figure, times=10 if name.endswith("_g") else 1), name
        assert first.pour is not None
        assert second.pour is not None
        light, tens = first.pour.trend.mass, second.pour.trend.mass
        assert (light.flag, light.n) == (tens.flag, tens.n)
        for name in ("p_value", "change_percent", "change_low_percent", "detectable_percent"):
            assert alike(getattr(tens, name), getattr(light, name), within=1e-6), name


@examples(5)
@given(batch=batches())
def test_contents_in_mg_and_in_percent_of_label_are_judged_alike(batch: Batch) -> None:
    claims = {active.name: active.label_claim_mg for active in batch.actives}

    def weighed(assay: Assay) -> Assay:
        claim = claims[assay.active]
        assert claim is not None
        assert assay.content_percent is not None
        return replace(assay, content_mg=assay.content_percent * claim / 100, content_percent=None)

    in_mg = replace(batch, assays=tuple(weighed(assay) for assay in batch.assays))
    for one, other in zip(results_of(batch), results_of(in_mg), strict=True):
        assert (one["id"], one["verdict"], one["n"]) == (other["id"], other["verdict"], other["n"])
        for name, figure in one["figures"].items():
            assert alike(other["figures"][name], figure), name
        assert [line["met"] for line in one["limits"]] == [line["met"] for line in other["limits"]]
        assert [unit["unit"] for unit in one["outside"]] == [unit["unit"] for unit in other["outside"]]


@pytest.mark.parametrize("name", WORKBOOKS)
def test_masses_typed_in_mg_are_the_same_batch(name: str, tmp_path: Path) -> None:
    book = openpyxl.load_workbook(SAMPLES / f"{name}.xlsx")
    head = next(cell for row in book["Units"].iter_rows() for cell in row if cell.value == "Mass (g)")
    changed = 0
    for row in range(head.row + 1, book["Units"].max_row + 1):
        cell = book["Units"].cell(row, head.column)
        if isinstance(cell.value, float | int):
            cell.value, changed = round(cell.value * 1000), changed + 1
    head.value = "Mass (mg)"
    book.save(tmp_path / "in-mg.xlsx")
    assert changed >= 20
    first, second = of_sample(name), document(read_batch(tmp_path / "in-mg.xlsx", options=ReadOptions()))
    for key in ("batch", "tests", "verdict", "pour_trend", "assurance"):
        assert second[key] == first[key], key


@pytest.mark.parametrize("name", ["pour-step", "two-actives", "second-stage", "sound"])
def test_a_pour_read_backwards_turns_the_change_round_and_nothing_else(name: str) -> None:
    batch = sample(name)
    last = max(unit.pour_order or 0 for unit in batch.units)
    backwards = tuple(
        replace(unit, pour_order=None if unit.pour_order is None else last + 1 - unit.pour_order)
        for unit in batch.units
    )
    first, second = of_sample(name), document(replace(batch, units=backwards))
    for one, other in zip(first["tests"], second["tests"], strict=True):
        assert (one["id"], one["verdict"], one["figures"]) == (other["id"], other["verdict"], other["figures"])
    trends = [
        {"mass": one["pour_trend"]["mass"], **one["pour_trend"]["content"], **one["pour_trend"]["concentration"]}
        for one in (first, second)
    ]
    assert len(trends[0]) >= 2
    for of, there in trends[0].items():
        back = trends[1][of]
        assert (there["flag"], there["n"]) == (back["flag"], back["n"]), of
        # Other permutations are drawn for it, few of them far from a call.
        assert there["p_value"] == pytest.approx(back["p_value"], abs=0.02 if there["p_value"] < 0.1 else 0.25), of
        assert back["change_percent"] == pytest.approx(-there["change_percent"], rel=1e-9), of
        ends = (there["change_low_percent"], there["change_high_percent"])
        assert (-back["change_high_percent"], -back["change_low_percent"]) == pytest.approx(ends, rel=1e-9), of


@examples(3)
@given(batch=batches(), rng=st.randoms(use_true_random=False))
def test_a_second_active_moves_no_test_of_the_first(batch: Batch, rng: random.Random) -> None:
    # A mark of the test sample may be that of a content test, which hangs on what was assayed: here there is none.
    alone = replace(
        batch,
        units=tuple(replace(unit, test_sample=None) for unit in batch.units),
        actives=batch.actives[:1],
        assays=tuple(assay for assay in batch.assays if assay.active == "drug"),
    )
    added = tuple(
        Assay(unit=unit.name, active="other", content_percent=Decimal(rng.choice([88, 97, 100, 104])))
        for unit in rng.sample(batch.units, min(len(batch.units), 10))
    )
    both = replace(alone, actives=batch.actives, assays=(*alone.assays, *added))
    assert results_of(both, active="drug") == results_of(alone, active="drug")


@examples(5)
@given(batch=batches(), rng=st.randoms(use_true_random=False))
def test_a_unit_left_out_with_a_reason_moves_no_test_of_record(batch: Batch, rng: random.Random) -> None:
    dropped = rng.choice(batch.units).name
    less = replace(
        batch,
        units=tuple(replace(one, left_out_because="dropped") if one.name == dropped else one for one in batch.units),
    )
    assert results_of(less) == results_of(batch)
