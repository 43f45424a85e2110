"""`qc watch`: judge whatever is saved into a folder, keep an index page."""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.options import (
    HistoryOption,
    MegabytesOption,
    RulesOption,
    SecondsOption,
    argument,
    option,
    read_options,
    store_named,
    takes_facts,
)
from qc.cli.words import printable, writing
from qc.problems import Problem, tell_together

if TYPE_CHECKING:
    from qc.jobs.sweep.rows import SweptBatch

# Windows and macOS open these by a double click; either lies in the folder that it watches.
STARTERS = {
    "qc-watch.bat": '@echo off\r\n"{python}" -m qc.cli.start watch "%~dp0."\r\npause\r\n',
    "qc-watch.command": '#!/bin/sh\nexec "{python}" -m qc.cli.start watch "$(dirname "$0")"\n',
}
ANOTHER = "Give a folder that can be written to"


@takes_facts("form", "label_mg", "displacement", "decimal", "order", "mass_unit")
def watch(
    context: typer.Context,
    folder: Annotated[Path, argument("FOLDER", "Whatever is saved here, or below, is judged.")],
    starters: Annotated[
        bool, option("--starters", "Write qc-watch.bat and qc-watch.command there, which start this by a double click.")
    ] = False,
    seconds: SecondsOption = 120,
    megabytes: MegabytesOption = 2000,
    history: HistoryOption = None,
    rules: RulesOption = None,
    **facts: str | None,
) -> None:
    """Judge whatever is saved into a folder: report beside it, index page in the folder. Ctrl-C ends it.

    What was saved while nobody watched is judged first. A batch that is saved again supersedes its report.
    """
    from qc.jobs.seal import call_of
    from qc.jobs.sweep.judging import Limits
    from qc.jobs.sweep.run import INDEX
    from qc.jobs.watch import watch as watch_folder

    refused = list[Problem]()
    call = call_of(read_options(context, refused), rules=rules)
    tell_together(refused, refused)
    with writing("The index page", folder, ANOTHER):
        if starters and folder.is_dir():
            for name, text in STARTERS.items():
                (folder / name).write_bytes(text.format(python=sys.executable).encode())
                (folder / name).chmod(0o755)
        typer.echo(printable(f"Watching {folder}; the index is {folder / INDEX}. Ctrl-C ends it."))
        limits = Limits(seconds=seconds, megabytes=megabytes)
        watch_folder(folder, call=call, told=_tell, history=store_named(history), limits=limits)


def _tell(row: SweptBatch) -> None:
    from qc.jobs.sweep.rows import cause_of, to_do_of

    where = ", ".join(part for part in (row.file, row.sheet if row.verdict else "", row.batch) if part)
    typer.echo(printable(f"{datetime.now():%H:%M:%S}  {where}: {row.said.upper() or 'NOT JUDGED'}"))
    likeliest = f"Likeliest: {cause_of(row)}" if row.cause else ""
    report = f"Report: {row.report}" if row.report and row.verdict else ""
    for line in (row.decided_by, likeliest, to_do_of(row), report):
        if line:
            typer.echo(printable(f"  {line}"))
    sys.stdout.flush()
