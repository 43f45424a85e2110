"""What is said of the assurance: the units left, another sample of the pour, and what limits both."""

from __future__ import annotations

from collections.abc import Sequence

from qc.say.text import listed, runs

_SURE = "With {confidence:share} % confidence"
_HOWEVER = ", however they are spread"
_BETWEEN = (
    "between {low:down} and {high:up} % {scale:scale}, the least and the most {by_mass:either weighed|assayed}"
    + _HOWEVER
)

SENTENCES = {
    "outside": _SURE + " {count:at_most_units} of the {whole} units {count:one is|are} {limits}" + _HOWEVER + ".",
    "share_outside": _SURE + " not more than {share:at_most} of all units are {limits}" + _HOWEVER + ".",
    "share_between": _SURE + " at least {share:at_least} of all units lie " + _BETWEEN + ".",
    "left_between": _SURE
    + " at least {within} of the {left} units {by_mass:either left unweighed|left} lie "
    + _BETWEEN
    + ".",
    "passes": "{asked:opening} would pass with a chance of {chance:probability}« and, with {confidence:share} % "
    "confidence, of at least {low:at_least}».",
    "no_difference": "The {n} units measured do not differ at all, so nothing can be said about {asked:ending}.",
    "no_limit": "The limit of the rule cannot be told from these data, so nothing can be said about {asked:ending}.",
    "size_unknown": "The number of units poured was not entered, so nothing is said of those left.",
    "outside_range": "outside {low:plain} to {high:plain} %",
    "off_labelled_mass": "more than {percent:plain} % from the labelled mass",
    "none_left": "All {whole} units were {by_mass:either weighed|assayed}, so none is left.",
    "supposed": "If no more than one unit in {one_in} is so far off that no sample with it passes, which {n} units "
    "cannot show, the chance of passing is at least {low:at_least} with {confidence:share} % confidence.",
    "draw_supposed": "The units {by_mass:either weighed|assayed} are taken for a random draw.",
    "order_unknown": "The places in the pour were not entered: the units {by_mass:either weighed|assayed} are taken "
    "for a random draw.",
}

_MANY = {"mould": "moulds", "cavity": "cavities"}
_IN_WORDS = {10: "ten", 20: "twenty", 30: "thirty"}


def not_random(
    *,
    n: int,
    by_mass: bool,
    whole: int,
    unseen: Sequence[tuple[int, int]],
    way: str = "",
    scarce: Sequence[str] = (),
    among: int | None = None,
) -> str:
    """Which part of the pour, or which moulds or cavities, the units measured do not speak for."""
    stretches = [f"place {first}" if first == last else f"places {first} to {last}" for first, last in unseen]
    others = _MANY.get(way, "places")
    of = f"the {others} of the {whole} units" if way else f"the pour of {whole}"
    told = f"The {n} units {'weighed' if by_mass else 'assayed'} are not a random draw over {of}"
    names = f"{way if len(scarce) == 1 else _MANY.get(way)} {runs(scarce)}" if scarce else listed(stretches)
    alone = f"They speak for the other {others} alone, and no chance or bound is given for the batch."
    if not names:
        return f"{told}: they lie unevenly. No chance or bound is given for the batch."
    found = f"only {among} from {names} {'are' if among > 1 else 'is'}" if among else f"none from {names} is"
    return f"{told}: {found} among them. {alone}"


def asked(*, size: int, further: int, like_it: bool) -> str:
    """Who would be tested; where too few units are left, those of a pour like this one."""
    many = f"{_IN_WORDS.get(size, str(size))} units"
    who = f"{many} of a pour like this one" if like_it else f"another {many} drawn at random from this pour"
    return f"{who}, second stage included," if further else who
