"""Workbooks of the old kind: limits of time and memory, and what is stored more than once."""

from __future__ import annotations

import struct
from pathlib import Path

import pytest
from attacks import OLD_HEAD, OLD_ROWS, old_book, old_number, old_numbers, record

from qc.problems import InputProblems
from qc.readers import xls
from qc.readers.read import read_batch
from qc.readers.stored import StoredFile

SOUND = old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2))


def why(path: Path, data: bytes) -> str:
    path.write_bytes(data)
    with pytest.raises(InputProblems) as caught:
        read_batch(path)
    return caught.value.problems[0].found


def test_processor_time_without_end_is_cut_off(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # The child spends its time before it reads: the limit counts from its start.
    spend = "import resource; resource.setrlimit(resource.RLIMIT_CPU, (1, 2))\nwhile True: pass\n"
    run = xls.subprocess.run

    def slow(call: list[str], **more: object) -> object:
        return run([call[0], "-c", spend], **more)

    monkeypatch.setattr(xls.subprocess, "run", slow)
    assert why(tmp_path / "old.xls", SOUND) == "the workbook was not read within 8 s"


def test_a_large_sound_workbook_is_read(tmp_path: Path) -> None:
    cells = OLD_HEAD + OLD_ROWS + b"".join(old_numbers(at, 200) for at in range(30, 500))
    data = old_book(cells, dimensions=(0, 500, 0, 200))
    table = xls.read_xls(StoredFile(name="old.xls", data=data)).tables[0]
    assert sum(len(row.cells) for row in table.rows) == 42 + 200 * 470


def test_more_cells_than_a_batch_has_are_refused(tmp_path: Path) -> None:
    cells = OLD_HEAD + OLD_ROWS + b"".join(old_numbers(at, 200) for at in range(30, 831))
    told = why(tmp_path / "old.xls", old_book(cells, dimensions=(0, 831, 0, 200)))
    assert told == "the file holds more than 160,000 filled cells"


def old_formula(row: int, column: int, number: float, tokens: bytes) -> bytes:
    """A cell with a formula: record FORMULA of [MS-XLS], 2.4.127."""
    head = struct.pack("<HHHdHL", row, column, 0, number, 0, 0)
    return record(0x0006, head + struct.pack("<H", len(tokens)) + tokens)


# Tokens of [MS-XLS], 2.5.198: RAND (function 63 without arguments), and C of the same row less 1.
RAND = b"\x21" + struct.pack("<H", 63)
TAKES_C = b"\x4c" + struct.pack("<HH", 0, 0xC000 | 1) + b"\x1e" + struct.pack("<H", 1) + b"\x04"
BY_ANOTHER = b"\x01" + struct.pack("<HH", 1, 1)


def test_a_mass_by_a_random_number_is_refused(tmp_path: Path) -> None:
    cells = b"".join(old_number(at, 0, at) + old_formula(at, 1, 2 + at / 1000, RAND) for at in range(1, 21))
    told = why(tmp_path / "old.xls", old_book(OLD_HEAD + cells, dimensions=(0, 21, 0, 2)))
    assert told == "the mass of unit 1 is another one at every calculation, by RAND (=RAND())"


def test_a_formula_shared_by_cells_is_that_of_each(tmp_path: Path) -> None:
    """Record SHRFMLA of [MS-XLS], 2.4.277, behind the first cell of its area."""
    shared = record(0x04BC, struct.pack("<HHBBBBH", 1, 20, 1, 1, 0, 20, len(TAKES_C)) + TAKES_C)
    cells = old_number(1, 0, 1) + old_formula(1, 1, 2.001, BY_ANOTHER) + shared
    cells += b"".join(old_number(at, 0, at) + old_formula(at, 1, 2 + at / 1000, BY_ANOTHER) for at in range(2, 21))
    data = old_book(OLD_HEAD + cells, dimensions=(0, 21, 0, 2))
    table = xls.read_xls(StoredFile(name="old.xls", data=data)).tables[0]
    assert [row.cells[2].formula for row in table.rows[1:4]] == ["=C2-1.0", "=C3-1.0", "=C4-1.0"]


def test_a_formula_that_cannot_be_written_out_is_told(tmp_path: Path) -> None:
    cells = b"".join(old_number(at, 0, at) + old_formula(at, 1, 2 + at / 1000, BY_ANOTHER) for at in range(1, 21))
    told = why(tmp_path / "old.xls", old_book(OLD_HEAD + cells, dimensions=(0, 21, 0, 2)))
    assert "by a formula that the file does not write out" in told
