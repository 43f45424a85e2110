"""What is said of the assurance: another sample of the batch, all its units, and the units that are left."""

from __future__ import annotations

from qc.say.numbers import LEAST_ASSURED, assured

_BETWEEN = " between {low:down} and {high:up} % {scale:scale} with {confidence:share} % confidence if "
_NORMAL = " spread is normal«; without assuming that, {outside}»."

SENTENCES = {
    "no_difference": "The {n} units tested do not differ at all, so nothing can be said about {asked:ending}.",
    "refuted": "The sample does not comply, though its mean and spread would mostly pass: its units do not lie as "
    "normal ones do, so nothing can be said about {asked:ending}.",
    "no_limit": "The limit of the rule cannot be told from these data, so nothing can be said about {asked:ending}.",
    "all_units": "With {same:either the same|{confidence:share} %} confidence at least {coverage:share} % of all units "
    "lie between {low:.1f} and {high:.1f} % {scale:scale}«, and {outside}».",
    "one_left": "The one unit {by_mass:either left unweighed|left} lies" + _BETWEEN + "the" + _NORMAL,
    "units_left": "Of the {left} units {by_mass:either left unweighed|left}, {all_within:either all|at least {within}} "
    "lie" + _BETWEEN + "their" + _NORMAL,
    "units_outside": "With {confidence:share} % confidence and without assuming a normal spread, {outside}.",
    "share_outside": "not more than {share:at_most} of them outside {low:plain} to {high:plain} %",
    "size_unknown": "The number of units poured was not entered, so nothing is said of those left.",
    "outside_range": "outside {low:plain} to {high:plain} %",
    "off_labelled_mass": "more than {percent:plain} % from the labelled mass",
    "changed": "A change was seen along the pour: this holds only for units drawn at random from the whole batch.",
    "none_left": "All {whole} units were {by_mass:either weighed|assayed}, so none is left.",
}

_IN_WORDS = {10: "ten", 20: "twenty", 30: "thirty"}
_LEFT = {0: "none of it is left", 1: "only 1 of it is left"}


def passes(*, chance: float, n: int, confidence: float, asked: str) -> str:
    """The chance of another sample to pass, bounded from below by n units tested [-]."""
    if chance < LEAST_ASSURED:
        told = f"The {n} units tested do not assure that {asked} would pass: the chance"
    else:
        told = f"{asked[0].upper()}{asked[1:]} would pass with a chance of"
    return f"{told} {assured(chance)} ({confidence * 100:g} % confidence)."


def outside_at_most(*, count: int, whole: int, limits: str) -> str:
    """Units of the whole batch beyond the limits, at most."""
    many = "none" if count == 0 else f"not more than {count}"
    return f"{many} of the {whole} {'is' if count < 2 else 'are'} {limits}"


def asked(*, size: int, left: int, further: int, short: bool) -> str:
    """Who would be tested: units of this batch, or of one like it where too few are left."""
    many = _IN_WORDS.get(size, str(size))
    who = f"another {many} units of this batch"
    if left < size:
        who = f"{many} units of a batch like this one ({_LEFT.get(left, f'only {left} of it are left')})"
    return f"{who}, second stage included{' (too few are left for it)' if short else ''}," if further else who
