"""Chances of passing in a picture, along the true SD at one mean."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.results import OperatingCurve
from qc.say.names import TEST, in_words
from qc.say.numbers import fixed, probability
from qc.say.text import shortened, shown_text
from qc.show.figures import FigureSize, finish, picture
from qc.show.pages_html import plain_page
from qc.show.palette import ACCENT, INK, MUTED
from qc.show.pieces import Picture, Piece, Table, number, section, table

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CHANCE = "chance.html"
CAUTION = (
    "These chances are those of the test, for units that are normally distributed and drawn at random. They release "
    "no batch; the pharmacopoeia in force and local procedure come first."
)
SIZE = FigureSize(high=2.8)
ROWS_OF_TABLE = 9
NEARLY_EVERY = 0.99
"""Above it a chance is printed as over 99 % [-]."""
CHANCES_MARKED = (0.0, 25.0, 50.0, 75.0, 100.0)
"""Values written on the axis of the chance [%]."""


def draw_operating_curve(ax: Axes, *, curve: OperatingCurve, whose: str = "this sample") -> Axes:
    """Draw the chance of passing against the true SD, at the first stage and in all, with the place of the batch.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    curve : OperatingCurve
        Chances along the SD at one true mean.
    whose : str
        What the line across is.

    Returns
    -------
    Axes
        The same axes.
    """
    overall, first = ([100.0 * chance for chance in chances] for chances in (curve.overall, curve.first_stage))
    ax.plot(curve.sds_percent, overall, color=INK, linewidth=1.6, label="passes in all")
    if first != overall:
        ax.plot(curve.sds_percent, first, color=MUTED, linewidth=1.2, linestyle="--", label="at the first stage")
    if curve.sample_sd_percent is not None:
        label = f"{spread_name(curve)} of {whose}"
        ax.axvline(curve.sample_sd_percent, color=ACCENT, linewidth=1.6, label=label)
    ax.set(xlim=(0.0, None), ylim=(0.0, 104.0))
    at_mean = f", at {true_mean(curve)}" if of_label(curve) else ""
    finish(ax, across=f"true {spread_in_unit(curve)}{at_mean}", upward="chance of passing [%]")
    ax.set_yticks(CHANCES_MARKED)
    return ax


def of_label(curve: OperatingCurve) -> bool:
    """Whether mean and SD are in % of label; the other tests compare with the sample's own mean and know an RSD."""
    return curve.test == "dosage-unit-uniformity"


def spread_name(curve: OperatingCurve) -> str:
    """What the spread of a test is called."""
    return "SD" if of_label(curve) else "RSD"


def spread_in_unit(curve: OperatingCurve) -> str:
    """The same, with its unit in brackets."""
    return f"{spread_name(curve)} [{'% of label' if of_label(curve) else '%'}]"


def true_mean(curve: OperatingCurve) -> str:
    """At which mean the curve was worked out."""
    return f"a true mean of {fixed(curve.mean_percent, decimals=1)} %"


def _named(one: OperatingCurve) -> str:
    name = in_words(one.test, TEST)
    return f"{name}, {shortened(shown_text(one.active), most=60)}" if one.active else name


def curve_of_chances(curve: OperatingCurve, *, place: int, whose: str = "this sample") -> Picture:
    """The operating characteristic at one true mean."""
    name = spread_name(curve)
    said = f"Chance of passing of batches {f'with {true_mean(curve)} of label' if of_label(curve) else 'by their RSD'}."
    if curve.sample_sd_percent is not None:
        said += f" {whose.capitalize()} has an {name} of {fixed(curve.sample_sd_percent, decimals=2)} %"
        said += "."
    return picture(
        f"curve-{place}",
        f"Chance of passing along the {name}: {_named(curve)}",
        caption=said,
        what="Curves of the chance of passing over the true standard deviation",
        draw=lambda ax: draw_operating_curve(ax, curve=curve, whose=whose),
        size=SIZE,
    )


def draw_drift(ax: Axes, *, units: int, change: float, scatter: float, assayed: Sequence[int]) -> Axes:
    """Draw a straight change along a pour, twice the SD on either side of it, and the units assayed.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    units : int
        Poured.
    change, scatter : float
        First to last unit, and SD of one unit [% of mean].
    assayed : sequence of int
        Places in the pour.
    """
    line = [change * ((place - 1) / (units - 1) - 0.5) for place in range(1, units + 1)]
    low, high = ([value + side * 2.0 * scatter for value in line] for side in (-1.0, 1.0))
    ax.fill_between(range(1, units + 1), low, high, color=MUTED, alpha=0.25, linewidth=0.0, label="95 in 100 units")
    ax.plot(range(1, units + 1), line, color=INK, linewidth=1.4, label="true concentration")
    ax.plot(assayed, [line[place - 1] for place in assayed], "o", color=ACCENT, markersize=5.0, label="assayed")
    return finish(ax, across="pour order", upward="concentration [% from the mean]", whole=True)


def drift_picture(*, units: int, change: float, scatter: float, assayed: Sequence[int]) -> Picture:
    """A change along the pour beside what units scatter by anyway."""
    return picture(
        "drift",
        "The change along the pour, and the units assayed",
        what="A rising or falling line over pour order with a band and points",
        caption=f"A change of {fixed(change, decimals=1)} % beside units with an SD of {fixed(scatter, decimals=1)} %.",
        draw=lambda ax: draw_drift(ax, units=units, change=change, scatter=scatter, assayed=assayed),
        size=SIZE,
    )


def chance_table(curve: OperatingCurve) -> Table:
    """The curve at a few SDs, from the last on at which nearly every sample passes at once."""
    step = max((len(curve.sds_percent) - 1) // (ROWS_OF_TABLE - 1), 1)
    rows = list(zip(curve.sds_percent, curve.first_stage, curve.overall, strict=True))[::step]
    sure = sum(first > NEARLY_EVERY for _, first, _ in rows)
    return table(
        f"{_named(curve)}: chance of passing "
        f"{f'at {true_mean(curve)} of label' if of_label(curve) else 'by the true RSD'}",
        rows[max(sure - 1, 0) :],
        number(f"True {spread_in_unit(curve)}", lambda one: fixed(one[0], decimals=2)),
        number("Passes at the first stage", lambda one: probability(one[1])),
        number("Passes in all", lambda one: probability(one[2])),
    )


def chance_page(*, title: str, answer: tuple[Piece, ...], curve: OperatingCurve) -> str:
    """The chances of a planned batch as a page: the answer, the curve, and the table behind it.

    Parameters
    ----------
    title : str
        What was asked.
    answer : tuple of Piece
        The answer, as the terminal has it.
    curve : OperatingCurve
        The chance of passing along the SD.

    Returns
    -------
    str
        HTML that needs nothing from anywhere.
    """
    whose = "the planned batch"
    drawn = curve_of_chances(curve, place=1, whose=whose)
    sections = (
        *section("answer", "The answer", *answer),
        *section("pictures", "The chance of passing", drawn, chance_table(curve)),
    )
    return plain_page(
        kind="Chances of passing a test of moulded units", title=title, sections=sections, closing=CAUTION
    )
