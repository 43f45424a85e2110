"""`qc lesson` as a command: what is given is used, or refused."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from qc.cli.main import application


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("class", "--units", "30"), "--units means nothing to qc lesson class. Leave it out.\n"),
        (("page", "--seed", "3"), "--seed means nothing to qc lesson page. Leave it out.\n"),
        (("lab", "--strength", "2"), "--strength means nothing to qc lesson lab. Leave it out.\n"),
        (("sound", "--budget", "9"), "--budget means nothing to qc lesson sound. Leave it out.\n"),
        (("lab", "--budget", "0"), "a budget of 0 buys nothing: choose for example 150. Nothing was written.\n"),
        (("sound", "--students", "3"), "--students means nothing to qc lesson sound. Leave it out.\n"),
        (
            ("settling-in-pour", "--set", "particle_um=coarse"),
            '--set "particle_um=coarse" is not a name and a number. Give for example --set particle_um=60.\n',
        ),
        (
            ("sound", "--set", "particle_um=60"),
            '"particle_um" means nothing to sound: set it for a fault that settles. Nothing was written.\n',
        ),
    ],
)
def test_what_cannot_be_used_is_refused(words: tuple[str, ...], said: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(application("lesson"), ["lesson", *words, "--out", str(tmp_path / "no")])
    assert (done.exit_code, done.stderr) == (2, said)
    assert not (tmp_path / "no").exists()


def test_two_faults_and_a_setting_are_drawn_as_asked(tmp_path: Path) -> None:
    call = ["lesson", "settling-in-pour+balance-drift", "--set", "particle_um=50", "--out", str(tmp_path / "two")]
    done = CliRunner().invoke(application("lesson"), call)
    assert done.exit_code == 0, done.output
    key = (tmp_path / "two" / "key.json").read_text(encoding="utf-8")
    assert '"particle_um": 50.0' in key
    assert '"fault": "settling-in-pour+balance-drift"' in key


def test_a_lesson_without_a_folder_is_refused() -> None:
    done = CliRunner().invoke(application("lesson"), ["lesson", "sound"])
    assert (done.exit_code, done.stderr) == (2, "There is no folder for what is made. Give one with --out DIR.\n")


def test_a_laboratory_reads_lines_until_a_guess_and_keeps_what_was_said(tmp_path: Path) -> None:
    call = ["lesson", "lab", "--seed", "11", "--budget", "30", "--out", str(tmp_path / "lab")]
    done = CliRunner().invoke(application("lesson"), call, input="assay 1 24\n\nguess sound\nassay 2\n")
    kept = (tmp_path / "lab" / "lab-notes.txt").read_text(encoding="utf-8")
    assert done.exit_code == 0
    assert done.stdout.startswith("Batch T-")
    assert "6 left to spend." in done.stdout
    assert "unit 2:" not in done.stdout
    assert done.stdout.endswith(f"Wrote {tmp_path / 'lab' / 'lab-notes.txt'}\n")
    assert [line for line in kept.splitlines() if line.startswith("> ")] == ["> assay 1 24", "> guess sound"]
    assert "What went wrong:" in kept


def test_the_end_of_input_ends_a_laboratory_with_its_key(tmp_path: Path) -> None:
    done = CliRunner().invoke(application("lesson"), ["lesson", "lab", "--seed", "11"], input="weigh 1")
    assert done.exit_code == 0
    assert "149 left to spend." in done.stdout
    assert done.stdout.splitlines()[-1].startswith("The whole key: qc lesson ")
    assert not [*tmp_path.iterdir()]


@pytest.mark.skipif(os.name == "nt", reason="Windows sends no such signal to one process")
def test_ctrl_c_ends_a_laboratory_without_a_traceback() -> None:
    call = [sys.executable, "-m", "qc.cli.start", "lesson", "lab", "--seed", "11"]
    with subprocess.Popen(call, stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as running:
        assert running.stdout is not None
        assert running.stdout.readline().startswith(b"Batch T-")
        running.send_signal(signal.SIGINT)
        assert (running.wait(timeout=60), running.communicate()[1]) == (130, b"Stopped.\n")
