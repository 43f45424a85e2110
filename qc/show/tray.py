"""The tray as it was poured: every unit in its cavity, coloured by how far it lies from the mean of what decides."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import zip_longest
from string import ascii_lowercase
from typing import TYPE_CHECKING, Any

from msgspec.structs import replace

from qc.results import JudgedBatch, UnitRow
from qc.say.numbers import plain_limit, signed, signed_beside
from qc.say.text import shortened, shown_text
from qc.show.figures import INCHES_SMALL, TOLD, draw_points, picture, plain
from qc.show.palette import INK, MUTED, PAPER, deviation_colour, text_on
from qc.show.pieces import Picture, Prose
from qc.show.tray_plan import (
    DIAMETER,
    INCHES_A_CELL,
    PITCH_WITH_LETTERS,
    POINTS_OF_A_NAME,
    TrayPlan,
    tray_plan,
)
from qc.show.units import OUTSIDE, in_which_order, of_each_stretch, poured_order, short_names, unit_in_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Limits = tuple[float | None, float | None]

INCHES_HIGH_SMALL = 0.66
"""What page one has room for, beside the pour."""
BELOW_A_UNIT, BESIDE_A_UNIT = 0.66, 0.43
"""How far the letters of defects stand below the middle of their unit, and its triangle beside and above it [cells]."""
REACH_WITHOUT_LIMIT = 10.0


def letters_of_defects(judged: JudgedBatch, plan: TrayPlan) -> tuple[dict[str, str], str]:
    """Letters of the defects of each unit, the gravest being `a`, and what the caption says of them.

    Past z none is lettered, and none where the units are too small.
    """
    letters: dict[str, str] = {}
    told = []
    if judged.visual is not None and plan.font_points:
        for letter, defect in zip(ascii_lowercase, judged.visual.defects, strict=False):
            letters.update({unit: letters.get(unit, "") + letter for unit in defect.units})
            told.append(f"{letter} = {defect.defect}")
    return letters, f" Under a unit: {'; '.join(told)}." if told else ""


def draw_tray(
    ax: Axes,
    *,
    plan: TrayPlan,
    limits: Limits = (None, None),
    reach: float | None = None,
    decimals: int = 1,
    letters: Mapping[str, str] | None = None,
    measured: str = "deviation from the mean mass [%]",
) -> Axes:
    """Draw the tray: number and signed deviation in every unit, those outside with a thick edge and a triangle.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    plan : TrayPlan
        Where each unit lies, and its deviation.
    limits : tuple of float or None
        Inner and outer limit of the deviation [%].
    reach : float, optional
        The deviation of the full colour [%]; that of the outer limit where it is not given.
    decimals : int
        Of the deviations.
    letters : mapping of str to str, optional
        Letters of the defects seen, by unit.
    measured : str
        What the colour shows, with its unit.

    Returns
    -------
    Axes
        The same axes.
    """
    reach = reach or limits[1] or limits[0] or REACH_WITHOUT_LIMIT
    ax.set(xlim=(-0.5, plan.columns - 0.5), ylim=(plan.high_cells - 0.5, -0.5))
    ax.set_xticks(range(len(plan.cavities)), plan.cavities, fontsize=plan.points_beside)
    ax.xaxis.tick_top()
    ax.set_yticks(
        [line * plan.pitch for line in plan.names],
        [plain(name) for name in plan.names.values()],
        fontsize=plan.points_beside,
    )
    ax.tick_params(length=0.0)
    ax.spines[:].set_visible(False)
    _draw_circles(ax, plan, reach=reach)
    if plan.font_points:
        _write_in_circles(ax, plan, letters=letters or {}, limits=limits, reach=reach, decimals=decimals)
    _draw_key(ax, plan, limits=limits, reach=reach, measured=measured)
    return ax


def _draw_circles(ax: Axes, plan: TrayPlan, *, reach: float) -> None:
    rows = [cell.row for cell in plan.cells]
    scale = plan.cell_inches / INCHES_A_CELL
    ax.scatter(
        [cell.x for cell in plan.cells],
        [cell.y * plan.pitch for cell in plan.cells],
        s=(DIAMETER * plan.cell_inches * 72) ** 2,
        c=[deviation_colour(row.deviation_percent, reach=reach) for row in rows],
        edgecolors=[INK if row.place in OUTSIDE or row.left_out_because is not None else MUTED for row in rows],
        linewidths=[(2.0 if row.place in OUTSIDE else 0.6) * scale for row in rows],
        linestyles=["-" if row.left_out_because is None else "--" for row in rows],
        gid=TOLD,
    )


def _write_in_circles(
    ax: Axes, plan: TrayPlan, *, letters: Mapping[str, str], limits: Limits, reach: float, decimals: int
) -> None:
    names, _ = short_names([cell.row for cell in plan.cells])
    for cell in plan.cells:
        unit, deviation = cell.row.unit, cell.row.deviation_percent
        colour = text_on(deviation_colour(deviation, reach=reach))
        text = plain(names[unit])
        text += f"\n{signed_beside(deviation, limits=limits, decimals=decimals)}" if plan.two_lines else ""
        middle = cell.y * plan.pitch
        ax.text(cell.x, middle, text, color=colour, fontsize=plan.font_points, ha="center", va="center")
        if unit in letters:
            size, below = min(POINTS_OF_A_NAME, plan.font_points), middle + BELOW_A_UNIT
            ax.text(cell.x, below, letters[unit], fontsize=size, fontweight="bold", ha="center", va="center")


def _draw_key(ax: Axes, plan: TrayPlan, *, limits: Limits, reach: float, measured: str) -> None:
    """The legend; and triangles that point the way a unit deviates, open beyond the inner limit, full beyond both."""
    from matplotlib.legend_handler import HandlerTuple
    from matplotlib.lines import Line2D

    def key(marker: str, face: str, **look: Any) -> Line2D:
        return Line2D([], [], marker=marker, markerfacecolor=face, linestyle="none", **look)

    upper: list[tuple[tuple[Line2D, ...], str]] = [
        (
            (key("o", deviation_colour(step, reach=reach), markeredgecolor=MUTED, markersize=8.0),),
            f"{'+' if step > 0 else '−' if step < 0 else ''}{plain_limit(abs(step))}",
        )
        for step in (-reach, 0.0, reach)
    ]
    lower: list[tuple[tuple[Line2D, ...], str]] = []
    for limit, place, face in zip(limits, OUTSIDE, (PAPER, INK), strict=True):
        beyond = [cell for cell in plan.cells if cell.row.place is place and limit is not None]
        for marker, up in (("v", False), ("^", True)):
            ends = [
                (cell.x + BESIDE_A_UNIT, cell.y * plan.pitch - BESIDE_A_UNIT)
                for cell in beyond
                if ((cell.row.deviation_percent or 0.0) > 0) is up
            ]
            if ends:
                size = 2.0 + 4.0 * plan.cell_inches / INCHES_A_CELL
                draw_points(ax, ends, marker=marker, size=size, face=face, label="_", on_top=True)
        if beyond and limit is not None:
            signs = tuple(key(marker, face, markeredgecolor=INK, markersize=5.0) for marker in "^v")
            lower.append((signs, f"{'> ' if plan.small else 'beyond ±'}{plain_limit(limit)} %"))
    if any(cell.row.left_out_because is not None for cell in plan.cells):
        lower.append(((Line2D([], [], marker="o", linestyle="--", color=INK, markerfacecolor=PAPER),), "left out"))
    small, points = plan.small, plan.points_beside
    # A legend is filled column by column: the colours stand in the upper line, the signs in the lower.
    blank = ((key("", PAPER),), "")
    columns = max(len(upper), len(lower))
    pairs = zip_longest(upper, lower, fillvalue=blank) if small and lower else ((one,) for one in (*upper, *lower))
    signs_told = [one for pair in pairs for one in pair]
    ax.legend(
        [one for one, _ in signs_told],
        [label for _, label in signs_told],
        handler_map={tuple: HandlerTuple(ndivide=None, pad=0.3)},
        title=None if small else measured,
        title_fontsize=points,
        fontsize=points,
        alignment="left",
        ncols=columns if small else 9,
        loc="upper left",
        bbox_to_anchor=(0.0, 0.0),
        borderaxespad=0.3,
        columnspacing=1.0,
        labelspacing=0.3,
        handletextpad=0.3,
        handlelength=2.0 if small and lower else 1.5,
    )


def tray_picture(judged: JudgedBatch, active: str = "") -> Picture | Prose:
    """The tray of a batch with its caption, by the masses or the contents of an active; or why it is not drawn."""
    if not active and not any(row.counting_g is not None for row in poured_order(judged.unit_rows)):
        return Prose(text="The tray is not drawn, because no unit was weighed.")
    every = [_by_content(row, active) if active else row for row in poured_order(judged.unit_rows)]
    rows, thinned = of_each_stretch(every, off=lambda row: abs(row.deviation_percent or 0.0))
    lettered = judged.visual is not None and bool(judged.visual.defects)
    high = INCHES_HIGH_SMALL * (PITCH_WITH_LETTERS if lettered else 1.0)
    plan = tray_plan(rows, inches_wide=INCHES_SMALL, inches_high=high, lettered=lettered)
    letters, seen = letters_of_defects(judged, plan)
    masses = {row.unit: row for row in judged.unit_rows}
    limits = judged.content_limits if active else judged.mass_limits
    measured = f"content of {shortened(shown_text(active), most=24)}" if active else "mass"
    ordered = any(row.pour_order is not None for row in rows) or ""
    _, numbered = short_names(every)
    found = [row for row in every if row.deviation_percent is not None]
    caption = f"Colour: {measured} [% from the mean]" if found else "No deviation could be worked out"
    caption += "; grey: not assayed" if active and len(found) < len(every) else ""
    caption += "." if plan.names else f"; rows {in_which_order(rows)}."
    return picture(
        "tray",
        f"The units {in_which_order(rows)}" if not plan.names else f"The tray{ordered and ' as it was poured'}",
        what=f"Every unit with its number, in colour how far its {'content' if active else 'mass'} is from the mean",
        caption=caption + thinned + (numbered if plan.font_points else "") + seen,
        draw=lambda ax: draw_tray(ax, plan=plan, limits=limits, letters=letters),
        size=plan.size,
        tells=[_told(masses[cell.row.unit], cell.row if active else None) for cell in plan.cells],
    )


def _told(unit: UnitRow, content: UnitRow | None) -> str:
    """A unit as it is named under the pointer: its mass, and how far its content lies off where that is drawn."""
    away = None if content is None else content.deviation_percent
    return unit_in_words(unit) + ("" if away is None else f"; content {signed(away, decimals=2)} %")


def _by_content(row: UnitRow, active: str) -> UnitRow:
    """A unit with the deviation of its content, and its place by that, where those of its mass stand."""
    found = row.contents.get(active)
    percent = None if found is None else found.percent_of_mean
    away = None if percent is None else percent - 100.0
    return replace(row, deviation_percent=away, place=None if found is None else found.place)
