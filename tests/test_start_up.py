"""What a command loads: heavy libraries wait until needed, because loading them is most of what a call costs."""

from __future__ import annotations

import gc
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from openpyxl import Workbook

HEAVY = (
    "numpy",
    "scipy",
    "scipy.stats",
    "pandas",
    "matplotlib",
    "openpyxl",
    "xlsxwriter",
    "typst",
    "jinja2",
)
AS_A_COMMAND = """
import json, os, sys
sys.argv = ["qc", *{words!r}]
from qc.cli.main import call
code = call()
print("\\n" + json.dumps({{"code": code, "loaded": sorted(sys.modules)}}), file=sys.stderr)
"""


def loaded_by(*words: str, cwd: Path | None = None) -> tuple[int, set[str]]:
    """Exit code of a command started afresh, and every module it loaded."""
    program = AS_A_COMMAND.format(words=list(words))
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True, cwd=cwd, stdin=subprocess.DEVNULL
    )
    said = json.loads(done.stderr.splitlines()[-1])
    return said["code"], set(said["loaded"])


@pytest.fixture
def workbook(tmp_path: Path) -> Path:
    """Thirty units with masses in pour order, ten of them assayed."""
    book = Workbook()
    facts = book.active
    assert facts is not None
    facts.title = "Batch"
    rows: dict[str, list[list[object]]] = {
        "Batch": [["Field", "Value"], ["Batch number", "7"], ["Dosage form", "suppositories"]],
        "Actives": [["Active", "Label claim (mg)"], ["drug", 250]],
        "Units": [["Unit", "Pour order", "Mass (g)"], *([n, n, 2 + 0.001 * (n * 7 % 11)] for n in range(1, 31))],
        "Assay": [["Unit", "Content (mg)"], *([n, 250 + n * 7 % 5] for n in range(1, 11))],
    }
    for name, lines in rows.items():
        sheet = facts if name == "Batch" else book.create_sheet(name)
        for line in lines:
            sheet.append(line)
    path = tmp_path / "batch.xlsx"
    book.save(path)
    return path


@pytest.mark.parametrize(
    "words", [("--help",), ("--version",), ("check", "--help"), ("sweep", "--help"), ("watch", "--help")]
)
def test_help_loads_nothing_heavy(words: tuple[str, ...]) -> None:
    code, loaded = loaded_by(*words)
    assert code == 0
    assert loaded & set(HEAVY) == set()


def test_the_rules_load_no_library_of_numbers() -> None:
    code, loaded = loaded_by("rules", "ph-eur-2.9.5")
    assert code == 0
    assert loaded & {"numpy", "scipy", "pandas", "matplotlib", "openpyxl"} == set()


def test_a_check_to_standard_output_loads_neither_frames_nor_pictures(workbook: Path) -> None:
    code, loaded = loaded_by("check", workbook.name, "--json", "-", cwd=workbook.parent)
    assert code == 0
    assert "openpyxl" in loaded, "the workbook was read, so this test looks at a real check"
    assert loaded & {"pandas", "matplotlib", "PIL", "scipy.stats", "jinja2", "typst", "xlsxwriter"} == set()


def test_a_check_loads_no_masked_arrays_and_no_room_it_has_no_use_for(workbook: Path) -> None:
    code, loaded = loaded_by("check", workbook.name, "--json", "-", cwd=workbook.parent)
    assert code == 0
    unused = {
        "numpy.ma",
        "logging",
        "qc.simulate.pouring",
        "qc.rules.house_file",
        "qc.rules.kinds.visual.defects",
        "qc.rules.kinds.packing.answers",
        "qc.history.register",
        "qc.show.sections.front",
        "qc.jobs.sweep.rows",
        "sqlite3",
        "watchfiles",
    }
    assert loaded & unused == set()


def test_a_check_with_its_report_loads_no_frames(workbook: Path) -> None:
    code, loaded = loaded_by("check", workbook.name, "--report", "report", cwd=workbook.parent)
    assert code == 0
    assert {"matplotlib.figure", "typst", "jinja2"} <= loaded
    assert loaded & {"pandas", "scipy.stats", "matplotlib.pyplot", "ssl", "email"} == set()


HELP = """
import sys
if {at_prompt}: sys.ps1 = ">>> "
from qc.show.figures import FigureSize, figure_with
figure_with(lambda ax: None, size=FigureSize(high=2.0))
from matplotlib.lines import Line2D
print("markersize" in Line2D.set.__doc__)
"""


@pytest.mark.parametrize("at_prompt", [False, True])
def test_the_help_of_what_draws_is_listed_for_a_person_at_a_prompt_alone(at_prompt: bool) -> None:
    program = HELP.format(at_prompt=at_prompt)
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == f"{at_prompt}\n"


def test_a_sweep_judges_in_other_processes_and_loads_nothing_that_reads_or_draws(workbook: Path) -> None:
    code, loaded = loaded_by("sweep", workbook.name, "--out", "out", cwd=workbook.parent)
    assert code == 0
    assert loaded & {"scipy", "matplotlib", "openpyxl", "typst", "distributed", "watchfiles"} == set()


def test_the_package_itself_loads_nothing_heavy() -> None:
    program = "import json, sys, qc; qc.__version__; print(json.dumps(sorted(sys.modules)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert set(json.loads(done.stdout)) & set(HEAVY) == set()


def test_what_a_test_starts_keeps_what_it_compiled() -> None:
    program = "import sys; print(sys.dont_write_bytecode)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert done.stdout == f"{'QC_SOURCES_CHANGE' in os.environ}\n"


def test_cycles_are_sought_seldom_while_tests_run() -> None:
    assert gc.get_freeze_count() > 0
    assert gc.get_threshold()[0] >= 50_000
