"""The plane of mean and standard deviation: how far a sample stands from the edge of the dosage-unit test."""

from __future__ import annotations

from typing import TYPE_CHECKING

from qc.report.frame import Frame
from qc.report.labels import draw_scale, round_steps
from qc.report.marks import draw_area, draw_line, draw_marks
from qc.report.numbers import fixed
from qc.report.palette import ACCENT, INK, MUTED
from qc.report.writing import Label, write
from qc.results import AcceptanceBoundary, JudgedBatch, TestResult, Verdict

if TYPE_CHECKING:
    from qc.report.marks import Dashes

INCHES_HIGH = 3.1
MARGINS = (0.62, 0.3, 0.48, 0.15)
ROOM_PERCENT = 2.0
LABEL_DOWN = 0.5
"""How far down the falling side of an edge its label stands, as a share."""
ROOM_FOR_LABEL_POINTS = 28.0
HALF_LETTER_POINTS = 2.2
"""Half the width of a letter of the label of the point, about."""
POINT_POINTS = 4.5
"""Half the size of the point."""
_LINES: tuple[tuple[Dashes, float], ...] = (("-", 1.4), ((0, (5, 2.5)), 1.2), ((0, (1.5, 1.5)), 1.2))


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


def draw_mean_and_sd(frame: Frame, *, judged: JudgedBatch, active: str) -> Frame:
    """Draw the greatest SD that passes at each mean, one line a number of units, and the point of this batch.

    Parameters
    ----------
    frame : Frame
        The frame to draw on; nothing else is touched.
    judged : JudgedBatch
        What was judged.
    active : str
        Which active.

    Returns
    -------
    Frame
        The same frame.
    """
    edges = boundaries_of(judged, active)
    test = dosage_test(judged, active)
    means = [mean for edge in edges for mean, _ in edge.points]
    spreads = [spread for edge in edges for _, spread in edge.points]
    if test is not None:
        means.append(float(test.figures["mean_percent"] or 0))
        spreads.append(float(test.figures["sd_percent"] or 0))
    frame.set_ends(across=(min(means) - ROOM_PERCENT, max(means) + ROOM_PERCENT), upward=(0.0, max(spreads) * 1.15))
    names = []
    for edge, (dashes, width) in zip(edges, _LINES, strict=False):
        along, heights = zip(*edge.points, strict=True)
        draw_line(frame, along, heights, colour=INK, width=width, dashes=dashes, label=f"edge for {edge.n} units")
        draw_area(frame, [*edge.points, (along[-1], 0.0), (along[0], 0.0)], colour=MUTED, opacity=0.09)
        # On the falling side, where samples are rare: the lowest edge inside its line, the others outside theirs.
        (left, high), (right, low) = edge.points[-2:]
        inside = edge is edges[0] and len(edges) > 1
        names.append(
            Label(
                text=f"{edge.n} units",
                x=left + LABEL_DOWN * (right - left),
                y=high + LABEL_DOWN * (low - high),
                shift=(-6.0, -4.0) if inside else (6.0, 4.0),
                across="right" if inside else "left",
            )
        )
    write(frame, names)
    if test is not None:
        roof = max((spread for edge in edges for _, spread in edge.points), default=0.0)
        _draw_batch(frame, test, roof=roof)
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=7),
        upward=round_steps(*frame.upward, about=5),
        across_label="mean content [% of label]",
        upward_label="standard deviation [% of label]",
    )
    return frame


def _draw_batch(frame: Frame, test: TestResult, *, roof: float) -> None:
    mean, spread = float(test.figures["mean_percent"] or 0), float(test.figures["sd_percent"] or 0)
    passed = test.verdict is Verdict.COMPLIES
    draw_marks(frame, [mean], [spread], marker="o" if passed else "X", size=9.0, face=ACCENT, above=4.0)
    write(frame, [_said(frame, test, mean=mean, spread=spread, roof=roof)])


def _said(frame: Frame, test: TestResult, *, mean: float, spread: float, roof: float) -> Label:
    """What the point is: under it and as near the middle as it goes, where the edges lie farthest apart.

    Above it where there is no room under it, and beside a point that stands over all edges.
    """
    x, y = frame.place_points(mean, spread)
    lines = (
        f"this sample (n = {test.n})",
        f"mean {fixed(mean, decimals=1)} %, SD {fixed(spread, decimals=2)} %",
    )
    if spread > roof:
        right = x < 0.7 * frame.wide_points
        return Label(
            text="\n".join(lines),
            x=mean,
            y=spread,
            shift=(9.0 if right else -9.0, 0.0),
            across="left" if right else "right",
            bold=True,
        )
    below = y > ROOM_FOR_LABEL_POINTS
    reach = max(len(line) for line in lines) * HALF_LETTER_POINTS - POINT_POINTS
    to_middle = min(max(frame.wide_points / 2 - x, -reach), reach)
    return Label(
        text="\n".join(lines),
        x=mean,
        y=spread,
        shift=(to_middle, -7.0 if below else 7.0),
        up="top" if below else "bottom",
        bold=True,
    )
