"""What was found beyond the verdict: the pour, the doses the masses show, causes, and what the data assure."""

from __future__ import annotations

from math import ceil, floor

from qc.results import Assurance, JudgedBatch
from qc.results.pour import DoseScreen
from qc.say.messages import paragraph, words
from qc.say.names import CAUSE, TEST, TREND, in_words
from qc.say.numbers import assured, fixed, p_digits, percent, probability, signed
from qc.say.text import shortened
from qc.show.chances import chance_pieces
from qc.show.pieces import ColumnOf, Piece, Prose, Section, Table, between, column, facts, lines, number, section, table
from qc.show.sections.answers import least_sure_first, titled

LEAST_P = 0.0001
NO_ASSAY = "A screening estimate, no substitute for an assay."
ABOUT_A_BOUND: tuple[ColumnOf[Assurance], ...] = (
    column("Test", lambda one: in_words(one.test, TEST)),
    column("Active", lambda one: one.active or None),
    number("Confidence", lambda one: percent(one.confidence * 100, decimals=0)),
)


def pour_order(judged: JudgedBatch) -> tuple[Section, ...]:
    """The trend of every series of the batch."""
    if judged.pour_trend is None:
        return ()
    found = judged.pour_trend
    series = [
        ("mass", found.mass),
        *((f"content of {active}", trend) for active, trend in found.content.items()),
        *((f"concentration of {active}", trend) for active, trend in found.concentration.items()),
    ]
    changes = table(
        "Change from the first unit to the last, in percent of the mean",
        series,
        column("Series", lambda one: shortened(one[0], most=50)),
        number("Units", lambda one: one[1].n),
        column("Finding", lambda one: TREND[one[1].flag]),
        number("Change [%]", lambda one: signed(one[1].change_percent, decimals=1)),
        between(
            "95 % interval [%]",
            lambda one: (one[1].change_low_percent, one[1].change_high_percent),
            decimals=1,
            sign=True,
        ),
        number("p", lambda one: _p_value(one[1].p_value)),
        number("Would have shown [%]", lambda one: fixed(one[1].detectable_percent, decimals=1)),
    )
    told = lines(*(trend.sentence for _, trend in series))
    return section("pour-order", "What happened over the pour", changes, *told)


def _p_value(p: float | None) -> str:
    """A p-value in a table, written as in a sentence."""
    return f"<\N{NO-BREAK SPACE}{LEAST_P}" if p is not None and p < LEAST_P else p_digits(p)


def doses_from_mass(judged: JudgedBatch) -> tuple[Section, ...]:
    """The screening estimate of each unit's active, or why the weights cannot show it."""
    screens = () if judged.pour is None else judged.pour.dose_from_mass
    return section("doses", "The dose seen through the balance", *(piece for one in screens for piece in _doses(one)))


def _doses(screen: DoseScreen) -> tuple[Piece, ...]:
    if not screen.doses:
        why = words(screen.silent_because) or "the weights cannot show the dose."
        return (Prose(text=f"{shortened(screen.active, most=60)}: {why}"),)
    told = lines(screen.sentence or NO_ASSAY, screen.displacement, screen.base_from)
    doses = table(
        f"{screen.active} inferred from the mass of each unit",
        screen.doses,
        column("Unit", lambda dose: dose.unit),
        number("Dose [mg]", lambda dose: fixed(dose.dose_mg, decimals=1)),
        between("95 % interval [mg]", lambda dose: (dose.low_mg, dose.high_mg), decimals=1),
        number("SD between units [mg]", lambda dose: fixed(dose.between_sd_mg, decimals=1)),
    )
    return (*told, doses)


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
    found = () if judged.pour is None else judged.pour.within_unit
    compared = table(
        "Parts of the same units compared, concentration over concentration",
        found,
        column("Active", lambda one: one.active),
        column("Parts", lambda one: one.parts),
        number("Units", lambda one: one.n),
        number("Ratio", lambda one: fixed(one.ratio, decimals=3)),
        between("95 % interval", lambda one: (one.low, one.high), decimals=3),
        number("p", lambda one: _p_value(one.p_value)),
        number("Between whole units [% RSD]", lambda one: percent(one.between_units_percent, decimals=1)),
    )
    return section("within-unit", "Within a unit", compared, *lines(*(one.sentence for one in found)))


def causes(judged: JudgedBatch) -> tuple[Section, ...]:
    """Possible causes with their probability and evidence, most probable first."""
    ordered = table(
        "Possible causes, most probable first; the probabilities add up to 100 %",
        sorted(judged.causes, key=lambda one: -one.probability),
        number("Probability", lambda one: probability(one.probability)),
        column("Cause", lambda one: in_words(one.cause, CAUSE)),
        column("Evidence", lambda one: paragraph(one.evidence) or None),
    )
    pairs = table(
        "Two causes at once that fit the measurements better than either by itself",
        judged.cause_pairs,
        number("Probability", lambda one: probability(one.probability)),
        column("Causes", lambda one: " and ".join(in_words(cause, CAUSE) for cause in one.causes)),
        column("Evidence", lambda one: words(one.sentence) or None),
    )
    telling = table(
        "What would tell the causes apart, the most telling for its effort first",
        judged.next_measurements,
        column("Measurement", lambda one: words(one.what)),
        column("Units", lambda one: ", ".join(one.units) or None),
        number(
            "Expected to remove [% of the uncertainty]",
            lambda one: None if one.settles is None else fixed(100 * one.settles, decimals=0),
        ),
    )
    return section("causes", "Possible causes", ordered, pairs, telling)


def assurance(judged: JudgedBatch) -> tuple[Section, ...]:
    """What the data in hand assure about another sample, and about the units that are left."""
    another = table(
        "What these data assure about another sample of the same batch",
        judged.assurance,
        *ABOUT_A_BOUND,
        number("Chance of passing", lambda one: assured(one.pass_chance_low)),
        between(
            "Tolerance interval [%]", lambda one: (one.tolerance_low_percent, one.tolerance_high_percent), decimals=1
        ),
        number("of the units", lambda one: percent(one.coverage * 100, decimals=0)),
    )
    told = lines(*(f"{titled(judged, one)}: {paragraph(one.said)}" for one in least_sure_first(judged)))
    return section("assurance", "How sure", another, _units_left(judged), *told, *chance_pieces(judged))


def _units_left(judged: JudgedBatch) -> Table:
    """What is assured about the units that are left; empty where none is, or their number is not known."""
    return table(
        "What they assure about the units of this batch that are left",
        [found for found in judged.assurance if found.units_left],
        *ABOUT_A_BOUND,
        number("Units left", lambda one: one.units_left),
        number("of them", _held),
        between("lie between [%]", _outward, decimals=1),
        number("Outside in the whole batch, at most", lambda one: one.outside_at_most),
    )


def _held(found: Assurance) -> str | None:
    """How many of the units left the interval holds."""
    if found.left_within is None:
        return None
    return "all" if found.left_within == found.units_left else f"at least {found.left_within}"


def _outward(found: Assurance) -> tuple[float | None, float | None]:
    """The ends for the units left, rounded outward, so that what is said of the units inside stays true."""
    low, high = found.left_low_percent, found.left_high_percent
    return None if low is None else floor(low * 10) / 10, None if high is None else ceil(high * 10) / 10
