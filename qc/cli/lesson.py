"""`qc lesson`: make a teaching batch that went wrong in a known way, with its key; a kit, a page, a laboratory."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from qc.cli.options import argument, option
from qc.cli.words import printable, progress, refuse_call, usable, writing

FAULT = "A cause, such as settling-in-pour, or two joined by +; any; all for a gallery; class, page or lab."
USED = {
    "class": {"fault", "out", "seed", "students"},
    "page": {"fault", "out"},
    "lab": {"fault", "out", "seed", "units", "budget"},
}
"""What a kit, a page and a laboratory are made by; each of the other options is of a single batch."""
FOLDER, ANOTHER_FOLDER = "Give a folder that can be written to", "Give another folder with --out DIR"
LAB_NOTES = "lab-notes.txt"


def lesson(
    context: typer.Context,
    fault: Annotated[str, argument("FAULT", FAULT)],
    out: Annotated[
        Path | None, option("--out DIR", "The folder for what is made; of a laboratory for what was said.")
    ] = None,
    units: Annotated[int, option("--units N", "Units poured.")] = 24,
    seed: Annotated[
        int | None, option("--seed S", "The same seed gives the same files; 1, of a class drawn.", least=0)
    ] = None,
    strength: Annotated[float, option("--strength X", "Strength of the fault; 1 is usual, at most 3.")] = 1.0,
    moulds: Annotated[int, option("--moulds N", "Moulds.")] = 1,
    cavities: Annotated[int, option("--cavities N", "Cavities of each mould.")] = 6,
    assays: Annotated[int, option("--assays N", "Whole units assayed.")] = 10,
    cut_units: Annotated[int, option("--cut-units N", "Units cut into tip, middle and end.")] = 3,
    base_pours: Annotated[int, option("--base-pours N", "Base-only pours of each cavity.")] = 2,
    settings: Annotated[
        list[str] | None,
        option(
            "--set NAME=VALUE", "Of a melt that settles: particle_um=60, viscosity_mpas, pour_minutes, stir_every ..."
        ),
    ] = None,
    students: Annotated[int, option("--students N", "Of a class: how many; each is given three batches.")] = 24,
    budget: Annotated[float, option("--budget N", "Of a laboratory: what there is to spend; an assay costs 12.")] = 150,
) -> None:
    """Make a teaching batch that went wrong in a known way: a workbook that does not give the fault away, and an answer
    key with the true content of every unit and the working line by line.

    qc lesson class makes blind batches for a class, with worksheet, guess sheets, keys and a marking table. qc lesson
    page makes a page on which a class slides particle size, times and stirring, and sees what the melt does. qc lesson
    lab is a batch at the terminal: buy assays, cuts, weighings and base pours, see the probabilities move, guess.
    """
    from qc.teach.lesson import Tray, write_lesson

    _refuse_unused(context, used=USED.get(fault))
    tray = Tray(moulds=moulds, cavities=cavities, assays=assays, cut_units=cut_units, base_pours=base_pours)
    if fault == "lab":
        _laboratory(seed, units=units, budget=budget, out=out)
        return
    if out is None:
        refuse_call("There is no folder for what is made", "Give one with --out DIR")
    with usable("Nothing was written"), writing("The lesson", out, FOLDER, report=ANOTHER_FOLDER):
        if fault == "class":
            from secrets import randbelow

            from qc.teach.classroom import write_class

            drawn = randbelow(2**40) if seed is None else seed
            files = write_class(students, seed=drawn, out=out, progress=progress)
        elif fault == "page":
            from qc.teach.live import write_page

            files = write_page(out)
        else:
            files = write_lesson(
                fault,
                units=units,
                seed=1 if seed is None else seed,
                out=out,
                strength=strength,
                tray=tray,
                physics=dict(map(_setting, settings or ())),
                progress=progress,
            )
    for file in files:
        typer.echo(f"Wrote {file}")


def _laboratory(seed: int | None, *, units: int, budget: float, out: Path | None) -> None:
    """A batch whose fault the seed draws, line by line from standard input; its end ends the lesson as a guess does."""
    from secrets import randbelow

    from qc.show.filing import file_whole, refuse_over
    from qc.teach.lab import Lab

    with usable("Nothing was written"):
        lab = Lab("any", units=units, seed=randbelow(2**40) if seed is None else seed, budget=budget)
    said: list[str] = []

    def say(text: str) -> None:
        said.append(text)
        typer.echo(printable(text))

    with writing("The notes of the laboratory", out or Path(), FOLDER, report=ANOTHER_FOLDER):
        if out is not None:
            refuse_over(out, (LAB_NOTES,))
        say(lab.opening())
        while not lab.over:
            if sys.stdin.isatty():
                typer.echo("> ", nl=False)
            if not (line := sys.stdin.readline()):
                say(lab.closing())
            elif line.strip():
                said.append(f"> {line.strip()}")
                say(lab.answer(line))
        if out is not None:
            file_whole(out, {LAB_NOTES: ("\n".join(said) + "\n").encode()})
            typer.echo(f"Wrote {out / LAB_NOTES}")


def _refuse_unused(context: typer.Context, *, used: set[str] | None) -> None:
    """Refuse an option that would be passed over."""
    taken = used or {*context.params} - {"students", "budget"}
    for one in context.command.params:
        source = context.get_parameter_source(str(one.name))
        if source is not None and source.name == "COMMANDLINE" and one.name not in taken:
            refuse_call(f"{one.opts[0]} means nothing to qc lesson {context.params['fault']}", "Leave it out")


def _setting(given: str) -> tuple[str, float]:
    name, _, value = given.partition("=")
    try:
        return name, float(value)
    except ValueError:
        refuse_call(f'--set "{given}" is not a name and a number', "Give for example --set particle_um=60")
