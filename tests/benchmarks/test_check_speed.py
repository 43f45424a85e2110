"""What a check costs beside the bare work it cannot avoid: both sides in one go, by turns, medians.

Run by hand: `pytest -m benchmarks tests/benchmarks/test_check_speed.py`. The table goes to results/check_speed.md.
"""

from __future__ import annotations

import os
import platform
import resource
import statistics
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from openpyxl import Workbook

ROUNDS = int(os.environ.get("QC_ROUNDS", "15"))
RESULTS = Path(__file__).parent / "results" / "check_speed.md"
QC = "import sys; sys.argv = ['qc', *{words}]; from qc.cli.start import run; run()"
CHANCE = ["chance", "--test", "dosage-unit-uniformity", "--mean", "98", "--sd", "5", "--json", "-"]
WITHOUT = """
import os, sys; os.environ['OPENBLAS_NUM_THREADS'] = '1'; sys.argv = ['qc', *{words}]
from qc.cli.main import run
import qc.judging.judge as judge
from qc.causes.weigh import CausesWeighed
from qc.results import PourAnalysis, PourTrend, Trend, TrendFlag
nothing = PourTrend(mass=Trend(flag=TrendFlag.CANNOT_TELL, n=0))
nothing = PourAnalysis(trend=nothing)
if {pour}: judge.analyse_pour = lambda *given, **named: nothing
if {causes}: judge.weigh_causes = lambda *given, **named: CausesWeighed(causes=())
run()
"""
BARE_START = "pass"
BARE_READING = "import numpy, openpyxl; openpyxl.load_workbook('batch.xlsx')"
BARE_REPORT = """
import io, jinja2, matplotlib, numpy, openpyxl, typst
from matplotlib.figure import Figure
from matplotlib.backends import backend_svg
matplotlib.rcParams['svg.fonttype'] = 'none'
openpyxl.load_workbook('batch.xlsx')
figure, drawn = Figure(), io.StringIO()
figure.subplots().plot([1, 2], [1, 2])
figure.savefig(drawn, format='svg')
page = jinja2.Environment(autoescape=True).from_string('<html><body>{{ picture }}</body></html>')
page.render(picture=drawn.getvalue())
open('page.svg', 'w').write(drawn.getvalue())
open('page.typ', 'w').write('= Page\\n#image("page.svg")')
typst.compile('page.typ', format='pdf')
"""


@dataclass
class Side:
    """One program started afresh again and again, with what it took [s]."""

    name: str
    program: str
    wall: list[float] = field(default_factory=list)
    work: list[float] = field(default_factory=list)

    def run(self, cwd: Path) -> None:
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        subprocess.run(
            [sys.executable, "-c", self.program],
            cwd=cwd,
            env=as_installed(cwd),
            check=True,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            stdin=subprocess.DEVNULL,
        )
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        self.wall.append(time.perf_counter() - began)
        self.work.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)


def as_installed(cwd: Path) -> dict[str, str]:
    """The environment of a package that an installer has compiled: nothing is compiled anew at each start."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(cwd / "compiled")}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Thirty units in two moulds, weighed in pour order, all assayed."""
    book = Workbook()
    units = [
        [n, n, "A" if n <= 15 else "B", (n - 1) % 15 + 1, round(2.0 + 0.004 * ((n * 7) % 13 - 6), 3)]
        for n in range(1, 31)
    ]
    rows: dict[str, list[list[object]]] = {
        "Batch": [["Field", "Value"], ["Batch number", "7"], ["Dosage form", "suppositories"]],
        "Actives": [["Active", "Label claim (mg)"], ["drug", 250]],
        "Units": [["Unit", "Pour order", "Mould", "Cavity", "Mass (g)"], *units],
        "Assay": [["Unit", "Content (mg)"], *([n, 250 + (n * 5) % 11 - 5] for n in range(1, 31))],
    }
    first = book.active
    assert first is not None
    for name, lines in rows.items():
        sheet = first if name == "Batch" else book.create_sheet(name)
        sheet.title = name
        for line in lines:
            sheet.append(line)
    book.save(tmp_path / "batch.xlsx")
    return tmp_path


@pytest.mark.benchmarks
def test_check_beside_its_floor(folder: Path) -> None:
    words = ["check", "batch.xlsx", "--json", "-"]
    start, help_ = Side("bare interpreter", BARE_START), Side("qc --help", QC.format(words=["--help"]))
    reading = Side("bare: numpy, openpyxl, open the book", BARE_READING)
    tests = Side("qc check --json -, tests and assurance alone", WITHOUT.format(words=words, pour=True, causes=True))
    pour = Side("qc check --json -, without the causes", WITHOUT.format(words=words, pour=False, causes=True))
    check = Side("qc check --json -", QC.format(words=words))
    drawing = Side(
        "bare: numpy, openpyxl, open the book, one plain picture, a page by jinja2 and by typst", BARE_REPORT
    )
    chance = Side("qc chance", QC.format(words=CHANCE))
    report = Side("qc check --report", QC.format(words=["check", "batch.xlsx", "--report", "report", "--replace"]))
    sides = [start, help_, reading, tests, pour, check, drawing, report, chance]
    for turn in range(ROUNDS + 1):
        # The order turns round every time, so that no side always runs in the wake of the same other one.
        for side in sides if turn % 2 else reversed(sides):
            side.run(folder)
        if turn == 0:
            for side in sides:
                side.wall.clear()
                side.work.clear()
    lines = [
        "# What a check costs beside the bare work it cannot avoid",
        "",
        f"Python {platform.python_version()}, {os.cpu_count()} processors, {ROUNDS} rounds by turns after one to warm "
        f"up; load {os.getloadavg()[0]:.1f} at the end.",
        "Thirty units in two moulds, all weighed and assayed. Values of this machine; the ratios are what is watched.",
        "",
        "| side | wall, median [s] | quartiles [s] | processor time, median [s] |",
        "|---|---|---|---|",
        *(
            f"| {side.name} | {statistics.median(side.wall):.3f} | "
            f"{' to '.join(f'{cut:.3f}' for cut in statistics.quantiles(side.wall, n=4)[::2])} | "
            f"{statistics.median(side.work):.3f} |"
            for side in sides
        ),
        "",
        "| ratio | wall | processor time | aim |",
        "|---|---|---|---|",
        *(
            f"| {above.name} / {below.name} | {ratio(above.wall, below.wall):.2f} | "
            f"{ratio(above.work, below.work):.2f} | {aim} |"
            for above, below, aim in (
                (help_, start, "no heavy library"),
                (tests, reading, "no more than it was, 1.41"),
                (check, reading, "at most 1.4"),
                (report, drawing, "at most 1.5"),
            )
        ),
        "",
        "| what is added | wall [s] | processor time [s] | aim |",
        "|---|---|---|---|",
        *(
            f"| {what} | {added(above.wall, below.wall):.3f} | {added(above.work, below.work):.3f} | {aim} |"
            for what, above, below, aim in (
                ("by the pour order", pour, tests, "at most 0.25 s"),
                ("by the causes", check, pour, "at most 0.5 s"),
            )
        ),
    ]
    RESULTS.parent.mkdir(exist_ok=True)
    RESULTS.write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))


def ratio(above: list[float], below: list[float]) -> float:
    """Median of the ratios round by round: neighbours in time share what else the machine was doing."""
    return statistics.median(one / other for one, other in zip(above, below, strict=True))


def added(above: list[float], below: list[float]) -> float:
    """Median of the differences round by round [s]."""
    return statistics.median(one - other for one, other in zip(above, below, strict=True))
