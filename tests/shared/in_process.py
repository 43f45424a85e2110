"""`qc` as a person calls it, in this process: what it says and its exit code, without the half second of its start."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import chdir
from pathlib import Path
from subprocess import CompletedProcess

from typer.testing import CliRunner

from qc.cli.main import COMMANDS, application


def qc(*words: object, cwd: Path, env: Mapping[str, str | None] | None = None) -> CompletedProcess[str]:
    """The call in a folder, with further variables of the environment; None takes one away."""
    said = [str(word) for word in words]
    with chdir(cwd):
        done = CliRunner().invoke(application(*(word for word in said[:1] if word in COMMANDS)), said, env=env)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return CompletedProcess(said, done.exit_code, done.stdout, done.stderr)
