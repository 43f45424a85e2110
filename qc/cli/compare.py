"""`qc compare`: two entries of the same batch, cell by cell."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.options import JsonOption, argument, read_options, takes_facts
from qc.cli.words import printable, write_document
from qc.problems import Problem, tell_together

if TYPE_CHECKING:
    from qc.jobs.compare import CellDifference, Comparison, Side

SAME, DIFFERENT = 0, 1
WIDTH = 80
EMPTY = "(empty)"


@takes_facts("decimal", "sheet", "mass_unit", "batch_number", "ignore")
def compare(
    context: typer.Context,
    a: Annotated[Path, argument("A", "The first entry: workbook, table or folder of tables.")],
    b: Annotated[Path, argument("B", "The second entry, of the same kind or another.")],
    json: JsonOption = None,
    **facts: str | None,
) -> None:
    """Compare two entries of the same batch, cell by cell, before judging.

    Two people enter the weights, each on their own; every cell in which they differ is named with what stands there.
    Rows are matched by unit, field, active, part or cavity, wherever they stand. Numbers are compared as exact
    decimals (2.10 is 2.1) in the unit of their heading, texts without the blanks around them. Two people can make the
    same slip: that cannot be seen here.

    Exit code: 0 the same, 1 differences, 2 an input cannot be used.
    """
    from qc.jobs.compare import compare_entries

    refused: list[Problem] = []
    options = read_options(context, refused)
    tell_together(refused, refused)
    compared = compare_entries(a, b, options=options)
    if not write_document(compared.as_dict(), json, inputs=(a, b)):
        typer.echo(as_lines(compared), nl=False)
    raise typer.Exit(DIFFERENT if compared.differences else SAME)


def as_lines(compared: Comparison) -> str:
    """The comparison in words, ending in a line break."""
    import textwrap

    count = len(compared.differences)
    told = "THE SAME" if count == 0 else f"{count} DIFFERENCE{'' if count == 1 else 'S'}"
    lines = [f"{told}   {compared.cells} cells compared", f"A: {compared.a.name}", f"B: {compared.b.name}"]
    for one in compared.differences:
        lines += ["", *textwrap.wrap(_title(one), WIDTH, subsequent_indent="    ")]
        for letter, side in (("A", one.a), ("B", one.b)):
            lines += textwrap.wrap(f"{letter} {_told(side)}", WIDTH, initial_indent="    ", subsequent_indent="      ")
    if compared.unread:
        lines += ["", "No number could be read here; these cells were compared as text:"]
        for problem in compared.unread:
            lines += textwrap.wrap(str(problem), WIDTH, initial_indent="  - ", subsequent_indent="    ")
    return printable("\n".join(lines)) + "\n"


def _title(one: CellDifference) -> str:
    return ", ".join(part for part in (one.sheet, one.key, one.column) if part)


def _told(side: Side) -> str:
    return f"{side.cell}: {side.found or EMPTY}" if side.cell else side.found or EMPTY
