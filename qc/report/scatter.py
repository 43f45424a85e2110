"""Mass against content: whether the dose follows the fill or goes its own way."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.report.frame import Frame
from qc.report.labels import draw_scale, round_steps, with_room
from qc.report.legend import draw_legend
from qc.report.marks import draw_line, draw_marks
from qc.report.palette import DRAWN, MUTED, PAPER
from qc.report.series import in_percent_of_label, names_in_pictures
from qc.report.words import shortened, shown_text
from qc.report.writing import Label, write
from qc.results import JudgedBatch, Place, UnitRow

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

INCHES_HIGH = 3.35
MARGINS = (0.62, 1.35, 0.48, 0.3)
LEAST_UNITS = 2
NAMES_SHOWN = 30
FONT_POINTS = 6.5
POINT_POINTS = 3.8
PAD = 0.05
"""Of the paper behind a name, as a share of its size."""


def units_with_both(judged: JudgedBatch, active: str) -> list[tuple[UnitRow, float, float]]:
    """Units that were weighed and assayed, with mass [g] and content [% of label, or mg]."""
    of_label = in_percent_of_label(judged, active)
    found = []
    for row in judged.unit_rows:
        content = row.contents.get(active)
        if content is None or row.mass_g is None:
            continue
        value = content.percent_of_label if of_label else content.mg
        if value is not None:
            found.append((row, float(row.mass_g), value))
    return found


def draw_mass_against_content(frame: Frame, *, judged: JudgedBatch, active: str) -> Frame:
    """Draw content over mass with every unit named, and the line of equal concentration through the centre.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    active : str
        Which active.

    Returns
    -------
    Frame
        The same frame.
    """
    units = units_with_both(judged, active)
    masses = [mass for _, mass, _ in units]
    contents = [content for _, _, content in units]
    frame.set_ends(across=with_room(masses, share=0.12), upward=with_room(contents, share=0.14))
    left, right = frame.across
    # Through the origin and the centre of the points: along it every gram carries the same dose.
    slope = sum(contents) / sum(masses)
    draw_line(
        frame,
        [left, right],
        [slope * left, slope * right],
        colour=MUTED,
        width=1.0,
        dashes=(0, (5, 2.5)),
        above=1.0,
    )
    low, high = frame.upward
    end = min(max(slope * right, low), high)
    write(frame, [Label(text="same concentration\nin every unit", x=right, y=end, shift=(5.0, 0.0), across="left")])
    for outside, marker, face, label in (
        (False, "o", DRAWN, "within the limits"),
        (True, "^", PAPER, "outside a limit of mass or content"),
    ):
        chosen = [(mass, content) for row, mass, content in units if _outside(row, active) is outside]
        if chosen:
            draw_marks(
                frame,
                [mass for mass, _ in chosen],
                [content for _, content in chosen],
                marker=marker,
                size=7.5 if outside else 5.0,
                face=face,
                edge_width=1.3 if outside else 0.6,
                label=label,
            )
    known = names_in_pictures(judged.unit_rows)
    names = [known[row.unit] for row, _, _ in units[:NAMES_SHOWN]]
    write(
        frame,
        [
            Label(text=name, x=mass, y=content, shift=place, size=FONT_POINTS, backed=PAD)
            for name, (_, mass, content), place in zip(names, units, free_places(frame, names, units), strict=False)
        ],
        above=2.0,
    )
    draw_legend(frame)
    _finish(frame, judged=judged, active=active)
    return frame


def free_places(
    frame: Frame, names: Sequence[str], units: Sequence[tuple[UnitRow, float, float]]
) -> list[tuple[float, float]]:
    """Where each name stands beside its point [points]: the nearest of eight places that covers least of the others."""
    import numpy as np

    points = np.array([frame.place_points(mass, content) for _, mass, content in units])
    taken = np.full((len(units) + len(names), 4), POINT_POINTS)
    taken[: len(units), :2] = points
    places = []
    for count, (name, point) in enumerate(zip(names, points, strict=False), start=len(units)):
        half_wide, half_high = name_size(name)
        across, up = half_wide + POINT_POINTS + 1, half_high + POINT_POINTS + 1
        around = [(across, up - 2), (across, 0.0), (across, 2 - up), (0.0, up), (0.0, -up)]
        around += [(-across, up - 2), (-across, 0.0), (-across, 2 - up)]
        boxes = np.full((len(around), 4), (0.0, 0.0, half_wide, half_high))
        boxes[:, :2] = point + np.array(around)
        best = int(shared_areas(boxes, taken[:count]).sum(axis=1).argmin())
        taken[count] = boxes[best]
        places.append(around[best])
    return places


def name_size(name: str) -> tuple[float, float]:
    """Half the width and half the height of a name, about [points]."""
    return 0.31 * FONT_POINTS * len(name), 0.42 * FONT_POINTS


def shared_areas(ones: NDArray[np.float64], others: NDArray[np.float64]) -> NDArray[np.float64]:
    """The areas that boxes have in common with others, a row a box [square points].

    A box is its centre and its half sizes, across and up [points].
    """
    import numpy as np

    one, other = ones[:, None, :], others[None, :, :]
    centre, half = slice(0, 2), slice(2, 4)
    ends = np.minimum(one[..., centre] + one[..., half], other[..., centre] + other[..., half])
    starts = np.maximum(one[..., centre] - one[..., half], other[..., centre] - other[..., half])
    areas: NDArray[np.float64] = np.clip(ends - starts, 0.0, None).prod(axis=-1)
    return areas


def _outside(row: UnitRow, active: str) -> bool:
    places = (row.place, row.contents[active].place)
    return any(place in (Place.BEYOND_INNER, Place.BEYOND_OUTER) for place in places)


def _finish(frame: Frame, *, judged: JudgedBatch, active: str) -> None:
    unit = "% of label" if in_percent_of_label(judged, active) else "mg"
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=6),
        upward=round_steps(*frame.upward, about=5),
        across_label="mass of the unit [g]",
        upward_label=f"{shortened(shown_text(active), most=20)} [{unit}]",
    )
