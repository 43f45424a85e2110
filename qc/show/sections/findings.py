"""What was found beyond the verdict: the pour, the doses the masses show, causes, and what the data assure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import partial
from math import ceil, floor

from qc.results import SOUND, Assurance, CauseFound, CauseGroup, JudgedBatch, TrendFlag, named_together
from qc.results.chance import LEAST_ASSURED
from qc.results.messages import message
from qc.results.pour import DoseScreen, Trend
from qc.say.messages import paragraph, words
from qc.say.messages.remedies import FIGURE, SPREADS
from qc.say.names import CAUSE, TREND, any_of, in_words
from qc.say.numbers import at_least, fixed, p_digits, percent, probability, signed
from qc.say.text import counted, listed, shortened, stretch_named
from qc.show.pieces import Piece, Section, between, column, lines, number, section, table
from qc.show.sections import answers
from qc.show.sections.answers import cannot_say, least_sure_first, likeliest, titled

LEAST_P = 0.0001
LEAST_APART = 0.01
"""Causes less probable share a line [-]."""
NO_ASSAY = "A screening estimate, no substitute for an assay."


def pour_order(judged: JudgedBatch) -> tuple[Section, ...]:
    """The trend of every series of the batch, and what page one does not say of those that are not quiet."""
    if judged.pour is None:
        return ()
    found, told = judged.pour.trend, words(judged.pour.sentence)
    series = [
        ("mass", found.mass),
        *((f"content of {active}", trend) for active, trend in found.content.items()),
        *((f"concentration of {active}", trend) for active, trend in found.concentration.items()),
    ]
    changes = table(
        "Change of any shape, last measured unit less first [% of the mean]",
        series,
        column("Series", lambda one: shortened(one[0], most=50)),
        number("Units", lambda one: one[1].n),
        column("Finding", lambda one: TREND[one[1].flag]),
        column("Less the others", lambda one: _less_the_others(one[1])),
        number("Change [%]", lambda one: signed(one[1].told_percent[0], decimals=1)),
        between("95 % interval [%]", lambda one: one[1].told_percent[1:], decimals=1, sign=True),
        number("p", lambda one: _p_value(one[1].p_value)),
        number("Would show 7 times in 10 [%]", lambda one: fixed(one[1].detectable_percent, decimals=1)),
        filled_alone=True,
    )
    said = dict.fromkeys(
        part
        for _, trend in series
        for part in (
            words(trend.sentence) if trend.flag is not TrendFlag.NONE_SEEN else "",
            words(trend.correction),
            *map(words, trend.not_excluded),
        )
        if part and part not in told
    )
    compared = [words(message("pour.any_shape"))] if found.called else []
    return section("pour-order", "What happened over the pour", changes, *lines(*compared, *said))


def _less_the_others(trend: Trend) -> str | None:
    """Which units are compared with all others in that change; None where the last one is with the first."""
    return stretch_named(trend.stretch) if trend.apart_percent else None


def _p_value(p: float | None) -> str:
    """A p-value in a table, written as in a sentence."""
    return f"<\N{NO-BREAK SPACE}{LEAST_P}" if p is not None and p < LEAST_P else p_digits(p)


def doses_from_mass(judged: JudgedBatch) -> tuple[Section, ...]:
    """The screening estimate of each unit's active, or why the weights cannot show it."""
    screens = () if judged.pour is None else judged.pour.dose_from_mass
    pieces = (piece for one in screens for piece in _doses(one))
    return section("doses", "The dose seen through the balance", *pieces, annex=True)


def _doses(screen: DoseScreen) -> tuple[Piece, ...]:
    if not screen.doses:
        return lines(screen.silent_because)
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
    found = None if judged.pour is None else judged.pour.assay_list
    if found is None:
        return ()
    return section("assay-list", "Which units to assay", *lines(found.sentence), annex=True)


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
    return section("within-unit", "Within a unit", compared, *lines(*(one.sentence for one in found)), annex=True)


def causes(judged: JudgedBatch) -> tuple[Section, ...]:
    """Possible causes with their probability, most probable first, and the facts they rest on, each once."""
    groups = named_together(judged.causes)
    numbers: dict[str, int] = {}
    for fact in (words(fact) for group in likeliest(judged) for one in group.causes for fact in one.evidence):
        numbers.setdefault(fact, len(numbers) + 1)
    apart = [group for group in groups if group.probability >= LEAST_APART]
    least = [one for group in groups if group.probability < LEAST_APART for one in group.causes]
    weighed = table(
        "Probabilities, together 100 %" + _not_told(groups),
        [*apart, *([CauseGroup(causes=tuple(least))] if least else [])],
        number("Probability", lambda some: _probability(some, each=some not in apart)),
        column(
            "Cause",
            lambda some: (
                any_of(some.ids, some.probabilities if len(some.ids) > 1 else ())
                if some in apart
                else f"{counted(len(least), 'other')}, named in result.json"
            ),
        ),
        column("Facts", lambda some: _numbered(some.causes, numbers) if some in apart else None),
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
        number(
            "Expected to remove [% of the uncertainty]",
            lambda one: None if one.settles is None else fixed(100 * one.settles, decimals=0),
        ),
    )
    named = "Facts that the likeliest rest on"
    known = lines(*(f"{number}: {fact}" for fact, number in numbers.items()), title=named)
    return section("causes", "Possible causes", weighed, *known, pairs, telling)


def next_pour(judged: JudgedBatch) -> tuple[Section, ...]:
    """What to change of the next pour, where one cause is likely enough to be acted on."""
    found = judged.next_pour
    if not found:
        return ()
    sign = found[0].figure not in SPREADS
    show = partial(signed if sign else fixed, decimals=1)
    of = f"of {FIGURE[found[0].figure]}, {show(found[0].before)} % here"
    tried = table(
        f"What to try, and what the simulator predicts {of}",
        found,
        column("What to change", lambda one: words(one.what)),
        number("Predicted [%]", lambda one: show(one.after)),
        between("95 % range [%]", lambda one: (one.low, one.high), decimals=1, sign=sign),
    )
    return section("next-pour", "The next pour", tried, *lines(*answers.next_pour(judged)[-1:]))


def _not_told(groups: Sequence[CauseGroup]) -> str:
    """What the caption adds of causes that these measurements cannot tell apart, or from a sound batch."""
    unseen = [in_words(id, CAUSE) for group in groups for one in group.causes if one.cause == SOUND for id in one.alike]
    joined = any(len(group.causes) > 1 for group in groups)
    return ("; these measurements cannot distinguish causes joined by “or”" if joined else "") + (
        f"; these measurements cannot distinguish a sound batch from: {'; '.join(unseen)}" if unseen else ""
    )


def _probability(group: CauseGroup, *, each: bool) -> str:
    """Of the group, or of each of those that share a line because none has a chance."""
    return f"{probability(group.causes[0].probability)} each" if each else probability(group.probability)


def _numbered(causes: Sequence[CauseFound], numbers: Mapping[str, int]) -> str | None:
    """The facts of causes by the numbers they have."""
    known = sorted({numbers[fact] for one in causes for fact in map(words, one.evidence) if fact in numbers})
    return ", ".join(map(str, known)) or None


def assurance(judged: JudgedBatch) -> tuple[Section, ...]:
    """What the data in hand assure about another sample, and about the units that are left."""
    told = least_sure_first(judged)
    sure = listed([*dict.fromkeys(percent(one.confidence * 100, decimals=0) for one in told)])
    bounds = table(
        "Another sample, a second stage included: averaged over normal, heavy-tailed, skewed and mixed spreads. The "
        f"bounds hold however many units are spoilt; {sure} confidence",
        told,
        column("Test", lambda one: titled(judged, one)),
        number("Another sample passes", _passes),
        between("Measured [%]", _outward, decimals=1),
        number("Between them at least", _between),
        number("Outside, at most", lambda one: one.outside_at_most),
    )
    open_ = (f"{titled(judged, one)}: {paragraph(one.said)}" for one in told if one.pass_chance is None)
    limited = dict.fromkeys(words(caveat) for one in told for caveat in one.caveats)
    of = {text: [one for one in told if text in map(words, one.caveats)] for text in limited}
    caveats = (
        text if len(tests) == len(told) else f"{listed([*dict.fromkeys(titled(judged, one) for one in tests)])}: {text}"
        for text, tests in of.items()
    )
    return section("assurance", "How sure", bounds, *lines(*open_, *caveats))


def limits_of_the_data(judged: JudgedBatch) -> tuple[Section, ...]:
    """What these data cannot say."""
    return section("cannot-say", "What these data cannot say", *lines(*cannot_say(judged)))


def _passes(found: Assurance) -> str:
    """The chance of another sample, and its bound where that says anything."""
    low = found.pass_chance_low
    bound = "" if low is None or low < LEAST_ASSURED else f", at least {at_least(low)}"
    return f"{probability(found.pass_chance)}{bound}"


def _between(found: Assurance) -> str | None:
    """How many of the units left lie between the least and the most measured, or which share of the pour."""
    if found.left_within is not None:
        return f"{found.left_within} of {found.units_left} left"
    return None if found.coverage is None else f"{at_least(found.coverage)} of all"


def _outward(found: Assurance) -> tuple[float | None, float | None]:
    """The least and the most measured, rounded outward, so that what is said of the units between them stays true."""
    low, high = found.tolerance_low_percent, found.tolerance_high_percent
    low, high = (found.left_low_percent, found.left_high_percent) if low is None else (low, high)
    return None if low is None else floor(low * 10) / 10, None if high is None else ceil(high * 10) / 10
