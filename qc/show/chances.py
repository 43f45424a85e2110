"""Chances of passing in pictures: over the plane of true mean and SD, and along the SD at one mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.results import JudgedBatch, OperatingCurve, PassPlane
from qc.say.names import TEST, in_words
from qc.say.numbers import fixed, probability
from qc.say.text import listed, shortened, shown_text
from qc.show.figures import FigureSize, draw_points, finish, picture
from qc.show.pages_html import plain_page
from qc.show.palette import ACCENT, DRAWN, INK, MUTED
from qc.show.pieces import Picture, Piece, Table, number, section, table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHANCE = "chance.html"
CAUTION = (
    "These chances are those of the test, for units that are normally distributed and drawn at random. They release "
    "no batch; the pharmacopoeia in force and local procedure come first."
)
SIZE = FigureSize(high=2.8)
ROWS_OF_TABLE = 9
ROOM_ABOVE = 1.25
ROOM_BEYOND = 0.05
"""Between the farthest corner of the region and the end of an axis, as a share of the grid."""
MOST_HIGH = 2.5
MOST_ASIDE = 0.75
MOST_LONG = 2.0
"""How far a picture may go beyond its grid before the curves are squeezed: upward as a multiple of the grid, on either
side as a share of it, and along the SD as a multiple of the curve."""
SMALLEST_CHANCE = 1e-12
DASHES = (":", "--", "-")
CHANCES_MARKED = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Values written on the axis of the chance [%]."""


def draw_pass_plane(ax: Axes, *, plane: PassPlane, whose: str = "this sample") -> Axes:
    """Draw lines of equal chance of passing, and where the sample and its confidence region lie.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    plane : PassPlane
        Chances of passing over true means and SDs.
    whose : str
        What the point is.

    Returns
    -------
    Axes
        The same axes.
    """
    across, upward = plane_ends(plane)
    ax.set(xlim=across, ylim=upward)
    if plane.region:
        sure = "" if plane.confidence is None else f"{fixed(plane.confidence * 100, decimals=0)} % "
        label = f"{sure}confidence region\nof true mean and SD"
        ax.fill(*zip(*plane.region, strict=True), color=DRAWN, alpha=0.22, label=label)
    _draw_levels_of_chance(ax, plane)
    if plane.sample_mean_percent is not None and plane.sample_sd_percent is not None:
        _draw_sample(ax, mean=plane.sample_mean_percent, sd=plane.sample_sd_percent, whose=whose)
    return finish(ax, across="true mean content [% of label]", upward="true SD [% of label]")


def _draw_levels_of_chance(ax: Axes, plane: PassPlane) -> None:
    """Lines of equal chance, between grid points by log-odds, which fall evenly where chances fall like a step."""
    import numpy as np

    chances = np.clip(plane.chances, SMALLEST_CHANCE, 1 - SMALLEST_CHANCE)
    log_odds = np.log(chances / (1 - chances))
    for level, dashes in zip(plane.levels, DASHES, strict=False):
        at = float(np.log(level / (1 - level)))
        ax.contour(
            plane.means_percent, plane.sds_percent, log_odds, levels=[at], colors=INK, linewidths=1.1, linestyles=dashes
        )
        ax.plot([], [], color=INK, linewidth=1.1, linestyle=dashes, label=f"{fixed(level * 100, decimals=0)} % pass")


def plane_ends(plane: PassPlane) -> tuple[tuple[float, float], tuple[float, float]]:
    """The ends of the picture: those of the grid, or farther out to hold the sample and its whole region.

    Where that would squeeze the contours the picture ends sooner. They need no more than the grid: it was chosen
    so that the chance is nearly zero outside it.

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
    means = [x for x, _ in plane.region] + ([] if mean is None else [mean])
    left = min([first, *(x - ROOM_BEYOND * wide for x in means)])
    right = max([last, *(x + ROOM_BEYOND * wide for x in means)])
    return (max(left, first - MOST_ASIDE * wide, 0.0), min(right, last + MOST_ASIDE * wide)), (0.0, top)


def region_goes_on(plane: PassPlane) -> list[str]:
    """On which sides the region goes on beyond the picture."""
    (left, right), (_, top) = plane_ends(plane)
    sides = {
        "on the left": any(x < left for x, _ in plane.region),
        "on the right": any(x > right for x, _ in plane.region),
        "above": any(y > top for _, y in plane.region),
    }
    return [side for side, beyond in sides.items() if beyond]


def _draw_sample(ax: Axes, *, mean: float, sd: float, whose: str) -> None:
    """Draw the point of the sample; where it lies beyond the picture an arrow at the edge points to it."""
    (left, right), (_, top) = ax.get_xlim(), ax.get_ylim()
    arrow = "<" if mean < left else ">" if mean > right else "^" if sd > top else "o"
    size, label = (6.0, whose) if arrow == "o" else (9.0, f"{whose},\nbeyond the picture")
    point = min(max(mean, left), right), min(sd, top)
    draw_points(ax, [point], marker=arrow, size=size, face=ACCENT, on_top=True, label=label)


def draw_operating_curve(ax: Axes, *, curve: OperatingCurve, whose: str = "this sample") -> Axes:
    """Draw the chance of passing against the true SD, at the first stage and in all, with the place of the batch.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    curve : OperatingCurve
        Chances along the SD at one true mean.
    whose : str
        What the line across is.

    Returns
    -------
    Axes
        The same axes.
    """
    end = curve_end(curve)
    ax.set(xlim=(0.0, end), ylim=(0.0, 104.0))
    ax.plot(curve.sds_percent, _percents(curve.overall), color=INK, linewidth=1.6, label="passes in all")
    if curve.first_stage != curve.overall:
        first = _percents(curve.first_stage)
        ax.plot(curve.sds_percent, first, color=MUTED, linewidth=1.2, linestyle="--", label="at the first stage")
    if curve.sample_sd_percent is not None:
        label = f"{spread_name(curve)} of {whose}"
        ax.axvline(curve.sample_sd_percent, color=ACCENT, linewidth=1.6, label=label)
    bound = curve.sd_high_percent
    if bound is not None and bound <= end:
        ax.axvline(bound, color=DRAWN, linewidth=1.3, linestyle=":", label="upper bound of the SD")
    elif bound is not None:
        label = "upper bound of the SD,\nbeyond the picture"
        ax.plot([end], [50.0], ">", color=DRAWN, markersize=7.0, clip_on=False, label=label)
    at_mean = f", at a true mean of {fixed(curve.mean_percent, decimals=1)} %" if of_label(curve) else ""
    unit = "% of label" if of_label(curve) else "%"
    finish(ax, across=f"true {spread_name(curve)} [{unit}]{at_mean}", upward="chance of passing [%]")
    ax.set_yticks(CHANCES_MARKED)
    return ax


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


def chance_pieces(judged: JudgedBatch) -> tuple[Piece, ...]:
    """Plane and curve of every test they were worked out for, each with its table."""
    pieces: list[Piece] = [
        plane_of_chances(plane, place=place) for place, plane in enumerate(judged.pass_planes, start=1)
    ]
    for place, curve in enumerate(judged.operating_curves, start=1):
        pieces += [curve_of_chances(curve, place=place), chance_table(curve)]
    return tuple(pieces)


def _named(one: PassPlane | OperatingCurve) -> str:
    name = in_words(one.test, TEST)
    return f"{name}, {shortened(shown_text(one.active), most=60)}" if one.active else name


def plane_of_chances(plane: PassPlane, *, place: int, whose: str = "this sample") -> Picture:
    """Lines of equal chance of passing over true mean and SD."""
    levels = ", ".join(f"{fixed(level * 100, decimals=0)} %" for level in plane.levels)
    said = f"Under a line, batches of that true mean and SD pass more often than it says ({levels})."
    if plane.region:
        said += (
            " The true mean and SD of this batch lie in the triangle with the confidence stated; "
            "the more of it lies under the lowest line, the surer another sample is to pass."
        ) + _beyond(plane)
    return picture(
        f"chances-{place}",
        f"Chance of passing over true mean and SD: {_named(plane)}",
        caption=said,
        what="Lines of equal chance of passing over the true mean and the true standard deviation",
        draw=lambda ax: draw_pass_plane(ax, plane=plane, whose=whose),
        size=SIZE,
    )


def _beyond(plane: PassPlane) -> str:
    """That sample and region go on beyond the picture, and how far."""
    (left, right), (_, top) = plane_ends(plane)
    mean, sd, told = plane.sample_mean_percent, plane.sample_sd_percent, ""
    if mean is not None and sd is not None and not (left <= mean <= right and sd <= top):
        at = f"mean {fixed(mean, decimals=1)} %, SD {fixed(sd, decimals=1)} %"
        told = f" The sample lies beyond the picture, at {at}."
    sides = region_goes_on(plane)
    if sides:
        means = [mean for mean, _ in plane.region]
        low, high = (fixed(end, decimals=1) for end in (min(means), max(means)))
        highest = fixed(max(sd for _, sd in plane.region), decimals=1)
        told += (
            f" The triangle goes on beyond the picture {listed(sides)}: "
            f"in all it holds means from {low} to {high} % and SDs up to {highest} %."
        )
    return told


def curve_of_chances(curve: OperatingCurve, *, place: int, whose: str = "this sample") -> Picture:
    """The operating characteristic at one true mean."""
    name = spread_name(curve)
    at_mean = f"with a true mean of {fixed(curve.mean_percent, decimals=1)} % of label" if of_label(curve) else ""
    said = f"Chance of passing of batches {at_mean or 'by their RSD'}."
    if curve.sample_sd_percent is not None:
        said += f" {whose.capitalize()} has an {name} of {fixed(curve.sample_sd_percent, decimals=2)} %"
        if curve.sd_high_percent is not None:
            high = fixed(curve.sd_high_percent, decimals=2)
            said += f"; the true one is at most {high} %, with the confidence of the region"
        said += "."
        if curve_end(curve) > curve.sds_percent[-1]:
            said += f" The curve was worked out up to {name} {fixed(curve.sds_percent[-1], decimals=1)} %."
    return picture(
        f"curve-{place}",
        f"Chance of passing along the {name}: {_named(curve)}",
        caption=said,
        what="Curves of the chance of passing over the true standard deviation",
        draw=lambda ax: draw_operating_curve(ax, curve=curve, whose=whose),
        size=SIZE,
    )


def chance_table(curve: OperatingCurve) -> Table:
    """The curve at a few SDs."""
    step = max((len(curve.sds_percent) - 1) // (ROWS_OF_TABLE - 1), 1)
    in_percent = of_label(curve)
    return table(
        f"Chance of passing at a true mean of {fixed(curve.mean_percent, decimals=1)} % of label"
        if in_percent
        else "Chance of passing by the true RSD",
        list(zip(curve.sds_percent, curve.first_stage, curve.overall, strict=True))[::step],
        number("True SD [% of label]" if in_percent else "True RSD [%]", lambda one: fixed(one[0], decimals=2)),
        number("Passes at the first stage", lambda one: probability(one[1])),
        number("Passes in all", lambda one: probability(one[2])),
    )


def chance_page(*, title: str, answer: tuple[Piece, ...], curve: OperatingCurve, plane: PassPlane | None = None) -> str:
    """The chances of a planned batch as a page: the answer, both pictures, and the tables behind them.

    Parameters
    ----------
    title : str
        What was asked.
    answer : tuple of Piece
        The answer, as the terminal has it.
    curve : OperatingCurve
        The chance of passing along the SD.
    plane : PassPlane, optional
        Over true mean and SD, where the test knows a mean.

    Returns
    -------
    str
        HTML that needs nothing from anywhere.
    """
    whose = "the planned batch"
    over_plane = None if plane is None else plane_of_chances(plane, place=1, whose=whose)
    along_curve = curve_of_chances(curve, place=1, whose=whose)
    sections = (
        *section("answer", "The answer", *answer),
        *section("pictures", "The chance of passing", over_plane, along_curve, chance_table(curve)),
    )
    return plain_page(
        kind="Chances of passing a test of moulded units", title=title, sections=sections, closing=CAUTION
    )
