"""The pages of teaching batches: the answer key of one, and the gallery of all faults on the same scales."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

from qc.causes.drawing import Drawn
from qc.results import JudgedBatch
from qc.say.names import CAUSE, CAUSE_EFFECT
from qc.say.numbers import fixed, plain_limit
from qc.say.physics import physics_line
from qc.say.telling_apart import TRACES, LookAlike, Signature, telling_apart
from qc.show.pages_html import pages, plain_page
from qc.show.pieces import ColumnOf, Lines, Piece, Prose, Table, column, facts, number, section, table
from qc.show.sections import evidence, findings
from qc.teach.pictures import LessonPictures, contents, masses

TEMPLATES = Path(__file__).parent / "templates"
INCHES_IN_GALLERY = 4.6


def key_page(drawn: Drawn, *, key: dict[str, Any], judged: JudgedBatch) -> str:
    """The answer key as one page that needs nothing from anywhere; it ends in what the report of the batch says too.

    Parameters
    ----------
    drawn : Drawn
        The batch and its truth.
    key : dict
        The key as a document.
    judged : JudgedBatch
        The batch as it is judged from its workbook, for the working.
    """
    pictures, mass, content = LessonPictures(drawn=drawn), masses(drawn), contents(drawn)
    sections = (
        *section("answer", "The answer", *_answer(key, judged)),
        *section("tray", "The tray: true values, and as measured", *map(pictures.tray, (*mass, *content))),
        *section("pour", "Along the pour", pictures.pour(*mass), pictures.pour(*content), pictures.parts()),
        *section("physics", "How it came about", *_physics(drawn, key)),
        *section("apart", "How to tell it apart", *told_apart(key)),
        *section("units", "Every unit", _units(drawn, key)),
        *findings.causes(judged),
        *evidence.plan(judged),
        *evidence.working(judged, every_unit=True),
    )
    return plain_page(
        kind="Answer key of a teaching batch",
        title=f"Answer key: {key['title']}, seed {key['seed']}",
        sections=sections,
        closing="The batch was made up for teaching; nothing of it was poured or assayed.",
    )


def _answer(key: dict[str, Any], judged: JudgedBatch) -> tuple[Piece, ...]:
    batch, made = judged.batch, f"{len(key['units'])} units, seed {key['seed']}, strength {key['strength']}"
    return (
        Lines(title=f"{key['title'][:1].upper()}{key['title'][1:]} ({key['fault']})", items=(key["story"],)),
        Prose(text=f"What this fault does: {key['what_it_does']}"),
        Prose(text=f"{batch.product}, batch {batch.number}; {made}."),
    )


def _physics(drawn: Drawn, key: dict[str, Any]) -> tuple[Piece, ...]:
    physics = table(
        "The physics",
        [physics_line(name, value) for name, value in drawn.physics.items()],
        column("Quantity", lambda one: one[0]),
        number("Value", lambda one: one[1]),
    )
    went = table(
        "Where the active went [mg]",
        key["actives"],
        column("Active", lambda one: one["active"]),
        number("Weighed", lambda one: fixed(one["weighed_mg"], decimals=1)),
        number("In the units", lambda one: fixed(one["in_units_mg"], decimals=1)),
        number("Lost before", lambda one: fixed(one["lost_before_mg"], decimals=1)),
        number("Left in the dish", lambda one: fixed(one["left_in_dish_mg"], decimals=1)),
    )
    usual = Prose(text="Nothing beyond the usual spread of a well made batch.")
    return (physics if drawn.physics else usual, went)


def told_apart(key: dict[str, Any]) -> tuple[Piece, ...]:
    """What the faults leave in each measurement, look-alikes with what separates them, and the steps of a decision."""
    records = telling_apart()
    kept = [(cause, records.causes[cause]) for cause in key["faults"] if cause in records.causes]
    alike = [(cause, one) for cause, signature in kept for one in signature.alike]
    steps = table(
        "The steps of a decision with the figures of this batch; the first yes names the cause",
        key["told_apart"],
        column("Question", lambda one: one["ask"]),
        number("Figures", lambda one: "; ".join(against_limits(one))),
        column("Answer", lambda one: "yes" if one["yes"] else "no"),
        column("A yes names", lambda one: CAUSE[one["cause"]]),
        strong=lambda one: bool(one["yes"]),
    )
    return (*map(signature_table, kept), steps, alike_table(alike))


def against_limits(step: dict[str, Any]) -> list[str]:
    """Each figure of a step beside its threshold."""
    when = next(one.when for one in telling_apart().steps if one.cause == step["cause"])
    return [
        f"{one.figure.replace('_', ' ')} {fixed(step['figures'][one.figure], decimals=2)} ({one.in_words()})"
        for one in when
    ]


def signature_table(kept: tuple[str, Signature]) -> Piece:
    """What one cause leaves in each measurement."""
    cause, signature = kept
    traces = [(trace.capitalize(), getattr(signature, trace)) for trace in TRACES]
    return facts(f"Signature of: {CAUSE[cause]}", traces, what="In", value="What it leaves")


def alike_table(alike: Sequence[tuple[str, LookAlike]]) -> Table:
    """What causes are taken for, and the one measurement that separates the two."""
    return table(
        "Look-alikes",
        alike,
        column("Cause", lambda one: CAUSE[one[0]]),
        column("Taken for", lambda one: CAUSE[one[1].cause]),
        column("What separates them", lambda one: one[1].measure),
    )


def _units(drawn: Drawn, key: dict[str, Any]) -> Piece:
    return table(
        "True and written down",
        key["units"],
        column("Unit", lambda one: one["unit"]),
        column("Mould", lambda one: one["mould"]),
        column("Cavity", lambda one: one["cavity"]),
        number("True mass [g]", lambda one: fixed(one["true_mass_g"], decimals=4)),
        number("Written mass [g]", lambda one: str(drawn.written.masses_g[one["pour_order"] - 1])),
        *(shown for one in key["actives"] for shown in _contents_of(one["active"])),
    )


def _contents_of(active: str) -> tuple[ColumnOf[dict[str, Any]], ...]:
    """The true content of an active in every unit, and what was found of it."""
    return (
        number(f"True {active} [mg]", lambda one: fixed(one["true_content_mg"][active], decimals=1)),
        number("[% of label]", lambda one: fixed(one["true_content_percent"][active], decimals=1)),
        number("By assay [mg]", lambda one: ", ".join(map(plain_limit, one["written_content_mg"][active]))),
    )


def gallery_page(lessons: Sequence[tuple[str, Drawn]]) -> str:
    """A page with one row a fault: masses, contents, parts, and the tray with its true values.

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
        made, content = LessonPictures(drawn=drawn, fault=id, wide=INCHES_IN_GALLERY), contents(drawn)
        pictures = made.pour(*masses(drawn)), made.pour(*content), made.parts(), made.tray(content[0])
        rows.append({"id": id, "title": CAUSE[id], "does": CAUSE_EFFECT[id], "pictures": pictures})
    return pages(TEMPLATES).get_template("lesson_gallery.html").render(rows=rows)
