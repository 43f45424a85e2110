"""Pictures of a teaching batch: the tray as it is and as it was measured, the pour, and the parts of a unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from math import nan
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.batch import Part
from qc.causes.drawing import Drawn
from qc.results import UnitRow
from qc.say.numbers import signed
from qc.show.figures import INCHES_WIDE, FigureSize, finish, picture
from qc.show.palette import ACCENT, DRAWN, INK, MUTED, PAPER, deviation_colour
from qc.show.pieces import Picture
from qc.show.series_drawn import ends_of_pour
from qc.show.tray import draw_tray
from qc.show.tray_plan import tray_plan

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Parts = Mapping[str, float]
"""Tip, middle and end of the units cut, by unit and part: concentration against the mean of the three [%]."""

# The same in every lesson, so that lessons can be laid side by side [%].
MASS_REACH, CONTENT_REACH, PARTS_REACH = 16.0, 40.0, 30.0


class Deviations(Struct, frozen=True, kw_only=True):
    """One quantity of every unit against what was intended [%]; None where a unit was not measured."""

    what: str
    against: str
    reach: float
    """Where its axis ends [%]."""
    values: tuple[float | None, ...]


Compared = tuple[Deviations, Deviations]
"""A quantity as it truly is, and as it was found."""


def masses(drawn: Drawn) -> Compared:
    """True and written masses against the planned mass on record."""
    planned = drawn.recipe.planned_g(drawn.pour.used_displacements)
    true = _against("plan", "true mass", drawn.pour.mass_g(drawn.recipe), base=planned)
    return true, _against("plan", "mass as written down", drawn.written.masses_g, base=planned)


def contents(drawn: Drawn) -> Compared:
    """True and found contents of the first active against its label claim."""
    label, assays = drawn.recipe.ingredients[0].label_mg, drawn.written.assays
    assayed = {one.unit: one.content_mg for one in assays if one.part is Part.WHOLE and one.active == 0}
    true, found = drawn.pour.content_mg(drawn.recipe)[0], map(assayed.get, range(drawn.recipe.units))
    return _against("label", "true content", true, base=label), _against("label", "content by assay", found, base=label)


def _against(intended: str, what: str, values: Iterable[float | Decimal | None], *, base: float) -> Deviations:
    shares = tuple(None if value is None else _percent(value, base) for value in values)
    reach = MASS_REACH if intended == "plan" else CONTENT_REACH
    return Deviations(what=what, against=intended, reach=reach, values=shares)


def _percent(value: float | Decimal, base: float) -> float:
    return 100.0 * (float(value) / base - 1.0)


class LessonPictures(Struct, frozen=True, kw_only=True):
    """The pictures of one teaching batch."""

    drawn: Drawn
    fault: str = ""
    """Stands in the ids of the pictures where a page shows several lessons."""
    wide: float = INCHES_WIDE

    def tray(self, shown: Deviations) -> Picture:
        """The tray with every unit in its cavity, coloured by a deviation that is written in it."""
        rows = [
            UnitRow(
                unit=one.name, pour_order=one.pour_order, mould=one.mould, cavity=one.cavity, deviation_percent=value
            )
            for one, value in zip(self.drawn.batch.units, shown.values, strict=True)
        ]
        grey = "; a grey one was not measured" if None in shown.values else ""
        plan, measured = tray_plan(rows, inches_wide=self.wide), f"{shown.what} [% from {shown.against}]"
        return picture(
            self._id(shown.what),
            f"{shown.what.capitalize()} on the tray",
            what="Every unit in its cavity with its number and its deviation in whole percent",
            caption=f"Each circle is a unit: {shown.what}, in percent off {shown.against}{grey}.",
            draw=lambda ax: draw_tray(ax, plan=plan, reach=shown.reach / 2, decimals=0, measured=measured),
            size=plan.size,
        )

    def pour(self, true: Deviations, found: Deviations) -> Picture:
        """A quantity along the pour, its true value and what was found."""
        return picture(
            self._id(f"{true.what}-along-the-pour"),
            f"{true.what.capitalize()} along the pour",
            what=f"Points of {true.what} and {found.what} over pour order",
            caption="Hollow points joined by a line are the truth; filled points are what was written down.",
            draw=lambda ax: draw_truth(ax, true=true, found=found),
            size=FigureSize(high=2.3, wide=self.wide, right=1.5),
        )

    def parts(self) -> Picture:
        """Tip, middle and end of the units that were cut, as found by assay."""
        found = parts_found(self.drawn)
        told = "Tip, middle and end of the units that were cut, as found by assay."
        return picture(
            self._id("parts"),
            "Parts of a unit",
            what="Bars of the concentration of each part against the mean of its unit",
            caption=told if found else "No unit was cut.",
            draw=lambda ax: draw_parts(ax, parts=found),
            size=FigureSize(high=max(1.2, 0.7 + 0.17 * len(found)), wide=self.wide, left=1.2, right=1.5),
        )

    def _id(self, what: str) -> str:
        """Of a picture, different for every picture of a page."""
        return "-".join((*self.fault.split(), *what.split()))


def draw_truth(ax: Axes, *, true: Deviations, found: Deviations) -> Axes:
    """Draw the truth hollow and joined, what was found filled; a point beyond the axis is an arrow at its end.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    true, found : Deviations
        Of the same quantity, in pour order.

    Returns
    -------
    Axes
        The same axes.
    """
    order = range(1, len(true.values) + 1)
    ax.set(xlim=ends_of_pour(order), ylim=(-true.reach, true.reach))
    ax.axhline(0.0, color=MUTED, linewidth=0.8)
    for shown, line, colour, face in ((true, "-", DRAWN, PAPER), (found, "none", ACCENT, ACCENT)):
        heights = [nan if value is None or abs(value) > true.reach else value for value in shown.values]
        ax.plot(order, heights, "o", linestyle=line, markersize=4.0, label=shown.what, c=colour, mfc=face)
        for place, value in zip(order, shown.values, strict=True):
            if value is not None and abs(value) > true.reach:
                end, arrow = (true.reach, "^") if value > 0 else (-true.reach, "v")
                ax.plot([place], [end], arrow, color=colour, markersize=6.0, clip_on=False)
    return finish(ax, across="pour order", upward=f"% from {true.against}", whole=True)


def parts_found(drawn: Drawn) -> Parts:
    """Of the first active in every unit cut: each part against the mean of the three, by assay."""
    cut: dict[int, dict[Part, float]] = {}
    for assay in drawn.written.assays:
        if assay.part is not Part.WHOLE and assay.active == 0 and assay.part_mass_g:
            cut.setdefault(assay.unit, {})[assay.part] = float(assay.content_mg) / float(assay.part_mass_g)
    return {
        f"unit {unit + 1} {part}": _percent(value, sum(parts.values()) / len(parts))
        for unit, parts in sorted(cut.items())
        for part, value in parts.items()
    }


def draw_parts(ax: Axes, *, parts: Parts) -> Axes:
    """Draw a bar a part, coloured and signed by its deviation.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    parts : mapping of str to float
        Deviation of each part from the mean of its unit [%].

    Returns
    -------
    Axes
        The same axes.
    """
    held = [max(-PARTS_REACH, min(PARTS_REACH, value)) for value in parts.values()]
    colours = [deviation_colour(value, reach=PARTS_REACH) for value in parts.values()]
    bars = ax.barh(range(len(held)), held, height=0.8, color=colours, edgecolor=INK, linewidth=0.6)
    ax.bar_label(bars, [signed(value, decimals=0) for value in parts.values()], padding=2.0, fontsize=7.0)
    ax.axvline(0.0, color=MUTED, linewidth=1.0)
    ax.set(xlim=(-PARTS_REACH, PARTS_REACH), xlabel="% from the mean of the unit")
    ax.set_yticks(range(len(held)), list(parts))
    ax.invert_yaxis()
    return ax
