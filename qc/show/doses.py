"""The dose seen through the balance: what each unit's mass says of its active, with the assays on top."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.results import JudgedBatch
from qc.results.pour import DoseScreen
from qc.say.text import shortened, shown_text
from qc.show.axes import Level, draw_levels, legend_beside, name_axes
from qc.show.palette import ACCENT, INK, MUTED
from qc.show.series import ends_of_pour, places_in_pour

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_doses(ax: Axes, *, judged: JudgedBatch, screen: DoseScreen) -> Axes:
    """Draw the dose inferred from each mass with its 95 % interval, and the assayed contents as triangles.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    screen : DoseScreen
        The inferred doses of one active.

    Returns
    -------
    Axes
        The same axes.
    """
    places, x_label = places_in_pour(judged.unit_rows)
    doses = [dose for dose in screen.doses if dose.unit in places]
    across = [places[dose.unit] for dose in doses]
    ax.set_xlim(ends_of_pour(across))
    claim = next((active.label_claim_mg for active in judged.batch.actives if active.name == screen.active), None)
    if claim is not None:
        draw_levels(ax, [Level(label=f"label = {claim} mg", heights=(float(claim),), style="plan")])
    ax.vlines(across, [dose.low_mg for dose in doses], [dose.high_mg for dose in doses], colors=MUTED, linewidths=1.0)
    inferred = "inferred from mass,\nbar: 95 % interval"
    ax.plot(
        across, [dose.dose_mg for dose in doses], "_", color=INK, markersize=7.0, markeredgewidth=1.4, label=inferred
    )
    assays = assayed_mg(judged, screen.active)
    if assays:
        along, heights = zip(*assays, strict=True)
        ax.plot(
            along, heights, "^", color=ACCENT, markersize=6.0, markeredgecolor=INK, markeredgewidth=0.6, label="assayed"
        )
    name_axes(ax, across=x_label, upward=f"{shortened(shown_text(screen.active), most=20)} [mg]", whole=True)
    legend_beside(ax)
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
