"""`qc odds`: how likely a batch of a given mean and spread is to pass, and how many units to test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.words import progress, refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.jobs.odds import Odds
    from qc.jobs.odds.plan import OddsPlan


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("odds")(odds)


def odds(
    test: Annotated[
        str,
        typer.Option("--test", metavar="ID", help="mass-uniformity, content-uniformity or dosage-unit-uniformity."),
    ],
    sd: Annotated[
        float, typer.Option("--sd", metavar="PERCENT", help="True SD, % of label; the RSD for mass and content tests.")
    ],
    mean: Annotated[
        float, typer.Option("--mean", metavar="PERCENT", help="True mean, % of label; 100 for mass and content tests.")
    ] = 100.0,
    rule: Annotated[
        str | None, typer.Option("--rule", metavar="ID|FILE", help="Another rule of that test (see qc rules).")
    ] = None,
    rounded: Annotated[
        bool, typer.Option("--rounded", help="Round the acceptance value as the rule is printed.")
    ] = False,
    form: Annotated[
        str, typer.Option("--form", metavar="FORM", help="Dosage form, for a mass table.")
    ] = "suppositories",
    unit_mass: Annotated[
        float | None, typer.Option("--unit-mass-mg", metavar="MG", help="Mass of a unit, where a mass table needs it.")
    ] = None,
    target: Annotated[float, typer.Option("--target", metavar="PERCENT", help="Target content T, % of label.")] = 100.0,
    wanted: Annotated[
        float, typer.Option("--wanted", metavar="CHANCE", help="Chance of passing the plan is for, 0 to 1.")
    ] = 0.95,
    confidence: Annotated[
        float, typer.Option("--confidence", metavar="SHARE", help="Confidence of an assurance, 0 to 1.")
    ] = 0.95,
    limits: Annotated[
        bool, typer.Option("--limits", help="Print the acceptance limits: the greatest sample SD for each mean.")
    ] = False,
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="DIR", help="Write the answer with pictures as a page, odds.html, there."),
    ] = None,
    json_target: Annotated[
        str | None, typer.Option("--json", metavar="-", help="Print the figures for other programs; give -.")
    ] = None,
) -> None:
    """Say how likely a batch of a true mean and spread is to pass a test, what spread it may have, and how many units
    to test for a wanted assurance.
    """
    if json_target not in (None, "-"):
        refuse_call(f'--json "{json_target}" is not known here', "Give - for standard output")
    try:
        if limits:
            typer.echo(_limits(test, rule=rule, target=target, wanted=wanted, confidence=confidence))
            return
        typer.echo(
            _answer(
                test,
                mean,
                sd,
                rule=rule,
                rounded=rounded,
                form=form,
                unit_mass=unit_mass,
                target=target,
                wanted=wanted,
                confidence=confidence,
                plain=json_target is not None,
                report=report,
            )
        )
    except InputProblems as problems:
        refuse(problems)
    except ValueError as unusable:
        refuse_call(str(unusable).rstrip("."), "See qc odds --help")


def _limits(test: str, *, rule: str | None, target: float, wanted: float, confidence: float) -> str:
    from qc.jobs.odds.plan import dosage_unit_limits
    from qc.jobs.odds.text import limits_text

    if test != "dosage-unit-uniformity":
        refuse_call(f'--limits is not known for "{test}"', "Give --test dosage-unit-uniformity")
    progress("Working out the acceptance limits ...")
    return limits_text(dosage_unit_limits(rule=rule, target_percent=target, wanted=wanted, confidence=confidence))


def _answer(
    test: str,
    mean: float,
    sd: float,
    *,
    rule: str | None,
    rounded: bool,
    form: str,
    unit_mass: float | None,
    target: float,
    wanted: float,
    confidence: float,
    plain: bool,
    report: Path | None,
) -> str:
    from qc.jobs.odds import odds as odds_of

    answer = odds_of(
        test, mean, sd, rule=rule, rounded=rounded, form=form, unit_mass_mg=unit_mass, target_percent=target
    )
    if plain and report is None:
        import json

        return json.dumps(answer.as_dict(), indent=2)
    from qc.jobs.odds.plan import odds_plan
    from qc.jobs.odds.text import odds_text

    progress("Working out the plan ...")
    plan = odds_plan(
        test,
        mean,
        sd,
        rule=rule,
        form=form,
        unit_mass_mg=unit_mass,
        target_percent=target,
        wanted=wanted,
        confidence=confidence,
    )
    told = odds_text(answer, plan=plan)
    if plain:
        import json

        told = json.dumps(answer.as_dict(), indent=2)
    if report is None:
        return told
    page = _write_page(report, answer, plan, rule=rule, form=form, unit_mass=unit_mass, target=target)
    return told if plain else f"{told}\n\nReport: {page}"


def _write_page(
    directory: Path,
    answer: Odds,
    plan: OddsPlan,
    *,
    rule: str | None,
    form: str,
    unit_mass: float | None,
    target: float,
) -> Path:
    from qc.jobs.odds.report import write_odds_report
    from qc.report.filing import ReportExists

    progress(f"Drawing the report for {directory} ...")
    try:
        return write_odds_report(
            directory,
            answer=answer,
            plan=plan,
            rule=rule,
            form=form,
            unit_mass_mg=unit_mass,
            target_percent=target,
        )
    except ReportExists as exists:
        refuse_call(str(exists).rstrip("."), "Give another folder with --report DIR")
    except OSError as failure:
        refuse_call(
            f"The report cannot be written to {directory} ({failure.strerror or failure})",
            "Give a folder that can be written to, with --report DIR",
        )
