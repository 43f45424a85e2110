"""`qc rules`: the acceptance rules with their sources."""

from __future__ import annotations

from typing import Annotated

import typer

from qc.cli.words import refuse
from qc.problems import InputProblems


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("rules")(rules)


def rules(
    rule: Annotated[
        str | None, typer.Argument(metavar="[ID]", help="A rule or rule set, shown clause by clause.")
    ] = None,
) -> None:
    """List the acceptance rules with their sources; with an ID show one, clause by clause."""
    from qc.rules.listing import list_rules, show_rule, show_set
    from qc.rules.rule_books import set_ids

    try:
        if rule is None:
            text = list_rules()
        elif rule in set_ids():
            text = show_set(rule)
        else:
            text = show_rule(rule)
    except InputProblems as problems:
        refuse(problems)
    typer.echo(text.rstrip("\n"))
