"""Where a label stands clear: of lines, of marks, of other labels and of the ends of the frame."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from msgspec import Struct
from msgspec.structs import replace

from qc.show.frame import Frame
from qc.show.writing import ASCENT, DESCENT, LINE_GAP, Label, wide_points

PAD = 0.12
"""Of the paper behind a label that stands clear nowhere, as a share of its size."""
AIR_POINTS = 1.5
"""Between a label and what it stands clear of."""
COST_OF_A_LINE = 1
COST_OF_A_BOX = 4
COST_OF_LEAVING = 16
"""A line under a label can be covered with paper; a mark or another label must not be, and what leaves is cut."""

Place = tuple[float, float]
Segment = tuple[Place, Place]


class Box(Struct, frozen=True, kw_only=True):
    """A rectangle, from the lower left corner of the frame [points]."""

    left: float
    low: float
    right: float
    high: float


def box_about(place: Place, *, half: float) -> Box:
    """The box of a mark [points]."""
    x, y = place
    return Box(left=x - half, low=y - half, right=x + half, high=y + half)


def size_of(label: Label) -> tuple[float, float]:
    """How wide and high a label is that is not turned [points]."""
    lines = label.text.split("\n")
    wide = max(wide_points(line, size=label.size, bold=label.bold) for line in lines)
    return wide, label.size * len(lines) * (ASCENT + DESCENT + (LINE_GAP if len(lines) > 1 else 0.0))


def box_of(frame: Frame, label: Label, *, size: tuple[float, float] | None = None) -> Box:
    """The box of a label that is written in data [points]; its size is measured where it is not given."""
    wide, high = size or size_of(label)
    x, y = frame.place_points(label.x, label.y)
    x, y = x + label.shift[0], y + label.shift[1]
    left = x - {"left": 0.0, "center": wide / 2, "right": wide}[label.across]
    low = y - {"bottom": 0.0, "center": high / 2, "top": high, "line": DESCENT * label.size}[label.up]
    return Box(left=left, low=low, right=left + wide, high=low + high)


def segments_of(frame: Frame, points: Sequence[Place]) -> list[Segment]:
    """The pieces of a line through data [points]."""
    placed = [frame.place_points(x, y) for x, y in points]
    return list(pairwise(placed))


def crosses(segment: Segment, box: Box) -> bool:
    """Whether a piece of a line runs through a box.

    References
    ----------
    Liang and Barsky, A new concept and method for line clipping, ACM Transactions on Graphics 3 (1984), 1-22;
    from memory.

    Examples
    --------
    >>> box = Box(left=0, low=0, right=2, high=1)
    >>> crosses(((-1, 0.5), (3, 0.5)), box), crosses(((-1, 0.0), (0.5, 3.0)), box)
    (True, False)
    """
    (x, y), (end_x, end_y) = segment
    along, up = end_x - x, end_y - y
    first, last = 0.0, 1.0
    for step, room in ((-along, x - box.left), (along, box.right - x), (-up, y - box.low), (up, box.high - y)):
        if step == 0:
            if room < 0:
                return False
        elif step < 0:
            first = max(first, room / step)
        else:
            last = min(last, room / step)
    return first < last


def overlap(one: Box, other: Box) -> bool:
    """Whether two boxes share an area."""
    return one.left < other.right and other.left < one.right and one.low < other.high and other.low < one.high


def clear_place(
    frame: Frame, candidates: Sequence[Label], *, lines: Sequence[Segment], boxes: Sequence[Box], aside: float = 0.0
) -> Label:
    """The first of several places of one label at which it crosses nothing; else the least bad one, on paper.

    Parameters
    ----------
    frame : Frame
        The frame it is written on, in data.
    candidates : sequence of Label
        The label in each place, the best first.
    lines, boxes : sequence
        What it should not cross: lines, and boxes of marks and of other labels [points].
    aside : float
        How far it may reach beyond the right end of the frame [points].

    Returns
    -------
    Label
    """
    best, least = candidates[0], -1
    size = size_of(best)
    for candidate in candidates:
        box = box_of(frame, candidate, size=size)
        airy = Box(left=box.left - AIR_POINTS, low=box.low, right=box.right + AIR_POINTS, high=box.high)
        crossed = sum(crosses(line, airy) for line in lines)
        covered = sum(overlap(airy, other) for other in boxes)
        inside = (
            box.left >= 0 and box.low >= 0 and box.right <= frame.wide_points + aside and box.high <= frame.high_points
        )
        cost = COST_OF_A_LINE * crossed + COST_OF_A_BOX * covered + (0 if inside else COST_OF_LEAVING)
        if not cost:
            return candidate
        if least < 0 or cost < least:
            best, least = candidate, cost
    return replace(best, backed=PAD)
