"""`qc chance`: how likely a batch of a given mean and spread is to pass, and how many units to test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from msgspec.structs import asdict

from qc.cli.options import JsonOption, option
from qc.cli.words import ANOTHER, FOLDER_MEND, json_file, progress, refuse_call, usable, write_document, writing

if TYPE_CHECKING:
    from qc.jobs.chance import Question


def chance(
    test: Annotated[str, option("--test ID", "mass-uniformity, content-uniformity or dosage-unit-uniformity.")],
    sd: Annotated[float, option("--sd PERCENT", "True SD, % of label; the RSD for mass and content tests.")],
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
    to test for a wanted assurance.
    """
    if json not in (None, "-"):
        json_file(str(json), inputs=())
    from qc.jobs.chance import question

    with usable("See qc chance --help"):
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
        if limits:
            _print_limits(asked, json=json)
        else:
            _answer(asked, mean, sd, json=json, report=report)


def _print_limits(asked: Question, *, json: str | None) -> None:
    from qc.jobs.chance.plan import dosage_unit_limits
    from qc.jobs.chance.text import limits_table
    from qc.show.pages_text import text_page

    if asked.test != "dosage-unit-uniformity":
        refuse_call(f'--limits is not known for "{asked.test}"', "Give --test dosage-unit-uniformity")
    progress("Working out the acceptance limits ...")
    limits = dosage_unit_limits(asked)
    if not write_document({"test": asked.test, **asdict(limits)}, json):
        typer.echo(text_page([limits_table(limits)]))


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
    text = chance_text(found, plan=plan)
    if report is not None:
        progress(f"Drawing the report for {report} ...")
        with writing("The report", report, FOLDER_MEND, report=f"Give {ANOTHER}"):
            page = write_chance_report(report, asked=asked, answer=found, plan=plan)
        text = f"{text}\n\nReport: {page}"
    if not write_document(found.as_dict(), json):
        typer.echo(text)
