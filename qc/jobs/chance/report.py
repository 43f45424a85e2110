"""`qc chance --report`: the chances of passing of a planned batch as a page with pictures."""

from __future__ import annotations

from pathlib import Path

from msgspec.structs import replace

from qc.jobs.chance import Chance
from qc.jobs.chance.plan import ChancePlan
from qc.jobs.chance.question import Question
from qc.jobs.chance.text import chance_pieces, title
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.show.chance_page import CHANCE, chance_page
from qc.show.filing import file_whole

LEAST_SD = 0.05
REACH_OF_SD = 1.3
"""The pictures reach past the SD of a batch that is nearly sure to fail by this factor."""


def write_chance_report(directory: Path, *, asked: Question, answer: Chance, plan: ChancePlan) -> Path:
    """Write the page into a folder, whole or not at all.

    Parameters
    ----------
    directory : Path
        The folder; made when it is not there.
    asked : Question
    answer : Chance
        For one mean and SD.
    plan : ChancePlan
        For the same.

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

    record, target = asked.rule, asked.target_percent
    mean, sd = float(answer.mean_percent), float(answer.sd_percent)
    top = REACH_OF_SD * max(plan.poor_sd_percent, sd)
    curve = operating_curve(rule=record, mean=mean, band=asked.band, target_percent=target, sds=(0.0, top))
    plane = None
    if isinstance(record, DosageUnitRule):
        made = pass_plane(rule=record, target_percent=target, sds=(LEAST_SD, top))
        plane = replace(made, sample_mean_percent=mean, sample_sd_percent=sd)
    page = chance_page(
        title=title(answer),
        answer=chance_pieces(answer, plan=plan),
        curve=replace(curve, sample_sd_percent=sd),
        plane=plane,
    )
    file_whole(directory, {CHANCE: page.encode()})
    return directory / CHANCE
