"""Chances of passing: over the plane of true mean and SD, and along the SD at one mean, with the place of a batch."""

from __future__ import annotations

from collections.abc import Sequence
from math import log
from typing import TYPE_CHECKING

from qc.report.frame import Frame
from qc.report.labels import draw_scale, round_steps
from qc.report.legend import draw_legend
from qc.report.marks import draw_area, draw_line, draw_marks
from qc.report.numbers import fixed
from qc.report.palette import ACCENT, DRAWN, INK, MUTED
from qc.results import OperatingCurve, PassPlane

if TYPE_CHECKING:
    from qc.report.marks import Dashes

INCHES_HIGH = 2.9
MARGINS = (0.62, 0.3, 0.48, 0.3)
ROOM_ABOVE = 1.25
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
    top = max(plane.sds_percent[-1], 0.0 if sd is None else ROOM_ABOVE * sd)
    means = [plane.means_percent[0], plane.means_percent[-1], *([] if mean is None else [mean])]
    frame.set_ends(across=(min(means), max(means)), upward=(0.0, top))
    if plane.region:
        sure = "" if plane.confidence is None else f"{fixed(plane.confidence * 100, decimals=0)} % "
        label = f"{sure}confidence region of true mean and SD"
        draw_area(frame, plane.region, colour=DRAWN, opacity=0.22, edge_width=1.0, above=2.0, label=label)
    for level, dashes in zip(plane.levels, DASHES, strict=False):
        _draw_level(frame, plane=plane, level=level, dashes=dashes)
    if mean is not None and sd is not None:
        draw_marks(frame, [mean], [sd], marker="o", size=6.0, face=ACCENT, above=4.0, label=whose)
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=7),
        upward=round_steps(0, top, about=5),
        across_label="true mean content [% of label]",
        upward_label="true SD [% of label]",
    )
    draw_legend(frame)
    return frame


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
    frame.set_ends(across=(0.0, curve.sds_percent[-1]), upward=(0.0, 104.0))
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
    if curve.sd_high_percent is not None and curve.sd_high_percent <= curve.sds_percent[-1]:
        at = [curve.sd_high_percent] * 2
        label, dots = "upper bound of the SD", (0, (1.5, 1.5))
        draw_line(frame, at, [0.0, 1.0], colour=DRAWN, width=1.3, dashes=dots, label=label, transform=frame.walls)
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


def of_label(curve: OperatingCurve) -> bool:
    """Whether mean and SD are in % of label; the other tests compare with the sample's own mean and know an RSD."""
    return curve.test == "dosage-unit-uniformity"


def spread_name(curve: OperatingCurve) -> str:
    """What the spread of a test is called."""
    return "SD" if of_label(curve) else "RSD"


def _percents(chances: Sequence[float]) -> list[float]:
    return [100.0 * chance for chance in chances]
