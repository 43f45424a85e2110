"""What was fitted to a series: the change over the pour with its band, the stretch set apart, the corrected points."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.results import Trend
from qc.show.palette import ACCENT, MUTED

if TYPE_CHECKING:
    from matplotlib.axes import Axes

STRETCH_SHARE = 0.025
"""How high the bar under the stretch set apart is, as a share of the axes."""


class Change(Struct, frozen=True, kw_only=True):
    """What was fitted to a series, in the unit it is drawn in: places in the pour with heights."""

    fitted: tuple[tuple[float, float], ...] = ()
    band: tuple[tuple[float, float, float], ...] = ()
    corrected: tuple[tuple[float, float], ...] = ()
    """The measurements after the differences between cavities were taken out."""
    stretch: tuple[float, ...] = ()
    """Places of the units that a called change sets apart."""


def change_of(trend: Trend | None, places: dict[str, float], *, factor: float | None) -> Change:
    """What was fitted to a series, placed in the pour; nothing where it is in a unit that cannot be drawn here."""
    if trend is None or factor is None:
        return Change()
    return Change(
        fitted=tuple(sorted((places[unit], value * factor) for unit, value in trend.fitted if unit in places)),
        band=tuple(
            sorted((places[unit], low * factor, high * factor) for unit, low, high in trend.band if unit in places)
        ),
        corrected=tuple(sorted((places[unit], value * factor) for unit, value in trend.corrected if unit in places)),
        stretch=tuple(sorted(places[unit] for unit in trend.stretch if unit in places)),
    )


def drawing_factor(trend: Trend | None, *, claim: Decimal | None, of_label: bool) -> float | None:
    """By what the fitted contents are multiplied to stand in the unit of the picture; None where that is not known."""
    if trend is None:
        return None
    in_mg = trend.measure == "mg"
    if in_mg is not of_label:
        return 1.0
    if claim is None:
        return None
    return 100.0 / float(claim) if of_label else float(claim) / 100.0


def draw_change(ax: Axes, *, change: Change) -> None:
    """Draw the fitted change, its band, the corrected points, and a bar under the stretch set apart."""
    if change.stretch:
        first, last = change.stretch[0] - 0.5, change.stretch[-1] + 0.5
        ax.axvspan(first, last, 0.0, STRETCH_SHARE, color=ACCENT, linewidth=0, zorder=0, label="stretch set apart")
    if len(change.band) > 1:
        along, lows, highs = zip(*change.band, strict=True)
        ax.fill_between(along, lows, highs, color=ACCENT, alpha=0.18, linewidth=0, label="95 % band")
    if len(change.fitted) > 1:
        ax.plot(*zip(*change.fitted, strict=True), color=ACCENT, linewidth=1.8, label="fitted change")
    if change.corrected:
        along, heights = zip(*change.corrected, strict=True)
        ax.plot(along, heights, "+", color=MUTED, markersize=5.0, label="without cavity differences")
