"""The walk of one mass from its cell to the report: few files hold it, each of them for a reason."""

from __future__ import annotations

import sys
from collections import defaultdict
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from types import FrameType
from typing import Any

import openpyxl
from typer.testing import CliRunner

import qc
from qc.cli.main import application

PACKAGE = str(Path(qc.__file__).parent) + "/"
SAMPLE = Path(__file__).parents[1] / "sample_data" / "fails-on-content.xlsx"
MASS = "2.0371"
MOST_FILES = 22


def is_the_mass(value: object) -> bool:
    """The number itself, as text (with its unit too), decimal, fraction or float; a mean or a record is not."""
    if isinstance(value, str):
        return MASS in value and len(value) <= len(MASS) + 3
    if isinstance(value, float):
        return value == float(MASS)
    return isinstance(value, Decimal | Fraction) and value == Fraction(MASS)


class Walk:
    """Notes in which functions of the package a name stands for the mass."""

    def __init__(self) -> None:
        self.seen: dict[str, set[str]] = defaultdict(set)

    def __call__(self, frame: FrameType, event: str, argument: Any) -> Any:
        if not frame.f_code.co_filename.startswith(PACKAGE):
            return None
        frame.f_trace_lines = False
        if event == "return" and any(is_the_mass(value) for value in frame.f_locals.values()):
            self.seen[frame.f_code.co_filename.removeprefix(PACKAGE)].add(frame.f_code.co_name)
        return self


def test_a_mass_goes_through_few_files(tmp_path: Path) -> None:
    book = openpyxl.load_workbook(SAMPLE)
    sheet = book["Units"]
    heading = next(cell for row in sheet.iter_rows() for cell in row if cell.value == "Mass (g)")
    sheet.cell(row=heading.row + 4, column=heading.column).value = float(MASS)
    path = tmp_path / "batch.xlsx"
    book.save(path)
    walk, before = Walk(), sys.gettrace()
    sys.settrace(walk)
    try:
        result = CliRunner().invoke(application("check"), ["check", str(path), "--report", str(tmp_path / "report")])
    finally:
        sys.settrace(before)
    assert result.exit_code == 1
    assert (tmp_path / "report" / "report.html").exists()
    assert any(file.startswith("readers/") for file in walk.seen)
    assert len(walk.seen) <= MOST_FILES, {file: sorted(names) for file, names in sorted(walk.seen.items())}
