"""The gallery: all faults side by side, on the same scales, so that each is seen without reading."""

from __future__ import annotations

from collections.abc import Sequence

from qc.causes.drawing import Drawn
from qc.say.names import CAUSE, CAUSE_EFFECT
from qc.teach.pictures import mass_and_content_plots, parts_plot, tray, true_contents
from qc.teach.style import laid_out

MASS_REACH = 16.0
CONTENT_REACH = 40.0
PARTS_REACH = 30.0


def gallery_page(lessons: Sequence[tuple[str, Drawn]]) -> str:
    """A page with one row a fault: masses, contents, parts, and the tray as it truly is.

    Parameters
    ----------
    lessons : sequence of (cause id, Drawn)
        What is shown, in order.

    Returns
    -------
    str
        HTML that needs nothing from anywhere.
    """
    rows = []
    for id, drawn in lessons:
        masses, contents = mass_and_content_plots(drawn, mass_reach=MASS_REACH, content_reach=CONTENT_REACH)
        rows.append(
            {
                "id": id,
                "title": CAUSE[id],
                "does": CAUSE_EFFECT[id],
                "masses": masses,
                "contents": contents,
                "parts": parts_plot(drawn, title="Parts of a unit, %", reach=PARTS_REACH),
                "tray": tray(drawn, true_contents(drawn), title="True content, % from label", reach=CONTENT_REACH / 2),
            }
        )
    return laid_out("lesson_gallery.html", rows=rows)
