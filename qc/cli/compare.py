"""`qc compare`: two entries of the same batch, cell by cell."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from qc.cli.words import printable, refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.jobs.compare import CellDifference, Comparison, Side

SAME, DIFFERENT = 0, 1
WIDTH = 80
EMPTY = "(empty)"


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("compare")(compare)


def compare(
    a: Annotated[Path, typer.Argument(metavar="A", help="The first entry: workbook, table or folder of tables.")],
    b: Annotated[Path, typer.Argument(metavar="B", help="The second entry, of the same kind or another.")],
    json_file: Annotated[
        str | None,
        typer.Option("--json", metavar="FILE", help="Write the differences; - is standard output, and nothing else."),
    ] = None,
    decimal: Annotated[
        str | None, typer.Option("--decimal", metavar="comma|point", help="Decimal mark of numbers typed as text.")
    ] = None,
) -> None:
    """Compare two entries of the same batch, cell by cell, before judging.

    Two people enter the weights, each on their own; every cell in which they differ is named with what stands there.
    Rows are matched by unit, field, active, part or cavity, wherever they stand. Numbers are compared as exact
    decimals (2.10 is 2.1) in the unit of their heading, texts without the blanks around them. Two people can make the
    same slip: that cannot be seen here.

    Exit code: 0 the same, 1 differences, 2 an input cannot be used.
    """
    from qc.jobs.compare import compare_entries
    from qc.readers.options import ReadOptions

    if decimal not in (None, "comma", "point"):
        refuse_call(f'--decimal "{decimal}" is not known', "Give comma or point")
    mark: Literal["comma", "point"] | None = None
    if decimal is not None:
        mark = "comma" if decimal == "comma" else "point"
    try:
        compared = compare_entries(a, b, options=ReadOptions(decimal=mark))
    except InputProblems as problems:
        refuse(problems)
    _write(compared, json_file=json_file, inputs=(a, b))
    raise typer.Exit(DIFFERENT if compared.differences else SAME)


def _write(compared: Comparison, *, json_file: str | None, inputs: tuple[Path, Path]) -> None:
    from qc.document import as_text

    if json_file == "-":
        # Bytes, because JSON is UTF-8 whatever the code page of the terminal.
        typer.echo(as_text(compared.as_dict()).encode(), nl=False)
        return
    if json_file is not None:
        path = Path(json_file)
        if path.resolve() in [one.resolve() for one in inputs]:
            refuse_call(f"--json {json_file} is one of the entries", "Give another file, or - for standard output")
        try:
            path.write_text(as_text(compared.as_dict()), encoding="utf-8", newline="\n")
        except OSError as failure:
            refuse_call(
                f"The differences cannot be written to {json_file} ({failure.strerror or failure})",
                "Give a file that can be written, or - for standard output",
            )
    typer.echo(as_lines(compared), nl=False)


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
