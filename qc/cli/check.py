"""`qc check`: judge one batch, write its report."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from qc.cli.words import progress, refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.jobs.check import Checked
    from qc.readers.options import ReadOptions

EXIT_CODES = {"complies": 0, "does-not-comply": 1, "undecided": 3}


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("check")(check)


def check(
    batch: Annotated[
        Path, typer.Argument(help="Workbook (.xlsx, .xlsm, .ods), table (.csv, .tsv) or folder of tables.")
    ],
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="DIR", help="Where the report goes (default reports/BATCH-NUMBER)."),
    ] = None,
    no_report: Annotated[bool, typer.Option("--no-report", help="Judge only; write no report.")] = False,
    replace: Annotated[bool, typer.Option("--replace", help="Replace a report that is there already.")] = False,
    paper: Annotated[str, typer.Option("--paper", metavar="a4|letter", help="Paper of the PDF.")] = "a4",
    json_file: Annotated[
        str | None,
        typer.Option(
            "--json", metavar="FILE", help="Write the result document; - is standard output, and nothing else."
        ),
    ] = None,
    workbook: Annotated[
        Path | None,
        typer.Option("--workbook", metavar="FILE.xlsx", help="Write a workbook that calculates every figure anew."),
    ] = None,
    rules: Annotated[
        str | None,
        typer.Option("--rules", metavar="NAME|FILE", help="Rule set, rule, or house rule file (see qc rules)."),
    ] = None,
    form: Annotated[str | None, typer.Option("--form", metavar="FORM", help="Dosage form, for a bare table.")] = None,
    label_mg: Annotated[
        str | None, typer.Option("--label-mg", metavar="MG", help="Label claim in mg, for a bare table.")
    ] = None,
    displacement: Annotated[
        str | None,
        typer.Option(
            "--displacement",
            metavar="F",
            help="Displacement value, g of active that displaces 1 g of base; bare table.",
        ),
    ] = None,
    decimal: Annotated[
        str | None, typer.Option("--decimal", metavar="comma|point", help="Decimal mark of numbers typed as text.")
    ] = None,
    seed: Annotated[
        int | None, typer.Option("--seed", help="For what is drawn at random; from the input if left out.")
    ] = None,
    supersedes: Annotated[
        Path | None,
        typer.Option("--supersedes", metavar="DIR", help="After a correction: the report that this one supersedes."),
    ] = None,
    because: Annotated[
        str | None, typer.Option("--because", metavar="TEXT", help="Why it is superseded; goes with --supersedes.")
    ] = None,
) -> None:
    """Judge one batch, write its report.

    Exit code: 0 every test that applies complies, 1 at least one does not, 2 the input or the call cannot be used
    (nothing is written), 3 undecided: a second stage is due, or too few units for the test.
    """
    from qc.jobs.check import check_batch

    if workbook is not None:
        _usable_workbook(workbook, batch=batch, replace=replace)
    if paper not in ("a4", "letter"):
        refuse_call(f'--paper "{paper}" is not known', "Give a4 or letter")
    reason = _reason(supersedes, because, report=report)
    try:
        checked = check_batch(batch, options=_options(form, label_mg, displacement, decimal), rules=rules, seed=seed)
        if supersedes is not None:
            from qc.jobs.supersede import superseding

            checked = superseding(checked, report=supersedes, because=reason)
    except InputProblems as problems:
        refuse(problems)
    folder = None
    if report is not None or (json_file is None and not no_report):
        folder = _report_folder(checked, batch=batch, report=report, beside=supersedes is not None)
    with (
        _document_file(checked, json_file=json_file, batch=batch),
        _workbook_file(checked, path=workbook),
    ):
        if folder is not None:
            _write_report(checked, folder=folder, replace=replace, paper=paper)
    _answer(checked, json_file=json_file, folder=folder, workbook=workbook)
    raise typer.Exit(EXIT_CODES[checked.judged.verdict.value])


def _options(form: str | None, label_mg: str | None, displacement: str | None, decimal: str | None) -> ReadOptions:
    from qc.readers.options import ReadOptions

    mark: Literal["comma", "point"] | None = None
    if decimal is not None:
        if decimal not in ("comma", "point"):
            refuse_call(f'--decimal "{decimal}" is not known', "Give comma or point")
        mark = "comma" if decimal == "comma" else "point"
    return ReadOptions(
        form=form,
        label_mg=_positive("--label-mg", label_mg, example="250"),
        displacement=_positive("--displacement", displacement, example="1.5"),
        decimal=mark,
    )


def _positive(option: str, text: str | None, *, example: str) -> Decimal | None:
    if text is None:
        return None
    mend = f"Give a number above 0 with a decimal point, for example {example}"
    if not re.fullmatch(r"[+-]?([0-9]+(\.[0-9]*)?|\.[0-9]+)", text.strip()):
        refuse_call(f'{option} "{text}" is not a number', mend)
    number = Decimal(text.strip())
    if number <= 0:
        refuse_call(f'{option} "{text}" is not above 0', mend)
    return number


def _reason(supersedes: Path | None, because: str | None, *, report: Path | None) -> str:
    """Why a report is superseded; a correction without a reason is no record, and the earlier report stays."""
    reason = (because or "").strip()
    if supersedes is None:
        if because is not None:
            refuse_call(
                "--because goes with --supersedes", "Give the folder of the earlier report with --supersedes DIR"
            )
        return reason
    if not reason:
        refuse_call(
            "A report is superseded for a reason, and none is given",
            'Give it in a sentence, for example --because "mass of unit 7 was typed wrongly"',
        )
    earlier = supersedes.parent if supersedes.is_file() else supersedes
    if report is not None and report.resolve() == earlier.resolve():
        refuse_call(f"{report} holds the report that is superseded, which is kept", "Give another folder with --report")
    return reason


def _report_folder(checked: Checked, *, batch: Path, report: Path | None, beside: bool) -> Path:
    """Where the report goes; that of a correction goes beside the earlier one when nobody says."""
    from qc.jobs.check import default_report_folder

    if report is not None:
        return report
    folder = default_report_folder(checked.judged, path=batch)
    if beside:
        from qc.jobs.supersede import next_free_folder

        folder = next_free_folder(folder)
    return folder


def _write_report(checked: Checked, *, folder: Path, replace: bool, paper: str) -> None:
    from qc.show.paper import Paper
    from qc.show.write import ReportExists, replace_report, write_report

    progress(f"Drawing the report for {folder} ...")
    write = replace_report if replace else write_report
    size = Paper.LETTER if paper == "letter" else Paper.A4
    try:
        write(checked.to_draw(), folder, document=checked.sealed(), paper=size)
    except ReportExists as exists:
        refuse_call(str(exists).rstrip("."), "Give --replace to write over it, or another folder with --report DIR")
    except OSError as failure:
        refuse_call(
            f"The report cannot be written to {folder} ({failure.strerror or failure})",
            "Give a folder that can be written to, with --report DIR",
        )


@contextmanager
def _document_file(checked: Checked, *, json_file: str | None, batch: Path) -> Iterator[None]:
    """Write the result document to its file, if one is asked for, once the report stands."""
    if json_file is None or json_file == "-":
        yield
        return
    from qc.jobs.check import document_beside

    path = Path(json_file)
    if path.resolve() == batch.resolve():
        refuse_call(f"--json {json_file} is the batch itself", "Give another file, or - for standard output")
    try:
        with document_beside(checked.document, path):
            yield
    except OSError as failure:
        refuse_call(
            f"The result document cannot be written to {json_file} ({failure.strerror or failure})",
            "Give a file that can be written, or - for standard output",
        )


def _usable_workbook(path: Path, *, batch: Path, replace: bool) -> None:
    """Refuse a name that cannot be the results workbook, before anything is judged."""
    if path.suffix.lower() != ".xlsx":
        refuse_call(f'--workbook "{path}" does not end in .xlsx', "Name it for example results.xlsx")
    if path.resolve() == batch.resolve():
        refuse_call(f"--workbook {path} is the batch itself", "Give another file")
    if path.exists() and not replace:
        refuse_call(f"--workbook {path} exists already", "Give --replace to write over it, or another file")


@contextmanager
def _workbook_file(checked: Checked, *, path: Path | None) -> Iterator[None]:
    """Write the results workbook, if one is asked for, once the report stands."""
    if path is None:
        yield
        return
    from qc.jobs.check import file_beside
    from qc.workbook.recheck.write import results_workbook

    progress(f"Writing the workbook {path} ...")
    try:
        with file_beside(results_workbook(checked.judged, book=checked.book), path):
            yield
    except OSError as failure:
        refuse_call(
            f"The workbook cannot be written to {path} ({failure.strerror or failure})",
            "Give a file that can be written, with --workbook FILE.xlsx",
        )


def _answer(checked: Checked, *, json_file: str | None, folder: Path | None, workbook: Path | None) -> None:
    """Print the summary; with --json - the result document and nothing else."""
    if json_file == "-":
        from qc.document import as_text

        # Bytes, because JSON is UTF-8 whatever the code page of the terminal.
        typer.echo(as_text(checked.document).encode(), nl=False)
        return
    from qc.cli.terminal import summary

    typer.echo(summary(checked.judged), nl=False)
    superseded = checked.document.get("supersedes")
    if isinstance(superseded, dict):
        from qc.cli.changes import changes

        typer.echo(f"\n{changes(superseded)}", nl=False)
    if folder is not None:
        typer.echo(f"Report: {folder / 'report.pdf'} and {folder / 'report.html'}")
    if workbook is not None:
        typer.echo(f"Workbook: {workbook}")
