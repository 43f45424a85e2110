"""The edge of the process: exit codes that are no verdict, and what a person gets who asks for help."""

from __future__ import annotations

import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
import typer.main
from typer.testing import Result

from qc import __version__
from qc.cli.main import COMMANDS, application

Call = Callable[..., Result]


def run(program: str, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=False, cwd=cwd)


def test_a_fault_of_ours_never_ends_with_the_code_of_a_verdict() -> None:
    done = run(
        "import qc.cli.main as main\n"
        "def broken(): raise RuntimeError('planted')\n"
        "main.application = lambda *names: broken\n"
        "main.run()"
    )
    assert done.returncode == 70
    assert done.stdout == ""
    assert "RuntimeError: planted" in done.stderr
    assert done.stderr.endswith(
        "This is a fault of qc itself; the call did not end. Please report it with the lines above.\n"
    )


RULES = [sys.executable, "-c", "import sys; sys.argv = ['qc', 'rules']; from qc.cli.main import run; run()"]


def test_a_reader_who_has_gone_never_makes_a_verdict() -> None:
    with subprocess.Popen(RULES, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        process.stdout.close()
        assert process.stderr is not None
        said = process.stderr.read()
    assert process.returncode == 74
    assert said == ""


@pytest.mark.skipif(sys.platform == "win32", reason="a shell's way to close a stream")
@pytest.mark.parametrize("closed", [">&-", "2>&-", ">&- 2>&-"])
@pytest.mark.parametrize(("words", "code"), [("rules", 0), ("check missing.xlsx", 2), ("verify missing", 2)])
def test_a_closed_stream_changes_no_exit_code(closed: str, words: str, code: int, tmp_path: Path) -> None:
    program = "import sys; sys.argv[0] = 'qc'; from qc.cli.main import run; run()"
    done = subprocess.run(
        ["sh", "-c", f'"$0" -c "$1" {words} {closed}', sys.executable, program], cwd=tmp_path, check=False
    )
    assert done.returncode == code


def test_what_libraries_promised_to_clear_away_is_cleared_away(tmp_path: Path) -> None:
    done = run(
        "import atexit, pathlib, sys\n"
        "atexit.register(lambda: pathlib.Path('cleared').touch())\n"
        "import qc.cli.main as main\n"
        "sys.argv = ['qc', '--version']\n"
        "main.run()",
        cwd=tmp_path,
    )
    assert (done.returncode, [path.name for path in tmp_path.iterdir()]) == (0, ["cleared"])


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no file here that is always full")
def test_a_full_disk_behind_standard_output_is_no_fault_of_ours() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(RULES, stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 74
    assert done.stderr == (
        "The answer could not be written to standard output: No space left on device. "
        "Make room there, or have it written to a file.\n"
    )


def test_an_answer_still_in_memory_is_flushed_before_the_process_ends() -> None:
    planted = "main.application = lambda *names: lambda: (sys.stdout.write('x' * 9), sys.exit(3))"
    done = run(f"import sys\nimport qc.cli.main as main\n{planted}\nmain.run()")
    assert (done.returncode, done.stdout, done.stderr) == (3, "x" * 9, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no file here that is always full")
def test_an_answer_that_cannot_be_flushed_is_no_verdict() -> None:
    planted = "main.application = lambda *names: lambda: sys.stdout.write('x' * 9)"
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(
            [sys.executable, "-c", f"import sys\nimport qc.cli.main as main\n{planted}\nmain.run()"],
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert done.returncode == 74
    assert done.stderr.startswith("The answer could not be written to standard output: No space left on device.")


def test_a_stop_from_the_keyboard_ends_with_the_code_of_shells() -> None:
    program = (
        "import qc.cli.main as main, time\n"
        "main.application = lambda *names: lambda: (print('on', flush=True), time.sleep(60))\n"
        "main.run()"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        assert process.stdout is not None
        assert process.stdout.readline() == b"on\n"
        time.sleep(0.1)
        process.send_signal(signal.SIGINT)
        _, stderr = process.communicate(timeout=30)
    assert process.returncode == 130
    assert stderr == b"Stopped.\n"


def test_a_stop_between_the_command_and_the_end_keeps_the_code_of_shells() -> None:
    done = run("import sys\nimport qc.cli.main as main\nmain.call = lambda: sys.exit(130)\nmain.run()")
    assert (done.returncode, done.stderr) == (130, "")


def test_the_version_is_printed(qc: Call) -> None:
    assert qc("--version").stdout == f"qc {__version__}\n"


def test_no_words_print_the_help_with_every_command(qc: Call) -> None:
    output = qc("--help").stdout
    commands = typer.main.get_command(application()).commands  # type: ignore[attr-defined]
    assert {"check", "rules", "sheet"} <= set(commands)
    assert all(f"  {name} " in output for name in commands)
    assert "The tool judges a sample; a person releases a batch." in " ".join(output.split())


@pytest.mark.parametrize("name", COMMANDS)
def test_every_option_of_every_command_has_its_help(name: str) -> None:
    command = typer.main.get_command(application()).commands[name]  # type: ignore[attr-defined]
    assert command.help
    for parameter in command.params:
        assert getattr(parameter, "help", None), f"{name} {parameter.name} has no help"


@pytest.mark.parametrize("name", COMMANDS)
def test_a_call_gets_its_own_command_alone_and_the_help_that_all_have(name: str) -> None:
    only = typer.main.get_command(application(name))
    assert list(only.commands) == [name]  # type: ignore[attr-defined]
    asked = f"import sys; sys.argv = ['qc', {name!r}, '--help']\nfrom qc.cli import main\n"
    done, among_all = run(f"{asked}main.run()"), run(f"{asked}main.application()()")
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout == among_all.stdout.replace("Usage: -c ", "Usage: qc ")


def test_an_unknown_command_is_an_unusable_call(qc: Call) -> None:
    result = qc("chek")
    assert (result.exit_code, result.stdout) == (2, "")
