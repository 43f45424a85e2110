"""Measurements in pour order, with the mean and the limits as labelled lines: masses, and contents of an active."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct
from msgspec.structs import replace

from qc.results import JudgedBatch, Place, UnitRow
from qc.say.names import shortened, shown_text
from qc.say.numbers import fixed, plain_limit
from qc.show.change import Change, change_of, draw_change, drawing_factor
from qc.show.frame import Frame
from qc.show.labels import Level, draw_levels, draw_scale, round_steps, with_room
from qc.show.legend import draw_legend
from qc.show.marks import draw_marks
from qc.show.names_apart import names_apart
from qc.show.palette import DRAWN, PAPER
from qc.show.room import box_about, box_of, clear_place, segments_of
from qc.show.writing import Label, write

INCHES_HIGH = 2.6
MARGINS = (0.62, 1.35, 0.46, 0.3)
"""Left, right, bottom and top [inch]; the right one holds the labels of the lines."""
AXIS_INCHES = INCHES_HIGH - MARGINS[2] - MARGINS[3]
NAMES_SHOWN = 14
TESTS_OF_CONTENT = ("content-uniformity", "dosage-unit-uniformity")
LETTERS_OF_A_NAME = 8
POINT_POINTS = 2.6
"""Half the size of a mark."""
AIR_POINTS = 7.0
"""Between the ends of the axis of the pour and the middle of the marks nearest to them, which may be in a ring."""


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
    places, x_label = places_in_pour(judged.unit_rows)
    names = names_in_pictures(judged.unit_rows)
    weighed = [row for row in judged.unit_rows if row.mass_g is not None]
    points = tuple(
        Point(
            unit=row.unit,
            name=names[row.unit],
            x=places[row.unit],
            y=float(row.mass_g or 0),
            in_sample=row.in_mass_sample,
            left_out=row.left_out_because is not None,
            outside=row.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER),
        )
        for row in weighed
        if row.unit in places
    )
    if not points:
        return None
    mean = mean_mass_g(judged)
    levels = list(_about_mean(mean, judged.mass_limit_percent, judged.mass_outer_percent, unit="g", decimals=3))
    if judged.planned_mass and judged.planned_mass.planned_g is not None:
        planned = judged.planned_mass.planned_g
        levels.append(Level(value=float(planned), label=f"planned {fixed(planned, decimals=3)} g", style="plan"))
    return Series(
        points=points,
        levels=tuple(levels),
        change=change_of(judged.pour_trend.mass if judged.pour_trend else None, places, factor=1.0),
        y_label="mass [g]",
        x_label=x_label,
        not_placed=tuple(row.unit for row in weighed if row.unit not in places),
    )


def in_percent_of_label(judged: JudgedBatch, active: str) -> bool:
    """Whether all contents of an active are known in % of label, the unit they are then drawn in."""
    found = [row.contents[active] for row in judged.unit_rows if active in row.contents]
    return all(content.percent_of_label is not None for content in found)


def content_series(judged: JudgedBatch, active: str) -> Series | None:
    """The contents of an active with their lines; None where no unit with a place in the pour was assayed."""
    places, x_label = places_in_pour(judged.unit_rows)
    names = names_in_pictures(judged.unit_rows)
    of_label = in_percent_of_label(judged, active)
    tested = units_tested(judged, active)
    points, not_placed = [], []
    for row in judged.unit_rows:
        content = row.contents.get(active)
        value = None if content is None else content.percent_of_label if of_label else content.mg
        if content is None or value is None:
            continue
        if row.unit not in places:
            not_placed.append(row.unit)
            continue
        points.append(
            Point(
                unit=row.unit,
                name=names[row.unit],
                x=places[row.unit],
                y=value,
                in_sample=content.in_sample or row.unit in tested,
                left_out=row.left_out_because is not None,
                outside=content.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER),
            )
        )
    if not points:
        return None
    unit, decimals = ("%", 1) if of_label else ("mg", 2)
    mean = _mean_content(judged, active, of_label=of_label)
    levels = list(
        _about_mean(mean, judged.content_inner_percent, judged.content_outer_percent, unit=unit, decimals=decimals)
    )
    claim = next((known.label_claim_mg for known in judged.batch.actives if known.name == active), None)
    if of_label:
        levels.append(Level(value=100.0, label="label = 100 %", style="plan"))
    elif claim is not None:
        levels.append(Level(value=float(claim), label=f"label = {claim} mg", style="plan"))
    trend = judged.pour_trend.content.get(active) if judged.pour_trend else None
    name = shortened(shown_text(active), most=20)
    return Series(
        points=tuple(points),
        levels=tuple(levels),
        change=change_of(trend, places, factor=drawing_factor(trend, claim=claim, of_label=of_label)),
        y_label=f"{name} [{'% of label' if of_label else 'mg'}]",
        x_label=x_label,
        not_placed=tuple(not_placed),
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
) -> tuple[Level, ...]:
    if mean is None:
        return ()
    levels = [Level(value=mean, label=f"mean {fixed(mean, decimals=decimals)} {unit}", style="mean")]
    for limit, style in ((inner, "limit"), (outer, "outer")):
        if limit is not None:
            for side, sign in ((1, "+"), (-1, "−")):
                value = mean * (1 + side * limit / 100)
                label = f"{sign}{plain_limit(limit)} %: {fixed(value, decimals=decimals)} {unit}"
                levels.append(Level(value=value, label=label, style=style))
    return tuple(levels)


def with_air(frame: Frame, xs: Sequence[float]) -> tuple[float, float]:
    """The ends of the axis of the pour: half a step beyond the first and last unit, and never through their marks."""
    first, last = min(xs), max(xs)
    air = max(0.7, (last - first) * AIR_POINTS / (frame.wide_points - 2 * AIR_POINTS))
    return first - air, last + air


def draw_series(frame: Frame, *, series: Series) -> Frame:
    """Draw one series: sample units full, other units square, left-out units hollow, those outside ringed and named.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    series : Series
        Points, lines and labels.

    Returns
    -------
    Frame
        The same frame.
    """
    xs = [point.x for point in series.points]
    change = series.change
    ys = [point.y for point in series.points] + [level.value for level in series.levels]
    ys += [height for _, low, high in change.band for height in (low, high)]
    frame.set_ends(across=with_air(frame, xs), upward=with_room(ys, share=0.08))
    draw_levels(frame, levels=series.levels, inches_high=AXIS_INCHES)
    draw_change(frame, change=change)
    groups = (
        ("test sample", "o", DRAWN, [point for point in series.points if point.in_sample and not point.left_out]),
        ("other units", "s", DRAWN, [point for point in series.points if not point.in_sample and not point.left_out]),
        ("left out", "D", PAPER, [point for point in series.points if point.left_out]),
    )
    for label, marker, face, points in groups:
        if points:
            draw_marks(
                frame,
                [point.x for point in points],
                [point.y for point in points],
                marker=marker,
                size=4.6,
                face=face,
                edge_width=0.6,
                label=label,
            )
    outside = [point for point in series.points if point.outside]
    if outside:
        draw_marks(
            frame,
            [point.x for point in outside],
            [point.y for point in outside],
            marker="o",
            size=9.5,
            face="none",
            edge_width=1.3,
            above=4.0,
            label="outside a limit",
        )
    write_names(frame, _farthest(outside, series=series), series=series)
    _finish(frame, series=series)
    return frame


def _farthest(points: Sequence[Point], *, series: Series) -> list[Point]:
    """As many points as can be named, those farthest from the mean, in pour order."""
    mean = next((level.value for level in series.levels if level.style == "mean"), 0.0)
    chosen = sorted(points, key=lambda point: -abs(point.y - mean))[:NAMES_SHOWN]
    return sorted(chosen, key=lambda point: point.x)


def write_names(frame: Frame, points: Sequence[Point], *, series: Series) -> None:
    """Name points above or under them, or beside them, where no line and no other point runs through the name.

    Where there is no such place the name has paper behind it.
    """
    left, right = frame.across
    lines = [
        piece for level in series.levels for piece in segments_of(frame, [(left, level.value), (right, level.value)])
    ]
    lines += segments_of(frame, series.change.fitted)
    taken = [box_about(frame.place_points(point.x, point.y), half=POINT_POINTS) for point in series.points]
    names = []
    for point in points:
        plain = Label(text=point.name, x=point.x, y=point.y, bold=True)
        places = [
            replace(plain, shift=(0.0, 7.0), up="bottom"),
            replace(plain, shift=(0.0, -7.0), up="top"),
            replace(plain, shift=(8.0, 0.0), across="left"),
            replace(plain, shift=(-8.0, 0.0), across="right"),
        ]
        names.append(clear_place(frame, places, lines=lines, boxes=taken))
        taken.append(box_of(frame, names[-1]))
    write(frame, names)


def _finish(frame: Frame, *, series: Series) -> None:
    low, high = frame.across
    steps = [step for step in round_steps(low, high, about=8) if step == int(step) and step >= 1]
    draw_scale(
        frame,
        across=steps,
        upward=round_steps(*frame.upward, about=5),
        across_label=series.x_label,
        upward_label=series.y_label,
    )
    draw_legend(frame)
