"""`qc sweep`: judge many batches."""

from __future__ import annotations

import sys
from contextlib import nullcontext
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer

from qc.cli.check import EXIT_CODES
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
from qc.cli.words import UNUSABLE, call_again, printable, writing
from qc.problems import Problem, tell_together
from qc.say.text import counted

NEITHER = "Give another folder with --out DIR"


@takes_facts("form", "label_mg", "displacement", "decimal", "order", "mass_unit")
def sweep(
    context: typer.Context,
    paths: Annotated[list[str], argument("PATH...", "Folders, files, and patterns such as 'year/**/*.xlsx'.")],
    out: Annotated[Path, option("--out DIR", "The folder for the tables, the index page and the results.")],
    jobs: Annotated[
        int | None, option("--jobs N", "Processes that judge; one a processor if left out.", least=1)
    ] = None,
    scheduler: Annotated[
        str | None, option("--scheduler ADDRESS", "A Dask cluster that judges in their place.")
    ] = None,
    reports: Annotated[bool, option("--reports", "Write the report of each batch too.")] = False,
    resume: Annotated[
        bool, option("--resume", "Go on with what an earlier sweep left there; what is unchanged is not judged again.")
    ] = False,
    replace: Annotated[bool, option("--replace", "Judge all anew, in place of an earlier sweep.")] = False,
    seconds: SecondsOption = 120,
    megabytes: MegabytesOption = 2000,
    history: HistoryOption = None,
    rules: RulesOption = None,
    **facts: str | None,
) -> None:
    """Judge many batches: folders, files, books with several batches.

    Exit code: the gravest of all, in the order 2 (an input or the call cannot be used), 1 (one does not comply), 3
    (one is undecided), 0.
    """
    from qc.jobs.seal import call_of
    from qc.jobs.sweep.judging import Limits
    from qc.jobs.sweep.rows import counts_of
    from qc.jobs.sweep.run import INDEX, gravest
    from qc.jobs.sweep.run import sweep as judge_all

    refused = list[Problem]()
    call = call_of(read_options(context, refused), rules=rules)
    tell_together(refused, refused)
    with _bar() as bar, writing("The sweep", out, NEITHER):
        try:
            swept = judge_all(
                paths,
                out=out,
                call=call,
                jobs=jobs,
                scheduler=scheduler,
                reports=reports,
                history=store_named(history),
                resume=resume,
                replace=replace,
                limits=Limits(seconds=seconds, megabytes=megabytes),
                progress=None if bar is None else partial(_move, bar),
            )
        except SystemExit:
            context.params |= {"resume": True, "replace": False}
            typer.echo(printable(f"What was judged is kept. To go on: {call_again(context)}"), err=True)
            raise
    typer.echo(f"{counted(swept.inputs, 'file')}, {counts_of(swept.rows)}")
    aside = {"judged before and unchanged": swept.kept, "written by qc itself and passed over": swept.own}
    for what, number in aside.items():
        if number:
            typer.echo(f"  files {what}: {number}")
    typer.echo(printable(f"Index: {out / INDEX}"))
    if not swept.parquet:
        typer.echo("batches.parquet was not written: pyarrow is not installed.", err=True)
    verdict = gravest(swept.rows)
    raise typer.Exit(EXIT_CODES.get(verdict, UNUSABLE))


def _bar() -> Any:
    """A bar with the time left for whoever sits at a terminal; nothing in a pipe."""
    if not sys.stderr.isatty():
        return nullcontext()
    return typer.progressbar(length=1, label="Judging", file=sys.stderr, show_pos=True)


def _move(bar: Any, done: int, of: int) -> None:
    bar.length = of
    bar.update(done - bar.pos)
