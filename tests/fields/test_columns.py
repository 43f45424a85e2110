"""The columns of the sheets: wide enough for what stands in them, and one unit of measure made from the other."""

from __future__ import annotations

from decimal import Decimal
from enum import StrEnum
from typing import get_args, get_origin, get_type_hints

import pytest
from msgspec import Struct

from qc.batch import Active, Assay, Batch, CavityPour, Check, Unit
from qc.fields.entries import _typed
from qc.fields.field import Field, Holds, Plausible
from qc.fields.sheets import ACTIVES, ASSAY, BARE_UNITS, BATCH, CAVITIES, CHECKS, FACTS, SHEETS, UNITS, _sheet

KNOWN = (BATCH, ACTIVES, UNITS, ASSAY, CAVITIES, CHECKS)
EVERY = [(sheet.name, field) for sheet in KNOWN for field in sheet.entered]


@pytest.mark.parametrize(("sheet", "field"), EVERY, ids=lambda one: getattr(one, "heading", one))
def test_a_column_is_wide_enough_for_its_heading_its_example_and_its_words(sheet: str, field: Field) -> None:
    words = [*field.heading.split(), field.example]
    if sheet not in ("Batch", "Checks"):
        # On the sheet Batch the values of all facts stand in one column; the list of checks drops down over others.
        words += field.picked
    assert max(map(len, words)) + 1 <= field.width <= 30
    # A text takes more room than a number, and what is looked at beside others less.
    assert field.width >= {Holds.TEXT: 16, Holds.NUMBER: 14}.get(field.holds, 11)


@pytest.mark.parametrize(("sheet", "field"), EVERY, ids=lambda one: getattr(one, "heading", one))
def test_a_hint_fits_into_what_a_spreadsheet_program_shows(sheet: str, field: Field) -> None:
    """32 letters of a title and 255 of a message: ECMA-376, 18.3.1.32, promptTitle and prompt (from memory)."""
    assert len(field.heading) <= 32
    assert len(field.hint) <= 255


@pytest.mark.parametrize(("sheet", "field"), EVERY, ids=lambda one: getattr(one, "heading", one))
def test_an_example_is_plausible_and_of_the_kind_of_its_column(sheet: str, field: Field) -> None:
    assert bool(field.example) is field.is_number
    if field.is_number and field.plausible is not None:
        assert field.plausible.floor <= Decimal(field.example) <= field.plausible.ceiling or field.example == "0"
        assert field.zero or Decimal(field.example) > 0
        assert (Decimal(field.example) % 1 == 0) or field.holds is not Holds.WHOLE


RECORDS = {"Batch": Batch, "Actives": Active, "Units": Unit, "Assay": Assay, "Cavities": CavityPour, "Checks": Check}


@pytest.mark.parametrize(("sheet", "field"), EVERY, ids=lambda one: getattr(one, "heading", one))
def test_a_column_holds_what_its_attribute_is(sheet: str, field: Field) -> None:
    hints = get_type_hints(RECORDS[sheet])
    if field.attribute not in hints:
        assert (sheet, field.holds) == ("Actives", Holds.NUMBER)
        return
    hint = hints[field.attribute]
    kinds = [hint] if get_origin(hint) is tuple else [one for one in get_args(hint) if one is not type(None)] or [hint]
    (kind,) = {get_origin(one) or one for one in kinds}
    expected = {
        bool: {Holds.YES_NO},
        int: {Holds.WHOLE},
        Decimal: {Holds.NUMBER},
        tuple: {Holds.WORDS},
        str: {Holds.TEXT, Holds.NAME, Holds.DAY},
    }
    assert field.holds in expected.get(kind, {Holds.CHOICE})
    assert field.choices is (kind if field.holds is Holds.CHOICE else None)


def test_a_column_of_masses_stands_in_both_units_of_measure_and_a_content_in_one() -> None:
    for sheet in (*KNOWN, BARE_UNITS):
        for field in sheet.fields:
            if field.power == 0:
                continue
            (own,) = [one for one in sheet.entered if one.attribute == field.attribute]
            assert field.heading != own.heading
            assert field.unit == {"g": "mg", "mg": "g"}[own.unit]
            assert own.plausible is not None
            # 1 g is 1000 mg.
            shift = 3 if own.unit == "g" else -3
            assert (field.power, field.plausible) == (-shift, own.plausible.scaled(shift))
            assert Decimal(field.example) == Decimal(own.example).scaleb(shift)
    doubled = {field.attribute for sheet in KNOWN for field in sheet.fields if field.power}
    asked = {one.attribute for _, one in EVERY if one.unit in ("g", "mg")}
    assert doubled == asked - {"content_mg"}


def test_a_range_is_shown_in_digits_and_scaled_with_its_unit() -> None:
    grams = Plausible(floor=Decimal("0.00001"), ceiling=Decimal(10000))
    assert (str(grams), str(grams.scaled(3))) == ("0.00001 to 10000", "0.01 to 10000000")


def test_sheets_are_found_by_the_headings_that_stand_on_them() -> None:
    assert SHEETS["batch"] is FACTS
    assert [SHEETS[name].name for name in ("actives", "units", "assay", "cavities", "checks")] == [
        "Actives", "Units", "Assay", "Cavities", "Checks",
    ]  # fmt: skip
    assert [sheet.keys for sheet in KNOWN] == [
        (), ("name",), ("name",), ("unit", "active", "part"), ("mould", "cavity"), ("name",),
    ]  # fmt: skip
    assert BARE_UNITS.keys == UNITS.keys


def test_a_field_says_its_noun_and_its_unit() -> None:
    field = ASSAY.field("content_percent")
    assert (field.noun, field.unit, field.is_number) == ("content", "%", True)
    assert (UNITS.field("name").noun, UNITS.field("name").unit, UNITS.field("name").is_number) == ("unit", "", False)
    with pytest.raises(StopIteration):
        UNITS.field("colour")


class Colour(StrEnum):
    RED = "red"


class Record(Struct):
    colour: str = "none"


@pytest.mark.parametrize(
    ("value", "unsaid", "cell"),
    [
        (True, None, "yes"),
        (False, None, "no"),
        (("a", "b"), (), "a; b"),
        ((), (), None),
        (0, None, 0),
        ("x", "x", None),
    ],
)
def test_a_value_is_typed_as_a_person_types_it(value: object, unsaid: object, cell: object) -> None:
    assert _typed(value, unsaid) == cell


def test_a_choice_offers_its_words() -> None:
    sheet = _sheet("Any", Field("Colour", "colour", choices=Colour), Field("Size", "size", words=("s", "m")))
    assert [field.picked for field in sheet.fields] == [("red",), ("s", "m")]
    assert Field("Any", "any").picked == ()


@pytest.mark.parametrize("field", BATCH.fields, ids=lambda field: field.heading)
def test_a_fact_that_says_on_or_until_when_is_a_day(field: Field) -> None:
    says_when = field.heading == "Expiry" or field.heading.endswith((" on", " due"))
    assert (field.holds is Holds.DAY) is says_when
