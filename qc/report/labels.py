"""Labels beside lines at the right edge of a picture, moved apart where they would touch, and axes that leave room."""

from __future__ import annotations

from collections.abc import Sequence
from math import ceil, floor, log10
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.report.numbers import fixed
from qc.report.palette import INK, MUTED

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.transforms import Transform


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


def draw_levels(ax: Axes, *, levels: Sequence[Level], inches_high: float) -> None:
    """Draw level lines over the whole axis and label each at its right end."""
    low, high = ax.get_ylim()
    shown = [level for level in levels if low <= level.value <= high]
    moved = spread_apart([level.value for level in shown], least=(high - low) * 0.135 / inches_high)
    right = ax.get_xlim()[1]
    for level, y in zip(shown, moved, strict=True):
        colour, width, dashes = LINE_STYLE[level.style]
        ax.axhline(level.value, color=colour, linewidth=width, linestyle=dashes, zorder=1)
        ax.annotate(
            level.label,
            xy=(right, y),
            xytext=(5, 0),
            textcoords="offset points",
            fontsize=7,
            va="center",
            color=INK,
            fontweight="bold" if level.style == "mean" else "normal",
            annotation_clip=False,
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


def draw_scale(ax: Axes, *, across: Sequence[float], upward: Sequence[float]) -> None:
    """Draw tick marks and their numbers on the lower and the left axis.

    A tick of matplotlib's own is five artists, and making them took most of the time of a picture; these are one line
    of markers and one text a number.
    """
    ax.set_xticks([])
    ax.set_yticks([])
    digits = tick_texts(upward)
    below, beside = ax.get_xaxis_transform(), ax.get_yaxis_transform()
    mark = {"linestyle": "none", "color": MUTED, "markersize": 3.5, "markeredgewidth": 0.6, "clip_on": False}
    ax.plot(across, [0.0] * len(across), marker=3, transform=below, **mark)  # type: ignore[arg-type]  # 3: tick down
    ax.plot([0.0] * len(upward), upward, marker=0, transform=beside, **mark)  # type: ignore[arg-type]  # 0: tick left
    # Plain texts moved off the axis by a transform: an annotation is three artists.
    lower, left = (_moved(ax, by, away) for by, away in ((below, (0.0, -5.0)), (beside, (-5.0, 0.0))))
    for x, text in zip(across, tick_texts(across), strict=True):
        ax.text(x, 0, text, transform=lower, fontsize=7.5, ha="center", va="top")
    for y, text in zip(upward, digits, strict=True):
        ax.text(0, y, text, transform=left, fontsize=7.5, ha="right", va="center")
    ax.xaxis.labelpad = 14
    ax.yaxis.labelpad = 8 + 5 * max((len(text) for text in digits), default=0)


def _moved(ax: Axes, by: Transform, points: tuple[float, float]) -> Transform:
    """A transform followed by a step of so many points to the right and upward."""
    from matplotlib.transforms import ScaledTranslation

    return by + ScaledTranslation(points[0] / 72, points[1] / 72, ax.figure.dpi_scale_trans)


def tick_texts(values: Sequence[float]) -> list[str]:
    """The numbers of an axis, all with the decimals that the finest of them needs.

    Examples
    --------
    >>> tick_texts([-0.5, 0.0, 0.5])
    ['−0.5', '0.0', '0.5']
    """
    decimals = max((len(str(value).partition(".")[2].rstrip("0")) for value in values), default=0)
    return [fixed(value, decimals=decimals) for value in values]
