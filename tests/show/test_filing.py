"""Filing, broken off at every point: the old files, or the new ones, or what the next filing finishes by itself."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import nullcontext
from functools import partial
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from types import SimpleNamespace
from typing import Any

import pytest

from qc.jobs.file_report import file_report
from qc.show import filing
from qc.show.filing import Filing, ReportExists, file_together, file_whole, finish, one_file
from tests.show.kills import apart, ended_at, everything_in, file_listening, killed_at

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a process of Windows cannot be split in two")
OLD = {"report.html": b"<p>old</p>", "report.pdf": b"%PDF old", "SHA256SUMS": b"old"}
NEW = {"report.html": b"<p>new</p>", "report.pdf": b"%PDF new", "SHA256SUMS": b"new"}


@pytest.fixture
def root(tmp_path: Path) -> Iterator[Path]:
    """A folder to be made: in memory where the system has such a place, because to force each write takes long."""
    memory = Path("/dev/shm")
    with TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else tmp_path) as place:
        yield Path(place) / "root"


Case = Callable[[Path], list[Filing]]


def first(root: Path) -> list[Filing]:
    """Into a folder that is not there."""
    return [Filing(folder=root / "reports" / "B-7", files=NEW)]


def among_others(root: Path) -> list[Filing]:
    """Into a folder that holds something else, with a file that is put there unless it is."""
    (root / "notes.txt").write_bytes(b"mine")
    return [Filing(folder=root, files=NEW, if_none={"notes.txt": b"not mine", "to-assay.xlsx": b"list"})]


def replacing(root: Path) -> list[Filing]:
    file_whole(root / "B-7", OLD)
    return [Filing(folder=root / "B-7", files=NEW, replace=True)]


def without_a_page(root: Path) -> list[Filing]:
    """In place of a report that had a page more."""
    file_whole(root / "B-7", OLD)
    return [Filing(folder=root / "B-7", files={**NEW, "report.pdf": None}, replace=True)]


def with_a_document(root: Path) -> list[Filing]:
    """Two places at once, one of them another's file to be replaced."""
    file_whole(root / "B-7", OLD)
    (root / "result.json").write_bytes(b"old")
    document = one_file(root / "result.json", b"new", replace=True)
    return [document, Filing(folder=root / "B-7", files=NEW, replace=True)]


CASES: dict[str, Case] = {
    made.__name__: made for made in (first, among_others, replacing, without_a_page, with_a_document)
}


def states(case: Case, root: Path) -> tuple[dict[str, bytes], dict[str, bytes]]:
    """What stands there before and after."""
    filings = case(root)
    before = everything_in(root)
    file_together(filings)
    after = everything_in(root)
    shutil.rmtree(root)
    assert before != after
    assert not [name for name in after if "/." in f"/{name}"]
    return before, after


def one_by_one(found: dict[str, bytes], before: dict[str, bytes], after: dict[str, bytes], case: str) -> bool:
    """Whether each place holds its old or its new files, none of them mixed; two places may differ."""
    apart = [("B-7/",), ("result.json",)] if case == "with_a_document" else [("",)]
    return all(
        {name: one for name, one in found.items() if name.startswith(place)}
        in [{name: one for name, one in state.items() if name.startswith(place)} for state in (before, after)]
        for place in apart
    )


@pytest.mark.parametrize("name", [name for name in CASES if name != "replacing"])
def test_a_kill_at_any_file_operation_leaves_old_or_new_or_what_the_next_one_finishes(name: str, root: Path) -> None:
    case = CASES[name]
    root.mkdir()
    before, after = states(case, root)
    ends, point = set[bool](), 1
    while True:
        root.mkdir()
        filings = case(root)
        if not apart(killed_at, point, partial(file_together, filings), root=root):
            break
        # The next call of each of the two files nothing itself.
        for one in filings:
            if one.folder.exists():
                file_together([Filing(folder=one.folder, files={}, stem=one.stem)])
        found = everything_in(root)
        assert one_by_one(found, before, after, name), point
        ends.add(found == after)
        assert not list(root.rglob(".*")), point
        shutil.rmtree(root)
        point += 1
    assert ends == {False, True}
    assert point > 20


def test_ctrl_c_at_any_file_operation_ends_with_130_and_leaves_nothing_half(root: Path) -> None:
    root.mkdir()
    before, after = states(with_a_document, root)
    point = 1
    while True:
        root.mkdir()
        filings = with_a_document(root)
        code = apart(ended_at, point, partial(file_listening, filings), root=root, by=signal.SIGINT)
        if code is None:
            break
        assert (code, everything_in(root) in (before, after)) == (130, True), point
        assert not list(root.rglob(".*")), point
        shutil.rmtree(root)
        point += 1
    assert point > 20


def test_finishing_that_is_killed_is_finished_by_the_next(root: Path) -> None:
    root.mkdir()
    _, after = states(replacing, root)
    root.mkdir()
    filings = replacing(root)
    point = 1
    while apart(killed_at, point, partial(file_together, filings), root=root) and not filings[0].at("ready").exists():
        point += 1
    kept = root.parent / "kept"
    shutil.copytree(root, kept)
    again = 1
    while apart(killed_at, again, partial(finish, root / "B-7"), root=root):
        finish(root / "B-7")
        assert {name: one for name, one in everything_in(root).items() if "/." not in name} == after, again
        shutil.rmtree(root)
        shutil.copytree(kept, root)
        again += 1
    assert again > 5


@pytest.mark.parametrize("name", ["among_others", "without_a_page", "with_a_document"])
def test_what_somebody_puts_there_after_a_kill_is_kept_whatever_the_next_one_finishes(
    name: str, root: Path, caplog: pytest.LogCaptureFixture
) -> None:
    root.mkdir()
    before, after = states(CASES[name], root)
    point, put_aside = 1, set[int]()
    while True:
        root.mkdir()
        filings = CASES[name](root)
        if not apart(killed_at, point, partial(file_together, filings), root=root):
            break
        # Every second time those that stand there stay as they are, and the others are put there.
        theirs = {
            place: f"somebody's {place}".encode()
            for place in {**before, **after}
            if place != "notes.txt" and (point % 2 or not (root / place).exists())
        }
        for place, content in theirs.items():
            (root / place).write_bytes(content)
        caplog.clear()
        for one in filings:
            file_together([Filing(folder=one.folder, files={}, stem=one.stem)])
        found = everything_in(root)
        assert set(theirs.values()) <= set(found.values()), point
        assert found.get("to-assay.xlsx") == theirs.get("to-assay.xlsx", found.get("to-assay.xlsx"))
        aside = [place for place, content in theirs.items() if found.get(place) != content]
        assert [one.args[0] for one in caplog.records] == [root / place for place in sorted(aside)]  # type: ignore[index]
        assert set(found.values()) <= {*theirs.values(), *before.values(), *after.values()}
        put_aside.add(len(aside))
        assert not list(root.rglob(".*")), point
        shutil.rmtree(root)
        point += 1
    assert max(put_aside) > 1


def test_a_name_under_which_something_was_put_aside_is_not_taken_again(
    tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    for number in (1, 2):
        (tmp_path / ".report.ready" / "new").mkdir(parents=True)
        (tmp_path / ".report.ready" / "new" / "report.pdf").write_bytes(b"decided")
        (tmp_path / "report.pdf").write_bytes(b"theirs %d" % number)
        caplog.clear()
        finish(tmp_path)
        assert caplog.messages == [
            f"{tmp_path / 'report.pdf'} was changed after the filing of its folder was broken off, which is finished "
            f"now; it is kept as report (put aside {number}).pdf"
        ]
    kept = {"report (put aside 1).pdf": b"theirs 1", "report (put aside 2).pdf": b"theirs 2"}
    assert everything_in(tmp_path) == {"report.pdf": b"decided", **kept}


def file_one(folder: Path, number: int, replace: bool, start: object) -> None:
    start.wait()  # type: ignore[attr-defined]
    try:
        files = dict.fromkeys(NEW, b"%d" % number)
        file_together([Filing(folder=folder, files=files, replace=replace)])
    except ReportExists:
        os._exit(2)
    os._exit(0)


def exits_of_filings_at_once(folder: Path, replacing: int) -> list[int | None]:
    fork = get_context("fork")
    start = fork.Event()
    many = [fork.Process(target=file_one, args=(folder, number, number < replacing, start)) for number in range(8)]
    for one in many:
        one.start()
    start.set()
    for one in many:
        one.join(30)
    return [one.exitcode for one in many]


@pytest.mark.parametrize("replacing", [0, 3])
def test_of_first_filings_at_once_one_succeeds_and_no_two_are_mixed(replacing: int, tmp_path: Path) -> None:
    for turn in range(5):
        folder = tmp_path / "reports" / str(turn)
        exits = apart(exits_of_filings_at_once, folder, replacing)
        assert {*exits} <= {0, 2}
        assert {*exits[:replacing]} <= {0}
        assert exits[replacing:].count(0) == 1 or replacing
        assert len(set(everything_in(folder).values())) == 1
        assert sorted(os.listdir(folder)) == sorted(NEW)


def test_a_leftover_of_any_kind_is_cleared_away_by_the_next_filing(tmp_path: Path) -> None:
    (tmp_path / ".report.draft" / "new").mkdir(parents=True)
    (tmp_path / ".report.draft" / "new" / "report.pdf").write_bytes(b"half")
    (tmp_path / ".report.lock").touch()
    file_whole(tmp_path, NEW)
    assert everything_in(tmp_path) == NEW


def test_a_report_that_was_decided_stands_before_another_is_refused(tmp_path: Path) -> None:
    (tmp_path / ".report.ready" / "new").mkdir(parents=True)
    (tmp_path / ".report.ready" / "new" / "report.pdf").write_bytes(b"decided")
    with pytest.raises(ReportExists, match=r"already holds a report \(report\.pdf\)"):
        file_whole(tmp_path, NEW)
    assert everything_in(tmp_path) == {"report.pdf": b"decided"}


@pytest.mark.parametrize(("name", "replace"), [("report.pdf", False), ("report.pdf", True), ("to-assay.xlsx", True)])
def test_a_file_that_is_put_there_meanwhile_is_left_as_it_is(
    name: str, replace: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Between the draft and the moment in which the files change their places."""
    (tmp_path / "report.html").write_bytes(b"old") if replace else None
    forced = filing._force_folder

    def put(folder: Path) -> None:
        forced(folder)
        (tmp_path / name).write_bytes(b"somebody's")

    monkeypatch.setattr(filing, "_force_folder", put)
    asked = replace and (lambda path: path.name == "report.html")
    ours = Filing(folder=tmp_path, files=NEW, replace=asked, if_none={"to-assay.xlsx": b"list"})
    if name == "to-assay.xlsx":
        file_together([ours])
        assert everything_in(tmp_path) == {**NEW, name: b"somebody's"}
        return
    with pytest.raises(FileExistsError) as refused:
        file_together([ours])
    assert refused.value.strerror == "another file was put there meanwhile, and was left as it is"
    assert everything_in(tmp_path) == {**({"report.html": b"old"} if replace else {}), name: b"somebody's"}


def test_a_page_that_was_signed_while_the_new_one_was_drawn_stays(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file_whole(tmp_path, OLD)

    def drawn(*_: object, **__: object) -> dict[str, bytes]:
        (tmp_path / "report.pdf").write_bytes(b"%PDF old, signed")
        return NEW

    monkeypatch.setattr("qc.jobs.file_report.render_report", drawn)
    monkeypatch.setattr("qc.jobs.file_report.assay_list", lambda judged: None)
    checked: Any = SimpleNamespace(judged=None, document={}, to_draw=lambda: None, sealed=lambda drawn: {})
    how: dict[str, Any] = {"paper": None, "told": nullcontext, "part": lambda what: nullcontext(), "replace": True}
    with pytest.raises(FileExistsError, match="another file was put there meanwhile"):
        file_report(checked, tmp_path, (), **how)
    assert everything_in(tmp_path) == {**OLD, "report.pdf": b"%PDF old, signed"}


def test_a_folder_held_by_another_is_waited_for_and_then_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    held = threading.Event()
    done = threading.Event()

    def hold() -> None:
        with filing.alone(Filing(folder=tmp_path, files={})) as got:
            assert got
            held.set()
            done.wait(30)

    other = threading.Thread(target=hold)
    other.start()
    assert held.wait(30)
    monkeypatch.setattr(filing, "MOST_WAITED_S", 0.1)
    with pytest.raises(OSError, match="another program is writing there") as told:
        file_whole(tmp_path, NEW)
    assert told.value.errno == errno.EBUSY
    monkeypatch.setattr(filing, "MOST_WAITED_S", 30.0)
    threading.Timer(0.1, done.set).start()
    began = time.monotonic()
    file_whole(tmp_path, NEW)
    assert time.monotonic() - began < 20
    other.join()
    assert everything_in(tmp_path) == NEW


class TestInTheWay:
    def test_a_folder_in_the_place_of_a_file_is_never_taken_away(self, tmp_path: Path) -> None:
        (tmp_path / "B-7" / "report.pdf").mkdir(parents=True)
        (tmp_path / "B-7" / "report.pdf" / "mine.txt").write_bytes(b"mine")
        with pytest.raises(IsADirectoryError):
            file_whole(tmp_path / "B-7", NEW, replace=True)
        assert everything_in(tmp_path) == {"B-7/report.pdf/mine.txt": b"mine"}

    def test_a_file_in_the_place_of_the_folder_stays(self, tmp_path: Path) -> None:
        (tmp_path / "B-7").write_bytes(b"mine")
        with pytest.raises(FileExistsError):
            file_whole(tmp_path / "B-7", NEW, replace=True)
        assert everything_in(tmp_path) == {"B-7": b"mine"}

    def test_a_link_in_the_place_of_a_file_is_replaced_and_what_it_points_to_stays(self, tmp_path: Path) -> None:
        (tmp_path / "mine.pdf").write_bytes(b"mine")
        (tmp_path / "B-7").mkdir()
        (tmp_path / "B-7" / "report.pdf").symlink_to(tmp_path / "mine.pdf")
        with pytest.raises(ReportExists):
            file_whole(tmp_path / "B-7", NEW)
        file_whole(tmp_path / "B-7", NEW, replace=True)
        assert everything_in(tmp_path) == {**{f"B-7/{name}": one for name, one in NEW.items()}, "mine.pdf": b"mine"}

    def test_a_link_that_points_nowhere_is_somebodys(self, tmp_path: Path) -> None:
        (tmp_path / "report.pdf").symlink_to(tmp_path / "nowhere")
        with pytest.raises(ReportExists):
            file_whole(tmp_path, NEW)

    def test_a_link_to_a_folder_stands_for_the_folder(self, tmp_path: Path) -> None:
        (tmp_path / "real").mkdir()
        (tmp_path / "link").symlink_to(tmp_path / "real")
        file_whole(tmp_path / "link", NEW)
        assert everything_in(tmp_path / "real") == NEW

    def test_two_files_of_one_name_are_refused(self, tmp_path: Path) -> None:
        (tmp_path / "link").symlink_to(tmp_path)
        twice = one_file(tmp_path / "link" / "report.pdf", b"other", replace=True)
        with pytest.raises(FileExistsError, match="two of the files would have this name"):
            file_together([twice, Filing(folder=tmp_path, files=NEW, replace=True)])
        assert everything_in(tmp_path) == {}

    def test_a_long_name_fits(self, tmp_path: Path) -> None:
        name = "\u00e9" * 125 + ".json"
        file_together([one_file(tmp_path / name, b"{}")])
        assert os.listdir(tmp_path) == [name]


class TestOneFile:
    def test_it_appears_in_a_new_folder(self, tmp_path: Path) -> None:
        file_together([one_file(tmp_path / "new" / "result.json", b"told")])
        assert everything_in(tmp_path) == {"new/result.json": b"told"}

    def test_it_replaces_nothing_unasked(self, tmp_path: Path) -> None:
        path = tmp_path / "result.json"
        path.write_bytes(b"old")
        with pytest.raises(ReportExists):
            file_together([one_file(path, b"told")])
        assert everything_in(tmp_path) == {"result.json": b"old"}

    def test_it_is_not_written_when_another_cannot_be(self, tmp_path: Path) -> None:
        file_whole(tmp_path / "B-7", OLD)
        with pytest.raises(ReportExists):
            file_together([one_file(tmp_path / "result.json", b"told"), Filing(folder=tmp_path / "B-7", files=NEW)])
        assert os.listdir(tmp_path) == ["B-7"]

    def test_a_link_goes_on_pointing_to_its_file(self, tmp_path: Path) -> None:
        real, link = tmp_path / "real.json", tmp_path / "link.json"
        real.write_bytes(b"old")
        link.symlink_to(real)
        file_together([one_file(link, b"told", replace=True)])
        assert link.is_symlink()
        assert real.read_bytes() == b"told"
