"""Nothing but the data decides: no order of rows, sheets and columns, and no name of a unit moves a result."""

from __future__ import annotations

import random
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from hypothesis import given, settings
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


@settings(max_examples=25)
@given(batch=batches(), rng=st.randoms(use_true_random=False))
def test_the_order_of_rows_moves_nothing(batch: Batch, rng: random.Random) -> None:
    assert document(shuffled(batch, rng)) == document(batch)


@settings(max_examples=25)
@given(batch=batches(), rng=st.randoms(use_true_random=False))
def test_the_names_of_units_move_nothing_where_they_have_places(batch: Batch, rng: random.Random) -> None:
    batch = replace(batch, units=tuple(replace(one, pour_order=at) for at, one in enumerate(batch.units, start=1)))
    anew = rng.sample([f"{letter}{at}" for letter in "xyz" for at in range(20)], len(batch.units))
    names = dict(zip((unit.name for unit in batch.units), anew, strict=True))
    back = {new: old for old, new in names.items()}
    other = without_names(document(shuffled(renamed(batch, names), rng)), back)
    assert other == without_names(document(batch), {name: name for name in names})


@settings(max_examples=15)
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


@pytest.mark.parametrize("name", WORKBOOKS)
@pytest.mark.parametrize("seed", [1, 2])
def test_rows_columns_and_sheets_of_a_workbook_may_stand_in_any_order(name: str, seed: int, tmp_path: Path) -> None:
    source, rng = SAMPLES / f"{name}.xlsx", random.Random(seed)
    book = openpyxl.load_workbook(source)
    for sheet in book:
        rows = [[cell.value for cell in row] for row in sheet.iter_rows()]
        head = next(
            (at for at, row in enumerate(rows) if {"Unit", "Active", "Cavity", "Check", "Field"} & set(row)), None
        )
        if head is None or sheet.title not in {"Units", "Assay", "Actives", "Cavities", "Checks", "Batch"}:
            continue
        table = [row for row in rows[head + 1 :] if any(value is not None for value in row)]
        filled = [at for at, value in enumerate(rows[head]) if value is not None]
        columns = filled if sheet.title == "Batch" else rng.sample(filled, len(filled))
        body = [rows[head], *rng.sample(table, len(table))]
        for at in range(head + 1, sheet.max_row + 1):
            for column in range(1, sheet.max_column + 1):
                sheet.cell(at, column).value = None
        for at, row in enumerate(body):
            for place, column in zip(filled, columns, strict=True):
                sheet.cell(head + 1 + at, place + 1).value = row[column]
    book._sheets = rng.sample(book._sheets, len(book._sheets))
    other = tmp_path / "shuffled.xlsx"
    book.save(other)
    first, second = (document(read_batch(path, options=ReadOptions())) for path in (source, other))
    for one in (first, second):
        for key in ("notices", "read"):
            one.pop(key)
    assert second == first


def test_a_lot_once_drawn_is_kept() -> None:
    """A mass that is corrected, an assay that is entered and a note draw no other units."""
    batch = read_batch(SAMPLES / "second-stage.xlsx", options=ReadOptions())
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
