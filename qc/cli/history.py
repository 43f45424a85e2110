"""`qc history`: the batches judged so far."""

from __future__ import annotations

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from qc.cli.options import HistoryOption, argument, calendar_day, chosen, option, store_named
from qc.cli.words import printable, progress, refuse_call, refusing, writing

SHORT = 12
HEAD_SEEN = {
    None: "Whether the newest entries were cut off was not checked: that is seen against a digest that was\n"
    "noted before, with --head DIGEST. Each review prints one.",
    True: "The head digest that was given is in the chain.",
    False: "The head digest that was given is not in the chain: entries were cut off, or all were rewritten.",
}
history = typer.Typer(
    help="The batches judged so far: charts, between and within batches, the yearly review.",
    rich_markup_mode=None,
    no_args_is_help=True,
)


def _store(given: str | None) -> str:
    store = store_named(given)
    if store is None:
        refuse_call("No history is named", "Give one with --history STORE, or name it in QC_HISTORY")
    return store


@history.command()
@refusing
def add(
    reports: Annotated[list[Path], argument("REPORT...", "Folders of reports, or folders that hold such.")],
    history: HistoryOption = None,
) -> None:
    """Append filed reports to the history, in the order in which they were judged.

    Exit code: 0 every report is in the history, 2 one of them is none or was changed; nothing was appended then.
    """
    from qc.history.register import open_register
    from qc.jobs.history import add_reports

    with open_register(_store(history)) as register:
        for folder, stored in add_reports(register, reports):
            there = "is" if stored.new else "was already"
            typer.echo(printable(f"{folder} {there} entry {stored.number} ({stored.digest[:SHORT]})"))


@history.command()
@refusing
def verify(
    history: HistoryOption = None,
    head: Annotated[
        str | None, option("--head DIGEST", "A head digest noted before, to see entries cut off at the end.")
    ] = None,
) -> None:
    """Calculate the digest of every entry anew, and hold it against the chain.

    Exit code: 0 the chain is whole, 1 an entry was changed, one is missing, or the head digest is not in the chain,
    2 there is no history or it cannot be read.
    """
    from qc.history.register import LEAST_OF_HEAD, verify_store
    from qc.say.text import counted

    if head is not None and len(head) < LEAST_OF_HEAD:
        refuse_call(f'--head "{head}" is too short to tell one digest from another', "Give all 64 digits")
    chain = verify_store(_store(history), head=head)
    typer.echo("The chain is whole." if chain.whole else "THE CHAIN IS BROKEN.")
    typer.echo(f"{counted(chain.entries, 'entry', 'entries')}, head digest {chain.head}")
    for what, numbers in (("changed", chain.changed), ("missing", chain.missing)):
        if numbers:
            shown = ", ".join(map(str, numbers[:20])) + (" and more" if len(numbers) > 20 else "")
            typer.echo(f"Entries {what}: {shown}")
    if chain.damage:
        typer.echo(printable(f"The store itself is damaged: {chain.damage}"))
    typer.echo(HEAD_SEEN[chain.head_found])
    raise typer.Exit(0 if chain.whole else 1)


@history.command()
@refusing
def report(
    out: Annotated[Path, option("--out DIR", "The folder for review.html and review.pdf; those there are replaced.")],
    history: HistoryOption = None,
    product: Annotated[
        str | None, option("--product NAME", "The product, or the beginning of its name; all where it is left out.")
    ] = None,
    first: Annotated[str, option("--from DAY", "The first day of the review, such as 2026-01-01.")] = "",
    last: Annotated[str, option("--to DAY", "The last day.")] = "",
    paper: Annotated[str, option("--paper a4|letter", "Paper of the PDF.")] = "a4",
) -> None:
    """Write the review of a product: batches made, charts, signals, where the spread comes from, what comes next."""
    from qc.jobs.history import write_review
    from qc.show.pages_pdf import Paper

    size = chosen("--paper", paper, {one.name.lower(): one for one in Paper})
    for name, day in (("--from", first), ("--to", last)):
        if day:
            calendar_day(name, day)
    told = partial(writing, "The review", out, "Give a folder that can be written to, with --out DIR")
    progress("Drawing the review ...")
    store = _store(history)
    for file in write_review(store, product=product, first=first, last=last, out=out, paper=size, told=told):
        typer.echo(f"Wrote {file}")


@history.command()
@refusing
def confirm(
    batch: Annotated[str, argument("BATCH", "The number of the batch, or the first digits of its result's digest.")],
    cause: Annotated[str, argument("CAUSE", "The cause that was found to be the one, such as settling-in-pour.")],
    history: HistoryOption = None,
    by: Annotated[str, option("--by NAME", "Who found it.")] = "",
) -> None:
    """Note the cause that was found to be the one of a batch; the next batches are weighed with it."""
    from qc.history.register import open_register
    from qc.jobs.history import confirm_cause

    with open_register(_store(history), must_exist=True) as register:
        stored = confirm_cause(register, batch, cause, by=by)
    typer.echo(f"Noted as entry {stored.number} ({stored.digest[:SHORT]})")


@history.command()
@refusing
def event(
    day: Annotated[str, argument("DATE", "The day, such as 2026-03-02.")],
    text: Annotated[str, argument("TEXT", "What changed: a new mould, a supplier, an operator; or what was done.")],
    history: HistoryOption = None,
    product: Annotated[str, option("--product NAME", "The product it is about; all where it is left out.")] = "",
) -> None:
    """Note what changed in the process, or what was done after a signal."""
    from qc.history.register import open_register
    from qc.jobs.history import note_event

    calendar_day("DATE", day)
    if not text.strip():
        refuse_call("The event says nothing", 'Say what changed, for example "new mould C"')
    with open_register(_store(history)) as register:
        stored = note_event(register, day=day, text=text.strip(), product=product)
    typer.echo(f"Noted as entry {stored.number} ({stored.digest[:SHORT]})")
