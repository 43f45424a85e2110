"""What a sweep of many workbooks costs, of ten kinds, broken ones among them; whether anything is lost.

Run by hand: `QC_SWEEP_FILES=1000 pytest -m benchmarks tests/benchmarks/test_sweep_study.py`. Table: results/sweep.md.
"""

from __future__ import annotations

import csv
import os
import platform
import random
import resource
import statistics
import subprocess
import sys
import time
import zipfile
from collections import Counter
from pathlib import Path

import pytest
from openpyxl import Workbook, load_workbook

FILES = int(os.environ.get("QC_SWEEP_FILES", "1000"))
RESULTS = Path(__file__).parent / "results" / "sweep.md"
QC = "import sys; sys.argv = ['qc', *sys.argv[1:]]; from qc.cli.main import run; run()"
SPIN = "import sys\nfor _ in range(3): sum(i * i for i in range(4_000_000))"
KINDS = (
    *("sound, assayed", "masses off", "content rising along the pour", "two actives", "masses alone, .csv"),
    *("semicolons and decimal commas", "three sheets", "three batches in a column", "folder of tables", "broken"),
)


def masses(draw: random.Random, *, spread: float = 0.01) -> list[str]:
    return [f"{2 * (1 + draw.gauss(0, spread)):.4f}" for _ in range(24)]


def book(path: Path, draw: random.Random, *, spread: float = 0.01, rise: float = 0.0, actives: int = 1) -> None:
    sheets: dict[str, list[list[object]]] = {
        "Batch": [["Field", "Value"], ["Batch number", path.stem], ["Dosage form", "suppositories"]],
        "Actives": [["Active", "Label claim (mg)"], *([f"active {n}", 250] for n in range(actives))],
        "Units": [
            ["Unit", "Pour order", "Mass (g)"],
            *([n, n, float(mass)] for n, mass in enumerate(masses(draw, spread=spread), start=1)),
        ],
        "Assay": [
            ["Unit", "Active", "Content (mg)"],
            *(
                [n, f"active {of}", round(250 * (1 + draw.gauss(0, 0.02) + rise * (n - 12) / 24), 1)]
                for of in range(actives)
                for n in range(2, 22, 2)
            ),
        ],
    }
    made = Workbook()
    for name, lines in sheets.items():
        sheet = made.create_sheet(name)
        for line in lines:
            sheet.append(line)
    made.remove(made.worksheets[0])
    made.save(path)


def table(path: Path, draw: random.Random, *, mark: str = ",", point: str = ".") -> None:
    lines = [f"{n}{mark}{mass.replace('.', point)}" for n, mass in enumerate(masses(draw), start=1)]
    path.write_text("\n".join([f"Unit{mark}Mass (g)", *lines]) + "\n")


def made(folder: Path, number: int) -> int:
    """Write one input; how many batches it holds."""
    draw, kind = random.Random(number), number % len(KINDS)
    path = folder / f"{number % 7}" / f"B-{number:05d}.xlsx"
    path.parent.mkdir(parents=True, exist_ok=True)
    match kind:
        case 0 | 1 | 2 | 3:
            book(path, draw, spread=0.06 if kind == 1 else 0.01, rise=0.2 * (kind == 2), actives=1 + (kind == 3))
        case 4:
            table(path.with_suffix(".csv"), draw)
        case 5:
            table(path.with_suffix(".csv"), draw, mark=";", point=",")
        case 6:
            several = Workbook()
            for name in ("morning", "noon", "evening"):
                sheet = several.create_sheet(name)
                sheet.append(["Unit", "Mass (g)"])
                for n, mass in enumerate(masses(draw), start=1):
                    sheet.append([n, float(mass)])
            several.remove(several.worksheets[0])
            several.save(path)
            return 3
        case 7:
            lines = [f"{name},{n},{mass}" for name in "PQR" for n, mass in enumerate(masses(draw), start=1)]
            path.with_suffix(".csv").write_text("\n".join(["Batch,Unit,Mass (g)", *lines]) + "\n")
            return 3
        case 8:
            path.with_suffix("").mkdir()
            table(path.with_suffix("") / "units.csv", draw)
        case _:
            table(path.with_suffix(".csv"), draw)
            content = path.with_suffix(".csv").read_bytes()
            broken = (b"", content[:30], b"PK\x03\x04" + content, content.replace(b"2.0", b"2.O"))[number // 10 % 4]
            path.with_suffix(".csv").unlink()
            path.with_suffix(".xlsx" if number // 10 % 4 in (0, 2) else ".csv").write_bytes(broken)
    return 1


class Cost:
    """Clock and processor time of programs run beside each other [s]."""

    def __init__(self, *programs: list[str], cwd: Path) -> None:
        before, began = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
        going = [
            subprocess.Popen([sys.executable, "-c", *words], cwd=cwd, stdout=subprocess.PIPE, env=compiled(cwd))
            for words in programs
        ]
        self.said = [one.communicate()[0].decode() for one in going]
        self.codes = [one.returncode for one in going]
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        self.wall = time.perf_counter() - began
        self.work = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def compiled(cwd: Path) -> dict[str, str]:
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return kept | {"PYTHONPYCACHEPREFIX": str(cwd / "compiled"), "OPENBLAS_NUM_THREADS": "1"}


def floors(paths: list[Path]) -> tuple[float, float]:
    """Processor time of inflating a workbook, and of openpyxl reading its values, medians [ms]."""
    found: list[list[float]] = [[], []]
    for path in paths:
        began = time.process_time()
        with zipfile.ZipFile(path) as archive:
            for name in archive.namelist():
                archive.read(name)
        found[0].append(time.process_time() - began)
        began = time.process_time()
        load_workbook(path, data_only=True)
        found[1].append(time.process_time() - began)
    return statistics.median(found[0]) * 1000, statistics.median(found[1]) * 1000


@pytest.mark.benchmarks
def test_many_workbooks(tmp_path: Path) -> None:
    folder = tmp_path / "in"
    expected = sum(made(folder, number) for number in range(FILES))
    call = ["sweep", str(folder), "--form", "suppositories"]
    alone = Cost([SPIN], cwd=tmp_path)
    beside = Cost([SPIN], [SPIN], cwd=tmp_path)
    one = Cost([QC, *call, "--out", "one", "--jobs", "1"], cwd=tmp_path)
    two = Cost([QC, *call, "--out", "two", "--jobs", "2"], cwd=tmp_path)
    again = Cost([QC, *call, "--out", "two", "--resume"], cwd=tmp_path)
    rows = list(csv.DictReader((tmp_path / "two" / "batches.csv").read_text(encoding="utf-8").splitlines()))
    assert (tmp_path / "one" / "batches.csv").read_bytes() == (tmp_path / "two" / "batches.csv").read_bytes()
    for path in (tmp_path / "one" / "results").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / "results" / path.name).read_bytes()
    assert len(rows) == expected
    of_kind = {kind: Counter[str]() for kind in KINDS}
    for row in rows:
        number = int(Path(row["file"]).stem.partition("-")[2])
        of_kind[KINDS[number % len(KINDS)]][row["verdict"] or "not judged"] += 1
    inflated, read = floors(_whole(folder))
    lines = [
        "# A sweep of many workbooks",
        "",
        f"`QC_SWEEP_FILES={FILES} pytest -m benchmarks tests/benchmarks/test_sweep_study.py`. Python "
        f"{platform.python_version()}, {os.cpu_count()} processors, load {os.getloadavg()[0]:.1f} at the end.",
        f"{FILES} inputs of ten kinds, {expected} batches; each is a row, documents and tables equal byte for byte for "
        "one process and two.",
        "",
        "| what | clock [s] | processor time [s] | a batch [ms of processor time] |",
        "|---|---|---|---|",
        *(
            f"| {name} | {cost.wall:.1f} | {cost.work:.1f} | {cost.work / expected * 1000:.0f} |"
            for name, cost in (
                ("one process judges", one),
                ("two judge", two),
                ("nothing changed since (--resume)", again),
            )
        ),
        "",
        f"Two processes against one: {one.wall / two.wall:.2f} times as fast; two spinning processes, which share "
        f"nothing, against one after the other in the same run: {2 * alone.wall / beside.wall:.2f} times. Floors of a "
        f"workbook of 24 units: inflated {inflated:.1f} ms, its values read by openpyxl {read:.1f} ms.",
        "",
        "| kind | " + " | ".join(sorted({verdict for counts in of_kind.values() for verdict in counts})) + " |",
        "|---|---|---|---|---|",
        *(
            f"| {kind} | "
            + " | ".join(str(counts[verdict]) for verdict in sorted({one for each in of_kind.values() for one in each}))
            + " |"
            for kind, counts in of_kind.items()
        ),
        "",
    ]
    RESULTS.write_text("\n".join(lines), encoding="utf-8")


def _whole(folder: Path) -> list[Path]:
    """Some of the workbooks that are not broken."""
    return [path for path in sorted(folder.rglob("*.xlsx")) if int(path.stem.partition("-")[2]) % len(KINDS) < 4][:40]
