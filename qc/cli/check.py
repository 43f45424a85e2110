"""`qc check`: judge one batch, write its report."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec.structs import replace as replaced

from qc.cli import words
from qc.cli.lacking import LABEL, answers, lacking, may_ask, to_add
from qc.cli.options import (
    HistoryOption,
    JsonOption,
    RulesOption,
    argument,
    chosen,
    option,
    point_in_time,
    read_options,
    store_named,
    takes_facts,
)
from qc.problems import InputProblems, Problem, gathering
from qc.readers.command import as_word

if TYPE_CHECKING:
    from qc.jobs.check import Checked
    from qc.show.filing import Filing, Replace
    from qc.show.write import Part

EXIT_CODES = {"complies": 0, "does-not-comply": 1, "undecided": 3}


@takes_facts()
def check(
    context: typer.Context,
    batch: Annotated[Path, argument("BATCH", "Workbook (.xlsx, .xlsm, .ods), table (.csv, .tsv) or folder of tables.")],
    report: Annotated[
        Path | None, option("--report DIR", "Where the report goes; else reports/BATCH-NUMBER, with --json nowhere.")
    ] = None,
    no_report: Annotated[bool, option("--no-report", "Judge only; write no report.")] = False,
    replace: Annotated[bool, option("--replace", "Replace what qc wrote there before.")] = False,
    paper: Annotated[str, option("--paper a4|letter", "Paper of the PDF.")] = "a4",
    json: JsonOption = None,
    workbook: Annotated[
        Path | None, option("--workbook FILE.xlsx", "Write a workbook that calculates every figure anew.")
    ] = None,
    rules: RulesOption = None,
    full: Annotated[
        bool, option("--full", "Say everything on the terminal, also all that was set aside or ignored.")
    ] = False,
    at: Annotated[
        str | None, option("--at TIME", "When it was judged, such as 2026-11-26T14:03; now if left out.")
    ] = None,
    seed: Annotated[
        int | None, option("--seed N", "For what is drawn at random; taken from the input if left out.", least=0)
    ] = None,
    blind: Annotated[bool, option("--blind", "Leave the causes out, for a class that is to find them.")] = False,
    supersedes: Annotated[
        Path | None, option("--supersedes DIR", "After a correction: the report that this one supersedes.")
    ] = None,
    because: Annotated[str | None, option("--because TEXT", "Why it is superseded; goes with --supersedes.")] = None,
    history: HistoryOption = None,
    **facts: str | None,
) -> None:
    """Judge one batch, write its report.

    Exit code: 0 every test that applies complies, 1 at least one does not, 2 the input or the call cannot be used
    (nothing is written), 3 undecided: a second stage is due, or too few units for the test.
    """
    from qc.jobs.check import check_batch, default_report_folder
    from qc.jobs.faults import unless_it_fails
    from qc.jobs.superseded import MARK, superseded_input
    from qc.show.pages_pdf import Paper

    if no_report and report is not None:
        words.refuse_call("--report and --no-report are given together", "Give one of them")
    _refuse_workbook(workbook, batch=batch, replace=replace)
    document = None if json in (None, "-") else words.json_file(str(json), inputs=(batch,), replace=replace)
    reason = _reason(supersedes, because, report=report)
    size, moment, refused = Paper.A4, None, list[Problem]()
    with gathering(refused):
        size = chosen("--paper", paper, {one.name.lower(): one for one in Paper})
    with gathering(refused):
        moment = None if at is None else point_in_time(at)
    options = read_options(context, refused)
    judge = partial(check_batch, batch, rules=rules, seed=seed, at=moment, blind=blind, confirmed=_confirmed(history))
    if supersedes is None:
        judge = partial(judge, superseded=partial(superseded_input, path=batch, report=report))
    checked = judge(options=options, refused=refused)
    lacks = lacking(checked.judged)
    if lacks and may_ask(json):
        for name, given in answers(lacks):
            options = replaced(options, **{name: Decimal(given) if name == LABEL else given})
            context.params[name] = given
        again = words.call_again(context)
        if again != options.command:
            words.progress(f"The same without questions: {again}")
            options = replaced(options, command=again)
            checked = judge(options=options)
            lacks = ()
    folder = report
    if report is None and json is None and not no_report:
        folder = default_report_folder(checked.judged, path=batch)
    if supersedes is not None:
        from qc.jobs.supersede import next_free_folder, superseded_mark, superseding

        checked = superseding(checked, report=supersedes, because=reason, over=report if replace else None)
        folder = next_free_folder(folder) if report is None and folder is not None else folder
    missing: list[str] = []
    part, write = partial(unless_it_fails, missing), None
    beside = list(_beside(checked, document=document, workbook=workbook, replace=replace, part=part))
    if folder is not None:
        from qc.jobs.file_report import file_report

        _refuse_superseded(folder, replace=replace)
        if supersedes is not None:
            place = (supersedes.parent if supersedes.is_file() else supersedes) / MARK
            mark = superseded_mark(checked, folder=folder)
            beside.append(("The mark of the superseded report", place, mark, words.FOLDER_MEND, True))
        words.progress(f"Drawing the report for {folder} ...")
        told = partial(words.writing, "The report", folder, words.FOLDER_MEND, report=_beside_or_over(context, folder))
        write = partial(file_report, checked, folder, paper=size, replace=replace, told=told, part=part)
    to_assay, entry = _write_and_append(checked, beside, write=write, store=history, folder=folder)
    if json == "-":
        words.write_document(checked.document, json)
    else:
        more = to_add(context, lacks, filed=folder)
        written = {"To assay": to_assay, "Workbook": workbook, "History": entry}
        _answer(checked, full=full, folder=folder, written=written, lacks=more, part=part)
    if missing:
        fault = f"This is a fault of qc itself after the batch was judged ({checked.judged.verdict.value}). Missing:"
        last = "The rest stands. Please report it with the lines above."
        typer.echo(words.printable(f"{fault} {', '.join(missing)}. {last}"), err=True)
        raise typer.Exit(words.FAULT)
    raise typer.Exit(EXIT_CODES[checked.judged.verdict.value])


def _confirmed(history: str | None) -> Mapping[str, int]:
    """The causes that were confirmed in the history of the call, how often each."""
    if (store := store_named(history)) is None:
        return {}
    from qc.jobs.history import confirmed_causes

    return confirmed_causes(store)


def _write_and_append(
    checked: Checked,
    beside: list[tuple[str, Path, bytes, str, Replace]],
    *,
    write: Callable[[Sequence[Filing]], Path | None] | None,
    store: str | None,
    folder: Path | None,
) -> tuple[Path | None, str | None]:
    """Write the files, and append to the history where one is named: both or neither, but for a disk that fills up."""
    if (named := store_named(store)) is None:
        return words.write_files(beside, write=write), None
    from qc.jobs.history import appended

    written: list[Path | None] = []
    try:
        with appended(named, checked, report=folder) as entry:
            written.append(words.write_files(beside, write=write))
    except InputProblems as unkept:
        if not written:
            raise
        again = "give the call again" if folder is None else f"qc history add {as_word(str(folder))} adds it"
        found = f"The batch was judged and its files are written, but it is not in the history: {unkept}"
        typer.echo(words.printable(f"{found} When that is mended, {again}."), err=True)
        raise typer.Exit(words.UNWRITTEN) from None
    return written[0], entry


def _refuse_superseded(folder: Path, *, replace: bool) -> None:
    """Refuse to write over a report that was superseded: it is what the later one names."""
    from qc.jobs.superseded import MARK

    if replace and (folder / MARK).exists():
        words.refuse_call(
            f"{folder} holds a report that was superseded, which is kept", "Give another folder with --report"
        )


def _beside_or_over(context: typer.Context, folder: Path) -> str:
    """What to do where a report stands in the folder; after a correction both are kept, by the call that is given."""
    over = f"Give --replace to write over it, or {words.ANOTHER}"
    if context.params["supersedes"] is not None or not os.path.exists(folder):
        return over
    from qc.jobs.supersede import next_free_folder

    context.params |= {"supersedes": folder, "because": "what was corrected"}
    if context.params["report"] is not None:
        context.params["report"] = next_free_folder(folder)
    return f"After a correction, to keep both: {words.call_again(context)}\n{over}"


def _beside(
    checked: Checked, *, document: Path | None, workbook: Path | None, replace: bool, part: Part
) -> Iterator[tuple[str, Path, bytes, str, Replace]]:
    """What is written together with the report, as `write_files` takes it."""
    if document is not None:
        from qc.document import as_text

        content, over = as_text(checked.document).encode(), replace and words.is_result_document
        yield "The result document", document, content, words.DOCUMENT_MEND, over
    if workbook is not None:
        from qc.jobs.sweep.inputs import is_results_workbook
        from qc.workbook.recheck.write import results_workbook

        words.progress(f"Writing the workbook {workbook} ...")
        with part(str(workbook)):
            content = results_workbook(checked.judged, book=checked.book)
            mend = "Give a file that can be written, with --workbook FILE.xlsx"
            yield "The workbook", workbook, content, mend, replace and is_results_workbook


def _reason(supersedes: Path | None, because: str | None, *, report: Path | None) -> str:
    """Why a report is superseded; a correction without a reason is no record, and the earlier report stays."""
    reason = (because or "").strip()
    if supersedes is None:
        if because is not None:
            words.refuse_call(
                "--because goes with --supersedes", "Give the folder of the earlier report with --supersedes DIR"
            )
        return reason
    if not reason:
        words.refuse_call(
            "A report is superseded for a reason, and none is given",
            'Give it in a sentence, for example --because "mass of unit 7 was typed wrongly"',
        )
    earlier = supersedes.parent if supersedes.is_file() else supersedes
    if report is not None and report.resolve() == earlier.resolve():
        words.refuse_call(
            f"{report} holds the report that is superseded, which is kept", "Give another folder with --report"
        )
    return reason


def _refuse_workbook(path: Path | None, *, batch: Path, replace: bool) -> None:
    """Refuse a name that cannot be the results workbook, before anything is judged."""
    if path is None:
        return
    if path.suffix.lower() != ".xlsx":
        words.refuse_call(f'--workbook "{path}" does not end in .xlsx', "Name it for example results.xlsx")
    if path.resolve() == batch.resolve():
        words.refuse_call(f"--workbook {path} is the batch itself", "Give another file")
    from qc.jobs.sweep.inputs import is_results_workbook

    words.refuse_over_file("--workbook", path, replace=replace, own=is_results_workbook, called="a results workbook")


def _answer(
    checked: Checked,
    *,
    full: bool,
    folder: Path | None,
    written: Mapping[str, object],
    lacks: str,
    part: Part,
) -> None:
    """Print the answer, in short or in full, where the files stand, and the call that settles what is lacking."""
    from qc.cli.terminal import changes, short_summary, summary
    from qc.show.headline import judged_on

    superseded = checked.document.get("supersedes")
    changed = changes(superseded, full=full) if isinstance(superseded, dict) else ""
    below = [changed] if full and changed else []
    if folder is not None:
        pages = [str(folder / name) for name in ("report.pdf", "report.html") if os.path.exists(folder / name)]
        below.append(f"Report: {' and '.join(pages) or folder}\n")
    below += [f"{what}: {where}\n" for what, where in written.items() if where is not None]
    below += [f"{lacks}\n"] if lacks else []
    text = "".join(below)
    said = f"{checked.judged.verdict.value}\n"
    with part("the answer"):
        beside = text.count("\n") + changed.count("\n")
        judged = judged_on(checked.to_tell() if full else checked.judged, day=checked.asked.at.date())
        said = summary(judged) if full else changed + short_summary(judged, beside=beside)
    typer.echo(f"{said}\n{text}" if full and text else said + text, nl=False)
