"""The copy of a batch with the units to assay: those drawn and those chosen are never taken for each other."""

from __future__ import annotations

import hashlib
from contextlib import nullcontext
from decimal import Decimal
from functools import cache
from pathlib import Path

import openpyxl
import pytest

from qc.batch import counting_order
from qc.jobs.check import TO_ASSAY, assay_list, check_batch
from qc.jobs.file_report import file_report
from qc.jobs.verify import Outcome, Status, verify_report
from qc.readers.options import ReadOptions
from qc.results import JudgedBatch
from qc.show.filing import Filing, file_together
from qc.show.pages_pdf import Paper

pytestmark = pytest.mark.usefixtures("plain_pictures", "drawn_once")

SAMPLES = Path(__file__).parents[2] / "sample_data"
BARE = ReadOptions(form="suppositories", label_mg=Decimal(250))


@cache
def weights_only() -> JudgedBatch:
    return check_batch(SAMPLES / "weights-only.csv", options=BARE).judged


def listed_in(folder: Path, judged: JudgedBatch) -> Path:
    """File the list as it is filed beside a report."""
    listed = assay_list(judged)
    assert listed is not None
    file_together([Filing(folder=folder, files={}, if_none={TO_ASSAY: listed})])
    return folder / TO_ASSAY


def filled_in(path: Path, *, most: int | None = None, content: float = 250.0) -> list[tuple[str, int]]:
    """Type a content beside every unit on the list, or beside the first few; answer units and stages."""
    book = openpyxl.load_workbook(path)
    sheet = book["Assay"]
    head = next(row for row in sheet.iter_rows() if any(cell.value == "Unit" for cell in row))
    column = {cell.value: cell.column for cell in head if cell.value}
    listed = []
    for row in range(head[0].row + 1, sheet.max_row + 1):
        unit, stage = sheet.cell(row, column["Unit"]).value, sheet.cell(row, column["Stage"]).value
        empty = all(sheet.cell(row, column[f"Content ({of})"]).value is None for of in ("mg", "% of label"))
        if unit is not None and empty:
            listed.append((str(unit), int(stage)))
            if most is None or len(listed) <= most:
                sheet.cell(row, column["Content (mg)"]).value = content
    book.save(path)
    return listed


def test_the_units_drawn_are_the_test_and_those_chosen_are_beside_it(tmp_path: Path) -> None:
    table = SAMPLES / "weights-only.csv"
    before = hashlib.sha256(table.read_bytes()).hexdigest()
    judged = weights_only()
    path = listed_in(tmp_path, judged)
    assert judged.pour is not None
    assert judged.pour.assay_list is not None
    drawn, chosen = judged.pour.assay_list.random_units, [unit for unit, _ in judged.pour.assay_list.revealing]
    listed = filled_in(path)
    assert {unit for unit, stage in listed if stage == 1} == set(drawn)
    assert {unit for unit, stage in listed if stage == 0} == set(chosen)
    later = check_batch(path, options=ReadOptions()).judged
    for test in later.tests:
        if test.active is not None:
            assert set(test.sample) == set(drawn)
    sample = {unit.name for unit in later.batch.units if unit.test_sample}
    assert len(sample) == 20
    assert set(drawn) <= sample
    assert hashlib.sha256(table.read_bytes()).hexdigest() == before


def test_a_list_in_which_contents_stand_is_never_written_over(tmp_path: Path) -> None:
    judged = weights_only()
    path = listed_in(tmp_path, judged)
    filled_in(path)
    typed = path.read_bytes()
    assert listed_in(tmp_path, judged) == path
    assert path.read_bytes() == typed


@pytest.mark.parametrize("most", [0, 4])
def test_units_without_a_content_yet_are_said_and_not_refused(most: int, tmp_path: Path) -> None:
    judged = weights_only()
    path = listed_in(tmp_path, judged)
    listed = filled_in(path, most=most)
    later = check_batch(path, options=ReadOptions()).judged
    assert len(later.batch.assays) == most
    waiting = ", ".join(sorted((unit for unit, _ in listed[most:]), key=counting_order))
    assert [one.text for one in later.batch.notices] == [f"No content stands yet beside: {waiting}."]


def test_a_second_stage_is_listed_behind_the_first(tmp_path: Path) -> None:
    judged = check_batch(SAMPLES / "second-stage.xlsx", options=ReadOptions()).judged
    due = next(test for test in judged.tests if test.next_units)
    path = listed_in(tmp_path, judged)
    listed = filled_in(path, content=25.0)
    assert {unit for unit, stage in listed if stage == 2} == set(due.next_units)
    later = check_batch(path, options=ReadOptions()).judged
    test = next(test for test in later.tests if test.id == due.id and test.active == due.active)
    assert test.figures["stage"] == 2
    assert set(test.sample) == {*due.sample, *due.next_units}


def test_the_list_belongs_to_the_report_until_something_is_typed_into_it(tmp_path: Path) -> None:
    folder, checked = tmp_path / "report", check_batch(SAMPLES / "second-stage.xlsx", options=ReadOptions())

    def outcome() -> tuple[Outcome, list[str]]:
        verified = verify_report(folder, input_path=SAMPLES / "second-stage.xlsx")
        open_ones = [f"{line.what} {line.told}" for line in verified.lines if line.state is Status.UNCHECKED]
        return verified.outcome, open_ones

    def file_it() -> None:
        filed = file_report(checked, folder, (), paper=Paper.A4, replace=True, told=nullcontext, part=nullcontext)
        assert filed == folder / TO_ASSAY

    file_it()
    assert outcome() == (Outcome.TOGETHER, [])
    filled_in(folder / TO_ASSAY)
    changed = "was changed since it was filed, as typing contents into it does; sha256sum -c names it for that alone"
    assert outcome() == (Outcome.PARTLY, [f"{TO_ASSAY} {changed}"])
    typed = (folder / TO_ASSAY).read_bytes()
    file_it()
    # What was typed stays, and is what the new list of digests covers.
    assert (outcome(), (folder / TO_ASSAY).read_bytes()) == ((Outcome.TOGETHER, []), typed)
    (folder / TO_ASSAY).unlink()
    assert outcome() == (Outcome.PARTLY, [f"{TO_ASSAY} is listed in SHA256SUMS and is not in the folder"])
