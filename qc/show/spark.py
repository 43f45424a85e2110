"""A line as small as a word, of what was measured in pour order; the page says beside it what was found there."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape

from qc.show.palette import DRAWN, MUTED
from qc.show.pieces import Marked

WIDE, HIGH, AIR = 120, 22, 2
MOST_POINTS = 60


def spark_line(values: Sequence[float], told: str) -> Marked:
    """The values from left to right, from the lowest to the highest of them, with their mean as a level line.

    Parameters
    ----------
    values : sequence of float
        In any unit; at least one.
    told : str
        What the line shows, for those who do not see it.

    Returns
    -------
    Marked
        SVG text of fixed size, and the words.
    """
    low, high = min(values), max(values)
    apart, step = high - low or 1.0, (WIDE - 2 * AIR) / max(len(values) - 1, 1)

    def height(value: float) -> int:
        return round(HIGH - AIR - (value - low) / apart * (HIGH - 2 * AIR))

    level = height(sum(values) / len(values))
    points = " ".join(f"{round(AIR + place * step)},{height(value)}" for place, value in enumerate(values))
    size = f'width="{WIDE}" height="{HIGH}" viewBox="0 0 {WIDE} {HIGH}"'
    return Marked(
        told,
        svg=f'<svg role="img" aria-label="In pour order: {escape(told)}" {size}>'
        f'<path d="M0 {level}H{WIDE}" stroke="{MUTED}" stroke-width=".5"/>'
        f'<polyline points="{points}" fill="none" stroke="{DRAWN}" stroke-width="1.5"/></svg>',
    )
