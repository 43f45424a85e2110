"""`qc chance`: how likely a batch of a given mean and spread is to pass, and how many units to test."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from qc.cli.words import progress, refuse, refuse_call
from qc.problems import InputProblems

if TYPE_CHECKING:
    from qc.jobs.chance import Chance
    from qc.jobs.chance.plan import ChancePlan

if TYPE_CHECKING:
    from qc.assurance.departures import Departure


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
    try:
        asked_of_a_batch = bool(drift or other_fraction or other_shift or assay_sd or as_made or sampling != "random")
        if batch_units is None and asked_of_a_batch:
            refuse_call("Drift, shares, assay error and sampling are of a batch", "Give its size, --batch-units 24")
        if batch_units is not None and (rounded or target != 100.0 or report is not None or limits):
            refuse_call("--rounded, --target, --report and --limits are of an ideal batch", "Leave out --batch-units")
        if batch_units is not None:
            departure = _departure(
                batch_units,
                mean,
                sd,
                drift=drift,
                other=(other_fraction, other_shift),
                assay_sd=assay_sd,
                as_made=as_made,
                sampling=sampling,
            )
            typer.echo(
                _departed(test, departure, rule=rule, form=form, unit_mass=unit_mass, plain=json_target is not None)
            )
            return
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
        refuse_call(str(unusable).rstrip("."), "See qc chance --help")


def _limits(test: str, *, rule: str | None, target: float, wanted: float, confidence: float) -> str:
    from qc.jobs.chance.plan import dosage_unit_limits
    from qc.jobs.chance.text import limits_text

    if test != "dosage-unit-uniformity":
        refuse_call(f'--limits is not known for "{test}"', "Give --test dosage-unit-uniformity")
    progress("Working out the acceptance limits ...")
    return limits_text(dosage_unit_limits(rule=rule, target_percent=target, wanted=wanted, confidence=confidence))


def _departure(
    units: int,
    mean: float,
    sd: float,
    *,
    drift: float,
    other: tuple[float, float],
    assay_sd: float,
    as_made: bool,
    sampling: str,
) -> Departure:
    from qc.assurance.departures import Departure, Sampling

    known = {way.name.lower(): way for way in Sampling}
    if sampling not in known:
        refuse_call(f'--sampling "{sampling}" is not known', f"Give {', '.join(known)}")
    return Departure(
        units=units,
        mean=mean,
        sd=sd,
        drift=drift,
        other_fraction=other[0],
        other_shift=other[1],
        assay_sd=assay_sd,
        as_made=as_made,
        sampling=known[sampling],
    )


def _departed(
    test: str, departure: Departure, *, rule: str | None, form: str, unit_mass: float | None, plain: bool
) -> str:
    from qc.jobs.chance.departure import departed_chance, departed_document, departed_text

    progress("Simulating batches ...")
    simulated, ideal = departed_chance(test, departure, rule=rule, form=form, unit_mass_mg=unit_mass)
    if plain:
        import json

        return json.dumps(departed_document(departure, simulated, ideal), indent=2)
    return departed_text(departure, simulated, ideal)


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
    from qc.jobs.chance import chance as chance_of

    answer = chance_of(
        test, mean, sd, rule=rule, rounded=rounded, form=form, unit_mass_mg=unit_mass, target_percent=target
    )
    if plain and report is None:
        import json

        return json.dumps(answer.as_dict(), indent=2)
    from qc.jobs.chance.plan import chance_plan
    from qc.jobs.chance.text import chance_text

    progress("Working out the plan ...")
    plan = chance_plan(
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
    told = chance_text(answer, plan=plan)
    if plain:
        import json

        told = json.dumps(answer.as_dict(), indent=2)
    if report is None:
        return told
    page = _write_page(report, answer, plan, rule=rule, form=form, unit_mass=unit_mass, target=target)
    return told if plain else f"{told}\n\nReport: {page}"


def _write_page(
    directory: Path,
    answer: Chance,
    plan: ChancePlan,
    *,
    rule: str | None,
    form: str,
    unit_mass: float | None,
    target: float,
) -> Path:
    from qc.jobs.chance.report import write_chance_report
    from qc.show.filing import ReportExists

    progress(f"Drawing the report for {directory} ...")
    try:
        return write_chance_report(
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
