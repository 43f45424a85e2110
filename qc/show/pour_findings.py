"""What the pour says beyond its trends: dose seen through the balance, units to assay, parts of a unit."""

from __future__ import annotations

from qc.results import JudgedBatch
from qc.results.pour import AssayList, DoseScreen, WithinUnit
from qc.say.messages import words
from qc.say.names import said
from qc.say.numbers import NOTHING, fixed, percent
from qc.show.pictures import dose_picture
from qc.show.view import Column, Lines, Piece, Section, Table


def doses_from_mass(judged: JudgedBatch) -> tuple[Section, ...]:
    """The screening estimate of each unit's active, or why the weights cannot show it."""
    if judged.pour is None or not judged.pour.dose_from_mass:
        return ()
    pieces: list[Piece] = []
    for place, screen in enumerate(judged.pour.dose_from_mass, start=1):
        pieces.append(dose_picture(judged, screen, place=place))
        if screen.doses:
            pieces += _dose_pieces(screen)
    return (Section(id="doses", title="The dose seen through the balance", pieces=tuple(pieces)),)


def _dose_pieces(screen: DoseScreen) -> list[Piece]:
    told = tuple(said(words(part)) for part in (screen.displacement, screen.base_from) if part)
    table = Table(
        caption=f"{screen.active} inferred from the mass of each unit",
        columns=(
            Column(head="Unit"),
            Column(head="Dose [mg]", number=True),
            Column(head="95 % interval [mg]", number=True),
            Column(head="SD between units [mg]", number=True),
        ),
        rows=tuple(
            (
                dose.unit,
                fixed(dose.dose_mg, decimals=1),
                f"{fixed(dose.low_mg, decimals=1)} to {fixed(dose.high_mg, decimals=1)}",
                fixed(dose.between_sd_mg, decimals=1),
            )
            for dose in screen.doses
        ),
    )
    return [*((Lines(items=told),) if told else ()), table]


def assay_list(judged: JudgedBatch) -> tuple[Section, ...]:
    """Which units to assay next."""
    if judged.pour is None or judged.pour.assay_list is None:
        return ()
    listed = judged.pour.assay_list
    told = tuple(said(text) for text in (_random_units(listed), words(listed.sentence)) if text)
    pieces: list[Piece] = [Lines(items=told)] if told else []
    if listed.revealing:
        pieces.append(
            Table(
                caption="Further units that would best reveal a change over the pour",
                columns=(Column(head="Unit"), Column(head="Why")),
                rows=listed.revealing,
            )
        )
    return (Section(id="assay-list", title="Which units to assay", pieces=tuple(pieces)),)


def _random_units(listed: AssayList) -> str:
    return f"Drawn at random for the test: {', '.join(listed.random_units)}" if listed.random_units else ""


def within_units(judged: JudgedBatch) -> tuple[Section, ...]:
    """Tip, middle and end of the same units compared."""
    if judged.pour is None or not judged.pour.within_unit:
        return ()
    found = judged.pour.within_unit
    table = Table(
        caption="Parts of the same units compared, concentration over concentration",
        columns=(
            Column(head="Active"),
            Column(head="Parts"),
            Column(head="Units", number=True),
            Column(head="Ratio", number=True),
            Column(head="95 % interval", number=True),
            Column(head="p", number=True),
            Column(head="Between whole units [% RSD]", number=True),
        ),
        rows=tuple(_within_row(one) for one in found),
    )
    told = tuple(said(words(one.sentence)) for one in found if one.sentence)
    pieces: tuple[Piece, ...] = (table, *((Lines(items=told),) if told else ()))
    return (Section(id="within-unit", title="Within a unit", pieces=pieces),)


def _within_row(one: WithinUnit) -> tuple[str, ...]:
    known = one.low is not None and one.high is not None
    return (
        one.active,
        one.parts,
        str(one.n),
        fixed(one.ratio, decimals=3),
        f"{fixed(one.low, decimals=3)} to {fixed(one.high, decimals=3)}" if known else NOTHING,
        fixed(one.p_value, decimals=4),
        percent(one.between_units_percent, decimals=1),
    )
