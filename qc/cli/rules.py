"""`qc rules`: the acceptance rules with their sources."""

from __future__ import annotations

from typing import Annotated

import typer

from qc.cli.options import argument


def rules(
    rule: Annotated[str | None, argument("[ID]", "A rule or rule set, shown clause by clause.")] = None,
) -> None:
    """List the acceptance rules with their sources; with an ID show one, clause by clause."""
    from qc.rules.listing import list_rules, show_rule, show_set
    from qc.rules.rule_books import set_ids

    text = show_set if rule in set_ids() else show_rule
    typer.echo((list_rules() if rule is None else text(rule)).rstrip("\n"))
