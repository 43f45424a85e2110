"""`qc lesson` as a command: what is given is used, or refused."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from qc.cli.main import application


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("class", "--units", "30"), "--units means nothing to qc lesson class. Leave it out.\n"),
        (("page", "--seed", "3"), "--seed means nothing to qc lesson page. Leave it out.\n"),
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
