"""`qc rules`: the acceptance rules with their sources."""

from __future__ import annotations

from typing import Annotated

import typer

from qc.cli.options import argument


def rules(
    rule: Annotated[str | None, argument("[ID]", "A rule or rule set, shown clause by clause.")] = None,
) -> None:
    """List the acceptance rules with their sources; with an ID show one, clause by clause."""
    from qc.say.rule_pages import list_rules, page_of

    typer.echo((list_rules() if rule is None else page_of(rule)).rstrip("\n"))
