"""`qc chance --report`: the chances of passing of a planned batch as a page with pictures."""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import replace

from qc.jobs.chance import USUAL_FORM, Chance, band_of, rule_of
from qc.jobs.chance.plan import ChancePlan
from qc.jobs.chance.text import chance_text
from qc.rules.records import DosageUnitRule, MassRule
from qc.say.numbers import probability
from qc.show.chance_page import CHANCE, chance_page
from qc.show.columns import number, table
from qc.show.filing import file_whole
from qc.show.view import Table

LEAST_SD = 0.05
REACH_OF_SD = 1.3
"""The pictures reach past the SD of a batch that is nearly sure to fail by this factor."""


def write_chance_report(
    directory: Path,
    *,
    answer: Chance,
    plan: ChancePlan,
    rule: str | Path | None = None,
    form: str = USUAL_FORM,
    unit_mass_mg: float | None = None,
    target_percent: float = 100.0,
) -> Path:
    """Write the page into a folder, whole or not at all.

    Parameters
    ----------
    directory : Path
        The folder; made when it is not there.
    answer : Chance
        For one mean and SD.
    plan : ChancePlan
        For the same.
    rule, form, unit_mass_mg, target_percent
        As they were given to `chance`.

    Returns
    -------
    Path
        The page.

    Raises
    ------
    qc.show.filing.ReportExists
        When the folder holds such a page already.
    OSError
        When it cannot be written; nothing was left behind.
    """
    from qc.assurance.planes import operating_curve, pass_plane

    record = rule_of(answer.test, rule=rule)
    band = band_of(record, form=form, unit_mass_mg=unit_mass_mg) if isinstance(record, MassRule) else None
    mean, sd = float(answer.mean_percent), float(answer.sd_percent)
    top = REACH_OF_SD * max(plan.poor_sd_percent, sd)
    curve = operating_curve(rule=record, mean=mean, band=band, target_percent=target_percent, sds=(0.0, top))
    plane = None
    if isinstance(record, DosageUnitRule):
        made = pass_plane(rule=record, target_percent=target_percent, sds=(LEAST_SD, top))
        plane = replace(made, sample_mean_percent=mean, sample_sd_percent=sd)
    first, second, *_ = chance_text(answer).splitlines()
    page = chance_page(
        title=first,
        answer=_sentences(second, answer=answer, plan=plan),
        samples=_samples(plan),
        curve=replace(curve, sample_sd_percent=sd),
        plane=plane,
    )
    file_whole(directory, {CHANCE: page.encode()})
    return directory / CHANCE


def _sentences(batch: str, *, answer: Chance, plan: ChancePlan) -> tuple[str, ...]:
    first, overall = (probability(float(one), decimals=2) for one in (answer.pass_first_stage, answer.pass_overall))
    spread = "SD" if answer.test == "dosage-unit-uniformity" else "RSD"
    told = [
        f"{batch} passes at the first stage with a chance of {first}, and in all with {overall}.",
        f"It may have a true {spread} of {plan.greatest_sd_percent:.2f} % to pass with a chance of "
        f"{plan.wanted * 100:g} %, and passes with a chance of 5 % or less from {plan.poor_sd_percent:.2f} % on.",
    ]
    if plan.units_needed is not None:
        told.append(
            f"To assure a chance of {plan.wanted * 100:g} % with {plan.confidence * 100:g} % confidence it takes "
            f"{plan.units_needed} units that show this mean and {spread}."
        )
    return tuple(told)


def _samples(plan: ChancePlan) -> Table:
    return table(
        "What the size of a single sample costs, the limits being kept",
        plan.samples,
        number("Units", lambda one: one.n),
        number("A sound batch is refused", lambda one: probability(one.sound_refused, decimals=2)),
        number("A poor batch is passed", lambda one: probability(one.poor_passed, decimals=2)),
    )
