"""Measurements in pour order, with the mean and the limits as level lines: masses, and contents of an active."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import groupby
from statistics import fmean
from typing import TYPE_CHECKING

from msgspec import Struct
from msgspec.structs import replace

from qc.results import OF_MASS, JudgedBatch, TestResult, Trend, TrendFlag, UnitRow, Verdict
from qc.say.numbers import Number, fixed, plain_limit
from qc.say.text import counted, shortened, shown_text
from qc.show.figures import SMALL, FigureSize, draw_level, draw_points, finish, picture
from qc.show.headline import OF_CONTENT
from qc.show.palette import ACCENT, BAND, DRAWN, MUTED, PAPER
from qc.show.pieces import Picture, Prose
from qc.show.units import (
    OUTSIDE,
    actives_measured,
    in_which_order,
    named,
    of_each_stretch,
    places_in_pour,
    poured_order,
    unit_in_words,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LETTERS_OF_THREE = 25
"""Entries of the legend that are longer stand in two columns."""
STRETCH_ENDS = 0.94, 0.98
"""How high the bar over the shifted units begins and ends, clear of the axis, as shares of the axes."""
CROSS_SHOWS = 0.08
"""How far a point with the cavities taken out lies from its unit, as a share of the axes, to be seen beside it."""
ALONG = ("fitted", "band", "corrected")
"""What a trend holds of each unit."""


class Point(Struct, frozen=True, kw_only=True):
    """One unit of a series."""

    row: UnitRow
    y: float
    in_sample: bool
    outside: bool


class DrawnSeries(Struct, frozen=True, kw_only=True):
    """Everything that is drawn and said of one series."""

    what: tuple[str, str]
    """What one value and several are called."""
    rows: tuple[UnitRow, ...]
    """Of all units of the batch."""
    measured: tuple[Point, ...]
    """The units that have a value, those without a place in the pour order too."""
    mean: float | None
    unit: str
    decimals: int
    limits: tuple[float | None, float | None]
    """The inner and the outer limit about the mean [%]."""
    plan: tuple[str, Number] | None
    """What was planned: what the legend calls it, and its height."""
    trend: Trend | None
    factor: float | None
    """By what the fitted values are multiplied to stand in the unit of the picture; None where that is not known."""
    y_label: str

    @property
    def points(self) -> list[Point]:
        """The units that are drawn."""
        places, _ = places_in_pour(self.rows)
        return [point for point in self.measured if point.row.unit in places]

    def shown(self, value: float | None) -> str:
        """A value as it is written, without its unit."""
        return fixed(value, decimals=self.decimals)


def mean_mass_g(judged: JudgedBatch) -> float | None:
    """The mean mass that the mass test rests on, or that of the units weighed where the test was not judged [g]."""
    tested = first_figure((test for test in judged.tests if test.id == OF_MASS), "mean_g")
    return judged.planned_mass.mean_g if tested is None and judged.planned_mass else tested


def mass_series(judged: JudgedBatch) -> DrawnSeries:
    """The masses with their lines."""
    planned = judged.planned_mass.planned_g if judged.planned_mass else None
    weighed = ((row, row.counting_g) for row in poured_order(judged.unit_rows))
    return DrawnSeries(
        what=("mass", "masses"),
        rows=tuple(poured_order(judged.unit_rows)),
        measured=tuple(
            Point(row=row, y=float(mass), in_sample=row.in_mass_sample, outside=row.place in OUTSIDE)
            for row, mass in weighed
            if mass is not None
        ),
        mean=mean_mass_g(judged),
        unit="g",
        decimals=3,
        limits=judged.mass_limits,
        plan=None if planned is None else (f"planned {fixed(planned, decimals=3)} g", planned),
        trend=judged.pour_trend.mass if judged.pour_trend else None,
        factor=1.0,
        y_label="mass [g]",
    )


def in_percent_of_label(judged: JudgedBatch, active: str) -> bool:
    """Whether all contents of an active are known in % of label, the unit they are then drawn in."""
    found = [row.contents[active] for row in poured_order(judged.unit_rows) if active in row.contents]
    return all(content.percent_of_label is not None for content in found)


def contents_found(judged: JudgedBatch, active: str) -> list[tuple[UnitRow, float]]:
    """The units assayed with their contents [% of label where all are known so, else mg]."""
    of_label = in_percent_of_label(judged, active)
    both = ((row, row.contents[active]) for row in poured_order(judged.unit_rows) if active in row.contents)
    values = ((row, found.percent_of_label if of_label else found.mg) for row, found in both)
    return [(row, value) for row, value in values if value is not None]


def content_name(judged: JudgedBatch, active: str) -> str:
    """What the axis of the contents of an active is called, with the unit."""
    return "% of label" if in_percent_of_label(judged, active) else "content [mg]"


def label_claim_mg(judged: JudgedBatch, active: str) -> Number | None:
    """The label claim of an active [mg]."""
    return next((known.label_claim_mg for known in judged.batch.actives if known.name == active), None)


def content_series(judged: JudgedBatch, active: str) -> DrawnSeries:
    """The contents of an active with their lines."""
    of_label = in_percent_of_label(judged, active)
    tested = units_tested(judged, active)
    claim = label_claim_mg(judged, active)
    trend = judged.pour_trend.content.get(active) if judged.pour_trend else None
    factor = None if claim is None else 100.0 / float(claim) if of_label else float(claim) / 100.0
    plan = ("label = 100 %", 100.0) if of_label else None if claim is None else (f"label = {claim} mg", claim)
    found = ((row, value, row.contents[active]) for row, value in contents_found(judged, active))
    return DrawnSeries(
        what=("content", "contents"),
        rows=tuple(poured_order(judged.unit_rows)),
        measured=tuple(
            Point(row=row, y=value, in_sample=one.in_sample or row.unit in tested, outside=one.place in OUTSIDE)
            for row, value, one in found
        ),
        mean=first_figure(content_tests(judged, active), "mean_percent" if of_label else "mean_mg"),
        unit="%" if of_label else "mg",
        decimals=1 if of_label else 2,
        limits=judged.content_limits,
        plan=plan,
        trend=trend,
        # A trend is in mg or in % of label.
        factor=1.0 if trend is not None and (trend.measure == "mg") is not of_label else factor,
        y_label=content_name(judged, active),
    )


def content_tests(judged: JudgedBatch, active: str) -> list[TestResult]:
    """The tests of the contents of an active, that against its mean first."""
    return [test for id in OF_CONTENT for test in judged.tests if test.id == id and test.active in (active, None)]


def units_tested(judged: JudgedBatch, active: str) -> frozenset[str]:
    """Every unit that a test of the contents of an active rests on, at either stage."""
    return frozenset(unit for test in content_tests(judged, active) for unit in test.sample)


def first_figure(tests: Iterable[TestResult], name: str) -> float | None:
    """A figure by the first test that has it."""
    return next((figure for test in tests if (figure := test.figures.get(name)) is not None), None)


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
    ax.margins(y=0.1)
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


def series_in_order(judged: JudgedBatch) -> tuple[str, ...]:
    """What is drawn in pour order: masses, as "", and actives.

    The first stands on page one: what has a test that is not met, else what clearly changed along the pour.
    """
    met = (Verdict.COMPLIES, Verdict.NOT_ASSESSED)
    tests = [test for test in judged.tests if test.id in (OF_MASS, *OF_CONTENT) and test.verdict not in met]
    failing = sorted({test.active or "" for test in tests})
    changed = [active or "" for active in (judged.pour_trend.clearly_changed if judged.pour_trend else ())]
    weighed = [""] if judged.batch.weighed else []
    return tuple(dict.fromkeys((*failing, *changed, *weighed, *actives_measured(judged)))) or ("",)


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
        told = f"{len(outside)} of all {total} {lie} more than {limit} from {mean}: {named(outside)}."
    else:
        told = f"{'All ' if len(points) > 1 else ''}{total} {lie} within {limit} of {mean}."
    parts = []
    placed = {point.row.unit for point in points}
    not_placed = [point.row.unit for point in series.measured if point.row.unit not in placed]
    if not_placed:
        parts.append(f"Not drawn, for want of a pour order: {named(not_placed)}.")
    return " ".join([told, *parts])
