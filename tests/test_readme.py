"""Every command and block of Python in README and manual is run; what they promise of options and commands is there."""

from __future__ import annotations

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import openpyxl
import pytest
import typer.main
from typer.testing import CliRunner

from qc.cli.main import application

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
MANUAL = (ROOT / "qc" / "guide" / "manual.md").read_text(encoding="utf-8")
SET_UP = re.compile(r"^python3 -m venv \.venv && \.venv/bin/pip install -q -c constraints\.txt (\.|'\.\[test\]') && ")
# What each command of the README says and writes, by a part of it that no other has: exit code, words, files.
SAYS: dict[str, tuple[int, tuple[str, ...], tuple[str, ...]]] = {
    "pour-step.xlsx --report": (
        0,
        ("24 units, first 2.086 g", "COMPLIES on mass and content", "clear change: mass (+3.0 %)"),
        ("reports/first-look/report.pdf", "reports/first-look/report.html", "reports/first-look/result.json"),
    ),
    "sheet reports/empty.xlsx": (0, ("Wrote reports/empty.xlsx.",), ("reports/empty.xlsx",)),
    "sheet reports/planned.xlsx": (0, ("24 units planned", "Wrote reports/planned.xlsx."), ("reports/planned.xlsx",)),
    "sheet reports/entered.xlsx": (
        0,
        ("24 units, first 2.068", "Wrote reports/entered.xlsx."),
        ("reports/entered.xlsx",),
    ),
    "typing-slips.xlsx": (2, (), ()),
    "weights-only.csv --form suppositories --no": (
        0,
        ("COMPLIES on mass of the units judged; content not assessed", "RSD 1.01 %"),
        (),
    ),
    "second-stage.xlsx": (3, ("UNDECIDED", "2 of 10 outside 85 to 115 %", "AV 20.0", "20 more units"), ()),
    "qc compare": (0, ("THE SAME   219 cells compared",), ()),
    "qc sweep": (
        2,
        ("12 files, 12 batches: 7 complying, 2 not complying, 2 undecided and 1 that could not be judged",),
        ("reports/year/index.html", "reports/year/batches.csv", "reports/year/refused.csv"),
    ),
    "qc rules": (0, ("European Pharmacopoeia, 2.9.5 ", "harmonised-udu", "Rule sets"), ()),
    "rules ph-eur-2.9.5": (0, ("suppositories, pessaries  ", "5 %, outer 10 %"), ()),
    "--mean 97 --sd 4": (0, ("at the first stage        94.27 %", "in all               over 99.99 %"), ()),
    "chance --found": (0, ("Of 100 batches that show these 10 units about 2 are bad",), ()),
    "chance --drift": (0, ("assays of 10 units evenly over the pour notice about", "First and last: 1, 2"), ()),
    "--sd 4 --limits": (0, ("   86.0   0.42   0.56   0.63   0.67   0.70   0.73    0.78\n",), ()),
    "lesson class": (
        0,
        ("Wrote reports/class/students", "Wrote reports/class/keys/keys.html", "Wrote reports/class/keys/marking.xlsx"),
        ("reports/class/students/worksheet.html", "reports/class/students/02/guesses.xlsx"),
    ),
    "lesson page": (0, ("Wrote reports/page/lesson.html",), ("reports/page/lesson.html",)),
    "lesson settling-in-pour": (
        0,
        ("Wrote reports/lesson/batch.xlsx",),
        ("reports/lesson/batch.xlsx", "reports/lesson/key.json", "reports/lesson/key.html"),
    ),
}


def command_blocks(text: str) -> list[list[str]]:
    """Blocks indented by four spaces, outside fences, each a list of commands."""
    outside_fences = re.sub(r"^```.*?^```$", "", text, flags=re.DOTALL | re.MULTILINE)
    blocks: list[list[str]] = [[]]
    for line in outside_fences.splitlines():
        if line.startswith("    ") and line.strip():
            blocks[-1].append(line.strip())
        elif blocks[-1]:
            blocks.append([])
    return [block for block in blocks if block]


def python_blocks(text: str) -> list[str]:
    return re.findall(r"^```python\n(.*?)^```$", text, flags=re.DOTALL | re.MULTILINE)


BLOCKS = command_blocks(README + MANUAL)
COMMANDS = [command for block in BLOCKS for command in block]
RUN_HERE = [command for command in COMMANDS if "/bin/pytest" not in command]


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A working folder with the sample data of the checkout, so that no command writes into the checkout itself."""
    shutil.copytree(ROOT / "sample_data", tmp_path / "sample_data")
    (tmp_path / "reports").mkdir()
    return tmp_path


def as_run_here(command: str) -> list[str]:
    """The words of a command of the README behind `qc`, its set-up left out."""
    words = shlex.split(SET_UP.sub("", command))
    assert words[0] == ".venv/bin/qc", f"{command} is not a command this test knows how to run"
    return words[1:]


def promised(command: str) -> tuple[int, tuple[str, ...], tuple[str, ...]]:
    """What a command says, by the longest part of it that is known."""
    return SAYS[max((part for part in SAYS if part in command), key=len)]


@pytest.mark.parametrize("command", RUN_HERE)
def test_a_command_of_the_readme_says_and_writes_what_it_should(
    command: str, checkout: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(checkout)
    code, words, files = promised(command)
    if command == RUN_HERE[0]:
        call = [sys.executable, "-c", "from qc.cli.main import run; run()", *as_run_here(command)]
        done = subprocess.run(call, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False)
        assert (done.returncode, "Traceback" in done.stderr) == (code, False), done.stderr
    else:
        done = CliRunner().invoke(application(), as_run_here(command))
        assert done.exit_code == code, done.output
    assert [part for part in words if part not in done.stdout] == []
    assert [name for name in files if not (checkout / name).stat().st_size] == []
    if code == 2 and not files:
        assert done.stdout == ""
        assert done.stderr.startswith("16 problems; nothing was written.\n")


@pytest.mark.xdist_group("year")
def test_the_commands_of_the_history_follow_each_other(
    checkout: Path, year_store: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Those in fences: what one of them writes the next one reads."""
    monkeypatch.chdir(checkout)
    fences = "".join(re.findall(r"^```sh\n(.*?)^```$", MANUAL, flags=re.DOTALL | re.MULTILINE)).splitlines()
    calls = [shlex.split(line)[1:] for line in fences if line.startswith(".venv/bin/qc ")]
    assert [call[0] for call in calls] == ["check", "history", "history", "history", "history"]
    shutil.copy(year_store, "reports/year.db")
    assert CliRunner().invoke(application(), as_run_here(RUN_HERE[0])).exit_code == 0
    said = []
    for call in calls:
        done = CliRunner().invoke(application(), call)
        assert done.exit_code == 0, done.output
        said.append(done.stdout.splitlines())
    assert said[0][-1] == "History: reports/history.db, entry 1"
    assert said[1][0].startswith("reports/first-look is entry 2 (")
    assert said[2][:2][0] == "The chain is whole."
    assert said[3] == ["Wrote reports/review/review.html", "Wrote reports/review/review.pdf"]
    assert said[4][0].startswith("Noted as entry 62 (")


def test_every_promise_is_that_of_one_command() -> None:
    assert len({promised(command) for command in RUN_HERE}) == len(RUN_HERE) == len(SAYS)


def test_the_planned_workbook_of_the_readme_holds_the_plan(checkout: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(checkout)
    (command,) = (one for one in RUN_HERE if "reports/planned.xlsx" in one)
    assert CliRunner().invoke(application(), as_run_here(command)).exit_code == 0
    book = openpyxl.load_workbook("reports/planned.xlsx")
    cells = {row[0]: row[1] for row in book["Batch"].iter_rows(values_only=True)}
    assert (cells["Dosage form"], cells["Nominal mass (g)"]) == ("suppositories", 2)
    actives = [row[:5] for row in book["Actives"].iter_rows(values_only=True) if row[0] == "paracetamol"]
    assert [[one for one in row if one is not None] for row in actives] == [["paracetamol", 250, 1.39]]
    moulds = [row[2] for row in book["Units"].iter_rows(values_only=True) if row[2] in ("A", "B")]
    assert moulds == ["A"] * 12 + ["B"] * 12


def test_the_first_two_blocks_set_themselves_up_in_one_line_each() -> None:
    assert [len(block) for block in BLOCKS[:2]] == [1, 1]
    assert all(SET_UP.match(block[0]) for block in BLOCKS[:2])
    assert "/bin/qc check " in BLOCKS[0][0]
    assert "/bin/pytest " in BLOCKS[1][0]


def test_the_integration_run_runs_the_second_block_as_it_stands() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    program = re.search(r"<<'PYTHON'\n(.*?)^PYTHON$", script, flags=re.DOTALL | re.MULTILINE)
    assert program is not None
    done = subprocess.run(
        [sys.executable, "-c", program[1], str(ROOT / "README.md")], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == BLOCKS[1][0]


@pytest.mark.parametrize("block", python_blocks(README + MANUAL))
def test_a_python_block_of_the_readme_runs(block: str, checkout: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", block], cwd=checkout, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith("DOES NOT COMPLY")
    assert [line.partition(":")[0] for line in lines[1:6]] == ["Units", "Mean", "Not met", "Pour", "Cause"]
    assert lines[6].split() == ["unit", "mass_g", "deviation_percent"]
    assert len(lines) == 12


def test_the_readme_is_short() -> None:
    assert len(README.splitlines()) <= 150


def test_there_is_a_block_of_python() -> None:
    assert len(python_blocks(README)) >= 1


def test_every_command_stands_in_the_readme() -> None:
    commands = typer.main.get_command(application()).commands  # type: ignore[attr-defined]
    assert {name for name in commands if f"`qc {name}" not in README and f"bin/qc {name}" not in README} == set()


def test_every_option_of_check_stands_in_the_manual() -> None:
    check = typer.main.get_command(application()).commands["check"]  # type: ignore[attr-defined]
    options = {option for parameter in check.params for option in parameter.opts if option.startswith("--")}
    assert {option for option in options - {"--help"} if f"`{option}" not in MANUAL} == set()


def test_files_the_readme_names_are_there() -> None:
    named = set(re.findall(r"\b(?:sample_data|reports/examples)/[\w./-]*\w|\b[A-Z]+\.md\b", README))
    assert "sample_data/README.md" in named
    assert {name for name in named if not (ROOT / name).exists()} == set()
