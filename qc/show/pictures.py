"""The pictures of a batch with caption and alternative text, or the reason why one is not there."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from qc.results import JudgedBatch
from qc.results.pour import DoseScreen
from qc.say.messages import words
from qc.say.text import said, shortened, shown_text
from qc.show import captions, doses, plane, scatter, series, tray
from qc.show.pieces import Picture, Prose
from qc.show.svg import Size, drawn
from qc.show.tray_layout import tray_layout

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def tray_picture(judged: JudgedBatch) -> Picture | Prose:
    """The tray as it was poured."""
    if not any(row.mass_g is not None for row in judged.unit_rows):
        return Prose(text="The tray is not drawn, because no unit was weighed.")
    layout = tray_layout(judged.unit_rows)
    seen, letters = tray.letters_of_defects(judged, layout)
    limits = (judged.mass_limit_percent, judged.mass_outer_percent)
    return picture(
        identifier="tray",
        title="The tray as it was poured"
        if layout.by_mould
        else "The units in pour order (no mould or cavity was given)",
        caption=captions.tray_caption(judged, by_mould=layout.by_mould)
        + captions.left_out_of_names(judged.unit_rows)
        + captions.seen(seen, letters=letters, rows=judged.unit_rows),
        what="Every unit with its number and the deviation of its mass from the mean in percent",
        draw=lambda ax: tray.draw_tray(ax, layout=layout, limits=limits, letters=letters),
        size=tray.tray_size(layout),
    )


def mass_picture(judged: JudgedBatch) -> Picture | Prose:
    """The masses in pour order."""
    found = series.mass_series(judged)
    if found is None:
        return Prose(text="Masses in pour order are not drawn, because no unit was weighed.")
    return picture(
        identifier="masses",
        title="Masses in pour order",
        caption=captions.mass_caption(judged, found),
        what="Points of mass over pour order with level lines for the mean and the limits",
        draw=lambda ax: series.draw_series(ax, series=found),
        size=series.SIZE,
    )


def content_picture(judged: JudgedBatch, active: str, *, place: int) -> Picture | Prose:
    """The contents of one active in pour order."""
    name = shortened(shown_text(active), most=60)
    found = series.content_series(judged, active)
    if found is None:
        return Prose(text=f"Contents of {name} in pour order are not drawn, because no whole unit was assayed for it.")
    return picture(
        identifier=f"contents-{place}",
        title=f"Contents of {name} in pour order",
        caption=captions.content_caption(judged, found, active=active),
        what="Points of content over pour order with lines for the mean, the limits about it, and the label",
        draw=lambda ax: series.draw_series(ax, series=found),
        size=series.SIZE,
    )


def scatter_picture(judged: JudgedBatch, active: str, *, place: int) -> Picture | Prose:
    """Mass against content of one active."""
    name = shortened(shown_text(active), most=60)
    both = scatter.units_with_both(judged, active)
    if len(both) < scatter.LEAST_UNITS:
        return Prose(
            text=f"Mass against content of {name} is not drawn: fewer than two units were both weighed and assayed."
        )
    return picture(
        identifier=f"mass-content-{place}",
        title=f"Mass against content of {name}",
        caption=captions.scatter_caption(both),
        what="Points of content over mass with a dashed line of equal concentration",
        draw=lambda ax: scatter.draw_mass_against_content(ax, judged=judged, active=active),
        size=scatter.SIZE,
    )


def plane_picture(judged: JudgedBatch, active: str, *, place: int) -> Picture | Prose:
    """The plane of mean and standard deviation of one active."""
    name = shortened(shown_text(active), most=60)
    if not plane.boundaries_of(judged, active):
        return Prose(
            text=f"Mean and spread of {name} are not drawn, because the dosage-unit test was not judged for it."
        )
    return picture(
        identifier=f"plane-{place}",
        title=f"Mean and spread of {name} against the dosage-unit test",
        caption=captions.plane_caption(judged, active=active),
        what="Lines of the greatest standard deviation that passes at each mean, and a point for this sample",
        draw=lambda ax: plane.draw_mean_and_sd(ax, judged=judged, active=active),
        size=plane.SIZE,
    )


def dose_picture(judged: JudgedBatch, screen: DoseScreen, *, place: int) -> Picture | Prose:
    """The dose seen through the balance, of one active; or why the weights cannot show it."""
    name = shortened(shown_text(screen.active), most=60)
    if not screen.doses:
        return Prose(text=f"{name}: {words(screen.silent_because) or 'the weights cannot show the dose.'}")
    return picture(
        identifier=f"doses-{place}",
        title=f"{name} seen through the balance",
        caption=said(words(screen.sentence)) or "A screening estimate, no substitute for an assay.",
        what="Bars of the dose inferred from each mass over pour order, and triangles for assayed units",
        draw=lambda ax: doses.draw_doses(ax, judged=judged, screen=screen),
        size=series.SIZE,
    )


def picture(
    *,
    identifier: str,
    title: str,
    caption: str,
    what: str,
    draw: Callable[[Axes], object],
    size: Size,
) -> Picture:
    """A drawing with its words; the caption says what to see in it, and stands in the alternative text too."""
    caption = shown_text(caption)
    alternative = f"{what}. {caption} The numbers stand in the table that follows."
    svg = drawn(draw, name=identifier, title=title, alternative=alternative, size=size)
    return Picture(id=identifier, title=title, svg=svg, caption=caption, alternative=alternative)
