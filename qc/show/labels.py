"""Labels beside lines at the right edge of a picture, moved apart where they would touch, and axes that leave room."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log10, nan

from msgspec import Struct

from qc.say.numbers import fixed
from qc.show.frame import Frame
from qc.show.palette import INK, MUTED
from qc.show.writing import Label, write


class Level(Struct, frozen=True, kw_only=True):
    """A level line with its label: a mean, a limit, a plan."""

    value: float
    label: str
    style: str
    """`mean`, `limit`, `outer` or `plan`."""


LINE_STYLE: dict[str, tuple[str, float, object]] = {
    "mean": (INK, 1.0, "-"),
    "limit": (INK, 0.9, (0, (5, 2.5))),
    "outer": (MUTED, 0.9, (0, (1.5, 2))),
    "plan": (MUTED, 0.9, (0, (7, 2, 1.5, 2))),
}


NUMBER_POINTS = 7.5
NAME_POINTS = 8.0
TICK_POINTS = 3.5


def spread_apart(places: Sequence[float], *, least: float) -> list[float]:
    """Places moved up or down as little as it takes to keep a least distance, in the same order.

    Examples
    --------
    >>> spread_apart([1.0, 1.1, 5.0], least=1.0)
    [0.55, 1.55, 5.0]
    """
    order = sorted(range(len(places)), key=lambda index: places[index])
    groups: list[list[int]] = []
    centres: list[float] = []
    for index in order:
        groups.append([index])
        centres.append(places[index])
        while len(groups) > 1 and _touch(groups[-2], centres[-2], groups[-1], centres[-1], least=least):
            joined = groups[-2] + groups[-1]
            groups[-2:] = [joined]
            centres[-2:] = [sum(places[member] for member in joined) / len(joined)]
    moved = list(places)
    for group, centre in zip(groups, centres, strict=True):
        for step, index in enumerate(group):
            moved[index] = centre + (step - (len(group) - 1) / 2) * least
    return moved


def _touch(lower: list[int], low_centre: float, upper: list[int], high_centre: float, *, least: float) -> bool:
    top = low_centre + (len(lower) - 1) / 2 * least
    bottom = high_centre - (len(upper) - 1) / 2 * least
    return bottom - top < least


def draw_levels(frame: Frame, *, levels: Sequence[Level], inches_high: float) -> None:
    """Draw level lines over the whole frame and label each at its right end."""
    from matplotlib.collections import LineCollection

    low, high = frame.upward
    shown = [level for level in levels if low <= level.value <= high]
    moved = spread_apart([level.value for level in shown], least=(high - low) * 0.135 / inches_high)
    if not shown:
        return
    styles = [LINE_STYLE[level.style] for level in shown]
    frame.add(
        LineCollection(
            [[(0.0, level.value), (1.0, level.value)] for level in shown],
            colors=[colour for colour, _, _ in styles],
            linewidths=[width for _, width, _ in styles],
            linestyles=[dashes for _, _, dashes in styles],
            transform=frame.levels,
            zorder=1,
        )
    )
    write(
        frame,
        [
            Label(text=level.label, x=1.0, y=y, shift=(5.0, 0.0), across="left", bold=level.style == "mean")
            for level, y in zip(shown, moved, strict=True)
        ],
        transform=frame.levels,
    )


def round_steps(low: float, high: float, *, about: int) -> list[float]:
    """Round values between two ends, about as many as asked for, for the ticks of an axis.

    Examples
    --------
    >>> round_steps(1.82, 2.21, about=4)
    [1.9, 2.0, 2.1, 2.2]
    """
    span = high - low
    if span <= 0:
        return [low]
    power = 10.0 ** floor(log10(span / about))
    step = min((power * factor for factor in (1, 2, 5, 10)), key=lambda size: abs(span / size - about))
    decimals = max(0, -floor(log10(step) + 1e-9))
    return [round(step * count, decimals) for count in range(ceil(low / step - 1e-9), floor(high / step + 1e-9) + 1)]


def with_room(values: Sequence[float], *, share: float) -> tuple[float, float]:
    """The ends of an axis that holds all values and leaves a share of the span free at each end.

    Examples
    --------
    >>> with_room([1.0, 2.0], share=0.1)
    (0.9, 2.1)
    """
    low, high = min(values), max(values)
    span = (high - low) or abs(high) * 0.1 or 1.0
    return low - span * share, high + span * share


def draw_scale(
    frame: Frame, *, across: Sequence[float], upward: Sequence[float], across_label: str, upward_label: str
) -> None:
    """Draw the lower and the left axis with tick marks, their numbers and what is measured."""
    (left, right), (low, high) = frame.across, frame.upward
    along = [(x - left) / (right - left) for x in across]
    above = [(y - low) / (high - low) for y in upward]
    _draw_axes(frame, along=along, above=above)
    digits = tick_texts(upward)
    numbers = [
        Label(text=text, x=x, y=0.0, shift=(0.0, -5.0), size=NUMBER_POINTS, up="top")
        for x, text in zip(along, tick_texts(across), strict=True)
    ]
    numbers += [
        Label(text=text, x=0.0, y=y, shift=(-5.0, 0.0), size=NUMBER_POINTS, across="right")
        for y, text in zip(above, digits, strict=True)
    ]
    aside = -8.0 - 5.0 * max((len(text) for text in digits), default=0)
    names = [
        Label(text=across_label, x=0.5, y=0.0, shift=(0.0, -14.0), size=NAME_POINTS, up="top"),
        Label(text=upward_label, x=0.0, y=0.5, shift=(aside, 0.0), size=NAME_POINTS, up="bottom", turned=True),
    ]
    write(frame, [*numbers, *names], transform=frame.shares)


def _draw_axes(frame: Frame, *, along: Sequence[float], above: Sequence[float]) -> None:
    """Draw both axes as one line with gaps, and a mark at each share of their lengths."""
    from matplotlib.lines import Line2D

    down, aside = -TICK_POINTS / frame.high_points, -TICK_POINTS / frame.wide_points
    across, upward = [0.0, 0.0, 1.0, nan], [1.0, 0.0, 0.0, nan]
    for x in along:
        across += [x, x, nan]
        upward += [0.0, down, nan]
    for y in above:
        across += [0.0, aside, nan]
        upward += [y, y, nan]
    axes = Line2D(across, upward, color=MUTED, linewidth=0.6, solid_capstyle="butt", zorder=2.5, transform=frame.shares)
    frame.add(axes, whole=True)


def tick_texts(values: Sequence[float]) -> list[str]:
    """The numbers of an axis, all with the decimals that the finest of them needs.

    Examples
    --------
    >>> tick_texts([-0.5, 0.0, 0.5])
    ['−0.5', '0.0', '0.5']
    """
    decimals = max((len(str(value).partition(".")[2].rstrip("0")) for value in values), default=0)
    return [fixed(value, decimals=decimals) for value in values]
