"""The plane of mean and standard deviation: how far a sample stands from the edge of the dosage-unit test."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.results import AcceptanceBoundary, JudgedBatch, TestResult, Verdict
from qc.say.numbers import fixed
from qc.show.frame import Frame
from qc.show.headline import NOT_TO_BE_CLEARED, test_verdict
from qc.show.labels import draw_scale, round_steps
from qc.show.marks import draw_area, draw_line, draw_marks
from qc.show.palette import ACCENT, INK, MUTED, PAPER
from qc.show.room import AIR_POINTS, Box, Segment, box_about, box_of, clear_place, segments_of
from qc.show.writing import Label, wide_points, write

if TYPE_CHECKING:
    from qc.show.marks import Dashes

INCHES_HIGH = 3.1
MARGINS = (0.62, 0.3, 0.48, 0.15)
ROOM_PERCENT = 2.0
DOWN = (0.5, 0.3, 0.7, 0.15, 0.85)
"""How far down the side of an edge its name may stand, as shares."""
FOOT_POINTS = 48.0
"""How far from the foot of an edge its name stands where the nearest place there is taken."""
POINT_POINTS = 5.5
"""Half the size of the point with the line around it."""
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
    for edge, (dashes, width) in zip(edges, _LINES, strict=False):
        along, heights = zip(*edge.points, strict=True)
        draw_line(frame, along, heights, colour=INK, width=width, dashes=dashes, label=f"edge for {edge.n} units")
        draw_area(frame, [*edge.points, (along[-1], 0.0), (along[0], 0.0)], colour=MUTED, opacity=0.09)
    lines = [segment for edge in edges for segment in segments_of(frame, edge.points)]
    taken = [] if test is None else [_draw_batch(frame, test, lines=lines)]
    for edge in edges:
        inside = edge is edges[0] and len(edges) > 1
        name = clear_place(frame, _places_of_edge(edge, inside=inside), lines=lines, boxes=taken)
        taken.append(box_of(frame, name))
        write(frame, [name])
    draw_scale(
        frame,
        across=round_steps(*frame.across, about=7),
        upward=round_steps(*frame.upward, about=5),
        across_label="mean content [% of label]",
        upward_label="standard deviation [% of label]",
    )
    return frame


def _sample_mark(test: TestResult) -> tuple[str, str]:
    """Marker and colour of the point: open while the test is undecided, a cross where it failed or is bound to."""
    if test.verdict is Verdict.COMPLIES:
        return "o", ACCENT
    failed = test.verdict is Verdict.DOES_NOT_COMPLY or test_verdict(test) == NOT_TO_BE_CLEARED
    return ("X", ACCENT) if failed else ("o", PAPER)


def _places_of_edge(edge: AcceptanceBoundary, *, inside: bool) -> list[Label]:
    """Where the name of an edge may stand: on its falling side, its rising side, over its top, the best first.

    Samples are rare on the falling side. The lowest edge has its name inside its line, the others outside theirs.
    """
    text = f"{edge.n} units"
    (left, high), (right, low) = edge.points[-2:]
    (rise, foot), (top, head) = edge.points[:2]
    sides = [(left, high, right, low, share, 1.0) for share in DOWN]
    sides += [(top, head, rise, foot, share, -1.0) for share in DOWN]
    found = [
        Label(
            text=text,
            x=x + share * (end_x - x),
            y=y + share * (end_y - y),
            shift=(-outward * 6.0, -4.0) if inside else (outward * 6.0, 4.0),
            across="right" if inside is (outward > 0) else "left",
        )
        for x, y, end_x, end_y, share, outward in sides
    ]
    found.append(Label(text=text, x=(left + top) / 2, y=high, shift=(0.0, 2.0), up="bottom"))
    # Where the edges are flat, beside their feet.
    for reach in (4.0, FOOT_POINTS):
        found.append(Label(text=text, x=right, y=low, shift=(reach, 2.0), across="left", up="bottom"))
        found.append(Label(text=text, x=rise, y=foot, shift=(-reach, 2.0), across="right", up="bottom"))
    return found


def _draw_batch(frame: Frame, test: TestResult, *, lines: Sequence[Segment]) -> Box:
    """Draw the point of the sample and say beside it what it is; the box that the words take is returned."""
    mean, spread = float(test.figures["mean_percent"] or 0), float(test.figures["sd_percent"] or 0)
    marker, face = _sample_mark(test)
    draw_marks(frame, [mean], [spread], marker=marker, size=9.0, face=face, above=4.0, whole=True)
    point = box_about(frame.place_points(mean, spread), half=POINT_POINTS)
    places = _places_of_sample(frame, test, mean=mean, spread=spread)
    said = clear_place(frame, places, lines=lines, boxes=[point])
    write(frame, [said], above=3.5)
    return box_of(frame, said)


def _places_of_sample(frame: Frame, test: TestResult, *, mean: float, spread: float) -> list[Label]:
    """Where the words of the point may stand, the best first.

    Under it and as near the middle as they go, where the edges lie farthest apart; above it; beside it, farther and
    farther away.
    """
    x, _ = frame.place_points(mean, spread)
    lines = [f"this sample (n = {test.n})", f"mean {fixed(mean, decimals=1)} %, SD {fixed(spread, decimals=2)} %"]
    if test.verdict is not Verdict.COMPLIES:
        # The key to an open point or a cross.
        lines.append(test_verdict(test))
    plain = Label(text="\n".join(lines), x=mean, y=spread, bold=True)
    reach = max(wide_points(line, size=plain.size, bold=True) for line in lines) / 2 - POINT_POINTS
    to_middle = min(max(frame.wide_points / 2 - x, -reach), reach)
    # As far from the middle as the frame has room for.
    half = reach + POINT_POINTS + AIR_POINTS
    outward = -min(reach, x - half) if to_middle > 0 else min(reach, frame.wide_points - half - x)
    right, left = (replace(plain, across=side) for side in ("left", "right"))

    def beside(away: float, up: float) -> list[Label]:
        both = [replace(right, shift=(away, up)), replace(left, shift=(-away, up))]
        return both if x < frame.wide_points * 0.7 else both[::-1]

    def under_and_over(away: float) -> list[Label]:
        return [
            replace(plain, shift=(along, -away if below else away), up="top" if below else "bottom")
            for along in (to_middle, 0.0, outward)
            for below in (True, False)
        ]

    near = [*under_and_over(7.0), *beside(9.0, 0.0)]
    farther = [label for away in (14.0, 21.0, 28.0) for label in under_and_over(away)]
    far = [label for away in (24.0, 48.0, 80.0) for up in (0.0, 18.0, -18.0) for label in beside(away, up)]
    return near + farther + far
