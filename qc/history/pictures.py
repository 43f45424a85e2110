"""The charts of a review: each figure over the batches with its limits, its levels and what was found."""

from __future__ import annotations

from collections.abc import Sequence
from statistics import fmean
from typing import TYPE_CHECKING

from qc.history.products import BatchSeries, Product
from qc.history.wording import of_series, unit_of
from qc.say.text import counted
from qc.show.figures import SMALL, draw_level, draw_points, finish, picture
from qc.show.palette import ACCENT, DRAWN, MUTED, PAPER
from qc.show.pieces import Picture

if TYPE_CHECKING:
    from matplotlib.axes import Axes

# More points than this are a band of ink; a year of daily batches is fewer.
MARKED = 400


def draw_series(ax: Axes, one: BatchSeries) -> Axes:
    """Draw one figure over the batches: limits as a band, a line a level, batches beyond the limit as triangles."""
    shown = [one.shown(point.value) for point in one.points]
    places = [place + 1 for place in one.places]
    ends = [
        (place, one.shown(low), one.shown(high))
        for place, low, high in zip(places, one.followed.low, one.followed.high, strict=True)
        if low is not None and high is not None
    ]
    if ends:
        across, low, high = zip(*ends, strict=True)
        ax.fill_between(across, low, high, step="mid", color=MUTED, alpha=0.15, linewidth=0, label="limits")
    levels = [(places[at[0]], places[at[-1]], one.shown(fmean(values))) for at, values in one.levels]
    for place, (first, last, level) in enumerate(levels):
        entry = "_" if place else "level"
        ax.plot([first, last], [level, level], color=DRAWN, linewidth=1.2, zorder=1, label=entry)
    beyond = set(one.followed.beyond)
    usual = [(x, y) for at, (x, y) in enumerate(zip(places, shown, strict=True)) if at not in beyond]
    size = 3.4 if len(usual) <= MARKED else 1.2
    draw_points(ax, usual, marker="o", size=size, face=PAPER, label="batch", edge=0.7)
    if beyond:
        alone = [(places[at], shown[at]) for at in sorted(beyond)]
        draw_points(ax, alone, marker="^", size=5.5, face=ACCENT, label="beyond the limit", edge=0.7)
    spread = [*shown, *(level for _, _, level in levels)]
    # The limits of the third batch may lie far out; the picture shows what the batches need.
    reach = max(spread) - min(spread) or max(0.02 * abs(spread[0]), 0.1)
    ax.set_ylim(min(spread) - 0.45 * reach, max(spread) + 0.45 * reach)
    return finish(ax, across="Batch", upward=unit_of(one), whole=True, below=4)


def series_picture(product: Product, one: BatchSeries, *, name: str) -> Picture:
    """The chart of one series with its caption."""
    many = counted(len(one.points), "batch", "batches")
    found = len(one.changes) + len(one.followed.beyond)
    caption = f"{many}; {counted(found, 'signal') if found else 'no signal'}."
    return picture(
        name,
        of_series(one),
        what=f"{of_series(one)} of {many} of {product.name}",
        caption=caption,
        draw=lambda ax: draw_series(ax, one),
        size=SMALL,
    )


def value_picture(
    product: Product, values: Sequence[tuple[int, float]], *, name: str, active: str, limit: float
) -> Picture:
    """The acceptance values of an active with their limit."""

    def draw(ax: Axes) -> object:
        points = [(float(place + 1), value) for place, value in values]
        draw_level(ax, limit, style="limit", label="limit")
        draw_points(ax, points, marker="o", size=3.4, face=PAPER, label="batch", edge=0.7)
        return finish(ax, across="Batch", upward="Acceptance value", whole=True, below=2)

    over = sum(value > limit for _, value in values)
    caption = (
        f"{counted(len(values), 'batch', 'batches')}; {over or 'none'} above the limit. It follows from mean and SD."
    )
    what = f"Acceptance values of {active} in batches of {product.name}"
    return picture(name, f"Acceptance value, {active}", what=what, caption=caption, draw=draw, size=SMALL)
