"""`qc history`: the batches judged so far."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from qc.cli.options import HistoryOption, argument, option
from qc.cli.words import printable, refuse_call, refusing

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
    from qc.jobs.history import store_named

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
    from qc.history.register import LEAST_OF_HEAD, open_register
    from qc.say.text import counted

    if head is not None and len(head) < LEAST_OF_HEAD:
        refuse_call(f'--head "{head}" is too short to tell one digest from another', "Give all 64 digits")
    with open_register(_store(history), must_exist=True) as register:
        chain = register.verify(head=head)
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
