"""`qc verify`: do report, result, input and rules still belong together?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.words import printable, progress, refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.jobs.verify import Verified

EXIT_CODES = {"together": 0, "broken": 1, "partly": 3}
WIDTH = 80
SIGNS = {"holds": "ok", "broken": "BROKEN", "not checked": "open", "remark": "note"}
SAID = {
    "together": "EVERYTHING BELONGS TOGETHER",
    "broken": "SOMETHING DOES NOT BELONG TOGETHER",
    "partly": "CHECKED IN PART",
}
CANNOT = (
    "A digest shows that something was changed; it cannot show that nothing was: whoever rewrites every file and every "
    "digest leaves no trace. Keep SHA256SUMS or the signed paper elsewhere."
)


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("verify")(verify)


def verify(
    report: Annotated[Path, typer.Argument(metavar="REPORT", help="The folder of a report, or a file in it.")],
    input_file: Annotated[
        Path | None,
        typer.Option("--input", metavar="FILE", help="The input; else looked for by its name here and by the report."),
    ] = None,
    rules: Annotated[
        Path | None,
        typer.Option("--rules", metavar="FILE", help="The house rule file that judged, where there was one."),
    ] = None,
    json_file: Annotated[
        str | None, typer.Option("--json", metavar="-", help="The lines for other programs, on standard output.")
    ] = None,
) -> None:
    """Check whether a report, its result, its input and its rules still belong together.

    Told line by line: each file against SHA256SUMS, the result against its seal, the digests printed on the pages, the
    input, the rules and their editions, and whether this version judges the same and draws the same pages.

    What a digest cannot do: whoever rewrites every file and every digest in the folder leaves no trace in them. Keep
    SHA256SUMS or the signed paper elsewhere, or sign the files by the means of your house.

    Exit code: 0 everything belongs together, 1 something does not, 2 there is no report or it cannot be read, 3 the
    input or the house rule file is not at hand, so that a part was not checked.
    """
    from qc.jobs.verify import verify_report

    if json_file not in (None, "-"):
        refuse_call(f'--json "{json_file}" is not known here', "Give - for standard output")
    try:
        verified = verify_report(report, input_path=input_file, rules_path=rules, progress=progress)
    except InputProblems as problems:
        refuse(problems)
    if json_file == "-":
        from qc.document import as_text

        typer.echo(as_text(verified.as_dict()).encode(), nl=False)
    else:
        typer.echo(as_lines(verified), nl=False)
    raise typer.Exit(EXIT_CODES[verified.outcome.name.lower()])


def as_lines(verified: Verified) -> str:
    """What was found, in words of 80 columns, ending in a line break."""
    import textwrap

    lines = [SAID[verified.outcome.name.lower()], f"Report: {verified.folder}", ""]
    for line in verified.lines:
        head = f"  {SIGNS[line.state.value]:<7}"
        lines += textwrap.wrap(f"{line.what} {line.told}", WIDTH, initial_indent=head, subsequent_indent=" " * 9)
    lines += ["", *textwrap.wrap(CANNOT, WIDTH)]
    return printable("\n".join(lines)) + "\n"
