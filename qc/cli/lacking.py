"""What a batch lacks that the call may add: the call that would settle it, or questions to a person at a keyboard."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

import typer

from qc.cli.words import call_again, printable

if TYPE_CHECKING:
    from qc.results import JudgedBatch

FORM, LABEL = "form", "label_mg"
EXAMPLES = {FORM: "suppositories", LABEL: "250"}
WITHOUT = "press Enter to go on without"


def lacking(judged: JudgedBatch) -> tuple[str, ...]:
    """Which options would let tests be judged that were not: the dosage form, the label claim of the one active.

    The label claim of a workbook that names its actives stands on its sheet Actives, and no option can give it.
    """
    from qc.readers.assays import ONLY_ACTIVE
    from qc.results import BatchVerdict

    batch = judged.batch
    in_mg = any(assay.content_mg is not None for assay in batch.assays)
    nothing_judged = judged.verdict is BatchVerdict.UNDECIDED and not any(test.n for test in judged.tests)
    one_active = all(one.name == ONLY_ACTIVE and one.label_claim_mg is None for one in batch.actives)
    # Of masses alone the form is asked for first: most forms have a mass limit, and no label claim is needed then.
    wants_label = one_active and (in_mg or (bool(batch.dosage_form) and nothing_judged and not batch.assays))
    return (*((FORM,) if not batch.dosage_form else ()), *((LABEL,) if wants_label else ()))


def to_add(context: typer.Context, lacks: tuple[str, ...], *, filed: Path | None) -> str:
    """The call that would settle all that is lacking, ready to copy; empty where nothing is.

    The report just `filed` is in its way, so that the call replaces it.
    """
    if not lacks:
        return ""
    what = {FORM: "dosage form", LABEL: "label claim"}
    known = {"masses": FORM in lacks, "contents": LABEL in lacks}
    judged = " and ".join(name for name, wanted in known.items() if wanted)
    context.params |= {name: EXAMPLES[name] for name in lacks}
    if filed is not None:
        context.params["replace"] = True
        context.params["report"] = filed if context.params["supersedes"] else context.params["report"]
    added = " and ".join(what[name] for name in lacks)
    return f"To judge {judged}, add {added}, here by example:\n  {printable(call_again(context))}"


def may_ask(json: str | None) -> bool:
    """Whether a person sits at a keyboard and sees what is asked; never in a pipe, never where a program reads."""
    return json != "-" and all(stream is not None and stream.isatty() for stream in (sys.stdin, sys.stderr))


def answers(lacks: tuple[str, ...]) -> Iterator[tuple[str, str]]:
    """Ask for what is lacking, with choices; each option that was answered with its value."""
    for name in lacks:
        try:
            given = _form() if name == FORM else _label()
        except typer.Abort:
            typer.echo(err=True)
            return
        if given:
            yield name, given


def _form() -> str:
    from qc.rules.forms import all_forms, find_form

    moulded = [form.name for form in all_forms() if form.least_g is not None]
    listed = ", ".join(f"{number} {name}" for number, name in enumerate(moulded, start=1))
    while True:
        said = _asked(f"Which dosage form? {listed}, or another by its name ({WITHOUT})")
        said = moulded[int(said) - 1] if said in map(str, range(1, len(moulded) + 1)) else said
        if not said or find_form(said) is not None:
            return said
        typer.echo(f'No rule here names the form "{printable(said)}".', err=True)


def _label() -> str:
    while True:
        said = _asked(f"Label claim of one unit in mg, for example {EXAMPLES[LABEL]} ({WITHOUT})")
        digits = said.removesuffix("mg").strip()
        if not said or (digits.replace(".", "", 1).isdecimal() and Decimal(digits) > 0):
            return digits
        typer.echo("That is no number above 0 with a decimal point.", err=True)


def _asked(question: str) -> str:
    said: str = typer.prompt(question, default="", show_default=False, err=True)
    return said.strip()
