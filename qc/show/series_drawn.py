"""The picture of a series in pour order: points, level lines, the change found and its band."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from statistics import fmean
from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.results import JudgedBatch, Trend, TrendFlag
from qc.say.numbers import plain_limit
from qc.say.text import counted, shortened, shown_text
from qc.show.figures import SMALL, FigureSize, draw_level, draw_points, finish, picture
from qc.show.palette import ACCENT, BAND, DRAWN, MUTED, PAPER
from qc.show.pieces import Picture, Prose
from qc.show.series import ALONG, DrawnSeries, Point, content_series, mass_series
from qc.show.units import (
    actives_measured,
    in_which_order,
    named,
    of_each_stretch,
    places_in_pour,
    unit_in_words,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LETTERS_OF_THREE = 25
"""Entries of the legend that are longer stand in two columns."""
STRETCH_ENDS = 0.94, 0.98
"""How high the bar over the shifted units begins and ends, clear of the axis, as shares of the axes."""
RING_CLEAR = 0.15
"""How far the axes reach beyond the values where a ring stands round one, so that none is cut."""
CROSS_SHOWS = 0.08
"""How far a point with the cavities taken out lies from its unit, as a share of the axes, to be seen beside it."""


def draw_levels(ax: Axes, series: DrawnSeries) -> None:
    """Draw the mean, both sides of each limit about it, and the plan, as far as they are known."""
    mean, unit = series.mean, series.unit
    if mean is not None:
        draw_level(ax, mean, style="mean", label=f"mean {series.shown(mean)} {unit}")
        for limit, style in zip(series.limits, ("limit", "outer"), strict=True):
            if limit is not None:
                low, high = mean * (1 - limit / 100), mean * (1 + limit / 100)
                label = f"±{plain_limit(limit)} %: {series.shown(low)} to {series.shown(high)} {unit}"
                draw_level(ax, low, high, style=style, label=label)
    if series.plan is not None:
        draw_level(ax, float(series.plan[1]), style="plan", label=series.plan[0])


def ends_of_pour(xs: Sequence[float]) -> tuple[float, float]:
    """The ends of the axis of the pour, a little beyond the first and the last unit.

    Examples
    --------
    >>> ends_of_pour([1.0, 101.0])
    (-2.0, 104.0)
    """
    first, last = min(xs), max(xs)
    air = max(0.7, 0.03 * (last - first))
    return first - air, last + air


def draw_series(ax: Axes, *, series: DrawnSeries) -> Axes:
    """Draw one series: sample units full, other units square, left-out units hollow, those outside ringed.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    series : DrawnSeries
        Points, lines and labels.

    Returns
    -------
    Axes
        The same axes.
    """
    places, axis = places_in_pour(series.rows)
    drawn = series.points
    ax.margins(y=0.1 if not any(point.outside for point in drawn) else RING_CLEAR)
    ax.set_xlim(ends_of_pour([places[point.row.unit] for point in drawn]))
    draw_levels(ax, series)
    if series.trend is not None and series.factor is not None:
        draw_change(ax, trend=series.trend, places=places, factor=series.factor)
    sample, others, left_out = in_groups(drawn)
    outside = [point for point in drawn if point.outside]
    for label, marker, size, face, points in (
        ("test sample", "o", 4.6, DRAWN, sample),
        ("other units", "s", 4.6, DRAWN, others),
        ("left out", "D", 4.6, PAPER, left_out),
        ("outside a limit", "o", 9.5, "none", outside),
    ):
        if points:
            found, ring = [(places[point.row.unit], point.y) for point in points], face == "none"
            edge = 1.3 if ring else 0.6
            draw_points(ax, found, marker=marker, size=size, face=face, edge=edge, label=label, told=not ring)
    longest = max(map(len, ax.get_legend_handles_labels()[1]), default=0)
    return finish(ax, across=axis, upward=series.y_label, whole=True, below=3 if longest <= LETTERS_OF_THREE else 2)


def in_groups(points: Sequence[Point]) -> tuple[list[Point], list[Point], list[Point]]:
    """Points of the test sample, the others, and those left out, as they are drawn one after the other."""
    kept = [point for point in points if point.row.left_out_because is None]
    left_out = [point for point in points if point.row.left_out_because is not None]
    return [point for point in kept if point.in_sample], [point for point in kept if not point.in_sample], left_out


def draw_change(ax: Axes, *, trend: Trend, places: Mapping[str, int], factor: float) -> None:
    """Draw the fitted change, its band, the corrected points, and bars over what is set apart."""
    ranks = {unit: rank for rank, (unit, _) in enumerate(trend.values)}
    stretch = sorted((ranks[unit], places[unit]) for unit in trend.stretch if unit in places)
    band = sorted((places[unit], low * factor, high * factor) for unit, low, high in trend.band if unit in places)
    fitted, corrected = (
        sorted((places[unit], value * factor) for unit, value in values if unit in places)
        for values in (trend.fitted, trend.corrected)
    )
    # Units that do not follow one another, one at each end, have a bar each.
    runs = groupby(enumerate(stretch), key=lambda one: one[1][0] - one[0])
    for at, bar in enumerate([place for _, (_, place) in run] for _, run in runs):
        label = None if at else "shifted units"
        ax.axvspan(bar[0] - 0.5, bar[-1] + 0.5, *STRETCH_ENDS, color=ACCENT, linewidth=0, zorder=0, label=label)
    if len(band) > 1:
        along, lows, highs = zip(*band, strict=True)
        ax.fill_between(
            along, lows, highs, facecolor=BAND, edgecolor=ACCENT, linewidth=0.5, zorder=0.5, label="95 % band"
        )
    # A line would say that there is a change where none can be told.
    if len(fitted) > 1 and trend.flag is not TrendFlag.CANNOT_TELL:
        ax.plot(*zip(*fitted, strict=True), color=ACCENT, linewidth=1.8, label="fitted change")
    values, (low, high) = dict(trend.values), ax.get_ylim()
    moved = max((abs(value - values.get(unit, value)) for unit, value in trend.corrected), default=0.0) * factor
    if moved > CROSS_SHOWS * (high - low):
        along, heights = zip(*corrected, strict=True)
        ax.plot(along, heights, "+", color=MUTED, markersize=5.0, label="cavities taken out")


def pour_picture(judged: JudgedBatch, measured: str, *, size: FigureSize = SMALL) -> Picture | Prose:
    """The masses in pour order, or the contents of an active."""
    if not measured:
        return mass_picture(judged, size=size)
    return content_picture(judged, measured, place=actives_measured(judged).index(measured) + 1, size=size)


def mass_picture(judged: JudgedBatch, *, size: FigureSize = SMALL) -> Picture | Prose:
    """The masses in pour order."""
    missing = "The masses are not drawn, because no unit was weighed."
    title = f"Masses {in_which_order(judged.unit_rows)}"
    return _picture(mass_series(judged), "masses", title, missing=missing, size=size)


def content_picture(judged: JudgedBatch, active: str, *, place: int, size: FigureSize = SMALL) -> Picture | Prose:
    """The contents of one active in pour order."""
    name = shortened(shown_text(active), most=60)
    title = f"Contents of {name} {in_which_order(judged.unit_rows)}"
    missing = f"Contents of {name} are not drawn, because no whole unit was assayed for it."
    return _picture(content_series(judged, active), f"contents-{place}", title, missing=missing, size=size)


def _picture(found: DrawnSeries, id: str, title: str, *, missing: str, size: FigureSize) -> Picture | Prose:
    if not found.points:
        return Prose(text=missing)
    order = in_which_order([point.row for point in found.points])
    shown, thinned = _by_stretches(found)
    return picture(
        id,
        title,
        what=f"Points of the {found.what[1]} {order} with level lines for the mean, the limits and the plan",
        caption=series_caption(found) + thinned,
        draw=lambda ax: draw_series(ax, series=shown),
        size=size,
        tells=[unit_in_words(point.row) for group in in_groups(shown.points) for point in group],
    )


def _by_stretches(series: DrawnSeries) -> tuple[DrawnSeries, str]:
    """A series as it is drawn, and what the caption says of that."""
    middle = series.mean if series.mean is not None else fmean(point.y for point in series.points)
    kept, told = of_each_stretch(series.points, off=lambda point: abs(point.y - middle))
    if not told:
        return series, ""
    names = {point.row.unit for point in kept}
    trend = series.trend and replace(
        series.trend,
        **{name: tuple(one for one in getattr(series.trend, name) if one[0] in names) for name in ALONG},
    )
    return replace(series, measured=tuple(kept), trend=trend), told


def series_caption(series: DrawnSeries) -> str:
    """How many values lie within the limits, what was found of a change, and which units could not be placed."""
    points = series.points
    outside = [point.row.unit for point in points if point.outside]
    total = counted(len(points), *series.what)
    lie = "lies" if len(outside or points) == 1 else "lie"
    limit, mean = f"{plain_limit(series.limits[0])} %", f"{series.shown(series.mean)} {series.unit}"
    mean = f"the mean of {mean}" if all(point.in_sample for point in points) else f"the sample’s mean, {mean}"
    if series.mean is None or series.limits[0] is None:
        told = f"{total} {in_which_order([point.row for point in points])}; no limit was judged."
    elif outside:
        which = f"unit{'s' if len(outside) > 1 else ''} {named(outside)}"
        told = f"{len(outside)} of all {total} {lie} more than {limit} from {mean}: {which}."
    else:
        told = f"{'All ' if len(points) > 1 else ''}{total} {lie} within {limit} of {mean}."
    parts = []
    placed = {point.row.unit for point in points}
    not_placed = [point.row.unit for point in series.measured if point.row.unit not in placed]
    if not_placed:
        parts.append(f"Not drawn, for want of a pour order: {named(not_placed)}.")
    return " ".join([told, *parts])
