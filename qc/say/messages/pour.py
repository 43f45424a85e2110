"""What is said of the pour: each series along it, and what else could have made, or hidden, a change."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from qc.results.messages import Message
from qc.results.pour import TrendFlag
from qc.say.messages import words
from qc.say.numbers import fixed, grams, interval, percent_short
from qc.say.text import listed, stretch_named

SENTENCES = {
    "as_entered": "{planned_g} g as entered«; worked out: {worked_out}»",
    "changed": "{series:heading of {active}} {clearly:either clearly|possibly} changed along the pour"
    "«: {size}»«, as {shape}»; {n} {series:if_mass units|assayed units}.",
    "end_apart": "{series:heading of {active}}: {apart}; {n} {series:if_mass units|assayed units}. "
    "{alone:either It was poured {first:either first|last} of these|The change rests on {units:units} alone}. "
    "One unit cannot show whether the pour changed there{first:either , the mould was still cold|}, its cavity differs "
    "or a mistake was made: measure {alone:either it again, and its neighbour|them again, and their neighbours}.",
    "size": "it {measured:moved} of the mean (95 % interval {interval:changes} %) from unit {measured_ends[0]} to "
    "unit {measured_ends[1]}«, {most}»"
    "{moulds_included:either , differences between moulds included|}",
    "most": "four fifths of that {by:either by|after} unit {unit}",
    "moved": "{percent:+.1f} % of the mean from unit {ends[0]} to unit {ends[1]}",
    "one_side": "{all_there:either All {units}|{there} of the {units}} units of mould {mould} are "
    "{heavy:either heavy|light}, {ends:changes} % from the mean, each by more than {beyond:plain} %, half the limit.",
    "none_seen": "{series:heading of {active}}: no change along the pour was seen in {n} "
    "{series:if_mass units|assayed units}. A straight change of {detectable:percent} of the mean or more«"
    ", or the first or last of them {apart:percent} away from the others,» would have been seen in at least seven of "
    "ten such batches.",
    "too_unsure": "{series:heading of {active}}: inconclusive. With {n} {series:if_mass units|assayed units} and this "
    "scatter only a straight change of {detectable:percent} of the mean or more would be seen in at least seven of ten "
    "such batches, and a change of {important:percent} would already matter.",
    "filling": "The content of {active} {clearly:either clearly|possibly} changed along the pour and its concentration "
    "was not seen to change: {clearly:either this points|that would point} to the filling, not to settling.",
    "any_shape": "The interval holds whatever the shape of a change, a single unit apart at an end among them: it is "
    "wider than what would show of a straight one, and may hold 0 where a change is called.",
    "straight_drift": "a straight drift",
    "step": "a step after unit {after}«, where mould {mould} begins»",
    "mould_not_excluded": "The moulds were poured one after the other: a difference between moulds cannot be excluded.",
    "cavities_not_excluded": "Differences between cavities could not be taken out and cannot be excluded.",
    "balance_not_excluded": "If the units were weighed in pour order, a slow drift of the balance cannot be excluded.",
    "assay_not_excluded": "If the units were assayed in pour order, a slow drift of the assay cannot be excluded.",
    "coarse": "The values lie on few steps of the balance: a change smaller than one step cannot be seen.",
    "not_covered": "{percent:percent} of the pour lies before the first or after the last of these units: what "
    "happened there cannot be seen.",
    "by_calibration": "Differences between cavities were taken out by the calibration pours.",
    "by_own_means": "Differences between {levels:plural} were taken out by their own means (each was filled {rounds} "
    "times or more often on average).",
    "cavities_stay": "Differences between cavities could not be taken out: each cavity was filled too seldom, and "
    "there are no calibration pours for all of them.",
    "fill_taken_out": "The fill of the cavities was taken out of the contents, as the masses or the calibration pours "
    "show it.",
    "no_label": "Some contents« of {active}» are in mg and some in % of label; the label claim that joins them is "
    "missing, so that they are left out of the pour-order analysis. Enter the label claim (mg).",
    "no_order_of": "No pour order was entered for {units:units}; left out of the pour-order analysis, not of the "
    "tests.",
    "no_places": "{series:heading of {active}}: inconclusive. No measured unit has a place in the pour.",
    "one_place": "{series:heading of {active}}: inconclusive. All units measured were poured together, so there is no "
    "order to compare.",
    "few_pours": "{series:heading of {active}}: inconclusive. The units measured were poured together in "
    "{pours:count pour}; at least {needed} are needed to tell a change from what pours differ by anyway.",
    "zero_mean": "{series:heading of {active}}: inconclusive. The mean is zero, so a change in % of it has no meaning.",
    "bend": "a change in the {early:either first|last} units",
    "swings_not_excluded": "Slow swings of fill or temperature cannot be excluded: they make neighbours resemble each "
    "other{autocorrelated:either , as they still do here after the fitted change is taken out|}.",
    "made_by_places": "{series:heading of {active}}: inconclusive. There is a pattern along the pour, but "
    "{moulds:either the moulds were poured one after the other: it cannot be told|each cavity was filled too seldom to "
    "tell it} from differences between {moulds:either moulds|cavities}.",
    "turning": "a change {ends:either at both ends|that turns back}",
    "not_entered": "{moulds:either Moulds|Cavities} were not entered: differences between "
    "{moulds:either moulds and their cavities|cavities} cannot be excluded.",
    "too_few_to_show": "{series:heading of {active}}: inconclusive. {n} {series:if_mass units|assayed units} are too "
    "few to show any change along the pour.",
    "too_few_places": "{series:heading of {active}}: inconclusive. A place in the pour is known for {n} of the units "
    "measured; at least {needed} are needed.",
}


def planned_unit(*, nominal_g: Decimal, doses: Sequence[tuple[str, Fraction, Decimal, bool]], mass_g: Fraction) -> str:
    """The arithmetic of a planned mass: base of a cavity, then each active, its dose, and what it displaces.

    The number of an active is its displacement value where the last entry is true, else its displacement factor.
    """
    terms = [
        f" + {active} {grams(dose_g)} g x (1 - {'1/' if by_value else ''}{number})"
        for active, dose_g, number, by_value in doses
    ]
    told = f"{nominal_g} g base{''.join(terms)} = {grams(mass_g)} g"
    conventions = [
        f"{active}: displacement value, {number} g of active displaces 1 g of base"
        if by_value
        else f"{active}: displacement factor, 1 g of active displaces {number} g of base"
        for active, _, number, by_value in doses
    ]
    return f"{told} ({'; '.join(conventions)})" if doses else told


def apart(*, units: Sequence[str], by: float, ends: tuple[float, float] | None) -> str:
    """How far some units lie from all the others, with the interval where it is asked for [% of mean]."""
    return (
        f"{stretch_named(units)} {'lies' if len(units) == 1 else 'lie'} {fixed(abs(by), decimals=1)} % of the mean "
        f"{'above' if by > 0 else 'below'} the others"
        + (f" (95 % interval {interval(*ends, decimals=1, sign=True)} %)" if ends else "")
    )


def each_apart(*, lone: Sequence[tuple[str, tuple[float, float, float]]]) -> str:
    """How far each of some units lies from all the others, with the interval [% of mean]."""
    return "; ".join(apart(units=(unit,), by=by, ends=(low, high)) for unit, (by, low, high) in lone)


def also_changed(
    *, first: str, others: Sequence[tuple[str, str, bool, Message | str]], rest: Sequence[tuple[str, str, TrendFlag]]
) -> str:
    """The sentence of one series, the others that changed by name, flag and extent, and what is left."""
    told = [
        f"{_name(series, active)} {'clearly' if clearly else 'possibly'} changed"
        + (f" ({words(extent)})" if extent else "")
        for series, active, clearly, extent in others
    ]
    also = [f"Also: {'; '.join(told)}."] if told else []
    unseen, untold = (
        listed([f"the {_name(series, active)}" for series, active, one in rest if one is flag], most=3)
        for flag in (TrendFlag.NONE_SEEN, TrendFlag.CANNOT_TELL)
    )
    also += [f"No change was seen in {unseen}."] if unseen else []
    also += [f"The data on {untold} are inconclusive."] if untold else []
    return " ".join([first, *also])


def nothing_seen(*, series: Sequence[tuple[str, str]], detectable: float) -> str:
    """No change in any series, and the least that would have been seen in each of them [% of mean]."""
    names = [_name(*one) for one in series]
    if len({active for _, active in series if active}) > 1:
        names = list(dict.fromkeys(kind if not active else f"the {kind} of any active" for kind, active in series))
    named = names[0] if len(names) == 1 else f"{', '.join(names[:-1])} or {names[-1]}"
    each = "" if len(names) == 1 else " in each of them"
    silent = "" if len(names) > 1 else " Masses without assays cannot show a change of content."
    return (
        f"No change along the pour was seen in {named}. A straight change of {percent_short(detectable)} of the mean "
        f"or more would have been seen{each} in at least seven of ten such batches.{silent}"
    )


def _name(series: str, active: str) -> str:
    return f"{series} of {active}" if active else series
