"""The dose seen through the balance: what each unit's mass says of its active, with the assays on top."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.report.labels import Level, draw_levels, draw_scale, round_steps, with_room
from qc.report.legend import draw_legend
from qc.report.marks import draw_marks
from qc.report.palette import ACCENT, MUTED
from qc.report.series import AXIS_INCHES, places_in_pour
from qc.report.words import shortened, shown_text
from qc.results import JudgedBatch
from qc.results.pour import DoseScreen

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_doses(ax: Axes, *, judged: JudgedBatch, screen: DoseScreen) -> Axes:
    """Draw the dose inferred from each mass with its 95 % interval, and the assayed contents as triangles.

    Parameters
    ----------
    ax : Axes
        The axis to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    screen : DoseScreen
        The inferred doses of one active.

    Returns
    -------
    Axes
        The same axis.
    """
    places, x_label = places_in_pour(judged.unit_rows)
    doses = [dose for dose in screen.doses if dose.unit in places]
    assays = assayed_mg(judged, screen.active)
    claim = next((active.label_claim_mg for active in judged.batch.actives if active.name == screen.active), None)
    across = [places[dose.unit] for dose in doses]
    heights = [end for dose in doses for end in (dose.low_mg, dose.high_mg)] + [height for _, height in assays]
    if claim is not None:
        heights.append(float(claim))
    ax.set_xlim(min(across) - 0.7, max(across) + 0.7)
    ax.set_ylim(*with_room(heights, share=0.06))
    if claim is not None:
        label = Level(value=float(claim), label=f"label = {claim} mg", style="plan")
        draw_levels(ax, levels=[label], inches_high=AXIS_INCHES)
    ax.vlines(across, [dose.low_mg for dose in doses], [dose.high_mg for dose in doses], color=MUTED, linewidth=1.0)
    draw_marks(
        ax,
        across,
        [dose.dose_mg for dose in doses],
        marker="_",
        size=7.0,
        face="none",
        edge_width=1.4,
        above=2.0,
        label="inferred from mass, bar: 95 % interval",
    )
    if assays:
        draw_marks(
            ax,
            [x for x, _ in assays],
            [y for _, y in assays],
            marker="^",
            size=6.0,
            face=ACCENT,
            edge_width=0.6,
            above=2.0,
            label="assayed",
        )
    steps = [step for step in round_steps(*ax.get_xlim(), about=8) if step == int(step) and step >= 1]
    draw_scale(
        ax,
        across=steps,
        upward=round_steps(*ax.get_ylim(), about=5),
        across_label=x_label,
        upward_label=f"{shortened(shown_text(screen.active), most=20)} [mg]",
    )
    draw_legend(ax)
    return ax


def assayed_mg(judged: JudgedBatch, active: str) -> list[tuple[float, float]]:
    """Place in the pour and content [mg] of each assayed unit."""
    places, _ = places_in_pour(judged.unit_rows)
    found = []
    for row in judged.unit_rows:
        content = row.contents.get(active)
        if content is not None and content.mg is not None and row.unit in places:
            found.append((places[row.unit], content.mg))
    return found
