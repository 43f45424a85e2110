"""The dose seen through the balance: what each unit's mass says of its active, with the assays on top."""

from __future__ import annotations

from math import nan

from qc.results import JudgedBatch
from qc.results.pour import DoseScreen
from qc.say.names import shortened, shown_text
from qc.show.frame import Frame
from qc.show.labels import Level, draw_levels, draw_scale, round_steps, with_room
from qc.show.legend import draw_legend
from qc.show.marks import draw_line, draw_marks
from qc.show.palette import ACCENT, MUTED
from qc.show.series import AXIS_INCHES, places_in_pour, with_air


def draw_doses(frame: Frame, *, judged: JudgedBatch, screen: DoseScreen) -> Frame:
    """Draw the dose inferred from each mass with its 95 % interval, and the assayed contents as triangles.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    screen : DoseScreen
        The inferred doses of one active.

    Returns
    -------
    Frame
        The same frame.
    """
    places, x_label = places_in_pour(judged.unit_rows)
    doses = [dose for dose in screen.doses if dose.unit in places]
    assays = assayed_mg(judged, screen.active)
    claim = next((active.label_claim_mg for active in judged.batch.actives if active.name == screen.active), None)
    across = [places[dose.unit] for dose in doses]
    heights = [end for dose in doses for end in (dose.low_mg, dose.high_mg)] + [height for _, height in assays]
    if claim is not None:
        heights.append(float(claim))
    frame.set_ends(across=with_air(frame, across), upward=with_room(heights, share=0.06))
    if claim is not None:
        label = Level(value=float(claim), label=f"label = {claim} mg", style="plan")
        draw_levels(frame, levels=[label], inches_high=AXIS_INCHES)
    bars_across = [x for place in across for x in (place, place, nan)]
    bars_upward = [y for dose in doses for y in (dose.low_mg, dose.high_mg, nan)]
    draw_line(frame, bars_across, bars_upward, colour=MUTED, width=1.0)
    draw_marks(
        frame,
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
            frame,
            [x for x, _ in assays],
            [y for _, y in assays],
            marker="^",
            size=6.0,
            face=ACCENT,
            edge_width=0.6,
            above=2.0,
            label="assayed",
        )
    steps = [step for step in round_steps(*frame.across, about=8) if step == int(step) and step >= 1]
    draw_scale(
        frame,
        across=steps,
        upward=round_steps(*frame.upward, about=5),
        across_label=x_label,
        upward_label=f"{shortened(shown_text(screen.active), most=20)} [mg]",
    )
    draw_legend(frame)
    return frame


def assayed_mg(judged: JudgedBatch, active: str) -> list[tuple[float, float]]:
    """Place in the pour and content [mg] of each assayed unit."""
    places, _ = places_in_pour(judged.unit_rows)
    found = []
    for row in judged.unit_rows:
        content = row.contents.get(active)
        if content is not None and content.mg is not None and row.unit in places:
            found.append((places[row.unit], content.mg))
    return found
