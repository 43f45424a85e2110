"""Chances of passing: over the plane of true mean and SD, and along the SD at one mean, with the place of a batch."""

from __future__ import annotations

from collections.abc import Sequence
from math import log
from typing import TYPE_CHECKING

from qc.results import OperatingCurve, PassPlane
from qc.say.numbers import fixed
from qc.show.frame import Frame
from qc.show.labels import draw_scale, round_steps
from qc.show.legend import draw_legend
from qc.show.marks import draw_area, draw_line, draw_marks
from qc.show.palette import ACCENT, DRAWN, INK, MUTED

if TYPE_CHECKING:
    from qc.show.marks import Dashes

INCHES_HIGH = 2.9
MARGINS = (0.62, 0.3, 0.48, 0.3)
ROOM_ABOVE = 1.25
ROOM_BEYOND = 0.05
"""Between the farthest corner of the region and the end of an axis, as a share of the grid."""
MOST_HIGH = 2.5
MOST_ASIDE = 0.75
MOST_LONG = 2.0
"""How far a picture may go beyond its grid before the curves are squeezed: upward as a multiple of the grid, on either
side as a share of it, and along the SD as a multiple of the curve."""
ARROW_POINTS = 6.0
"""How far inside the end of an axis the tip of an arrow stands, about."""
SMALLEST_CHANCE = 1e-12
DASHES: tuple[Dashes, ...] = ((0, (1.5, 1.5)), (0, (5, 2.5)), "-")


def draw_pass_plane(frame: Frame, *, plane: PassPlane, whose: str = "this sample") -> Frame:
    """Draw lines of equal chance of passing, and where the sample and its confidence region lie.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    plane : PassPlane
        Chances of passing over true means and SDs.
    whose : str
        What the point is.

    Returns
    -------
    Frame
        The same frame.
    """
    sd, mean = plane.sample_sd_percent, plane.sample_mean_percent
    across, upward = plane_ends(plane)
    frame.set_ends(across=across, upward=upward)
    if plane.region:
        sure = "" if plane.confidence is None else f"{fixed(plane.confidence * 100, decimals=0)} % "
        label = f"{sure}confidence region of true mean and SD"
        draw_area(frame, plane.region, colour=DRAWN, opacity=0.22, edge_width=1.0, above=2.0, label=label)
    for level, dashes in zip(plane.levels, DASHES, strict=False):
        _draw_level(frame, plane=plane, level=level, dashes=dashes)
    if mean is not None and sd is not None:
        _draw_sample(frame, mean=mean, sd=sd, whose=whose)
    _draw_where_region_goes_on(frame, plane)
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=7),
        upward=round_steps(*frame.upward, about=5),
        across_label="true mean content [% of label]",
        upward_label="true SD [% of label]",
    )
    draw_legend(frame)
    return frame


def plane_ends(plane: PassPlane) -> tuple[tuple[float, float], tuple[float, float]]:
    """The ends of the picture: those of the grid, or farther out to hold the sample and its whole region.

    Where that would squeeze the contours the picture ends sooner. They need no more than the grid: it was chosen
    so that the chance is nearly nought outside it.

    Parameters
    ----------
    plane : PassPlane

    Returns
    -------
    tuple of two (low, high)
        Of the mean and of the SD [% of label].
    """
    sd, mean = plane.sample_sd_percent, plane.sample_mean_percent
    highest = max((height for _, height in plane.region), default=0.0)
    grid_top = plane.sds_percent[-1]
    wanted = max(grid_top, highest + ROOM_BEYOND * grid_top if plane.region else 0.0, ROOM_ABOVE * (sd or 0.0))
    top = min(wanted, MOST_HIGH * grid_top)
    first, last = plane.means_percent[0], plane.means_percent[-1]
    wide = last - first
    means = [x for x, _ in _below(plane.region, top)] + ([] if mean is None else [mean])
    left = min([first, *(x - ROOM_BEYOND * wide for x in means)])
    right = max([last, *(x + ROOM_BEYOND * wide for x in means)])
    return (max(left, first - MOST_ASIDE * wide, 0.0), min(right, last + MOST_ASIDE * wide)), (0.0, top)


def _below(outline: Sequence[tuple[float, float]], top: float) -> list[tuple[float, float]]:
    """The corners of the part of an outline that lies below a height."""
    kept = [(x, y) for x, y in outline if y <= top]
    for (x, y), (other_x, other_y) in zip(outline, [*outline[1:], *outline[:1]], strict=True):
        if (y > top) is not (other_y > top):
            kept.append((x + (top - y) / (other_y - y) * (other_x - x), top))
    return kept


def region_goes_on(plane: PassPlane) -> tuple[str, ...]:
    """On which sides the region goes on beyond the picture: `left`, `right`, `above`."""
    (left, right), (_, top) = plane_ends(plane)
    inside = _below(plane.region, top)
    sides = (
        ("left", any(x < left for x, _ in inside)),
        ("right", any(x > right for x, _ in inside)),
        ("above", any(y > top for _, y in plane.region)),
    )
    return tuple(side for side, beyond in sides if beyond)


def sample_beyond(plane: PassPlane) -> bool:
    """Whether the sample itself lies beyond the picture."""
    (left, right), (_, top) = plane_ends(plane)
    mean, sd = plane.sample_mean_percent, plane.sample_sd_percent
    return mean is not None and sd is not None and not (left <= mean <= right and sd <= top)


def _draw_sample(frame: Frame, *, mean: float, sd: float, whose: str) -> None:
    """Draw the point of the sample; where it lies beyond the picture an arrow at the edge points to it."""
    (left, right), (_, top) = frame.across, frame.upward
    beside, over = ARROW_POINTS / frame.wide_points * (right - left), ARROW_POINTS / frame.high_points * top
    arrow = "<" if mean < left else ">" if mean > right else "^" if sd > top else "o"
    at = (min(max(mean, left + beside), right - beside), min(sd, top - over)) if arrow != "o" else (mean, sd)
    size = 6.0 if arrow == "o" else 9.0
    label = whose if arrow == "o" else f"{whose}, beyond the picture"
    draw_marks(frame, [at[0]], [at[1]], marker=arrow, size=size, face=ACCENT, above=4.0, label=label, whole=True)


def _draw_where_region_goes_on(frame: Frame, plane: PassPlane) -> None:
    """Draw an arrow at the middle of every side at which the region is cut off."""
    (left, right), (_, top) = frame.across, frame.upward
    inside = _below(plane.region, top)
    beside, over = ARROW_POINTS / frame.wide_points * (right - left), ARROW_POINTS / frame.high_points * top
    for side in region_goes_on(plane):
        if side == "above":
            cut = [min(max(x, left), right) for x, y in inside if y == top]
            x, y, arrow = (min(cut) + max(cut)) / 2, top - over, "^"
        else:
            x, arrow = (left + beside, "<") if side == "left" else (right - beside, ">")
            wall = left if side == "left" else right
            heights = _heights_at(inside, wall)
            if not heights:
                # All of it lies beyond, and so does the sample, whose own arrow points there.
                continue
            y = (min(heights) + max(heights)) / 2
        draw_marks(frame, [x], [y], marker=arrow, size=7.0, face=DRAWN, edge_width=0.6, above=3.5)


def _heights_at(outline: Sequence[tuple[float, float]], wall: float) -> list[float]:
    """The heights at which the sides and corners of an outline meet an upright wall."""
    found = []
    for number, (x, y) in enumerate(outline):
        for other_x, other_y in outline[number + 1 :]:
            if min(x, other_x) < wall < max(x, other_x):
                found.append(y + (wall - x) / (other_x - x) * (other_y - y))
    return found


def _draw_level(frame: Frame, *, plane: PassPlane, level: float, dashes: Dashes) -> None:
    edge = contour_points(plane, level)
    label = f"{fixed(level * 100, decimals=0)} % pass"
    along = [mean for mean, _ in edge]
    draw_line(frame, along, [sd for _, sd in edge], colour=INK, width=1.1, dashes=dashes, above=3.0, label=label)


def contour_points(plane: PassPlane, level: float) -> list[tuple[float, float]]:
    """The greatest SD at each mean that still passes with a chance, put between grid points by the log of the odds.

    Parameters
    ----------
    plane : PassPlane
    level : float
        The chance [-].

    Returns
    -------
    list of (mean, SD)
        One point a mean; means that do not reach the chance even at the smallest SD are left out.
    """
    found = []
    for place, mean in enumerate(plane.means_percent):
        chances = [row[place] for row in plane.chances]
        above = [number for number, chance in enumerate(chances) if chance >= level]
        if not above:
            continue
        last = above[-1]
        sd = plane.sds_percent[last]
        if last + 1 < len(chances) and chances[last] > chances[last + 1]:
            # The chance falls like a step; its log-odds fall evenly enough to put a straight line between two points.
            above_level, at_level, below_level = map(_log_odds, (chances[last], level, chances[last + 1]))
            share = (above_level - at_level) / (above_level - below_level)
            sd += share * (plane.sds_percent[last + 1] - sd)
        found.append((mean, sd))
    return found


def _log_odds(chance: float) -> float:
    kept = min(max(chance, SMALLEST_CHANCE), 1 - SMALLEST_CHANCE)
    return log(kept / (1 - kept))


def draw_operating_curve(frame: Frame, *, curve: OperatingCurve, whose: str = "this sample") -> Frame:
    """Draw the chance of passing against the true SD, at the first stage and in all, with the place of the batch.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    curve : OperatingCurve
        Chances along the SD at one true mean.
    whose : str
        What the line across is.

    Returns
    -------
    Frame
        The same frame.
    """
    frame.set_ends(across=(0.0, curve_end(curve)), upward=(0.0, 104.0))
    draw_line(frame, curve.sds_percent, _percents(curve.overall), colour=INK, width=1.6, label="passes in all")
    if curve.first_stage != curve.overall:
        first = _percents(curve.first_stage)
        draw_line(
            frame, curve.sds_percent, first, colour=MUTED, width=1.2, dashes=(0, (5, 2.5)), label="at the first stage"
        )
    if curve.sample_sd_percent is not None:
        at = [curve.sample_sd_percent] * 2
        label = f"{spread_name(curve)} of {whose}"
        draw_line(frame, at, [0.0, 1.0], colour=ACCENT, width=1.6, label=label, transform=frame.walls)
    if curve.sd_high_percent is not None:
        label, dots = "upper bound of the SD", (0, (1.5, 1.5))
        if curve.sd_high_percent <= frame.across[1]:
            at = [curve.sd_high_percent] * 2
            draw_line(frame, at, [0.0, 1.0], colour=DRAWN, width=1.3, dashes=dots, label=label, transform=frame.walls)
        else:
            end = frame.across[1] * (1 - ARROW_POINTS / frame.wide_points)
            label = f"{label}, beyond the picture"
            draw_marks(frame, [end], [50.0], marker=">", size=7.0, face=DRAWN, edge_width=0.6, label=label)
    at_mean = f", at a true mean of {fixed(curve.mean_percent, decimals=1)} %" if of_label(curve) else ""
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=7),
        upward=[0.0, 25.0, 50.0, 75.0, 100.0],
        across_label=f"true {spread_name(curve)} [{'% of label' if of_label(curve) else '%'}]{at_mean}",
        upward_label="chance of passing [%]",
    )
    draw_legend(frame)
    return frame


def curve_end(curve: OperatingCurve) -> float:
    """Where the axis of the SD ends: with the curve, or farther out to hold the upper bound of the SD [%]."""
    last = curve.sds_percent[-1]
    if curve.sd_high_percent is None:
        return last
    return min(max(last, curve.sd_high_percent + ROOM_BEYOND * last), MOST_LONG * last)


def of_label(curve: OperatingCurve) -> bool:
    """Whether mean and SD are in % of label; the other tests compare with the sample's own mean and know an RSD."""
    return curve.test == "dosage-unit-uniformity"


def spread_name(curve: OperatingCurve) -> str:
    """What the spread of a test is called."""
    return "SD" if of_label(curve) else "RSD"


def _percents(chances: Sequence[float]) -> list[float]:
    return [100.0 * chance for chance in chances]
