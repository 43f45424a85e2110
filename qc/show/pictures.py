"""The pictures of a batch with caption and alternative text, or the reason why one is not there."""

from __future__ import annotations

from collections.abc import Callable

from qc.results import JudgedBatch
from qc.results.pour import DoseScreen
from qc.say.messages import words
from qc.say.names import said, shortened, shown_text
from qc.show import captions, doses, moulds, plane, scatter, series, tray, tray_layout
from qc.show.frame import Frame
from qc.show.svg import INCHES_WIDE, drawn
from qc.show.view import Picture, Prose

Drawing = Callable[[Frame], object]


def tray_picture(judged: JudgedBatch) -> Picture | Prose:
    """The tray as it was poured."""
    if not any(row.mass_g is not None for row in judged.unit_rows):
        return Prose(text="The tray is not drawn, because no unit was weighed.")
    layout = tray_layout.with_defects(tray_layout.tray_layout(judged.unit_rows), judged=judged)
    wide, high = tray_layout.tray_inches(layout)
    side = (INCHES_WIDE - wide) / 2
    title = "The tray as it was poured" if layout.by_mould else "The units in pour order (no mould or cavity was given)"
    return picture(
        identifier="tray",
        title=title,
        caption=captions.tray_caption(judged, by_mould=layout.by_mould)
        + captions.left_out_of_names(judged.unit_rows)
        + captions.seen(layout),
        what="Every unit with its number and the deviation of its mass from the mean in percent",
        draw=lambda frame: tray.draw_tray(frame, judged=judged, layout=layout),
        inches_high=high,
        margins=(side, side, 0.0, 0.0),
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
        draw=lambda frame: series.draw_series(frame, series=found),
        inches_high=series.INCHES_HIGH,
        margins=series.MARGINS,
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
        draw=lambda frame: series.draw_series(frame, series=found),
        inches_high=series.INCHES_HIGH,
        margins=series.MARGINS,
    )


def mould_pictures(judged: JudgedBatch, active: str | None, *, place: int) -> list[Picture]:
    """One series mould by mould, the masses or the contents of an active; none where that would show nothing more."""
    found = series.mass_series(judged) if active is None else series.content_series(judged, active)
    split = None if found is None else moulds.by_mould(judged.unit_rows, found)
    if split is None:
        return []
    name = "Masses" if active is None else f"Contents of {shortened(shown_text(active), most=60)}"
    return [
        picture(
            identifier=f"moulds-{place}",
            title=f"{name}, mould by mould",
            caption=captions.mould_caption(split),
            what="Points of each mould side by side on one scale, as measured and without cavity differences",
            draw=lambda frame: moulds.draw_moulds(frame, moulds=split),
            inches_high=moulds.INCHES_HIGH,
            margins=series.MARGINS,
        )
    ]


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
        draw=lambda frame: scatter.draw_mass_against_content(frame, judged=judged, active=active),
        inches_high=scatter.INCHES_HIGH,
        margins=scatter.MARGINS,
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
        draw=lambda frame: plane.draw_mean_and_sd(frame, judged=judged, active=active),
        inches_high=plane.INCHES_HIGH,
        margins=plane.MARGINS,
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
        draw=lambda frame: doses.draw_doses(frame, judged=judged, screen=screen),
        inches_high=series.INCHES_HIGH,
        margins=series.MARGINS,
    )


def picture(
    *,
    identifier: str,
    title: str,
    caption: str,
    what: str,
    draw: Drawing,
    inches_high: float,
    margins: tuple[float, float, float, float],
) -> Picture:
    """A drawing with its words; the caption says what to see in it, and stands in the alternative text too."""
    caption = shown_text(caption)
    alternative = f"{what}. {caption} The numbers stand in the table that follows."
    svg = drawn(draw, name=identifier, title=title, alternative=alternative, inches_high=inches_high, margins=margins)
    return Picture(id=identifier, title=title, svg=svg, caption=caption, alternative=alternative)
