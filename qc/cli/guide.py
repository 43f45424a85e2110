"""`qc guide`: the documentation as pages, made from the code's own records."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Annotated

import typer

from qc.cli.options import option
from qc.cli.words import progress, writing


def guide(out: Annotated[Path, option("--out DIR", "The folder for the pages; index.html is the first.")]) -> None:
    """Write the documentation as pages that need no network: walks with real output, every command, field, rule, cause,
    message and call. Its examples are run while it is written, which takes half a minute.
    """
    from qc.guide.pages import write_guide

    mend = "Give a folder that can be written to, with --out DIR"
    with writing("The guide", out, mend, report="Give another folder with --out DIR"):
        written = write_guide(
            out, commands=helps(), calls=calls(), called=called, told=lambda what: progress(f"Running {what}")
        )
    typer.echo(f"Wrote {len(written)} pages. Begin with {written[0]}")


def helps() -> dict[str, str]:
    """What `--help` says of each command, by name."""
    from qc.cli.main import application

    group = typer.main.get_command(application())
    each = {"qc": group, **{f"qc {name}": one for name, one in group.commands.items()}}  # type: ignore[attr-defined]
    return {name: one.make_context(name, [], resilient_parsing=True).get_help() for name, one in each.items()}


def called(words: Sequence[str]) -> None:
    """Run a call as it would be run behind `qc`; it ends by SystemExit."""
    from qc.cli.main import application

    application(words[0])(list(words), prog_name="qc")


def calls() -> dict[str, object]:
    """What `import qc` offers, by name."""
    import qc

    return {name: getattr(qc, name) for name in qc.__all__}
