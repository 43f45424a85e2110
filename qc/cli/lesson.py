"""`qc lesson`: make a teaching batch that went wrong in a known way, with its answer key."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.words import progress, refuse_call


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("lesson")(lesson)


def lesson(
    fault: Annotated[
        str, typer.Argument(metavar="FAULT", help="A cause, such as settling-in-pour; any; or all for a gallery.")
    ],
    out: Annotated[
        Path, typer.Option("--out", metavar="DIR", help="The folder for batch.xlsx, key.html and key.json.")
    ],
    units: Annotated[int, typer.Option("--units", metavar="N", help="Units poured.")] = 24,
    seed: Annotated[int, typer.Option("--seed", metavar="S", help="The same seed gives the same files.")] = 1,
    strength: Annotated[
        float, typer.Option("--strength", metavar="X", help="Strength of the fault; 1 is usual, at most 3.")
    ] = 1.0,
    moulds: Annotated[int, typer.Option("--moulds", metavar="N", help="Moulds.")] = 1,
    cavities: Annotated[int, typer.Option("--cavities", metavar="N", help="Cavities of each mould.")] = 6,
    assays: Annotated[int, typer.Option("--assays", metavar="N", help="Whole units assayed.")] = 10,
    cut_units: Annotated[int, typer.Option("--cut-units", metavar="N", help="Units cut into tip, middle and end.")] = 3,
    base_pours: Annotated[int, typer.Option("--base-pours", metavar="N", help="Base-only pours of each cavity.")] = 2,
) -> None:
    """Make a teaching batch that went wrong in a known way: a workbook that does not give the fault away, and an answer
    key with the true content of every unit and the working line by line.
    """
    from qc.show.filing import ReportExists
    from qc.teach.lesson import LessonProblem, Tray, write_lesson

    tray = Tray(moulds=moulds, cavities=cavities, assays=assays, cut_units=cut_units, base_pours=base_pours)
    try:
        files = write_lesson(fault, units=units, seed=seed, out=out, strength=strength, tray=tray, progress=progress)
    except LessonProblem as problem:
        refuse_call(str(problem).rstrip("."), "Nothing was written")
    except ReportExists as exists:
        refuse_call(str(exists).rstrip("."), "Give another folder with --out DIR")
    except OSError as failure:
        refuse_call(f"{out} cannot be written ({failure.strerror or failure})", "Give a folder that can be written to")
    for file in files:
        typer.echo(f"Wrote {file}")
