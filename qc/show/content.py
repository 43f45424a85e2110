"""Pictures of the contents of one active: mass against content, and mean and spread."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from qc.results import AcceptanceBoundary, JudgedBatch, TestResult, UnitRow, Verdict
from qc.say.names import VERDICT
from qc.say.numbers import fixed, percent
from qc.say.text import counted, shortened, shown_text
from qc.show.figures import SMALL, draw_points, finish, picture, plain
from qc.show.palette import ACCENT, DRAWN, INK, MUTED, PAPER
from qc.show.pieces import Picture, Prose
from qc.show.series import content_name, content_tests, contents_found
from qc.show.units import OUTSIDE, of_each_stretch, poured_order, short_names

if TYPE_CHECKING:
    from matplotlib.axes import Axes

LEAST_UNITS = 2
MARKERS = "^vsDPX*<>h"
"""Of units outside, one each, so that the legend can name them; the rest share the last."""
DASHES = ("-", "--", ":")

Both = tuple[UnitRow, float, float]


def units_with_both(judged: JudgedBatch, active: str) -> list[Both]:
    """Units that were weighed and assayed, with mass [g] and content [% of label, or mg]."""
    found = contents_found(judged, active)
    return [(row, float(row.counting_g), content) for row, content in found if row.counting_g is not None]


def draw_mass_against_content(ax: Axes, *, judged: JudgedBatch, active: str) -> Axes:
    """Draw content over mass, units outside a limit named, and the line of equal concentration through the centre.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    judged, active
        What was judged, and of which active.

    Returns
    -------
    Axes
        The same axes.
    """
    units, _ = _drawn(units_with_both(judged, active))
    names, _ = short_names(poured_order(judged.unit_rows))
    outside = [unit for unit in units if unit[0].place in OUTSIDE or unit[0].contents[active].place in OUTSIDE]
    ax.margins(x=0.1, y=0.12)
    within = [(mass, content) for row, mass, content in units if (row, mass, content) not in outside]
    if within:
        draw_points(ax, within, marker="o", size=5.0, face=DRAWN, edge=0.6, label="within the limits")
    most = len(MARKERS) - 1
    groups = [(f"unit {plain(names[unit[0].unit])}", [unit]) for unit in outside[:most]]
    groups += [(counted(len(outside) - most, "more unit"), outside[most:])] if len(outside) > most else []
    for marker, (named, group) in zip(MARKERS, groups, strict=False):
        points = [(mass, content) for _, mass, content in group]
        draw_points(ax, points, marker=marker, size=7.0, face=PAPER, edge=1.3, label=f"outside: {named}")
    mass = sum(mass for _, mass, _ in units) / len(units)
    content = sum(content for _, _, content in units) / len(units)
    label = "same concentration"
    # Along the line through the origin every gram carries the same dose.
    ax.axline((mass, content), slope=content / mass, color=MUTED, linewidth=1.0, linestyle="--", zorder=1, label=label)
    return finish(ax, across="mass of the unit [g]", upward=content_name(judged, active), below=2)


def scatter_picture(judged: JudgedBatch, active: str, *, place: int) -> Picture | Prose:
    """Mass against content of one active, with the ranges of this batch."""
    name = shortened(shown_text(active), most=60)
    both = units_with_both(judged, active)
    if len(both) < LEAST_UNITS:
        return Prose(
            text=f"Mass against content of {name} is not drawn: fewer than two units were both weighed and assayed."
        )
    masses, contents = _range([mass for _, mass, _ in both]), _range([content for _, _, content in both])
    _, numbered = short_names(poured_order(judged.unit_rows))
    return picture(
        f"mass-content-{place}",
        f"Mass against content of {name}",
        what="Points of content over mass with a dashed line of equal concentration",
        caption=f"{counted(len(both), 'unit')}: masses run over {masses} of their mean, contents over {contents}; "
        f"along the dashed line the dose follows the fill, away from it the mix differs.{_drawn(both)[1]}{numbered}",
        draw=lambda ax: draw_mass_against_content(ax, judged=judged, active=active),
        size=SMALL,
    )


def _drawn(units: list[tuple[UnitRow, float, float]]) -> tuple[list[tuple[UnitRow, float, float]], str]:
    middle = sum(content for _, _, content in units) / len(units)
    return of_each_stretch(units, off=lambda unit: abs(unit[2] - middle))


def _range(values: Sequence[float]) -> str:
    return percent((max(values) - min(values)) / (sum(values) / len(values)) * 100, decimals=1)


def dosage_test(judged: JudgedBatch, active: str) -> TestResult | None:
    """The dosage-unit test of an active that has a mean and a standard deviation, if there is one."""
    wanted = ("mean_percent", "sd_percent")
    known = (test for test in content_tests(judged, active) if None not in map(test.figures.get, wanted))
    return next((test for test in known if test.id == "dosage-unit-uniformity"), None)


def boundaries_of(judged: JudgedBatch, active: str) -> list[AcceptanceBoundary]:
    """The boundaries of an active, fewest units first."""
    return sorted((edge for edge in judged.boundaries if edge.active == active), key=lambda edge: edge.n)


def draw_mean_and_sd(ax: Axes, *, judged: JudgedBatch, active: str) -> Axes:
    """Draw the greatest SD that passes at each mean, one line a number of units, and where this batch stands.

    The point is open while the test is undecided, and a cross where it failed or is bound to.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    judged, active
        What was judged, and of which active.

    Returns
    -------
    Axes
        The same axes.
    """
    for edge, dashes in zip(boundaries_of(judged, active), DASHES, strict=False):
        along, heights = zip(*edge.points, strict=True)
        ax.plot(along, heights, color=INK, linewidth=1.3, linestyle=dashes, label=f"edge for {edge.n} units")
        ax.fill_between(along, heights, color=MUTED, alpha=0.09, linewidth=0)
    test = dosage_test(judged, active)
    if test is not None:
        mean, sd = float(test.figures["mean_percent"] or 0), float(test.figures["sd_percent"] or 0)
        failed = test.verdict is Verdict.DOES_NOT_COMPLY
        marker, face = "X" if failed else "o", ACCENT if failed or test.verdict is Verdict.COMPLIES else PAPER
        label = f"this sample (n = {test.n}): {VERDICT[test.verdict]}"
        draw_points(ax, [(mean, sd)], marker=marker, size=9.0, face=face, on_top=True, label=label)
    ax.set_ylim(bottom=0.0)
    return finish(ax, across="mean content [% of label]", upward="SD [% of label]", below=1)


def plane_picture(judged: JudgedBatch, active: str, *, place: int) -> Picture | Prose:
    """The plane of mean and standard deviation of one active, and where the sample stands in it."""
    name = shortened(shown_text(active), most=60)
    edges = boundaries_of(judged, active)
    if not edges:
        return Prose(
            text=f"Mean and spread of {name} are not drawn, because the dosage-unit test was not judged for it."
        )
    test = dosage_test(judged, active)
    if test is None:
        counts = " and ".join(str(edge.n) for edge in edges)
        told = f"Edges of acceptance for {counts} units; this sample has no mean and standard deviation to place."
    else:
        told = "Samples under the line of their number of units pass on mean and spread."
    return picture(
        f"plane-{place}",
        f"Mean and spread of {name} against the dosage-unit test",
        what="Lines of the greatest standard deviation that passes at each mean, and a point for this sample; corners "
        f"of the lines as (mean, SD) [% of label], {_corners(edges)}",
        caption=told,
        draw=lambda ax: draw_mean_and_sd(ax, judged=judged, active=active),
        size=SMALL,
    )


def _corners(edges: Sequence[AcceptanceBoundary]) -> str:
    """The points between which the edges of acceptance run straight."""
    return "; ".join(
        f"{edge.n} units: "
        + ", ".join(f"({fixed(mean, decimals=2)}, {fixed(sd, decimals=3)})" for mean, sd in edge.points)
        for edge in edges
    )
