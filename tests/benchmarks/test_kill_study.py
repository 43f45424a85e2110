"""What is left of a report when its filing is killed: at each file operation in turn, and at moments drawn at random.

Run by hand: `pytest -m benchmarks tests/benchmarks/test_kill_study.py`. The table goes to results/kills.md.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from typer.testing import CliRunner

from qc.cli import main
from qc.show.filing import Filing, file_together, one_file
from tests.show.kills import everything_in, killed_at
from tests.show.test_filing import CASES, one_by_one, states

pytestmark = [
    pytest.mark.benchmarks,
    pytest.mark.skipif(sys.platform == "win32", reason="a process of Windows cannot be split in two"),
]
RESULTS = Path(__file__).parent / "results" / "kills.md"
AT_RANDOM = 60
STOPPED = 40
SEED = 20261126
RUN = "import sys; sys.argv[0] = 'qc'; from qc.cli.start import run; run()"
COUNTED = ("old", "new", "finished by the next", "mixed", "leftovers")


@pytest.fixture
def place() -> Iterator[Path]:
    memory = Path("/dev/shm")
    with TemporaryDirectory(dir=memory if os.access(memory, os.W_OK) else None) as folder:
        yield Path(folder)


def settle(filings: Sequence[Filing]) -> None:
    """What the next call does before anything of its own."""
    for one in filings:
        if one.folder.exists():
            file_together([Filing(folder=one.folder, files={}, stem=one.stem)])


def counted(
    counts: Counter[str], root: Path, filings: Sequence[Filing], kept: Callable[[dict[str, bytes]], str | None]
) -> None:
    """Count what a kill left; `kept` says old or new of what stands there, None of a mixture."""
    shown = {name: one for name, one in everything_in(root).items() if "/." not in f"/{name}"}
    at_once = kept(shown)
    settle(filings)
    after = kept(everything_in(root))
    counts["kills"] += 1
    counts["mixed"] += after is None
    counts["leftovers"] += any(root.rglob(".*"))
    if after is not None:
        counts[after if at_once == after else "finished by the next"] += 1


def row(what: str, counts: Counter[str]) -> str:
    return f"| {what} | {counts['kills']} | {' | '.join(str(counts[one]) for one in COUNTED)} |"


def filing_alone(name: str, root: Path, *, twice: bool) -> Counter[str]:
    """Each point of one case; with `twice` the next filing is killed too, at each of its points."""
    case, counts = CASES[name], Counter[str]()
    root.mkdir()
    before, after = states(case, root)

    def kept(found: dict[str, bytes]) -> str | None:
        if found == after:
            return "new"
        return "old" if one_by_one(found, before, after, name) else None

    point, second = 1, 1
    while True:
        root.mkdir(exist_ok=True)
        filings = case(root)
        if not killed_at(point, lambda filings=filings: file_together(filings), root=root):  # type: ignore[misc]
            break
        if twice and killed_at(second, lambda filings=filings: settle(filings), root=root):  # type: ignore[misc]
            second += 1
        else:
            point, second = point + 1, 1
        counted(counts, root, filings, kept)
        shutil.rmtree(root)
    shutil.rmtree(root)
    return counts


class WholeCommand:
    """`qc check` with a report, a document and a workbook, in place of older ones or not."""

    def __init__(self, root: Path, *, replace: bool) -> None:
        self.root, self.replace = root, replace
        self.input = root.parent / "batch.csv"
        self.words = ["check", str(self.input), "--form", "suppositories", "--report", str(root / "B-7")]
        self.words += ["--json", str(root / "result.json"), "--workbook", str(root / "results.xlsx")]
        self.words += ["--at", "2026-11-26T14:03", *(["--replace"] if replace else [])]
        self.old = self.made("2.010") if replace else {}
        self.new = self.made("2.000")
        assert not self.old or all(self.old[name] != self.new[name] for name in self.new if "to-assay" not in name)

    def made(self, mass: str) -> dict[str, bytes]:
        lines = [f"{number},{mass if number == 1 else '2.000'}" for number in range(1, 21)]
        self.input.write_text("\n".join(["Unit,Mass (g)", *lines]) + "\n", encoding="utf-8")
        shutil.rmtree(self.root, ignore_errors=True)
        self.root.mkdir()
        # In this process, so that each child begins with everything loaded.
        done = CliRunner().invoke(main.application(), self.words)
        assert done.exit_code == 0, done.output
        return everything_in(self.root)

    def begin(self) -> None:
        shutil.rmtree(self.root, ignore_errors=True)
        for name, content in self.old.items():
            (self.root / name).parent.mkdir(parents=True, exist_ok=True)
            (self.root / name).write_bytes(content)
        self.root.mkdir(exist_ok=True)

    def run(self) -> None:
        sys.argv = ["qc", *self.words]
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        sys.exit(main.call())

    @property
    def filings(self) -> list[Filing]:
        files = [one_file(self.root / name, b"") for name in ("result.json", "results.xlsx")]
        return [*files, Filing(folder=self.root / "B-7", files={})]

    def kept(self, found: dict[str, bytes]) -> str | None:
        if found == self.new:
            return "new"
        for place in ("B-7/", "result.json", "results.xlsx"):
            part, old, new = (
                {name: one for name, one in state.items() if name.startswith(place)}
                for state in (found, self.old, self.new)
            )
            if part not in (old, new):
                return None
        return "old"

    def at_each_operation(self, monkeypatch: pytest.MonkeyPatch) -> Counter[str]:
        """The pages and the workbook are those of the run before: only what happens to files is of interest."""
        report = {name.removeprefix("B-7/"): one for name, one in self.new.items() if name.startswith("B-7/")}
        report.pop("to-assay.xlsx", None)
        book = self.new["results.xlsx"]
        monkeypatch.setattr("qc.jobs.file_report.render_report", lambda *given, **named: report)
        monkeypatch.setattr("qc.workbook.recheck.write.results_workbook", lambda *given, **named: book)
        counts, point = Counter[str](), 1
        while True:
            self.begin()
            if not killed_at(point, self.run, root=self.root):
                monkeypatch.undo()
                return counts
            counted(counts, self.root, self.filings, self.kept)
            point += 1

    def at_random(self, number: int, *, by: int) -> Counter[str]:
        counts, draw, longest = Counter[str](), random.Random(SEED), 3.0
        while counts["kills"] < number:
            self.begin()
            call = [sys.executable, "-c", RUN, *self.words]
            began = time.monotonic()
            with subprocess.Popen(call, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE) as process:
                time.sleep(draw.uniform(0.2, longest))
                process.send_signal(by)
                said = process.communicate(timeout=120)[1]
            if process.returncode in (0, 1, 3):
                # It had ended before; the next moments are drawn from a shorter time.
                longest = 0.9 * longest + 0.1 * (time.monotonic() - began)
                continue
            stopped_well = by == signal.SIGINT and (process.returncode, said) == (128 + by, b"Stopped.\n")
            assert process.returncode == -by or stopped_well, (process.returncode, said)
            if by == signal.SIGINT:
                counts["leftovers"] += any(self.root.rglob(".*"))
            counted(counts, self.root, self.filings, self.kept)
        return counts


def test_kills_at_every_file_operation_and_at_random(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    root = place / "root"
    rows: list[tuple[str, Counter[str]]] = []

    def done(what: str, counts: Counter[str]) -> None:
        rows.append((what, counts))
        print(row(what, counts), flush=True)

    for name in CASES:
        done(f"filing alone, {name.replace('_', ' ')}: each operation", filing_alone(name, root, twice=False))
    for name in ("replacing", "without_a_page"):
        what = f"the same, {name.replace('_', ' ')}: each operation, then each of the next filing"
        done(what, filing_alone(name, root, twice=True))
    first = WholeCommand(root, replace=False)
    done("qc check, first: each operation in its folders", first.at_each_operation(monkeypatch))
    over = WholeCommand(root, replace=True)
    done("qc check --replace: each operation in its folders", over.at_each_operation(monkeypatch))
    done("qc check --replace: moments drawn at random", over.at_random(AT_RANDOM, by=signal.SIGKILL))
    done("qc check --replace: Ctrl-C, moments drawn at random", over.at_random(STOPPED, by=signal.SIGINT))
    total = sum((counts for _, counts in rows), Counter[str]())
    lines = [
        "# What is left of a report when its filing is killed",
        "",
        "Made by `pytest -m benchmarks tests/benchmarks/test_kill_study.py`. From our own run, on Linux.",
        "",
        "A process is ended by SIGKILL before each file operation, forced write and rename in turn, amid the content",
        f"of each file, and at moments drawn at random (seed {SEED}). Each place (report, document, workbook) is then",
        "compared with what stood there before and with what the whole call writes; new: all places hold the new",
        "files. Finished by the next: what stood there was neither until the next call had come, which asks nothing.",
        "Mixed and leftovers count what is wrong after that; of Ctrl-C, leftovers before it too.",
        "",
        f"| what was killed | kills | {' | '.join(COUNTED)} |",
        f"|---|{'---:|' * (len(COUNTED) + 1)}",
        *(row(what, counts) for what, counts in rows),
        row("all", total),
    ]
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert total["kills"] >= 1_000
    assert (total["mixed"], total["leftovers"]) == (0, 0)
