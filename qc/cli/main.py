"""The command `qc`: every subcommand, none of their work."""

from __future__ import annotations

import sys
from typing import Annotated

import typer

from qc import __version__
from qc.cli import check, rules

app = typer.Typer(
    name="qc",
    help="Quality control of medicines poured into moulds: judge a batch, find where in the pour it went wrong and "
    "why, write a report that can be signed. The tool judges a sample; a person releases a batch.",
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    add_completion=False,
)
for command in (check, rules):
    command.register(app)


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"qc {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    """Hold the options that belong to no subcommand."""


def run() -> None:
    """Run the command line; text that a terminal's code page lacks is written with a stand-in, never a crash."""
    for stream in (sys.stdout, sys.stderr):
        reconfigure = getattr(stream, "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors="replace")
    app()
