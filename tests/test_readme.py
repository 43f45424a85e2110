"""Every command and every block of Python in the README is run; what it promises of options and commands is there."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer.main

from qc.cli.main import application

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
SET_UP = re.compile(r"^python3 -m venv \.venv && \.venv/bin/pip install -q -c constraints\.txt (\.|'\.\[test\]') && ")
# Exit codes other than 0 that the README itself announces.
ANNOUNCED = {"fails-on-content.xlsx": 1, "typing-slips.xlsx": 2, "second-stage.xlsx": 3}


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


BLOCKS = command_blocks(README)
COMMANDS = [command for block in BLOCKS for command in block]
RUN_HERE = [command for command in COMMANDS if "/bin/pytest" not in command]


@pytest.fixture
def checkout(tmp_path: Path) -> Path:
    """A working folder with the sample data of the checkout, so that no command writes into the checkout itself."""
    shutil.copytree(ROOT / "sample_data", tmp_path / "sample_data")
    (tmp_path / "reports").mkdir()
    return tmp_path


def as_run_here(command: str) -> list[str]:
    """A command of the README with its set-up left out and its `qc` the one of this environment."""
    words = shlex.split(SET_UP.sub("", command))
    assert words[0] == ".venv/bin/qc", f"{command} is not a command this test knows how to run"
    return [sys.executable, "-c", "from qc.cli.main import run; run()", *words[1:]]


@pytest.mark.parametrize("command", RUN_HERE)
def test_a_command_of_the_readme_runs(command: str, checkout: Path) -> None:
    done = subprocess.run(
        as_run_here(command), cwd=checkout, capture_output=True, text=True, stdin=subprocess.DEVNULL, check=False
    )
    expected = next((code for name, code in ANNOUNCED.items() if name in command), 0)
    assert done.returncode == expected, done.stderr
    assert "Traceback" not in done.stderr
    if expected != 2:
        assert done.stdout
        report = re.search(r"--report (\S+)", command)
        if report:
            assert {"report.pdf", "report.html"} <= set(os.listdir(checkout / report[1]))


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


@pytest.mark.parametrize("block", python_blocks(README))
def test_a_python_block_of_the_readme_runs(block: str, checkout: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", block], cwd=checkout, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout


def test_there_is_a_block_of_python() -> None:
    assert len(python_blocks(README)) >= 1


def test_every_command_stands_in_the_readme() -> None:
    commands = typer.main.get_command(application()).commands  # type: ignore[attr-defined]
    assert {name for name in commands if f"`qc {name}" not in README and f"bin/qc {name}" not in README} == set()


def test_every_option_of_check_stands_in_the_readme() -> None:
    check = typer.main.get_command(application()).commands["check"]  # type: ignore[attr-defined]
    options = {option for parameter in check.params for option in parameter.opts if option.startswith("--")}
    assert {option for option in options - {"--help"} if f"`{option}" not in README} == set()


def test_files_the_readme_names_are_there() -> None:
    named = set(re.findall(r"\b(?:sample_data|reports/examples)/[\w./-]*\w|\b[A-Z]+\.md\b", README))
    assert "sample_data/README.md" in named
    assert {name for name in named if not (ROOT / name).exists()} == set()
