"""`qc verify`: do report, result, input and rules still belong together?"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.options import JsonOption, argument, option
from qc.cli.words import json_file, printable, progress, write_document

if TYPE_CHECKING:
    from qc.jobs.verify import Verified

EXIT_CODES = {"together": 0, "broken": 1, "partly": 3}
WIDTH = 80
SIGNS = {"holds": "ok", "broken": "BROKEN", "not checked": "open", "remark": "note"}
CANNOT = (
    "A digest shows that something was changed; it cannot show that nothing was: whoever rewrites every file and every "
    "digest leaves no trace. Keep SHA256SUMS or the signed paper elsewhere."
)


def verify(
    report: Annotated[Path, argument("REPORT", "The folder of a report, or a file in it.")],
    input_file: Annotated[
        Path | None, option("--input FILE", "The input; else looked for by its name here and by the report.")
    ] = None,
    rules: Annotated[
        Path | None, option("--rules FILE", "The house rule file that judged, where there was one.")
    ] = None,
    json: JsonOption = None,
) -> None:
    """Check whether a report, its result, its input and its rules still belong together.

    One line each: every file against SHA256SUMS, the result against its seal, the digests and verdicts on the pages,
    the input, the rules and their editions, whether this version judges the same and draws the same pages, and the
    report that this one supersedes.

    What a digest cannot do: whoever rewrites every file and every digest in the folder leaves no trace in them. Keep
    SHA256SUMS or the signed paper elsewhere, or sign the files electronically.

    Exit code: 0 everything belongs together, 1 something does not, 2 there is no report or it cannot be read, 3 a part
    was not checked: the input, the house rule file or the earlier report is not at hand, the pages are drawn otherwise
    or by another version, or the list of units to assay is not as it was filed.
    """
    from qc.jobs.verify import verify_report

    read = tuple(one for one in (report, report.parent if report.is_file() else None, input_file, rules) if one)
    if json not in (None, "-"):
        json_file(str(json), inputs=read)
    verified = verify_report(report, input_path=input_file, rules_path=rules, progress=progress)
    if not write_document(verified.as_dict(), json, inputs=read):
        typer.echo(as_lines(verified), nl=False)
    raise typer.Exit(EXIT_CODES[verified.outcome.name.lower()])


def as_lines(verified: Verified) -> str:
    """What was found, in words of 80 columns, ending in a line break."""
    import textwrap

    lines = [verified.outcome.value.upper(), f"Report: {verified.folder}", ""]
    for line in verified.lines:
        head = f"  {SIGNS[line.state.value]:<7}"
        lines += textwrap.wrap(f"{line.what} {line.told}", WIDTH, initial_indent=head, subsequent_indent=" " * 9)
    lines += ["", *textwrap.wrap(CANNOT, WIDTH)]
    return printable("\n".join(lines)) + "\n"
