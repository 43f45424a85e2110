"""`qc chance`: how likely a batch of a given mean and spread is to pass, and how many units to test."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.words import progress, refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.assurance.departures import Departure, Sampling
    from qc.jobs.chance import Chance
    from qc.jobs.chance.plan import ChancePlan
    from qc.jobs.chance.question import Question


def register(app: typer.Typer) -> None:
    """Add the command to the command line."""
    app.command("chance")(chance)


def chance(
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
    batch_units: Annotated[
        int | None,
        typer.Option("--batch-units", metavar="N", help="A batch of N units, sampled without replacement; simulated."),
    ] = None,
    drift: Annotated[
        float, typer.Option("--drift", metavar="PERCENT", help="Of such a batch: rise from the first unit to the last.")
    ] = 0.0,
    other_fraction: Annotated[
        float, typer.Option("--other-fraction", metavar="SHARE", help="Share of its units that differ from the rest.")
    ] = 0.0,
    other_shift: Annotated[
        float, typer.Option("--other-shift", metavar="PERCENT", help="How far their mean lies off that of the rest.")
    ] = 0.0,
    assay_sd: Annotated[
        float, typer.Option("--assay-sd", metavar="PERCENT", help="Error of the determination, on top.")
    ] = 0.0,
    as_made: Annotated[
        bool, typer.Option("--as-made", help="Mean and SD are of these very units, not of the process.")
    ] = False,
    sampling: Annotated[
        str, typer.Option("--sampling", metavar="random|stratified|first", help="How the sample is taken.")
    ] = "random",
    report: Annotated[
        Path | None,
        typer.Option("--report", metavar="DIR", help="Write the answer with pictures as a page, chance.html, there."),
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
    if batch_units is None and (drift or other_fraction or other_shift or assay_sd or as_made or sampling != "random"):
        refuse_call("Drift, shares, assay error and sampling are of a batch", "Give its size, --batch-units 24")
    if batch_units is not None and (rounded or target != 100.0 or report is not None or limits):
        refuse_call("--rounded, --target, --report and --limits are of an ideal batch", "Leave out --batch-units")
    from qc.jobs.chance.question import question

    plain = json_target is not None
    try:
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
        if batch_units is not None:
            from qc.assurance.departures import Departure

            departure = Departure(
                units=batch_units,
                mean=mean,
                sd=sd,
                drift=drift,
                other_fraction=other_fraction,
                other_shift=other_shift,
                assay_sd=assay_sd,
                as_made=as_made,
                sampling=_sampling(sampling),
            )
            told = _departed(asked, departure, plain=plain)
        elif limits:
            told = _limits(asked)
        else:
            told = _answer(asked, mean, sd, plain=plain, report=report)
    except InputProblems as problems:
        refuse(problems)
    except ValueError as unusable:
        refuse_call(str(unusable).rstrip("."), "See qc chance --help")
    typer.echo(told)


def _limits(asked: Question) -> str:
    from qc.jobs.chance.plan import dosage_unit_limits
    from qc.jobs.chance.text import limits_text

    if asked.test != "dosage-unit-uniformity":
        refuse_call(f'--limits is not known for "{asked.test}"', "Give --test dosage-unit-uniformity")
    progress("Working out the acceptance limits ...")
    return limits_text(dosage_unit_limits(asked))


def _sampling(named: str) -> Sampling:
    from qc.assurance.departures import Sampling

    known = {way.name.lower(): way for way in Sampling}
    if named not in known:
        refuse_call(f'--sampling "{named}" is not known', f"Give {', '.join(known)}")
    return known[named]


def _departed(asked: Question, departure: Departure, *, plain: bool) -> str:
    from qc.jobs.chance.departure import departed_chance, departed_document, departed_text

    progress("Simulating batches ...")
    simulated, ideal = departed_chance(asked, departure)
    if plain:
        return json.dumps(departed_document(departure, simulated, ideal), indent=2)
    return departed_text(departure, simulated, ideal)


def _answer(asked: Question, mean: float, sd: float, *, plain: bool, report: Path | None) -> str:
    from qc.jobs.chance import answer

    found = answer(asked, mean, sd)
    document = json.dumps(found.as_dict(), indent=2)
    if plain and report is None:
        return document
    from qc.jobs.chance.plan import chance_plan
    from qc.jobs.chance.text import chance_text

    progress("Working out the plan ...")
    plan = chance_plan(asked, mean, sd)
    told = document if plain else chance_text(found, plan=plan)
    if report is None:
        return told
    page = _write_page(report, asked, found, plan)
    return told if plain else f"{told}\n\nReport: {page}"


def _write_page(directory: Path, asked: Question, found: Chance, plan: ChancePlan) -> Path:
    from qc.jobs.chance.report import write_chance_report
    from qc.show.filing import ReportExists

    progress(f"Drawing the report for {directory} ...")
    try:
        return write_chance_report(directory, asked=asked, answer=found, plan=plan)
    except ReportExists as exists:
        refuse_call(str(exists).rstrip("."), "Give another folder with --report DIR")
    except OSError as failure:
        refuse_call(
            f"The report cannot be written to {directory} ({failure.strerror or failure})",
            "Give a folder that can be written to, with --report DIR",
        )
