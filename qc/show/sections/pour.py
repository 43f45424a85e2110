"""What the pour says beyond its trends: dose seen through the balance, units to assay, parts of a unit."""

from __future__ import annotations

from qc.results import JudgedBatch
from qc.results.pour import DoseScreen
from qc.say.numbers import fixed, interval, percent
from qc.show.content import dose_picture
from qc.show.pieces import Piece, Section, column, facts, lines, number, section, table


def doses_from_mass(judged: JudgedBatch) -> tuple[Section, ...]:
    """The screening estimate of each unit's active, or why the weights cannot show it."""
    pieces: list[Piece] = []
    for place, screen in enumerate(() if judged.pour is None else judged.pour.dose_from_mass, start=1):
        pieces.append(dose_picture(judged, screen, place=place))
        if screen.doses:
            pieces += _dose_pieces(screen)
    return section("doses", "The dose seen through the balance", *pieces)


def _dose_pieces(screen: DoseScreen) -> list[Piece]:
    doses = table(
        f"{screen.active} inferred from the mass of each unit",
        screen.doses,
        column("Unit", lambda dose: dose.unit),
        number("Dose [mg]", lambda dose: fixed(dose.dose_mg, decimals=1)),
        number("95 % interval [mg]", lambda dose: interval(dose.low_mg, dose.high_mg, decimals=1)),
        number("SD between units [mg]", lambda dose: fixed(dose.between_sd_mg, decimals=1)),
    )
    return [*lines(screen.displacement, screen.base_from), doses]


def assay_list(judged: JudgedBatch) -> tuple[Section, ...]:
    """Which units to assay next."""
    if judged.pour is None or judged.pour.assay_list is None:
        return ()
    found = judged.pour.assay_list
    drawn = f"Drawn at random for the test: {', '.join(found.random_units)}" if found.random_units else ""
    caption = "Further units that would best reveal a change over the pour"
    revealing = facts(caption, found.revealing, what="Unit", value="Why")
    told = lines(drawn, found.sentence)
    return section("assay-list", "Which units to assay", *told, revealing)


def within_units(judged: JudgedBatch) -> tuple[Section, ...]:
    """Tip, middle and end of the same units compared."""
    if judged.pour is None or not judged.pour.within_unit:
        return ()
    found = judged.pour.within_unit
    compared = table(
        "Parts of the same units compared, concentration over concentration",
        found,
        column("Active", lambda one: one.active),
        column("Parts", lambda one: one.parts),
        number("Units", lambda one: one.n),
        number("Ratio", lambda one: fixed(one.ratio, decimals=3)),
        number("95 % interval", lambda one: interval(one.low, one.high, decimals=3)),
        number("p", lambda one: fixed(one.p_value, decimals=4)),
        number("Between whole units [% RSD]", lambda one: percent(one.between_units_percent, decimals=1)),
    )
    return section("within-unit", "Within a unit", compared, *lines(*(one.sentence for one in found)))
