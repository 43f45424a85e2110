"""How a command says that its input cannot be used, that a file is in the way, and that work is going on."""

from __future__ import annotations

import sys
from typing import NoReturn

import typer

from qc.problems import InputProblems

UNUSABLE = 2


def printable(text: str) -> str:
    """Text for a terminal: what a cell may hold to steer a terminal is shown as a stand-in, line breaks stay.

    Examples
    --------
    >>> printable("batch \\x1b[2J7")
    'batch \ufffd[2J7'
    """
    return "".join(letter if letter.isprintable() or letter == "\n" else "\ufffd" for letter in text)


def refuse(problems: InputProblems) -> NoReturn:
    """Print every problem of an input on standard error and end with the exit code for unusable input."""
    count = len(problems.problems)
    title = "1 problem" if count == 1 else f"{count} problems"
    typer.echo(f"{title}; nothing was written.", err=True)
    for problem in problems.problems:
        typer.echo(f"  {printable(str(problem))}", err=True)
    raise typer.Exit(UNUSABLE)


def refuse_call(found: str, mend: str) -> NoReturn:
    """Say what is wrong with a call and how to mend it, and end with the exit code for unusable input."""
    typer.echo(printable(f"{found}. {mend}."), err=True)
    raise typer.Exit(UNUSABLE)


def progress(text: str) -> None:
    """Tell a person at a terminal what is going on; silent in a pipe."""
    if sys.stderr.isatty():
        typer.echo(text, err=True)
