"""`qc chance`: how likely a batch of a given mean and spread is to pass, and how many units to test."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec import to_builtins
from msgspec.structs import asdict

from qc.cli.options import JsonOption, option
from qc.cli.words import ANOTHER, FOLDER_MEND, json_file, progress, refuse_call, usable, write_document, writing

if TYPE_CHECKING:
    from qc.jobs.chance import Question


def chance(
    test: Annotated[
        str, option("--test ID", "mass-uniformity, content-uniformity or dosage-unit-uniformity.")
    ] = "dosage-unit-uniformity",
    sd: Annotated[
        float | None, option("--sd PERCENT", "True SD, % of label; the RSD for mass and content tests.")
    ] = None,
    found: Annotated[
        str | None, option('--found "NUMBERS"', "Units that were found, % of label: how likely is their batch bad?")
    ] = None,
    drift: Annotated[
        float | None, option("--drift PERCENT", "A change from first to last unit: what chance had I of noticing it?")
    ] = None,
    assays: Annotated[int, option("--assays N", "Of a drift: units assayed.")] = 10,
    units: Annotated[int, option("--units N", "Of a drift: units poured.")] = 24,
    scatter: Annotated[
        float | None, option("--scatter PERCENT", "Of a drift: SD of one assayed unit; 1.6 if left out.")
    ] = None,
    mean: Annotated[float, option("--mean PERCENT", "True mean, % of label; 100 for mass and content tests.")] = 100.0,
    rule: Annotated[str | None, option("--rule ID|FILE", "Another rule of that test (see qc rules).")] = None,
    rounded: Annotated[bool, option("--rounded", "Round the acceptance value as the rule is printed.")] = False,
    form: Annotated[str, option("--form FORM", "Dosage form, for a mass table.")] = "suppositories",
    unit_mass: Annotated[
        float | None, option("--unit-mass-mg MG", "Mass of a unit, where a mass table needs it.")
    ] = None,
    target: Annotated[float, option("--target PERCENT", "Target content T, % of label.")] = 100.0,
    wanted: Annotated[float, option("--wanted CHANCE", "Chance of passing the plan is for, 0 to 1.")] = 0.95,
    confidence: Annotated[float, option("--confidence SHARE", "Confidence of an assurance, 0 to 1.")] = 0.95,
    limits: Annotated[
        bool, option("--limits", "Print the acceptance limits: the greatest sample SD for each mean.")
    ] = False,
    report: Annotated[
        Path | None, option("--report DIR", "Write the answer with pictures as a page, chance.html, there.")
    ] = None,
    json: JsonOption = None,
) -> None:
    """Say how likely a batch of a true mean and spread is to pass a test, what spread it may have, and how many units
    to test for a wanted assurance; what units that were found say of their batch; what chance assays have of noticing a
    change along the pour, which units to take and at what cost.
    """
    if json not in (None, "-"):
        json_file(str(json), inputs=())
    from qc.jobs.chance import question

    if [sd, found, drift].count(None) != 2 and not limits:
        refuse_call("One question at a time is answered", "Give one of --sd PERCENT, --found NUMBERS, --drift PERCENT")
    with usable("See qc chance --help"):
        if drift is not None:
            _notice(drift, units=units, assays=assays, scatter=scatter, json=json, report=report)
            return
        asked = question(
            test,
            rule=rule,
            form=form,
            unit_mass_mg=unit_mass,
            target_percent=target,
            rounded=rounded,
            wanted=wanted,
            confidence=confidence,
        )
        if found is not None:
            if report is not None:
                refuse_call("--report draws nothing of --found", "Leave it out")
            _of_units(_numbers(found), asked, json=json)
        elif limits:
            _print_limits(asked, json=json)
        elif sd is not None:
            _answer(asked, mean, sd, json=json, report=report)


def _print_limits(asked: Question, *, json: str | None) -> None:
    from qc.jobs.chance.plan import dosage_unit_limits
    from qc.jobs.chance.text import limits_table
    from qc.show.pages_text import text_page

    if asked.test != "dosage-unit-uniformity":
        refuse_call(f'--limits is not known for "{asked.test}"', "Give --test dosage-unit-uniformity")
    progress("Working out the acceptance limits ...")
    limits = dosage_unit_limits(asked)
    _tell(text_page([limits_table(limits)]), {"test": asked.test, **asdict(limits)}, json=json)


def _numbers(given: str) -> list[float]:
    """Numbers with blanks, semicolons or commas between them; a comma that might be a decimal mark is refused."""
    if re.search(r"\d,\d", given) and re.search(r"[\s;]", given):
        refuse_call(f'--found "{given}" can be read two ways', "Type decimal points, and blanks between the numbers")
    try:
        return [float(one) for one in re.split(r"[\s;,]+", given.strip())]
    except ValueError:
        refuse_call(f'--found "{given}" is not a list of numbers', 'Give for example --found "98.1 101.2 99.4"')


def _of_units(values: Sequence[float], asked: Question, *, json: str | None) -> None:
    from qc.jobs.chance.found import batch_of, in_words
    from qc.show.pages_text import text_page
    from qc.show.pieces import Prose

    found = batch_of(values, asked=asked)
    _tell(text_page([Prose(text=in_words(found, asked=asked))]), asdict(found), json=json)


def _notice(
    change: float, *, units: int, assays: int, scatter: float | None, json: str | None, report: Path | None
) -> None:
    from qc.jobs.chance.noticing import noticing, page, pieces
    from qc.show.chances import CHANCE
    from qc.show.filing import file_whole
    from qc.show.pages_text import text_page

    found = noticing(change, units=units, assays=assays, scatter_percent=scatter)
    if report is not None:
        with writing("The report", report, FOLDER_MEND, report=f"Give {ANOTHER}"):
            file_whole(report, {CHANCE: page(found).encode()})
    _tell(text_page(pieces(found)), to_builtins(found), json=json, report=report)


def _answer(asked: Question, mean: float, sd: float, *, json: str | None, report: Path | None) -> None:
    from qc.jobs.chance import answer

    found = answer(asked, mean, sd)
    if json == "-" and report is None:
        write_document(found.as_dict(), json)
        return
    from qc.jobs.chance.plan import chance_plan
    from qc.jobs.chance.text import chance_text, write_chance_report

    progress("Working out the plan ...")
    plan = chance_plan(asked, mean, sd)
    if report is not None:
        progress(f"Drawing the report for {report} ...")
        with writing("The report", report, FOLDER_MEND, report=f"Give {ANOTHER}"):
            write_chance_report(report, asked=asked, answer=found, plan=plan)
    _tell(chance_text(found, plan=plan), found.as_dict(), json=json, report=report)


def _tell(text: str, document: Mapping[str, object], *, json: str | None, report: Path | None = None) -> None:
    """Print an answer, and where its page stands, unless standard output takes the document."""
    from qc.show.chances import CHANCE

    if not write_document(document, json):
        typer.echo(text if report is None else f"{text}\n\nReport: {report / CHANCE}")
