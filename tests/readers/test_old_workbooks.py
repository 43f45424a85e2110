"""Workbooks of the old kind: limits of time and memory, and what is stored more than once."""

from __future__ import annotations

from pathlib import Path

import pytest
from attacks import OLD_HEAD, OLD_ROWS, old_book, old_numbers

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
    cells = OLD_HEAD + OLD_ROWS + b"".join(old_numbers(at, 200) for at in range(30, 531))
    told = why(tmp_path / "old.xls", old_book(cells, dimensions=(0, 531, 0, 200)))
    assert told == "the file holds more than 100,000 filled cells"
