"""Broken inputs of every kind: how many end in a way that nobody declared, and how many are read wrongly.

A book that is read is read by a second library too, in a process of its own; a table of text by a few lines here.
"""

from __future__ import annotations

import contextlib
import csv
import io
import json
import os
import re
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Iterator, Mapping
from decimal import Decimal, InvalidOperation
from pathlib import Path
from random import Random
from types import FrameType

import pytest
from attacks import OLD_HEAD, OLD_ROWS, UNITS, document, old_book

from qc.batch import Batch
from qc.jobs.check import check_batch
from qc.jobs.verify.files import Status, report_folder, result_and_seal
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.rules.house_file import read_house_file
from qc.rules.rule_books import load_rule

sys.path[:0] = [str(Path(__file__).parents[1] / folder) for folder in ("benchmarks", "door", "rules", "readers")]
from damage import damaged  # noqa: E402

COUNT = int(os.environ.get("QC_MUTATIONS", "20000"))
SEED = int(os.environ.get("QC_SEED", "1"))
LONGEST_SECONDS = 10
# Every so many books that are read are judged to the end by the command line.
JUDGED_ONE_IN = 40
ROOT = Path(__file__).parents[2]
RESULTS = Path(__file__).parent / "results"
OPTIONS = ReadOptions(form="suppositories")
HOUSE = """# Rules of the house
[[rule]]
id = "st-example"
builds_on = "ph-eur-2.9.5"
source = "Standard procedure 12, 2026"
forms = ["suppositories"]
limit_percent = 4.5
outer_percent = 9

[[rule]]
id = "st-contents"
builds_on = "ph-eur-2.9.6-b"
source = "Standard procedure 13, 2026"
inner_percent = 12.5
"""
UNIT_LINES = [("Unit", "Mass (g)", "Seen"), *((str(at), f"2.0{at * 7 % 40 + 10}", "") for at in range(1, 21))]


class TooLongError(Exception):
    """An input that was not done within the seconds it is given."""


def sources(folder: Path) -> Mapping[str, bytes]:
    """A sound input of each kind."""
    samples = ROOT / "sample_data"
    lines = {mark: "\n".join(mark.join(line) for line in UNIT_LINES) + "\n" for mark in ",;\t"}
    checked = check_batch(samples / "weights-only.csv", options=OPTIONS, rules=None)
    (folder / "result.json").write_text(
        json.dumps(checked.sealed(), ensure_ascii=False, indent=2) + "\n", encoding="utf-8"
    )
    return {
        "sound.xlsx": (samples / "sound.xlsx").read_bytes(),
        "second.xlsx": (samples / "second-stage.xlsx").read_bytes(),
        "macros.xlsm": (samples / "pour-step.xlsx").read_bytes(),
        "document.ods": document(UNITS),
        "old.xls": old_book(OLD_HEAD + OLD_ROWS, dimensions=(0, 21, 0, 2)),
        "units.csv": lines[","].encode(),
        "semicolon.csv": lines[";"].replace(".", ",").encode(),
        "units.tsv": lines["\t"].encode(),
        "print.txt": lines["\t"].encode(),
        "house.toml": HOUSE.encode(),
        "result.json": (folder / "result.json").read_bytes(),
    }


@contextlib.contextmanager
def within(seconds: int) -> Iterator[None]:
    """End whatever takes longer."""

    def ended(_: int, __: FrameType | None) -> None:
        raise TooLongError

    # Of processor time, because other studies may run beside this one.
    before = signal.signal(signal.SIGPROF, ended)
    signal.setitimer(signal.ITIMER_PROF, seconds)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
        signal.signal(signal.SIGPROF, before)


class SecondReader:
    """The second library in a process of its own, asked for one book after the other."""

    def __init__(self) -> None:
        self.process: subprocess.Popen[str] | None = None

    def masses(self, path: Path) -> list[Decimal] | None:
        """The numbers below a heading of masses, [g], sheet by sheet; None where the library refuses the book."""
        if self.process is not None and self.process.poll() is not None:
            # A book may end the library itself.
            self.close()
        if self.process is None:
            call = [sys.executable, str(ROOT / "tests" / "corpus" / "second_reader.py"), "-"]
            self.process = subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.write(f"{path}\n")
        self.process.stdin.flush()
        line = self.process.stdout.readline()
        sheets = json.loads(line) if line else {"": {"": ["refused", "it ended"]}}
        if any(kind == "refused" for cells in sheets.values() for kind, _ in cells.values()):
            return None
        return [
            number
            for cells in sheets.values()
            for kind, text in cells.values()
            if (number := as_number(text)) is not None
        ]

    def close(self) -> None:
        """End the process."""
        if self.process is not None:
            self.process.communicate()
            self.process = None


def as_number(text: str) -> Decimal | None:
    """A text as a number, point or comma; to fifteen digits, as a spreadsheet shows a binary one."""
    try:
        number = Decimal(text.strip().removesuffix("g").strip().replace(",", "."))
        return Decimal(f"{float(number):.15g}") if number.is_finite() else None
    except (InvalidOperation, ValueError, OverflowError):
        return None


def not_there(batch: Batch, numbers: list[Decimal]) -> list[str]:
    """The masses that were read and that the second reading does not know, in g or in mg."""
    left = Counter(numbers)
    known = left | Counter({number.scaleb(-3): count for number, count in left.items()})
    read = Counter(unit.mass_g for unit in batch.units if unit.mass_g is not None)
    return [f"{mass}" for mass, count in read.items() if count > known[Decimal(f"{float(mass):.15g}")]]


def in_text(data: bytes) -> list[Decimal]:
    """Every number in the fields of a table of text, in whichever encoding and separator."""
    found = []
    for encoding in ("utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"):
        with contextlib.suppress(UnicodeError, csv.Error):
            text = data.decode(encoding)
            for mark in ",;\t":
                rows = csv.reader(io.StringIO(text), delimiter=mark)
                found += [number for row in rows for field in row if (number := as_number(field)) is not None]
    return found


def without_a_kind(path: Path) -> list[Decimal]:
    """Numbers in cells of an OpenDocument sheet that state no kind: their text is what a person sees of them.

    The second library drops such a cell; OpenDocument leaves the attribute out where there is no value but the text.
    """
    with zipfile.ZipFile(path) as book:
        shown = re.findall(rb"<table:table-cell(?![^>]*value-type)[^>]*><text:p>([^<]*)<", book.read("content.xml"))
    return [number for text in shown if (number := as_number(text.decode("utf-8", "replace"))) is not None]


def book_or_table(path: Path, second: SecondReader) -> tuple[str, str]:
    """What reading comes to: "read", "refused" or "wrong"."""
    try:
        batch = read_batch(path, options=OPTIONS)
    except InputProblems as refused:
        sound = refused.problems and all(one.file == path.name and one.found and one.mend for one in refused.problems)
        return ("refused" if sound else "undeclared"), str(refused)
    if path.suffix in (".csv", ".tsv", ".txt"):
        numbers: list[Decimal] | None = in_text(path.read_bytes())
    else:
        numbers = second.masses(path)
    if numbers is None:
        return "read, by this reader alone", ""
    if path.suffix == ".ods":
        numbers += without_a_kind(path)
    other = not_there(batch, numbers)
    return ("wrong", f"read {other}, not in the file by another reader") if other else ("read", "")


def house_file(path: Path, draws: Random) -> tuple[str, str]:
    """What a house file comes to: wrong where a rule of it is looser than the published one."""
    from test_mutated_house_files import looser, sample_of

    try:
        book = read_house_file(path)
    except InputProblems as refused:
        return ("refused" if all(one.found and one.mend for one in refused.problems) else "undeclared"), str(refused)
    bases = {rule.builds_on for rule in book.rules.values() if rule.builds_on}
    loose = [one for base in bases if load_rule(base) for _ in range(5) for one in looser(book, base, sample_of(draws))]
    return ("wrong", f"looser: {loose}") if loose else ("read", "")


def result_document(path: Path, sound: bytes) -> tuple[str, str]:
    """What a result document comes to: wrong where another result is taken for the one that was sealed.

    What the seal says of rules and input is held against these themselves, which are not here.
    """
    folder = path.parent / "report"
    folder.mkdir(exist_ok=True)
    (folder / "result.json").write_bytes(path.read_bytes())
    _, lines = result_and_seal(report_folder(folder))
    if any(line.state is Status.BROKEN for line in lines):
        return "refused", ""
    then, now = (json.loads(data) for data in (sound, path.read_bytes()))
    same = {**then, "seal": None} == {**now, "seal": None}
    return ("read", "") if same else ("wrong", "another result is taken for the sealed one")


def judged(path: Path) -> tuple[str, str]:
    """The whole command on a book: it must end with 0, 1, 2 or 3 and a message, without a traceback."""
    call = [
        sys.executable,
        "-m",
        "qc.cli.main",
        "check",
        str(path),
        "--no-report",
        "--form",
        "suppositories",
        "--json",
        "-",
    ]
    code = "from qc.cli.main import run; run()"
    done = subprocess.run(
        [sys.executable, "-c", code, *call[3:]], capture_output=True, text=True, timeout=60, check=False
    )
    declared = done.returncode in (0, 1, 2, 3) and "Traceback" not in done.stderr and bool(done.stdout or done.stderr)
    return ("judged" if declared else "undeclared"), done.stderr[-400:]


def outcome(path: Path, *, sound: bytes, second: SecondReader, number: int) -> tuple[str, str]:
    """What became of an input, and in words what was wrong."""
    try:
        with within(LONGEST_SECONDS):
            if path.suffix == ".toml":
                return house_file(path, Random(number))
            if path.suffix == ".json":
                return result_document(path, sound)
            return book_or_table(path, second)
    except TooLongError:
        return "undeclared", f"not done within {LONGEST_SECONDS} s"
    except Exception as failure:
        return "undeclared", repr(failure)


def study(folder: Path, *, seed: int, count: int) -> tuple[dict[str, Counter[str]], list[str], float]:
    """How many inputs of each kind came to what, everything that is wrong in words, and the longest time [s].

    Stopped from the keyboard, it gives what was done.
    """
    sound, second = sources(folder), SecondReader()
    table: dict[str, Counter[str]] = {}
    faults: list[str] = []
    longest = 0.0
    stopped: list[int] = []
    signal.signal(signal.SIGINT, lambda sign, _: stopped.append(sign))
    for number, (name, data) in enumerate(damaged(sound, seed=seed, count=count)):
        if stopped:
            break
        path = folder / name
        path.write_bytes(data)
        begun = time.process_time()
        what, told = outcome(path, sound=sound[name], second=second, number=number)
        longest = max(longest, time.process_time() - begun)
        counts = table.setdefault(path.suffix, Counter())
        counts[what] += 1
        if what == "read" and path.suffix not in (".toml", ".json") and counts["read"] % JUDGED_ONE_IN == 0:
            ended, words = judged(path)
            counts[ended] += 1
            what, told = (ended, words) if ended == "undeclared" else (what, told)
        if what in ("undeclared", "wrong"):
            faults.append(f"{name}, seed {seed}, number {number}: {what}: {told}")
            print(faults[-1], flush=True)
            if keep := os.environ.get("QC_KEEP"):
                (Path(keep) / f"{number}-{name}").write_bytes(data)
    second.close()
    return table, faults, longest


@pytest.mark.benchmarks
def test_no_broken_input_ends_undeclared_or_is_read_wrongly() -> None:
    with tempfile.TemporaryDirectory() as folder:
        table, faults, longest = study(Path(folder), seed=SEED, count=COUNT)
    done = sum(sum(counts.values()) - counts["judged"] for counts in table.values())
    columns = ("read", "read, by this reader alone", "refused", "judged", "undeclared", "wrong")
    lines = [
        "# Broken inputs of every kind",
        "",
        f"    QC_MUTATIONS={done} QC_SEED={SEED} .venv/bin/pytest -m benchmarks tests/benchmarks/test_damage_study.py",
        "",
        "Bytes, XML in the zip, records, lines, values and whole parts changed, lost, doubled or exchanged.",
        "Read: every mass stands in the file by a second reader too (python-calamine; of texts the csv module).",
        "Judged: read, and the whole command ended with 0 to 3. Undeclared: a traceback, another exit code, a refusal",
        f"without a mend, or more than {LONGEST_SECONDS} s of processor time. Wrong: a mass that the second reader",
        "does not find, a house file looser than its base, a changed result taken for the sealed one. Our own run.",
        "",
        f"| kind | broken | {' | '.join(columns)} |",
        f"|---|---|{'---|' * len(columns)}",
    ]
    for kind, counts in sorted(table.items()):
        broken = sum(counts.values()) - counts["judged"]
        lines.append(f"| {kind} | {broken} | {' | '.join(str(counts[column]) for column in columns)} |")
    lines += ["", f"The longest took {longest:.1f} s of processor time."]
    (RESULTS / "damage.md").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert faults == []
