"""Measurements in pour order, with the mean and the limits as level lines: masses, and contents of an active."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.results import JudgedBatch, Place, Trend, UnitRow
from qc.say.numbers import fixed, plain_limit
from qc.say.text import shortened, shown_text
from qc.show.axes import Level, draw_levels, legend_beside, name_axes, name_points
from qc.show.change import Change, change_of, draw_change, drawing_factor
from qc.show.names_apart import names_apart
from qc.show.palette import DRAWN, INK, PAPER
from qc.show.svg import Size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE = Size(high=2.6)
TESTS_OF_CONTENT = ("content-uniformity", "dosage-unit-uniformity")
LETTERS_OF_A_NAME = 8


class Point(Struct, frozen=True, kw_only=True):
    """One unit of a series."""

    unit: str
    name: str
    """Of the unit, as short as there is room for in the picture."""
    x: float
    y: float
    in_sample: bool
    left_out: bool
    outside: bool


class Series(Struct, frozen=True, kw_only=True):
    """Everything that is drawn of one series."""

    points: tuple[Point, ...]
    levels: tuple[Level, ...]
    change: Change
    y_label: str
    x_label: str
    not_placed: tuple[str, ...] = ()
    """Units that have a value and no place in the pour order, although others have one."""


def places_in_pour(rows: Sequence[UnitRow]) -> tuple[dict[str, float], str]:
    """Where each unit stands on the axis of the pour, and what that axis is called."""
    if any(row.pour_order is not None for row in rows):
        return {
            row.unit: float(row.pour_order) for row in rows if row.pour_order is not None
        }, "place in the pour order"
    return {
        row.unit: float(place) for place, row in enumerate(rows, start=1)
    }, "order of entry (no pour order was given)"


def names_in_pictures(rows: Sequence[UnitRow]) -> dict[str, str]:
    """What each unit is called beside its point."""
    return names_apart((row.unit for row in rows), most=LETTERS_OF_A_NAME)


def mean_mass_g(judged: JudgedBatch) -> float | None:
    """The mean mass that the mass test rests on, or that of the units weighed where the test was not judged [g]."""
    for test in judged.tests:
        if test.id == "mass-uniformity" and test.figures.get("mean_g") is not None:
            return test.figures["mean_g"]
    return judged.planned_mass.mean_g if judged.planned_mass else None


def mass_series(judged: JudgedBatch) -> Series | None:
    """The masses with their lines; None where no unit with a place in the pour was weighed."""
    levels = _about_mean(
        mean_mass_g(judged), judged.mass_limit_percent, judged.mass_outer_percent, unit="g", decimals=3
    )
    planned = judged.planned_mass.planned_g if judged.planned_mass else None
    if planned is not None:
        label = f"planned {fixed(planned, decimals=3)} g"
        levels.append(Level(label=label, heights=(float(planned),), style="plan"))
    return _series(
        judged,
        ((row, float(row.mass_g), row.in_mass_sample, row.place) for row in judged.unit_rows if row.mass_g is not None),
        levels=levels,
        trend=judged.pour_trend.mass if judged.pour_trend else None,
        factor=1.0,
        y_label="mass [g]",
    )


def in_percent_of_label(judged: JudgedBatch, active: str) -> bool:
    """Whether all contents of an active are known in % of label, the unit they are then drawn in."""
    found = [row.contents[active] for row in judged.unit_rows if active in row.contents]
    return all(content.percent_of_label is not None for content in found)


def contents_found(judged: JudgedBatch, active: str) -> list[tuple[UnitRow, float]]:
    """The units assayed with their contents [% of label where all are known so, else mg]."""
    of_label = in_percent_of_label(judged, active)
    both = ((row, row.contents[active]) for row in judged.unit_rows if active in row.contents)
    values = ((row, found.percent_of_label if of_label else found.mg) for row, found in both)
    return [(row, value) for row, value in values if value is not None]


def content_name(judged: JudgedBatch, active: str) -> str:
    """What the axis of the contents of an active is called, with the unit."""
    unit = "% of label" if in_percent_of_label(judged, active) else "mg"
    return f"{shortened(shown_text(active), most=20)} [{unit}]"


def content_series(judged: JudgedBatch, active: str) -> Series | None:
    """The contents of an active with their lines; None where no unit with a place in the pour was assayed."""
    of_label = in_percent_of_label(judged, active)
    tested = units_tested(judged, active)
    unit, decimals = ("%", 1) if of_label else ("mg", 2)
    mean = _mean_content(judged, active, of_label=of_label)
    levels = _about_mean(mean, judged.content_inner_percent, judged.content_outer_percent, unit=unit, decimals=decimals)
    claim = next((known.label_claim_mg for known in judged.batch.actives if known.name == active), None)
    if of_label:
        levels.append(Level(label="label = 100 %", heights=(100.0,), style="plan"))
    elif claim is not None:
        levels.append(Level(label=f"label = {claim} mg", heights=(float(claim),), style="plan"))
    trend = judged.pour_trend.content.get(active) if judged.pour_trend else None
    return _series(
        judged,
        (
            (row, value, row.contents[active].in_sample or row.unit in tested, row.contents[active].place)
            for row, value in contents_found(judged, active)
        ),
        levels=levels,
        trend=trend,
        factor=drawing_factor(trend, claim=claim, of_label=of_label),
        y_label=content_name(judged, active),
    )


def _series(
    judged: JudgedBatch,
    found: Iterable[tuple[UnitRow, float, bool, Place | None]],
    *,
    levels: Sequence[Level],
    trend: Trend | None,
    factor: float | None,
    y_label: str,
) -> Series | None:
    """Values of units with whether each is in the sample and where it stands, put in their places in the pour."""
    places, x_label = places_in_pour(judged.unit_rows)
    names = names_in_pictures(judged.unit_rows)
    found = list(found)
    points = tuple(
        Point(
            unit=row.unit,
            name=names[row.unit],
            x=places[row.unit],
            y=value,
            in_sample=in_sample,
            left_out=row.left_out_because is not None,
            outside=place in (Place.BEYOND_INNER, Place.BEYOND_OUTER),
        )
        for row, value, in_sample, place in found
        if row.unit in places
    )
    if not points:
        return None
    return Series(
        points=points,
        levels=tuple(levels),
        change=change_of(trend, places, factor=factor),
        y_label=y_label,
        x_label=x_label,
        not_placed=tuple(row.unit for row, *_ in found if row.unit not in places),
    )


def units_tested(judged: JudgedBatch, active: str) -> frozenset[str]:
    """Every unit that a test of the contents of an active rests on, at either stage."""
    tests = [test for test in judged.tests if test.id in TESTS_OF_CONTENT and test.active in (active, None)]
    return frozenset(unit for test in tests for unit in test.sample)


def _mean_content(judged: JudgedBatch, active: str, *, of_label: bool) -> float | None:
    wanted = "mean_percent" if of_label else "mean_mg"
    for identifier in TESTS_OF_CONTENT:
        for test in judged.tests:
            mean = test.figures.get(wanted)
            if test.id == identifier and test.active in (active, None) and mean is not None:
                return mean
    return None


def _about_mean(
    mean: float | None, inner: float | None, outer: float | None, *, unit: str, decimals: int
) -> list[Level]:
    if mean is None:
        return []
    levels = [Level(label=f"mean {fixed(mean, decimals=decimals)} {unit}", heights=(mean,), style="mean")]
    for limit, style in ((inner, "limit"), (outer, "outer")):
        if limit is not None:
            heights = (mean * (1 - limit / 100), mean * (1 + limit / 100))
            low, high = (fixed(height, decimals=decimals) for height in heights)
            label = f"±{plain_limit(limit)} %: {low} to {high} {unit}"
            levels.append(Level(label=label, heights=heights, style=style))
    return levels


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


def draw_series(ax: Axes, *, series: Series) -> Axes:
    """Draw one series: sample units full, other units square, left-out units hollow, those outside ringed and named.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    series : Series
        Points, lines and labels.

    Returns
    -------
    Axes
        The same axes.
    """
    ax.margins(y=0.1)
    ax.set_xlim(ends_of_pour([point.x for point in series.points]))
    draw_levels(ax, series.levels)
    draw_change(ax, change=series.change)
    groups = (
        ("test sample", "o", DRAWN, [point for point in series.points if point.in_sample and not point.left_out]),
        ("other units", "s", DRAWN, [point for point in series.points if not point.in_sample and not point.left_out]),
        ("left out", "D", PAPER, [point for point in series.points if point.left_out]),
    )
    for label, marker, face, points in groups:
        if points:
            _draw_points(ax, points, marker=marker, size=4.6, face=face, width=0.6, label=label)
    outside = [point for point in series.points if point.outside]
    if outside:
        _draw_points(ax, outside, marker="o", size=9.5, face="none", width=1.3, label="outside a limit")
    mean = next((level.heights[0] for level in series.levels if level.style == "mean"), 0.0)
    farthest = sorted(outside, key=lambda point: -abs(point.y - mean))
    others = [(point.x, point.y) for point in series.points if not point.outside]
    name_points(ax, [(point.name, point.x, point.y) for point in farthest], others=others)
    name_axes(ax, across=series.x_label, upward=series.y_label, whole=True)
    legend_beside(ax)
    return ax


def _draw_points(
    ax: Axes, points: Sequence[Point], *, marker: str, size: float, face: str, width: float, label: str
) -> None:
    ax.plot(
        [point.x for point in points],
        [point.y for point in points],
        marker,
        markersize=size,
        markerfacecolor=face,
        markeredgecolor=INK,
        markeredgewidth=width,
        label=label,
    )
