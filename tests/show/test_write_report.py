"""The files of a report: whole or not at all, never over another, the same bytes for the same input."""

from __future__ import annotations

import errno
import json
import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from qc.results import JudgedBatch
from qc.show import filing, write
from qc.show.filing import HTML, JSON, PDF, ReportExists, file_whole
from qc.show.write import render_report

Batches = dict[str, Callable[[], JudgedBatch]]
DOCUMENT = {"schema": "qc-result/1", "verdict": "complies", "batch": {"number": "B-2026-117"}}
FILES = {"report.html": b"<p>new</p>", "report.pdf": b"%PDF new", "result.json": b"{}"}


def everything_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()}


def folders_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir() if path.is_dir())


def test_a_report_is_three_files_with_their_digests_and_leaves_nothing_else(batches: Batches, tmp_path: Path) -> None:
    folder = tmp_path / "reports" / "B-2026-117"
    file_whole(folder, render_report(batches["sound"](), document=DOCUMENT))
    assert sorted(everything_in(tmp_path)) == [
        "reports/B-2026-117/SHA256SUMS",
        "reports/B-2026-117/report.html",
        "reports/B-2026-117/report.pdf",
        "reports/B-2026-117/result.json",
    ]
    assert json.loads((folder / JSON).read_text()) == DOCUMENT
    assert (folder / HTML).read_text().startswith("<!DOCTYPE html>")
    assert (folder / PDF).read_bytes().startswith(b"%PDF-")
    assert folders_in(tmp_path / "reports") == ["B-2026-117"]


def test_a_report_that_stands_there_is_never_written_over(batches: Batches, tmp_path: Path) -> None:
    folder = tmp_path / "B1"
    folder.mkdir()
    (folder / "report.pdf").write_bytes(b"signed")
    with pytest.raises(ReportExists) as refused:
        file_whole(folder, render_report(batches["sound"](), document=DOCUMENT))
    assert str(refused.value) == (
        f"{folder} already holds a report (report.pdf); it was left as it is. "
        "Choose another folder for this report, or move the old one away first."
    )
    assert everything_in(tmp_path) == {"B1/report.pdf": b"signed"}


def test_replacing_is_asked_for_by_name(batches: Batches, tmp_path: Path) -> None:
    folder = tmp_path / "B1"
    file_whole(folder, dict.fromkeys(FILES, b"old"))
    (folder / "notes.txt").write_text("kept")
    file_whole(folder, render_report(batches["sound"](), document=DOCUMENT), replace=True)
    assert (folder / "report.pdf").read_bytes().startswith(b"%PDF-")
    assert (folder / "notes.txt").read_text() == "kept"
    assert folders_in(tmp_path) == ["B1"]


def test_a_folder_that_holds_other_things_takes_the_report_beside_them(tmp_path: Path) -> None:
    (tmp_path / "batch.xlsx").write_bytes(b"input")
    file_whole(tmp_path, FILES)
    assert everything_in(tmp_path) == {**FILES, "batch.xlsx": b"input"}


def test_an_empty_folder_takes_the_report(tmp_path: Path) -> None:
    (tmp_path / "B1").mkdir()
    file_whole(tmp_path / "B1", FILES)
    assert everything_in(tmp_path / "B1") == FILES


@pytest.mark.parametrize("fails_at", [1, 2, 3, 4])
def test_a_full_disk_leaves_nothing(fails_at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    calls = 0
    force = os.fsync

    def full(handle: int) -> None:
        nonlocal calls
        calls += 1
        if calls == fails_at:
            raise OSError(errno.ENOSPC, "No space left on device")
        force(handle)

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(OSError, match="No space left on device"):
        file_whole(tmp_path / "reports" / "B1", FILES)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("fails_at", [1, 2, 3])
def test_a_crash_while_moving_into_a_used_folder_takes_the_moved_files_out_again(
    fails_at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "B1").mkdir()
    (tmp_path / "B1" / "batch.xlsx").write_bytes(b"input")
    break_rename(monkeypatch, fails_at)
    with pytest.raises(KeyboardInterrupt):
        file_whole(tmp_path / "B1", FILES)
    assert everything_in(tmp_path) == {"B1/batch.xlsx": b"input"}
    assert folders_in(tmp_path) == ["B1"]


@pytest.mark.parametrize("fails_at", [1, 2, 3, 4, 5, 6])
def test_a_crash_while_replacing_leaves_the_old_report(
    fails_at: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    old = dict.fromkeys(FILES, b"old")
    file_whole(tmp_path / "B1", old)
    break_rename(monkeypatch, fails_at)
    with pytest.raises(KeyboardInterrupt):
        file_whole(tmp_path / "B1", FILES, replace=True)
    assert everything_in(tmp_path / "B1") == old
    assert folders_in(tmp_path) == ["B1"]


def break_rename(monkeypatch: pytest.MonkeyPatch, fails_at: int) -> None:
    calls = 0
    rename = Path.rename

    def broken(path: Path, target: Path) -> Path:
        nonlocal calls
        calls += 1
        if calls == fails_at:
            raise KeyboardInterrupt
        return rename(path, target)

    monkeypatch.setattr(Path, "rename", broken)


def test_a_page_that_cannot_be_set_is_no_report(batches: Batches, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(*_: object, **__: object) -> bytes:
        raise MemoryError

    monkeypatch.setattr(write, "pdf_pages", broken)
    with pytest.raises(MemoryError):
        render_report(batches["sound"](), document=DOCUMENT)


def test_others_may_read_the_folder_as_any_of_its_owners(tmp_path: Path) -> None:
    (tmp_path / "plain").mkdir()
    filing.file_whole(tmp_path / "B1", FILES)
    assert (tmp_path / "B1").stat().st_mode == (tmp_path / "plain").stat().st_mode


def test_the_same_input_gives_the_same_bytes(batches: Batches) -> None:
    made = [render_report(batches["failing"](), document=DOCUMENT) for _ in range(2)]
    assert made[0] == made[1]


def test_the_bytes_do_not_depend_on_the_process_the_hour_or_the_order_of_a_set() -> None:
    program = (
        "import hashlib, importlib.util, sys\n"
        f"path = {str(Path(__file__).with_name('conftest.py'))!r}\n"
        "spec = importlib.util.spec_from_file_location('made_by_hand', path)\n"
        "made = importlib.util.module_from_spec(spec); sys.modules['made_by_hand'] = made\n"
        "spec.loader.exec_module(made)\n"
        "from qc.show.write import render_report\n"
        "files = render_report(made.hostile(), document={'verdict': 'complies'})\n"
        "print({name: hashlib.sha256(content).hexdigest() for name, content in files.items()})\n"
    )
    printed = []
    for seed, zone in (("1", "UTC"), ("2", "Asia/Tokyo")):
        surroundings = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone}
        done = subprocess.run(
            [sys.executable, "-c", program], capture_output=True, text=True, check=True, env=surroundings
        )
        printed.append(done.stdout)
    assert printed[0] == printed[1]
    assert "report.pdf" in printed[0]
