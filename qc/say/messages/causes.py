"""What is said of the causes: the facts for and against each, pairs of them, and what would tell them apart."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from math import exp, log

from qc.say.names import CAUSE, in_words
from qc.say.numbers import as_typed, signed
from qc.say.text import runs

SENTENCES = {
    "mass_scatter": "Masses vary by {rsd:.1f} % (RSD of {n} units; {usual:between %} is usual).",
    "content_scatter": "{measure:heading of {active}} varies by {rsd:.1f} % between units (RSD of {n} assayed; "
    "{usual:between %} is usual of a well mixed melt, the assay included).",
    "contents_and_concentrations": "Contents of {active} vary by {content_rsd:.1f} %, its concentration by "
    "{concentration_rsd:.1f} %.",
    "mean_content": "The mean content of {active} is {percent:.1f} % of label ({n:count unit}).",
    "mean_concentration": "The mean concentration of {active} by mass is {percent:.1f} % of plan.",
    "mean_mass": "The mean mass of {every:either all |}{n} {every:either |of the }units weighed lies {percent:+.2f} % "
    "from the planned mass.",
    "changed": "Fitted change in {series}« of {active}» from unit {measured_ends[0]} to unit {measured_ends[1]}: "
    "{measured:+.1f} % of the mean (95 % interval {interval:changes} %).",
    "set_apart": "Change in {series}« of {active}»: {apart}.",
    "changed_as_weighed": "Fitted change in {series}« of {active}» from the first unit weighed to the last: "
    "{measured:+.1f} % of the mean (95 % interval {interval:changes} %).",
    "mass_of_loss": "Active lost to that extent would change the mean mass by {percent:+.2f} %.",
    "no_plan": "The planned mass is not known, so the mean mass cannot be compared with it.",
    "no_label": "No content of a single unit stands against a label claim, so a loss cannot be seen.",
    "base_pours": "Base-only pours fill the moulds to {percent:.1f} % of what they are said to hold.",
    "little_moved": "With f = {displacement:.2f} (g of active that displaces 1 g of base) {active} moves the mass by "
    "{percent:.1f} % only.",
    "mass_agrees": "The change of mass from the first unit to the last {agrees:either agrees|does not agree} with the "
    "{percent:+.1f} % that the change of concentration would make through f = {displacement:.2f} (g of active that "
    "displaces 1 g of base).",
    "no_displacement": "{active} has no displacement value on record to compare the masses with.",
    "dissolved": "{active} is dissolved and cannot settle.",
    "no_order": "The order of pouring is not on record, so a rise along the pour cannot be looked for.",
    "too_few_assays": "There are too few assays to see the concentration.",
    "no_assay_mixing": "No unit was assayed, and mixing hardly shows in the masses.",
    "no_assay_sound": "No unit was assayed: weights cannot distinguish a sound batch from one whose active is "
    "unevenly spread.",
    "no_order_at_all": "Neither the order of pouring nor that of weighing is on record, so a drift cannot be detected.",
    "too_few_masses": "There are too few masses to see a drift.",
    "share_between_cavities": "{percent:.0f} % of the variance of the masses lies between cavities.",
    "cavity_range": "The means of the cavities span {percent:.1f} % of the mean.",
    "mould_range": "The means of the moulds span {percent:.1f} % of the mean.",
    "moulds_in_turn": "The moulds were poured one after the other: a difference between moulds, as they hold or were "
    "filled, and a step along the pour cannot be distinguished.",
    "base_agreement": "Masses of the cavities correlate with their base-only pours ({correlation:.2f}).",
    "filled_once": "Each cavity was filled once, so the masses cannot show whether it repeats.",
    "no_cavities": "No cavities are named, so nothing can be seen to repeat.",
    "not_cut": "No unit was cut and assayed in parts, and whole units cannot show it.",
    "tip_end": "The concentration of {active} in the tip differs by {percent:+.0f} % from the other end "
    "({n:count unit} cut).",
    "too_few_numbers": "There are too few numbers to identify an outlier.",
    "outlier": "The {kind} of unit {unit} ({typed}) lies {percent:+.1f} % from the median {kind}, {spreads:.1f} times "
    "the usual spread.",
    "weighed_again": "Put on the balance again, unit {unit} showed {again:f} g in place of {typed} g.",
    "seen_on": "Seen on {units:count unit} of {of_units}: {defects:listed}.",
    "learnt": "The prior of the causes is the stated one, counted as {counts:.0f} batches, with "
    "{n:count confirmed cause} of the history.",
    "in_excess": "{percent:.1f} % too much of the {active} ({grams:.3f} g) was weighed into the melt.",
    "assayed_off": "The assay of {active} read {percent:+.1f} % off in every unit; the units are sound.",
    "weighed_off": "The balance showed every unit {percent:+.1f} % off; the units are sound.",
    "cavity_leaks": "Cavity {cavity} of mould {mould} leaked: its units lost {percent:.1f} % on average.",
    "mould_leaks": "Mould {mould} leaked: its units lost {percent:.1f} % on average.",
    "thickened": "The melt thickened while it was poured: the last cavity was filled {percent:.1f} % less than the "
    "first.",
    "thinned": "The causes were weighed on {looked_at} of the {units} units: those assayed and others at even "
    "distances.",
    "assay_units": "Assay {units:units}.",
    "cut_unit": "Cut unit {unit} and assay its tip and its end.",
    "weigh_again": "Weigh {units:units} again on another balance.",
    "pour_base": "Pour {n:count unit} of plain base, one a cavity, and weigh them.",
    "nothing_went_wrong": "Nothing went wrong; the batch varies as a well made batch does.",
    "lost": "{percent:.1f} % of the {active} ({grams:.3f} g) was lost before it reached the melt.",
    "drifted": "The balance drifted by {percent:+.1f} % from the first weighing to the last; the units are sound.",
    "mixed_unevenly": "The active was not evenly mixed into the melt: concentration varies by {percent:.1f} % between "
    "units.",
    "filled_unevenly": "The cavities were filled and trimmed unevenly: the fill varies by {percent:.1f} % between "
    "units.",
    "cavities_differ": "The cavities hold different amounts: they vary by {percent:.1f} %; the smallest is {smallest}, "
    "the largest {largest}.",
    "cavity_of_mould": "cavity {cavity} of mould {mould}",
    "settled_in_pour": "The melt stood {stood_min:.1f} min after the last stir and was poured in {poured_min:.1f} min; "
    "particles of {particle_um:.0f} um sank, and {left_percent:.1f} % of the active weighed stayed in the dish.",
    "settled_in_unit": "Each unit took {set_min:.1f} min to set; particles of {particle_um:.0f} um sank toward the "
    "tip, which holds {tip_percent:.0f} % of the mean concentration, the end {end_percent:.0f} %.",
    "displaced_wrongly": "The base was calculated with a displacement value of {used:.2f} where {true:.2f} g of active "
    "displaces 1 g of base: every unit holds {percent:+.1f} % of active a volume.",
    "miswritten": "A transcription error: the {kind} of unit {unit} was written down as {typed} where {meant} was "
    "read.",
}

_SLIP = {
    "exchanged_digits": "two digits exchanged",
    "wrong_digit": "one digit wrong",
    "shifted_point": "the decimal point shifted",
}
# Above this the models are not exact enough to say more: of 420 batches with one fault alone 1 gave a pair a ratio that
# no number of batches would bear out, and ratios up to this one were given as seldom as they may be (causes.md).
_GREATEST_RATIO = 100


def meant(*, typed: str, meant: Decimal, slip: str, percent: float) -> str:
    """The number that an outlier was probably meant to be, and how far it would lie from the middle [%]."""
    return (
        f"{typed} differs from {meant:f} by one transcription error ({_SLIP[slip]}), and {meant:f} would lie "
        f"{signed(percent, decimals=1)} % from the median: look at the raw record."
    )


# What is on no list, by the form it takes.
_FORM = {
    "level": "masses or contents off as a whole",
    "scatter": "masses or contents that scatter",
    "wandering": "masses or contents that wander",
    "places": "cavities or moulds unlike each other",
    "along": "concentrations that change along the pour",
    "first": "first units rich or poor by themselves",
    "parts": "a part of the pour that is off",
    "weighing": "masses that change along the weighing while contents do not",
    "capacity": "moulds that hold another volume than they are said to",
    "short": "units of one mould or cavity that are short",
    "volume": "volumes that change along the pour",
    "one": "one or two numbers or units off by themselves",
    "several": "several units off by themselves",
    "plain": "a few units of nearly plain base",
}


def beside_the_best(*, cause: str, form: str, log_ratio: float) -> str:
    """How what is on no list agrees beside the best model; `log_ratio` is the log of their Bayes factor."""
    compared = "more" if log_ratio >= 0 else "less"
    return (
        f"An unlisted cause (nearest: {_FORM[form]}) makes these measurements "
        f"{_times(abs(log_ratio))} times {compared} likely than the best of these does "
        f"({in_words(cause, CAUSE)})."
    )


def _times(log_ratio: float) -> str:
    told = as_typed(Decimal(f"{exp(log_ratio):.2g}")) if log_ratio < log(_GREATEST_RATIO) else None
    return told or f"more than {_GREATEST_RATIO}"


def apart(*, kind: str, units: Sequence[str], percents: Sequence[float], n: int, rsd: float) -> str:
    """How far the units that are off by themselves lie from the median, and how little the `n` others vary."""
    by = " to ".join(dict.fromkeys(signed(off, decimals=1) for off in (min(percents), max(percents))))
    lie = f"Unit{'s' * (len(units) > 1)} {runs(units)} {'lie' if len(units) > 1 else 'lies'}"
    return f"{lie} apart from the other {n}, by {by} % of the median {kind}; the {n} vary by {rsd:.1f} % (RSD)."


def pair(*, causes: tuple[str, str], log_ratio: float) -> str:
    """Two causes together; `log_ratio` is the log of the likelihood ratio to the better of the two by itself [-]."""
    one, two = (in_words(cause, CAUSE) for cause in causes)
    return (
        f"{one} together with {two}: these measurements are {_times(log_ratio)} times as likely under both as under "
        "the better of the two by itself"
    )
