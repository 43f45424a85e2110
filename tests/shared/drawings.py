"""What stands on an axis, as plain data: lines, bars, texts, limits, labels and ticks."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from matplotlib.axes import Axes
from matplotlib.collections import Collection
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.text import Text


def seen(draw: Callable[[Axes], object], *, size: tuple[float, float] = (6.0, 3.0)) -> dict[str, Any]:
    """Draw on an axis of its own, and tell all that stands there."""
    ax = Figure(figsize=size).add_axes((0.15, 0.15, 0.7, 0.7))
    draw(ax)
    return {
        "limits": [*ax.get_xlim(), *ax.get_ylim()],
        "labels": [ax.get_xlabel(), ax.get_ylabel(), ax.get_title()],
        "ticks": [[*ax.get_xticks()], [*ax.get_yticks()]],
        "named": [[one.get_text() for one in axis.get_ticklabels()] for axis in (ax.xaxis, ax.yaxis)],
        "lines": [
            [
                one.get_xydata().tolist()[:12], to_hex(str(one.get_color())), one.get_linestyle(), one.get_linewidth(),
                str(one.get_marker()), one.get_markersize(), to_hex(one.get_markerfacecolor()), str(one.get_label()),
            ]
            for one in ax.get_lines()
        ],
        "patches": [_patch(one) for one in ax.patches],
        "collections": [_collection(one) for one in ax.collections],
        "texts": [_text(one) for one in ax.texts],
        "legend": [one.get_text() for one in legend.get_texts()] if (legend := ax.get_legend()) else [],
    }  # fmt: skip


def _patch(one: Patch) -> list[Any]:
    return [
        one.get_path().get_extents(one.get_patch_transform()).get_points().tolist(), to_hex(one.get_facecolor()),
        to_hex(one.get_edgecolor()), one.get_linewidth(), one.get_hatch(), str(one.get_label()),
    ]  # fmt: skip


def _collection(one: Collection) -> list[Any]:
    return [
        type(one).__name__, [path.vertices.tolist()[:6] for path in one.get_paths()[:4]],
        [to_hex(colour) for colour in one.get_facecolor()[:2]], one.get_offsets().tolist()[:8], str(one.get_label()),
    ]  # fmt: skip


def _text(one: Text) -> list[Any]:
    return [one.get_text(), *one.get_position(), one.get_fontsize(), to_hex(str(one.get_color())), one.get_ha()]
