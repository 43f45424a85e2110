"""Mass against content: whether the dose follows the fill or goes its own way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.results import JudgedBatch, UnitRow
from qc.results import Place as Standing
from qc.say.names import counted, shortened, shown_text
from qc.show.frame import Frame
from qc.show.labels import draw_scale, round_steps, with_room
from qc.show.legend import draw_legend
from qc.show.marks import draw_line, draw_marks
from qc.show.palette import DRAWN, MUTED, PAPER
from qc.show.room import AIR_POINTS, Box, Place, Segment, box_about, box_of, clear_place, crosses, segments_of
from qc.show.series import in_percent_of_label, names_in_pictures
from qc.show.writing import Label, write

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

INCHES_HIGH = 3.35
MARGINS = (0.62, 1.35, 0.48, 0.3)
LEAST_UNITS = 2
NAMES_SHOWN = 30
NAMES_AT_A_POINT = 3
"""More units that share a point are counted."""
POINTS_AN_INCH = 72
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
    slope = sum(contents) / sum(masses)
    ends = _line_ends(frame, slope)
    across, upward = zip(*ends, strict=True)
    draw_line(frame, across, upward, colour=MUTED, width=1.0, dashes=(0, (5, 2.5)), above=1.0)
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
    segments = segments_of(frame, ends)
    marks = [box_about(frame.place_points(mass, content), half=POINT_POINTS) for _, mass, content in units]
    of_line = clear_place(
        frame, places_of_line(frame, ends), lines=segments, boxes=marks, aside=MARGINS[1] * POINTS_AN_INCH
    )
    write(frame, [of_line])
    named = named_points(frame, units[:NAMES_SHOWN], known=names_in_pictures(judged.unit_rows))
    places = free_places(
        frame,
        [name for name, _, _ in named],
        [(x, y) for _, x, y in named],
        lines=segments,
        boxes=[*marks, box_of(frame, of_line)],
    )
    write(
        frame,
        [
            Label(text=name, x=x, y=y, shift=place, size=FONT_POINTS, backed=PAD)
            for (name, x, y), place in zip(named, places, strict=True)
        ],
        above=2.0,
    )
    draw_legend(frame)
    _finish(frame, judged=judged, active=active)
    return frame


def _line_ends(frame: Frame, slope: float) -> list[Place]:
    """Where the line through the origin enters and leaves the frame; along it every gram carries the same dose."""
    (left, right), (low, high) = frame.across, frame.upward
    start = (left, slope * left) if slope * left >= low else (low / slope, low)
    end = (right, slope * right) if slope * right <= high else (high / slope, high)
    return [start, end]


def places_of_line(frame: Frame, ends: Sequence[Place]) -> list[Label]:
    """Where the name of the line may stand: where it leaves the frame, or farther and farther down beside it."""
    (start_x, start_y), (end_x, end_y) = ends
    plain = Label(text="same concentration\nin every unit", x=end_x, y=end_y)
    if end_x == frame.across[1]:
        return [replace(plain, shift=(5.0, 0.0), across="left")]
    found = []
    for share in (1.0, 0.85, 0.7, 0.55, 0.4, 0.25):
        x, y = start_x + share * (end_x - start_x), start_y + share * (end_y - start_y)
        found.append(replace(plain, x=x, y=y, shift=(6.0, -2.0), across="left", up="top"))
        found.append(replace(plain, x=x, y=y, shift=(-6.0, 0.0), across="right", up="bottom" if share < 1 else "top"))
    return found


def named_points(
    frame: Frame, units: Sequence[tuple[UnitRow, float, float]], *, known: Mapping[str, str]
) -> list[tuple[str, float, float]]:
    """What is written beside each point: the name of its unit, a few names, or how many units share the point."""
    together: dict[tuple[int, int], list[tuple[str, float, float]]] = {}
    for row, mass, content in units:
        x, y = frame.place_points(mass, content)
        together.setdefault((round(x), round(y)), []).append((known[row.unit], mass, content))
    found = []
    for group in together.values():
        names = [name for name, _, _ in group]
        _, mass, content = group[0]
        said = counted(len(names), "unit") if len(names) > NAMES_AT_A_POINT else ", ".join(names)
        found.append((said, mass, content))
    return found


def free_places(
    frame: Frame,
    names: Sequence[str],
    points: Sequence[Place],
    *,
    lines: Sequence[Segment],
    boxes: Sequence[Box],
) -> list[Place]:
    """Where each name stands beside its point [points]: the nearest of eight places that covers least of the others.

    Parameters
    ----------
    frame : Frame
        The frame they are written on.
    names : sequence of str
    points : sequence of (across, upward)
        In data.
    lines, boxes : sequence
        What else is there [points].

    Returns
    -------
    list of (float, float)
        To the right of and above each point [points].
    """
    import numpy as np

    taken = np.empty((len(boxes) + len(names), 4))
    for row, box in enumerate(boxes):
        half_wide, half_high = (box.right - box.left) / 2, (box.high - box.low) / 2
        taken[row] = box.left + half_wide, box.low + half_high, half_wide, half_high
    places = []
    for count, (name, point) in enumerate(zip(names, points, strict=True), start=len(boxes)):
        half_wide, half_high = name_size(name)
        across, up = half_wide + POINT_POINTS + 1, half_high + POINT_POINTS + 1
        around = [(across, up - 2), (across, 0.0), (across, 2 - up), (0.0, up), (0.0, -up)]
        around += [(-across, up - 2), (-across, 0.0), (-across, 2 - up)]
        tried = np.full((len(around), 4), (0.0, 0.0, half_wide, half_high))
        tried[:, :2] = np.array(frame.place_points(*point)) + np.array(around)
        covered = shared_areas(tried, taken[:count]).sum(axis=1)
        near = box_about(frame.place_points(*point), half=2 * across + up)
        close = [line for line in lines if crosses(line, near)]
        if close:
            # To be struck through is as bad as to have a third of the name covered.
            struck = [any(crosses(line, _airy_box(row)) for line in close) for row in tried.tolist()]
            covered += np.array(struck) * 4 / 3 * half_wide * half_high
        best = int(covered.argmin())
        taken[count] = tried[best]
        places.append(around[best])
    return places


def _airy_box(row: Sequence[float]) -> Box:
    x, y, half_wide, half_high = row[0], row[1], row[2] + AIR_POINTS / 2, row[3] + AIR_POINTS / 2
    return Box(left=x - half_wide, low=y - half_high, right=x + half_wide, high=y + half_high)


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
    return any(place in (Standing.BEYOND_INNER, Standing.BEYOND_OUTER) for place in places)


def _finish(frame: Frame, *, judged: JudgedBatch, active: str) -> None:
    unit = "% of label" if in_percent_of_label(judged, active) else "mg"
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=6),
        upward=round_steps(*frame.upward, about=5),
        across_label="mass of the unit [g]",
        upward_label=f"{shortened(shown_text(active), most=20)} [{unit}]",
    )
