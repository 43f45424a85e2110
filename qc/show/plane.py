"""The plane of mean and standard deviation: how far a sample stands from the edge of the dosage-unit test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.results import AcceptanceBoundary, JudgedBatch, TestResult, Verdict
from qc.say.numbers import fixed
from qc.show.axes import legend_beside, name_axes
from qc.show.headline import NOT_TO_BE_CLEARED, test_verdict
from qc.show.palette import ACCENT, INK, MUTED, PAPER
from qc.show.svg import Size

if TYPE_CHECKING:
    from matplotlib.axes import Axes

SIZE = Size(high=2.8)
DASHES = ("-", "--", ":")


def dosage_test(judged: JudgedBatch, active: str) -> TestResult | None:
    """The dosage-unit test of an active that has a mean and a standard deviation, if there is one."""
    for test in judged.tests:
        known = all(test.figures.get(name) is not None for name in ("mean_percent", "sd_percent"))
        if known and test.id == "dosage-unit-uniformity" and test.active in (active, None):
            return test
    return None


def boundaries_of(judged: JudgedBatch, active: str) -> list[AcceptanceBoundary]:
    """The boundaries of an active, fewest units first."""
    return sorted((edge for edge in judged.boundaries if edge.active == active), key=lambda edge: edge.n)


def draw_mean_and_sd(ax: Axes, *, judged: JudgedBatch, active: str) -> Axes:
    """Draw the greatest SD that passes at each mean, one line a number of units, and the point of this batch.

    Parameters
    ----------
    ax : Axes
        The axes to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    active : str
        Which active.

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
        _draw_sample(ax, test)
    ax.set_ylim(bottom=0.0)
    name_axes(ax, across="mean content [% of label]", upward="standard deviation [% of label]")
    legend_beside(ax)
    return ax


def _draw_sample(ax: Axes, test: TestResult) -> None:
    """Draw the point of the sample: open while the test is undecided, a cross where it failed or is bound to."""
    mean, sd = float(test.figures["mean_percent"] or 0), float(test.figures["sd_percent"] or 0)
    failed = test.verdict is Verdict.DOES_NOT_COMPLY or test_verdict(test) == NOT_TO_BE_CLEARED
    ax.plot(
        [mean],
        [sd],
        "X" if failed else "o",
        markersize=9.0,
        markerfacecolor=ACCENT if failed or test.verdict is Verdict.COMPLIES else PAPER,
        markeredgecolor=INK,
        zorder=4,
        # On the lower axis the point is drawn whole.
        clip_on=False,
        label=f"this sample (n = {test.n}):\nmean {fixed(mean, decimals=1)} %\nSD {fixed(sd, decimals=2)} %\n"
        f"{test_verdict(test)}",
    )
