"""The entry workbook on paper: unit numbers stand there, a page a sheet, batch number and a line to sign on each."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from decimal import Decimal
from pathlib import Path

import pytest
from msgspec.structs import replace
from office import needs_office, saved_again

from qc.batch import Active, Batch
from qc.readers.read import read_batch
from qc.say.messages import words
from qc.workbook.entry import EMPTY_UNITS, sheet_bytes
from qc.workbook.entry.plan import Plan, few_for_a_second_stage

BATCH = Batch(
    units=(), dosage_form="suppositories", number="0042", actives=(Active(name="x", label_claim_mg=Decimal(9)),)
)
PLAN = Plan(moulds=("A", "B"), cavities=12, batch=BATCH)


class TestNumbersStandThere:
    def weighed(self, path: Path, masses: int, *, poured: int | None = None, assayed: str = "") -> Batch:
        from openpyxl import load_workbook

        path.write_bytes(sheet_bytes())
        book = load_workbook(path)
        assert [book["Units"].cell(7 + place, 1).value for place in (1, EMPTY_UNITS)] == ["1", str(EMPTY_UNITS)]
        for place in range(1, masses + 1):
            book["Units"].cell(7 + place, 5).value = 2.0 + place / 1000
        if poured:
            book["Batch"]["B9"] = poured
        if assayed:
            for column, value in ((1, assayed), (5, 99.0)):
                book["Assay"].cell(5, column).value = value
        book.save(path)
        return read_batch(path)

    def test_numbers_that_nobody_needed_are_no_units(self, tmp_path: Path) -> None:
        batch = self.weighed(tmp_path / "batch.xlsx", 20)
        assert [unit.name for unit in batch.units] == [str(number) for number in range(1, 21)]
        assert [notice.text for notice in batch.notices] == [
            "Nothing stands beside units 21, 22, 23, 24, 25, 26 and 4 more, below the last mass; taken for spare rows.",
            "Read figures that rise by 0.001 each.",
        ]

    def test_as_many_as_were_poured_are_units(self, tmp_path: Path) -> None:
        assert len(self.weighed(tmp_path / "batch.xlsx", 20, poured=24).units) == 24

    def test_an_assayed_one_is_a_unit(self, tmp_path: Path) -> None:
        assert len(self.weighed(tmp_path / "batch.xlsx", 20, assayed="23").units) == 23

    def test_in_a_workbook_that_somebody_made_a_number_by_itself_stays_a_unit(self, tmp_path: Path) -> None:
        (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.0\n2,2.01\n3,\n")
        assert len(read_batch(tmp_path / "units.csv").units) == 3


class TestFewerThanASecondStageTakes:
    def test_is_said_with_the_rules_and_how_many(self) -> None:
        short = few_for_a_second_stage(PLAN)
        assert short is not None
        assert words(short) == (
            "24 units planned, and Ph. Eur. 2.9.6, test B and Ph. Eur. 2.9.40 / USP <905> / JP 6.02 may ask for 30, "
            "both stages together: too few for a second stage. Pour at least 30, or settle beforehand how "
            "so small a batch is judged."
        )

    @pytest.mark.parametrize(("units", "said"), [(29, True), (30, False), (31, False)])
    def test_ends_at_thirty(self, units: int, said: bool) -> None:
        assert (few_for_a_second_stage(replace(PLAN, units=units)) is not None) is said

    def test_stands_over_the_units(self, tmp_path: Path) -> None:
        from openpyxl import load_workbook

        (tmp_path / "plan.xlsx").write_bytes(sheet_bytes(PLAN))
        said = [row[0] for row in load_workbook(tmp_path / "plan.xlsx")["Units"].iter_rows(max_row=6, values_only=True)]
        assert any("too few for a second stage" in str(text) for text in said)


@needs_office
@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext is not installed")
def test_every_sheet_prints_on_one_page_with_batch_number_and_a_line_to_sign(tmp_path: Path) -> None:
    (tmp_path / "empty.xlsx").write_bytes(sheet_bytes())
    (tmp_path / "plan.xlsx").write_bytes(sheet_bytes(PLAN))
    (tmp_path / "long.xlsx").write_bytes(sheet_bytes(units=60))
    saved_again(list(tmp_path.glob("*.xlsx")), "pdf", tmp_path)
    for name, number, more in (("empty", "____", 0), ("plan", "0042", 0), ("long", "____", 2)):
        text = subprocess.run(
            ["pdftotext", "-layout", str(tmp_path / f"{name}.pdf"), "-"], check=True, capture_output=True
        )
        pages = text.stdout.decode().split("\f")[:-1]
        assert len(pages) == 7 + more, name
        for page in pages[1:]:
            assert re.search(rf"Batch number(:| ) *{number}", page) or (name, "Field" in page) == (name, True)
            assert re.search(r"Filled in by _+ on _+ +Checked by _+ on _+", page)


def test_the_headings_stand_on_every_page_of_a_sheet() -> None:
    from openpyxl import load_workbook

    book = load_workbook(io.BytesIO(sheet_bytes()))
    titles = {sheet.title: sheet.print_title_rows for sheet in book.worksheets if sheet.print_title_rows}
    # The sheet Batch has no line for the number of the batch, which stands in its table.
    assert titles == {"Batch": "$4:$4", "Units": "$1:$7"} | dict.fromkeys(
        ("Actives", "Assay", "Cavities", "Checks"), "$1:$4"
    )
