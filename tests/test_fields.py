"""A column is written once: the reader, the entry workbook and the comparison of entries all read it there."""

from __future__ import annotations

from decimal import Decimal
from functools import cache
from io import BytesIO
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import fields as attributes_of
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, CavityPour, Check, Displacement, DisplacementConvention, State, Unit
from qc.fields import sheets
from qc.fields.entries import entries_of
from qc.fields.field import Field, Holds, Sheet, plain
from qc.fields.sheets import ACTIVES, ASSAY, BARE_UNITS, BATCH, CAVITIES, CHECKS, UNITS
from qc.jobs import compare
from qc.jobs.compare import compare_entries
from qc.problems import InputProblems
from qc.readers.entered_cells import Entered, read_entered
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.workbook.entry import sheet_bytes, workbook_bytes

RECORDS = {"Batch": Batch, "Actives": Active, "Units": Unit, "Assay": Assay, "Cavities": CavityPour, "Checks": Check}
PARTS = {"Actives": "actives", "Units": "units", "Assay": "assays", "Cavities": "cavity_pours", "Checks": "checks"}
KNOWN = (BATCH, ACTIVES, UNITS, ASSAY, CAVITIES, CHECKS)
COLUMNS = [(sheet, field) for sheet in KNOWN for field in sheet.entered]
NUMBERS = [(sheet, field) for sheet, field in COLUMNS if field.is_number]

LEAST: dict[str, Any] = {
    "Batch": Batch(units=()),
    "Actives": Active(name="zinc oxide"),
    "Units": Unit(name="7", mass_g=Decimal("2.013")),
    "Assay": Assay(unit="7", active="zinc oxide", content_mg=Decimal("125.3")),
    "Cavities": CavityPour(mould="A", cavity="1", base_mass_g=Decimal("1.985")),
    "Checks": Check(name="appearance"),
}
TYPED: dict[Holds, Any] = {
    Holds.NAME: "first",
    Holds.TEXT: "in words",
    Holds.DAY: "2026-03-14",
    Holds.WORDS: ("chipped", "bloom"),
    Holds.YES_NO: True,
}


def name_of(case: object) -> str:
    return str(getattr(case, "heading", None) or getattr(case, "name", ""))


def value_for(field: Field) -> Any:
    """Something that the column may hold and that says something else than an empty cell."""
    if field.holds is Holds.CHOICE:
        return list(field.choices or ())[-1]
    if field.attribute == "target_percent":
        return Decimal(110)
    if field.attribute == "part_mass_g":
        # The part is the whole unit.
        return LEAST["Units"].mass_g
    if field.holds is Holds.WHOLE:
        return int(field.example)
    return Decimal(field.example) if field.is_number else TYPED[field.holds]


def batch_with(sheet: Sheet, field: Field) -> Batch:
    """A batch of one record a sheet, with a value in one of its columns."""
    records = dict(LEAST)
    value, attribute = value_for(field), field.attribute
    if attribute.startswith("displacement_"):
        convention = DisplacementConvention.VALUE if attribute.endswith("value") else DisplacementConvention.FACTOR
        value, attribute = Displacement(given=value, convention=convention), "displacement"
    if attribute == "content_percent":
        records["Assay"] = replace(records["Assay"], content_mg=None)
    records[sheet.name] = replace(records[sheet.name], **{attribute: value})
    if (sheet, attribute) in ((UNITS, "name"), (ACTIVES, "name")):
        records["Assay"] = replace(records["Assay"], **{"unit" if sheet is UNITS else "active": value})
    elif (sheet, attribute) in ((ASSAY, "unit"), (ASSAY, "active")):
        other = "Units" if attribute == "unit" else "Actives"
        records[other] = replace(records[other], name=value)
    return replace(records["Batch"], **{part: (records[name],) for name, part in PARTS.items()})


def written(batch: Batch, path: Path) -> Path:
    path.write_bytes(workbook_bytes(entries_of(batch)))
    return path


@pytest.fixture(scope="module")
def with_a_note(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return written(batch_with(BATCH, BATCH.field("note")), tmp_path_factory.mktemp("fields") / "b.xlsx")


@pytest.fixture
def read_once(monkeypatch: pytest.MonkeyPatch, with_a_note: Path) -> None:
    """The book that every other is compared with is read once."""
    monkeypatch.setattr(compare, "read_entered", _entered_in)


@cache
def _entered_in(path: Path, options: ReadOptions) -> Entered:
    return read_entered(path, options=options)


def test_each_fact_is_written_read_back_and_compared(with_a_note: Path, tmp_path: Path) -> None:
    """All facts of the batch in one workbook, each another one than in the workbook it is compared with."""
    facts = {field.attribute: value_for(field) for field in BATCH.entered}
    batch = replace(batch_with(BATCH, BATCH.field("note")), **facts)
    path = written(batch, tmp_path / "a.xlsx")
    assert replace(read_batch(path), source=None, read=None, notices=()) == batch
    found = {one.key for one in compare_entries(path, with_a_note, options=ReadOptions()).differences}
    assert found == {field.heading for field in BATCH.entered if field.attribute != "note"}


@pytest.mark.usefixtures("read_once")
@pytest.mark.parametrize(("sheet", "field"), [one for one in COLUMNS if one[0] is not BATCH], ids=name_of)
def test_each_column_is_written_read_back_and_compared(
    sheet: Sheet, field: Field, with_a_note: Path, tmp_path: Path
) -> None:
    batch = batch_with(sheet, field)
    path = written(batch, tmp_path / "a.xlsx")
    assert replace(read_batch(path), source=None, read=None, notices=()) == batch
    found = compare_entries(path, with_a_note, options=ReadOptions()).differences
    if field.attribute in sheet.keys:
        assert sheet.name in [one.sheet for one in found] or value_for(field) == getattr(
            LEAST[sheet.name], field.attribute
        )
    else:
        differs = value_for(field) != getattr(LEAST[sheet.name], field.attribute)
        assert ((sheet.name, field.heading) in [(one.sheet, one.column) for one in found]) is differs


@pytest.mark.parametrize("sheet", KNOWN, ids=name_of)
def test_every_attribute_of_a_record_has_its_column(sheet: Sheet) -> None:
    record = {attribute.name for attribute in attributes_of(RECORDS[sheet.name])}
    made_elsewhere = {*PARTS.values(), "source", "read", "notices", "superseded"} if sheet is BATCH else set()
    columns = {field.attribute for field in sheet.fields}
    if sheet is ACTIVES:
        columns = columns - {"displacement_value", "displacement_factor"} | {"displacement"}
    assert columns == record - made_elsewhere


@pytest.fixture(scope="module")
def entry_workbook() -> Any:
    from openpyxl import load_workbook

    return load_workbook(BytesIO(sheet_bytes()))


@pytest.mark.parametrize(("sheet", "field"), NUMBERS, ids=name_of)
def test_the_entry_workbook_accepts_what_the_reader_accepts(sheet: Sheet, field: Field, entry_workbook: Any) -> None:
    page = entry_workbook[sheet.name]
    assert field.plausible is not None
    if sheet is BATCH:
        place = next(f"B{row}" for row in range(1, 40) if page.cell(row, 1).value == field.heading)
    else:
        cells = [cell for row in page.iter_rows(max_row=12) for cell in row if cell.value == field.heading]
        place = f"{cells[0].column_letter}{cells[0].row + 1}"
    check = next(check for check in page.data_validations.dataValidation if place in check.sqref)
    if field.words:
        assert check.formula1 == f'"{",".join(field.words)}"'
        return
    assert Decimal(check.formula1) == (0 if field.zero else field.plausible.floor)
    assert check.formula2.removeprefix("IF(ISNUMBER($D$5),2*$D$5,").removesuffix(")") == f"{field.plausible.ceiling:f}"


def test_a_mass_has_one_plausible_range() -> None:
    ranges = {field.plausible for sheet in KNOWN for field in sheet.entered if field.shown == "0.000###"}
    (mass,) = ranges
    assert mass == UNITS.field("mass_g").plausible
    in_mg = UNITS.columns[plain("Mass (mg)")].plausible
    assert mass is not None
    assert in_mg == mass.scaled(3)
    assert f"{in_mg}" == "0.01 to 10000000"


class TestANewColumn:
    """A line in `qc.fields.sheets` and an attribute of a record: no reader, writer or comparison names it."""

    HEADING = "Supervised by"

    @pytest.fixture(autouse=True)
    def one_more_column(self, monkeypatch: pytest.MonkeyPatch) -> None:
        # A further heading for an attribute that the record has: what a line more in the list of columns does.
        columns = dict(CHECKS.columns)
        del columns[plain("Done by")]
        columns[plain(self.HEADING)] = Field(self.HEADING, "done_by", "Who stood by.", holds=Holds.NAME)
        more = Sheet(name="Checks", columns=columns, guide=CHECKS.guide, keys=CHECKS.keys)
        monkeypatch.setitem(sheets.SHEETS, "checks", more)
        monkeypatch.setattr("qc.fields.entries.CHECKS", more)
        monkeypatch.setattr("qc.fields.sheets.CHECKS", more)

    def batch(self, by: str | None) -> Batch:
        batch = batch_with(BATCH, BATCH.field("note"))
        return replace(batch, checks=(Check(name="appearance", done_by=by),))

    def test_it_is_written_and_read(self, tmp_path: Path) -> None:
        from openpyxl import load_workbook

        path = written(self.batch("AB"), tmp_path / "batch.xlsx")
        assert self.HEADING in [cell.value for cell in load_workbook(path)["Checks"][4]]
        assert read_batch(path).checks[0].done_by == "AB"

    def test_it_is_compared(self, tmp_path: Path) -> None:
        a, b = (written(self.batch(by), tmp_path / f"{by}.xlsx") for by in ("AB", "CD"))
        (found,) = compare_entries(a, b, options=ReadOptions()).differences
        assert (found.column, found.a.found, found.b.found) == (self.HEADING, "AB", "CD")

    def test_its_old_heading_is_not_known(self, tmp_path: Path) -> None:
        (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.013\n")
        (tmp_path / "checks.csv").write_text("Check,Done by\nappearance,AB\n")
        notices = [notice.text for notice in read_batch(tmp_path).notices]
        assert notices == ['The column "Done by" is not known and was ignored.']


def test_a_milligram_heading_fills_the_same_attribute(tmp_path: Path) -> None:
    (tmp_path / "batch.csv").write_text("Unit,Mass (mg)\n1,2013\n")
    assert read_batch(tmp_path / "batch.csv").units[0].mass_g == Decimal("2.013")
    (tmp_path / "heavy.csv").write_text("Unit,Mass (mg)\n1,10000001\n")
    with pytest.raises(InputProblems, match=r"10000001 mg is not plausible: 0.01 to 10000000 mg is"):
        read_batch(tmp_path / "heavy.csv")


def test_a_bare_table_has_the_units_and_the_contents_of_whole_units() -> None:
    contents = [ASSAY.field(name) for name in ("content_mg", "content_percent", "stage")]
    assert BARE_UNITS.fields == (*UNITS.fields, *contents)


def test_a_choice_offers_its_words() -> None:
    assert ACTIVES.field("state").picked == tuple(state.value for state in State)
