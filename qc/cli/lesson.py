"""`qc lesson`: make a teaching batch that went wrong in a known way, with its answer key."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.options import argument, option
from qc.cli.words import progress, usable, writing


def lesson(
    fault: Annotated[str, argument("FAULT", "A cause, such as settling-in-pour; any; or all for a gallery.")],
    out: Annotated[Path, option("--out DIR", "The folder for batch.xlsx, key.html and key.json.")],
    units: Annotated[int, option("--units N", "Units poured.")] = 24,
    seed: Annotated[int, option("--seed S", "The same seed gives the same files.", least=0)] = 1,
    strength: Annotated[float, option("--strength X", "Strength of the fault; 1 is usual, at most 3.")] = 1.0,
    moulds: Annotated[int, option("--moulds N", "Moulds.")] = 1,
    cavities: Annotated[int, option("--cavities N", "Cavities of each mould.")] = 6,
    assays: Annotated[int, option("--assays N", "Whole units assayed.")] = 10,
    cut_units: Annotated[int, option("--cut-units N", "Units cut into tip, middle and end.")] = 3,
    base_pours: Annotated[int, option("--base-pours N", "Base-only pours of each cavity.")] = 2,
) -> None:
    """Make a teaching batch that went wrong in a known way: a workbook that does not give the fault away, and an answer
    key with the true content of every unit and the working line by line.
    """
    from qc.teach.lesson import Tray, write_lesson

    tray = Tray(moulds=moulds, cavities=cavities, assays=assays, cut_units=cut_units, base_pours=base_pours)
    mend, report = "Give a folder that can be written to", "Give another folder with --out DIR"
    with usable("Nothing was written"), writing("The lesson", out, mend, report=report):
        files = write_lesson(fault, units=units, seed=seed, out=out, strength=strength, tray=tray, progress=progress)
    for file in files:
        typer.echo(f"Wrote {file}")
