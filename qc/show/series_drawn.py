"""The picture of a series in pour order: points, level lines, the change found and its band."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from statistics import fmean
from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.results import JudgedBatch, Trend, TrendFlag
from qc.say.names import capital
from qc.say.numbers import plain_limit
from qc.say.text import counted, shortened, shown_text
from qc.show.figures import ALONG_THE_POUR, POINTS_SMALL, FigureSize, draw_level, draw_points, finish, picture
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

CLEAR_OF_EACH_OTHER = 0.95
"""How far apart the names of two lines stand at least, in heights of their letters."""
LETTERS_OF_A_HEIGHT = 6
"""That have room beside the axes; where a height has more, round values are marked."""
STRETCH_ENDS = 0.94, 0.98
"""How high the bar over the shifted units begins and ends, clear of the axis, as shares of the axes."""
RING_CLEAR = 0.15
"""How far the axes reach beyond the values where a ring stands round one, so that none is cut."""
CROSS_SHOWS = 0.08
"""How far a point with the cavities taken out lies from its unit, as a share of the axes, to be seen beside it."""


def levels(series: DrawnSeries) -> list[tuple[float, str, str]]:
    """Height, style and name of each level line: the mean, both sides of each limit about it, and the plan."""
    found = [] if series.mean is None else [(series.mean, "mean", "mean")]
    for limit, style in zip(series.limits, ("limit", "outer"), strict=True):
        if series.mean is not None and limit is not None:
            for sign, side in ((1, "+"), (-1, "−")):
                found.append((series.mean * (1 + sign * limit / 100), style, f"{side}{plain_limit(limit)} %"))
    return found if series.plan is None else [*found, (float(series.plan[1]), "plan", series.plan[0])]


def draw_levels(ax: Axes, series: DrawnSeries) -> None:
    """Draw the level lines, each with its height and its name beside the axes, as far as there is room.

    The first goes before the next. A plan without room for its name lies at the mean or a limit and is not drawn.
    """
    found = levels(series)
    ax.update_datalim([(ax.get_xlim()[0], height) for height, style, _ in found if style != "plan"], updatex=False)
    ax.autoscale_view(scalex=False)
    low, high = ax.get_ylim()
    apart = CLEAR_OF_EACH_OTHER * POINTS_SMALL * (high - low) / (ax.bbox.height * 72 / ax.figure.dpi)
    written: list[float] = []
    for height, style, name in found:
        room = low <= height <= high and all(abs(height - other) >= apart for other in written)
        if room or style != "plan":
            draw_level(ax, height, style=style, label=name)
        if room:
            written.append(height)
            # A length across the axes, a height along them.
            ax.text(1.02, height, name, transform=ax.get_yaxis_transform(), fontsize=POINTS_SMALL, va="center")
    heights = [series.shown(height) for height in written]
    if len(written) > 1 and max(map(len, heights)) <= LETTERS_OF_A_HEIGHT:
        ax.set_yticks(written, heights)


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
    places, _ = places_in_pour(series.rows)
    drawn = series.points
    ax.margins(y=0.1 if not any(point.outside for point in drawn) else RING_CLEAR)
    ax.set_xlim(ends_of_pour([places[point.row.unit] for point in drawn]))
    if series.trend is not None and series.factor is not None:
        draw_change(ax, trend=series.trend, places=places, factor=series.factor, cavities_out=cavities_out(series))
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
    across = "order" if any(row.pour_order is not None for row in series.rows) else "unit"
    finish(ax, across=across, upward=series.y_label, whole=True, below=0)
    draw_levels(ax, series)
    return ax


def in_groups(points: Sequence[Point]) -> tuple[list[Point], list[Point], list[Point]]:
    """Points of the test sample, the others, and those left out, as they are drawn one after the other."""
    kept = [point for point in points if point.row.left_out_because is None]
    left_out = [point for point in points if point.row.left_out_because is not None]
    return [point for point in kept if point.in_sample], [point for point in kept if not point.in_sample], left_out


def told_as_line(trend: Trend) -> bool:
    """Whether the fitted change is drawn: a line would say that there is one where none can be told."""
    return trend.flag is not TrendFlag.CANNOT_TELL and len(trend.fitted) > 1


def cavities_out(series: DrawnSeries) -> bool:
    """Whether what the units would be without their cavities can be seen beside what they are."""
    if series.trend is None or series.factor is None or not series.trend.values:
        return False
    values, heights = dict(series.trend.values), [point.y for point in series.points]
    moved = max((abs(value - values.get(unit, value)) for unit, value in series.trend.corrected), default=0.0)
    heights += [height for height, *_ in levels(series)]
    return moved * series.factor > CROSS_SHOWS * (max(heights) - min(heights))


def draw_change(
    ax: Axes, *, trend: Trend, places: Mapping[str, int], factor: float, cavities_out: bool = False
) -> None:
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
    if fitted and told_as_line(trend):
        ax.plot(*zip(*fitted, strict=True), color=ACCENT, linewidth=1.8, label="fitted change")
    if cavities_out and corrected:
        along, heights = zip(*corrected, strict=True)
        ax.plot(along, heights, "+", color=MUTED, markersize=5.0, label="cavities taken out")


def pour_picture(judged: JudgedBatch, measured: str, *, size: FigureSize = ALONG_THE_POUR) -> Picture | Prose:
    """The masses in pour order, or the contents of an active."""
    if not measured:
        return mass_picture(judged, size=size)
    return content_picture(judged, measured, place=actives_measured(judged).index(measured) + 1, size=size)


def mass_picture(judged: JudgedBatch, *, size: FigureSize = ALONG_THE_POUR) -> Picture | Prose:
    """The masses in pour order."""
    missing = "The masses are not drawn, because no unit was weighed."
    title = f"Masses {in_which_order(judged.unit_rows)}"
    return _picture(mass_series(judged), "masses", title, missing=missing, size=size)


def content_picture(
    judged: JudgedBatch, active: str, *, place: int, size: FigureSize = ALONG_THE_POUR
) -> Picture | Prose:
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
    marks = "; ".join(marks_told(series))
    return " ".join([told, *([f"{capital(marks)}."] if marks else []), *parts])


def marks_told(series: DrawnSeries) -> Iterator[str]:
    """What each kind of mark in the picture means, of those that are drawn."""
    sample, others, left_out = in_groups(series.points)
    if sample and others:
        yield "square: not in the sample"
    if left_out:
        yield "hollow: left out"
    if any(point.outside for point in series.points):
        yield "ringed: outside a limit"
    if series.trend is None or series.factor is None:
        return
    if told_as_line(series.trend):
        yield "thick: fitted"
    if len(series.trend.band) > 1:
        yield "shaded: 95 % band"
    if series.trend.stretch:
        yield "bar: units set apart"
    if cavities_out(series):
        yield "cross: cavities taken out"
