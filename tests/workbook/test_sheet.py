"""What `qc sheet` writes and a person fills in is read without a single edit."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from io import BytesIO
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from office import needs_office, saved_again
from openpyxl import load_workbook

from qc.batch import Active, Base, Batch, Displacement, DisplacementConvention, Part, State, Unit
from qc.fields.entries import entries_of
from qc.fields.field import Sheet
from qc.fields.sheets import ACTIVES, ASSAY, BATCH, CAVITIES, CHECKS, UNITS
from qc.jobs.sheet import write_sheet
from qc.readers.read import read_batch
from qc.workbook.entry import cells, sheet_bytes, workbook_bytes
from qc.workbook.entry.plan import Plan

PLAN = Plan(
    moulds=("A", "B"),
    cavities=12,
    batch=Batch(
        units=(),
        dosage_form="suppositories",
        product="Paracetamol suppositories 250 mg",
        number="0042",
        base=Base.FATTY,
        actives=(
            Active(
                name="paracetamol",
                label_claim_mg=Decimal(250),
                displacement=Displacement(given=Decimal("1.25"), convention=DisplacementConvention.VALUE),
                state=State.SUSPENDED,
            ),
        ),
        nominal_mass_g=Decimal("2.00"),
        balance_readability_g=Decimal("0.001"),
        balance_repeatability_g=Decimal("0.0008"),
    ),
)
UNIT_COUNT = 24


def opened(content: bytes | Path, *, values: bool = False) -> Any:
    from openpyxl import load_workbook

    return load_workbook(content if isinstance(content, Path) else BytesIO(content), data_only=values)


def header_row(sheet: Any, first_header: str) -> int:
    rows = [row for row in range(1, 20) if sheet.cell(row, 1).value == first_header]
    assert len(rows) == 1
    return rows[0]


def column_of(sheet: Any, row: int, header: str) -> int:
    return next(cell.column for cell in sheet[row] if cell.value == header)


def type_in(sheet: Any, *, first_header: str, place: int, typed: Mapping[str, object]) -> None:
    """Type into a row as a person would: into unlocked cells only."""
    top = header_row(sheet, first_header)
    for header, value in typed.items():
        cell = sheet.cell(top + place, column_of(sheet, top, header))
        assert cell.protection.locked is False, f"{sheet.title}!{cell.coordinate} is locked"
        cell.value = value


def type_fact(sheet: Any, field: str, value: object) -> None:
    row = next(row for row in range(1, 40) if sheet.cell(row, 1).value == field)
    assert sheet.cell(row, 2).protection.locked is False
    assert sheet.cell(row, 1).protection.locked is True
    sheet.cell(row, 2).value = value


def masses() -> list[float]:
    """Twenty-four masses with a mean of exactly 2 g: two at the limit, two beyond it, two beyond the outer limit."""
    return [2.1, 1.9, 2.101, 1.899, 2.201, 1.799, *[2.0] * 18]


def filled_plan(path: Path) -> Path:
    write_sheet(path, plan=PLAN)
    book = opened(path)
    for place, mass in enumerate(masses(), start=1):
        type_in(
            book["Units"],
            first_header="Unit",
            place=place,
            typed={"Mass (g)": mass, "Test sample": "yes" if place <= 20 else "no"},
        )
    type_in(book["Units"], first_header="Unit", place=3, typed={"Seen": "chipped; air bubble", "Note": "edge"})
    type_in(book["Units"], first_header="Unit", place=4, typed={"Left out because": "dropped"})
    for place in range(1, 11):
        type_in(
            book["Assay"],
            first_header="Unit",
            place=place,
            typed={"Unit": str(place), "Active": "paracetamol", "Content (mg)": 245 + place},
        )
    type_in(
        book["Cavities"], first_header="Mould", place=1, typed={"Mould": "A", "Cavity": "1", "Base mass (g)": 1.987}
    )
    type_in(book["Checks"], first_header="Check", place=1, typed={"Check": "appearance", "Result": "smooth"})
    type_fact(book["Batch"], "Weighed by", "technician A")
    book.save(path)
    return path


def filled_empty(path: Path) -> Path:
    write_sheet(path)
    book = opened(path)
    type_fact(book["Batch"], "Dosage form", "suppositories")
    for place, mass in enumerate(masses(), start=1):
        type_in(
            book["Units"],
            first_header="Unit",
            place=place,
            typed={"Unit": f"U{place}", "Pour order": place, "Mould": "M", "Cavity": str(place), "Mass (g)": mass},
        )
    type_in(
        book["Actives"],
        first_header="Active",
        place=1,
        typed={"Active": "codeine", "Label claim (mg)": 30, "Displacement factor": 0.8, "State": "dissolved"},
    )
    type_in(
        book["Assay"],
        first_header="Unit",
        place=1,
        typed={"Unit": "U1", "Part": "tip", "Content (mg)": 10.2, "Mass of part (g)": 0.7},
    )
    book.save(path)
    return path


def test_a_filled_plan_is_read_without_an_edit(tmp_path: Path) -> None:
    batch = read_batch(filled_plan(tmp_path / "batch.xlsx"))
    assert [unit.mass_g for unit in batch.units] == [Decimal(str(mass)).normalize() + 0 for mass in masses()]
    assert [unit.name for unit in batch.units] == [str(number) for number in range(1, UNIT_COUNT + 1)]
    assert (batch.units[12].mould, batch.units[12].cavity, batch.units[12].pour_order) == ("B", "1", 13)
    assert sum(unit.test_sample is True for unit in batch.units) == 20
    assert batch.units[2].seen == ("chipped", "air bubble")
    assert batch.units[3].left_out_because == "dropped"
    assert batch.planned_mass_g == Decimal("2.05")
    assert (batch.number, batch.dosage_form, batch.base) == ("0042", "suppositories", Base.FATTY)
    assert batch.actives[0].displacement == PLAN.batch.actives[0].displacement
    assert [assay.content_mg for assay in batch.assays] == [Decimal(245 + place) for place in range(1, 11)]
    assert batch.cavity_pours[0].base_mass_g == Decimal("1.987")
    assert batch.checks[0].name == "appearance"
    assert batch.weighed_by == "technician A"
    assert any('unit 3, "edge"' in told.text for told in batch.notices)


def test_an_empty_sheet_filled_by_hand_is_read_without_an_edit(tmp_path: Path) -> None:
    batch = read_batch(filled_empty(tmp_path / "batch.xlsx"))
    assert len(batch.units) == UNIT_COUNT
    assert batch.units[-1].name == "U24"
    assert batch.dosage_form == "suppositories"
    assert batch.actives[0].displacement == Displacement(given=Decimal("0.8"), convention=DisplacementConvention.FACTOR)
    assert batch.assays[0].part is Part.TIP
    assert batch.assays[0].part_mass_g == Decimal("0.7")


@pytest.mark.parametrize("known", [ACTIVES, UNITS, ASSAY, CAVITIES, CHECKS], ids=lambda known: known.name)
def test_every_column_of_the_reader_stands_on_the_sheet(known: Sheet) -> None:
    sheet = opened(sheet_bytes())[known.name]
    headers = [cell.value for cell in sheet[header_row(sheet, known.fields[0].heading)]]
    # The sheet asks for grams.
    asked = [field.heading for field in known.fields if field.power == 0]
    assert [header for header in headers if header in asked] == asked


def test_every_field_of_the_reader_stands_on_the_sheet_batch() -> None:
    sheet = opened(sheet_bytes())["Batch"]
    top = header_row(sheet, "Field")
    assert [sheet.cell(top + place, 1).value for place in range(1, len(BATCH.entered) + 1)] == [
        field.heading for field in BATCH.entered
    ]


def test_equal_plans_give_equal_bytes() -> None:
    assert sheet_bytes(PLAN) == sheet_bytes(PLAN)
    assert sheet_bytes() == sheet_bytes()


def test_a_file_that_stands_there_is_never_written_over(tmp_path: Path) -> None:
    path = tmp_path / "batch.xlsx"
    write_sheet(path)
    with pytest.raises(FileExistsError) as refusal:
        write_sheet(path, units=40)
    assert str(refusal.value) == "batch.xlsx exists already: choose another name, or move it away first"
    assert path.read_bytes() == sheet_bytes()


def test_a_file_is_written_over_when_that_was_asked_for(tmp_path: Path) -> None:
    path = tmp_path / "batch.xlsx"
    path.write_bytes(sheet_bytes(units=40))
    write_sheet(path, replace=True)
    assert path.read_bytes() == sheet_bytes()
    assert [left.name for left in tmp_path.iterdir()] == ["batch.xlsx"]


def test_a_write_that_fails_leaves_what_stood_there(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(self: Path, target: Path) -> Path:
        raise OSError(28, "No space left on device")

    path = tmp_path / "batch.xlsx"
    path.write_bytes(sheet_bytes(units=40))
    monkeypatch.setattr(Path, "rename", full)
    with pytest.raises(OSError, match="No space left on device"):
        write_sheet(path, replace=True)
    assert path.read_bytes() == sheet_bytes(units=40)
    assert [left.name for left in tmp_path.iterdir()] == ["batch.xlsx"]


def test_another_suffix_is_refused(tmp_path: Path) -> None:
    with pytest.raises(ValueError) as refusal:
        write_sheet(tmp_path / "batch.ods")
    assert str(refusal.value) == '"batch.ods" does not end in .xlsx: name the workbook for example batch.xlsx'


def test_nothing_that_was_typed_becomes_a_formula_or_a_link() -> None:
    wicked = '=HYPERLINK("http://example.org","x")'
    facts = Batch(units=(), product=wicked, number="http://example.org", dosage_form="=A1")
    plan = Plan(moulds=("=1+1",), cavities=2, batch=facts)
    with ZipFile(BytesIO(sheet_bytes(plan))) as parts:
        sheets = [parts.read(name).decode() for name in parts.namelist() if name.startswith("xl/worksheets/")]
    assert sheets
    assert not any("HYPERLINK" in sheet or "1+1" in sheet or "<hyperlink" in sheet for sheet in sheets)
    assert opened(sheet_bytes(plan))["Batch"]["B6"].data_type == "s"


def test_live_formulas_lie_in_locked_cells_and_entries_do_not() -> None:
    book = opened(sheet_bytes(PLAN))
    assert all(book[name].protection.sheet for name in book.sheetnames)
    units = book["Units"]
    top = header_row(units, "Unit")
    for header in ("Deviation now (%)", "Sign now"):
        cell = units.cell(top + 1, column_of(units, top, header))
        assert cell.data_type == "f"
        assert cell.protection.locked is True


def test_a_mass_is_checked_as_it_is_typed() -> None:
    units = opened(sheet_bytes(PLAN))["Units"]
    check = next(check for check in units.data_validations.dataValidation if "E8" in check.sqref)
    most = "IF(ISNUMBER($D$5),2*$D$5,10000)"
    assert (check.type, check.operator, check.formula1, check.formula2) == ("decimal", None, "0.00001", most)
    assert check.showErrorMessage is True
    assert check.error == (
        "Type the mass in g, in digits, without the unit. It must be at least 0.00001, and at most twice the planned "
        "mass (or 10000 g where none is planned). See whether the point stands right, and whether it was in g."
    )
    assert units["D5"].value == '=IF(ISNUMBER(Batch!$B$11),Batch!$B$11,"")'


def test_an_amount_is_checked_as_it_is_typed() -> None:
    actives = opened(sheet_bytes(PLAN))["Actives"]
    check = next(check for check in actives.data_validations.dataValidation if "D5" in check.sqref)
    assert (check.type, check.formula1, check.formula2) == ("decimal", "0.01", "100")
    assert check.error == "Type a number in digits, from 0.01 to 100. No letters, no unit."
    assert check.prompt == "g of active that takes the place of 1 g of base. Give this one or the factor, not both."


def test_a_pour_order_is_a_whole_number() -> None:
    units = opened(sheet_bytes(PLAN))["Units"]
    check = next(check for check in units.data_validations.dataValidation if "B8" in check.sqref)
    assert (check.type, check.formula1, check.formula2) == ("whole", "1", "1000000")
    assert check.error == "Type a whole number, in digits, from 1 to 1000000. No letters, no unit."


@pytest.mark.parametrize(
    ("sheet", "cell", "words"),
    [
        ("Batch", "B8", '"fatty,water-soluble"'),
        ("Actives", "F5", '"suspended,dissolved"'),
        ("Units", "H8", '"yes,no"'),
        ("Assay", "C5", '"whole,tip,middle,end"'),
        ("Assay", "D5", '"1,2,0"'),
    ],
)
def test_a_choice_has_its_drop_down_list(sheet: str, cell: str, words: str) -> None:
    checks = opened(sheet_bytes(PLAN))[sheet].data_validations.dataValidation
    check = next(check for check in checks if cell in check.sqref)
    assert (check.type, check.formula1, check.showErrorMessage) == ("list", words, True)


def test_no_cell_has_two_input_checks() -> None:
    checked = 0
    for sheet in opened(sheet_bytes(PLAN)).worksheets:
        ranges = [part for check in sheet.data_validations.dataValidation for part in check.sqref.ranges]
        cells = [cell for part in ranges for row in part.rows for cell in row]
        assert len(cells) == len(set(cells)), sheet.title
        checked += len(cells)
    assert checked > 100


def test_values_stand_there_before_a_spreadsheet_program_has_calculated() -> None:
    batch = read_filled_batch()
    units = opened(workbook_bytes(entries_of(batch)), values=True)["Units"]
    top = header_row(units, "Unit")
    assert [units.cell(top + place, 6).value for place in (1, 2)] == [5, -5]
    assert [units.cell(top + place, 7).value for place in range(1, 8)] == expected_signs()[:7]
    assert [cell.value for cell in units[5]][:9] == [24, 20, 2, 2.05, pytest.approx(-100 / 41), 5, 10, 4, 2]


def read_filled_batch() -> Batch:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        return read_batch(filled_plan(Path(folder) / "batch.xlsx"))


def expected_signs() -> list[str | None]:
    """At exactly the limit a unit is inside; an empty text is read as nothing."""
    return [None, None, "▲ beyond", "▼ beyond", "▲ OUTER", "▼ OUTER", *[None] * 18]


@needs_office
def test_a_spreadsheet_program_calculates_the_same_and_its_file_is_read(tmp_path: Path) -> None:
    filled = [filled_plan(tmp_path / "plan.xlsx"), filled_empty(tmp_path / "empty.xlsx")]
    saved = tmp_path / "saved"
    saved_again(filled, "xlsx", saved)
    for name, planned, sample in (("plan", 2.05, 20), ("empty", None, 0)):
        units = opened(saved / f"{name}.xlsx", values=True)["Units"]
        top = header_row(units, "Unit")
        for place, (mass, sign) in enumerate(zip(masses(), expected_signs(), strict=True), start=1):
            assert units.cell(top + place, 6).value == pytest.approx((mass / 2 - 1) * 100, abs=1e-9)
            assert (units.cell(top + place, 7).value or None) == sign, place
        box = [cell.value or None for cell in units[5]]
        assert box[0] == UNIT_COUNT
        assert (box[1] or 0) == sample
        assert box[2] == pytest.approx(2)
        assert box[3] == planned
        assert box[5:9] == [5, 10, 4, 2]
        batch = read_batch(saved / f"{name}.xlsx")
        direct = read_batch(tmp_path / f"{name}.xlsx")
        assert (batch.units, batch.assays, batch.actives) == (direct.units, direct.assays, direct.actives)
    plan = opened(saved / "plan.xlsx", values=True)
    assert plan["Actives"]["L5"].value == pytest.approx(0.05)
    assert plan["Assay"]["H5"].value == pytest.approx(246 / 250.5 * 100)


def test_a_long_list_is_read_back_and_its_empty_cells_are_open_to_be_typed_into(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cells, "_MOST_BY_HAND", 200)
    units = tuple(Unit(name=str(n), pour_order=n, mass_g=Decimal(2000 + n % 17) / 1000) for n in range(1, 301))
    batch = Batch(number="long", dosage_form="suppositories", units=units)
    path = tmp_path / "long.xlsx"
    path.write_bytes(workbook_bytes(entries_of(batch)))
    assert [(one.name, one.pour_order, one.mass_g) for one in read_batch(path).units] == [
        (one.name, one.pour_order, one.mass_g) for one in units
    ]
    book = load_workbook(path)
    note = next(cell.column for row in book["Units"].iter_rows(max_row=8) for cell in row if cell.value == "Note")
    looks = [one for one in book["Units"].column_dimensions.values() if one.min <= note <= one.max]
    assert [one.protection.locked for one in looks] == [False]
    # Each row of them asks all the others for their mean.
    assert book["Assay"].max_row < 250
