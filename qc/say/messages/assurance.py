"""What is said of the assurance: another sample of the batch, all its units, and the units that are left."""

from __future__ import annotations

import math

from qc.say.numbers import LEAST_ASSURED, assured

SENTENCES = {
    "no_difference": "The {n} units tested do not differ at all, so nothing can be said about {asked:ending}.",
    "no_limit": "The limit of the rule cannot be told from these data, so nothing can be said about {asked:ending}.",
    "all_units": "With {same:either the same|{confidence:share} %} confidence at least {coverage:share} % of all units "
    "lie between {low:.1f} and {high:.1f} % {scale:scale}«, and {outside}».",
    "units_outside": "With {confidence:share} % confidence and without assuming a normal spread, {outside}.",
    "share_outside": "not more than {share:at_most} of them outside {low:plain} to {high:plain} %",
    "size_unknown": "The number of units poured was not entered, so nothing is said of those left.",
    "outside_range": "outside {low:plain} to {high:plain} %",
    "off_labelled_mass": "more than {percent:plain} % from the labelled mass",
    "changed": "A change was seen along the pour: this holds only for units drawn at random from the whole batch.",
    "none_left": "All {whole} units were {by_mass:either weighed|assayed}, so none is left.",
}

_IN_WORDS = {10: "ten", 20: "twenty", 30: "thirty"}
_SCALE = {"label": "of label", "mean": "of the mean"}
_LEFT = {0: "none of it is left", 1: "only 1 of it is left"}


def passes(*, chance: float, n: int, confidence: float, asked: str) -> str:
    """The chance of another sample to pass, bounded from below by n units tested [-]."""
    if chance < LEAST_ASSURED:
        told = f"The {n} units tested do not assure that {asked} would pass: the chance"
    else:
        told = f"{asked[0].upper()}{asked[1:]} would pass with a chance of"
    return f"{told} {assured(chance)} ({_sure(confidence)})."


def units_left(
    *,
    left: int,
    within: int,
    low: float,
    high: float,
    scale: str,
    by_mass: bool,
    confidence: float,
    outside: str,
) -> str:
    """Where the units left lie [% of label or of the mean]; `outside` counts those beyond the limits, or is ""."""
    named = "left unweighed" if by_mass else "left"
    # Outward, so that what is said of the units stays true.
    shown = f"between {math.floor(low * 10.0) / 10.0:.1f} and {math.ceil(high * 10.0) / 10.0:.1f} % {_SCALE[scale]}"
    if left == 1:
        told = f"The one unit {named} lies {shown} with {_sure(confidence)} if the spread is normal"
    else:
        held = "all lie" if within == left else f"at least {within} lie"
        told = f"Of the {left} units {named}, {held} {shown} with {_sure(confidence)} if their spread is normal"
    return f"{told}; without assuming that, {outside}." if outside else f"{told}."


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


def _sure(confidence: float) -> str:
    return f"{confidence * 100:g} % confidence"
