"""The answer key as a page: what happened, the tray as it is and as it was measured, every unit, the working."""

from __future__ import annotations

from typing import Any

from qc.causes.drawing import Drawn
from qc.results import JudgedBatch
from qc.say.messages import words
from qc.say.names import CAUSE, VERDICT, test_title
from qc.say.numbers import percent, probability
from qc.say.physics import physics_line
from qc.teach.gallery import CONTENT_REACH, MASS_REACH, PARTS_REACH
from qc.teach.pictures import (
    found_contents,
    mass_and_content_plots,
    parts_plot,
    tray,
    true_contents,
    true_masses,
    written_masses,
)
from qc.teach.style import laid_out


def key_page(drawn: Drawn, *, key: dict[str, Any], judged: JudgedBatch) -> str:
    """The answer key as one page that needs nothing from anywhere.

    Parameters
    ----------
    drawn : Drawn
        The batch and its truth.
    key : dict
        The key as a document.
    judged : JudgedBatch
        The batch as it is judged from its workbook, for the working.
    """
    masses, contents = mass_and_content_plots(drawn, mass_reach=MASS_REACH, content_reach=CONTENT_REACH)
    return laid_out(
        "lesson_key.html",
        key=key,
        product=judged.batch.product,
        number=judged.batch.number,
        typed=[str(mass) for mass in drawn.written.masses_g],
        trays=_trays(drawn),
        plots=[masses, contents, parts_plot(drawn, title="Parts of a unit, %", reach=PARTS_REACH)],
        causes=judged.causes,
        cause_names=CAUSE,
        words=words,
        next_measurements=judged.next_measurements,
        tests=[test for test in judged.tests if test.working],
        planned=judged.planned_mass.working if judged.planned_mass is not None else "",
        physics=[physics_line(name, value) for name, value in drawn.physics.items()],
        chance=probability,
        percent=percent,
        test_title=test_title,
        verdict_names=VERDICT,
    )


def _trays(drawn: Drawn) -> list[str]:
    return [
        tray(drawn, true_masses(drawn), title="True mass", reach=MASS_REACH / 2),
        tray(drawn, written_masses(drawn), title="Mass as written down", reach=MASS_REACH / 2),
        tray(drawn, true_contents(drawn), title="True content", reach=CONTENT_REACH / 2),
        tray(drawn, found_contents(drawn), title="Content by assay", reach=CONTENT_REACH / 2),
    ]
