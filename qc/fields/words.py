"""What the words of a heading, of a unit of measure and of a row that sums up mean, in the languages of our users."""

from __future__ import annotations

import functools
import re
import tomllib
import unicodedata
from collections.abc import Iterable, Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

from msgspec import Struct, convert

from qc.fields.field import plain
from qc.fields.sheets import BARE_UNITS
from qc.patterns import pattern

MassUnit = Literal["g", "mg"]

_DATA = Path(__file__).parent / "data" / "words.toml"
# The article or preposition that French and Italian write together with the word behind it.
_ELIDED = pattern(r"\b(?:[cdjlmnst]|qu|un|(?:d|n|s)?[ae]ll)['\u2019](?=\w{2})")
# The symbol of mass over or beside its unit (ISO 80000-1:2022, 7.1: a quantity divided by its unit).
_SYMBOL = pattern(r"\bm\s*(?=(?:/|in\b|\[|\()\s*m?g\b)")
# The initials of gross weight: "G.W." and "G/W".
_GROSS = pattern(r"\bg\s?[./]\s?w(?:t|gt)?\b", re.IGNORECASE)
# How much of something is in how much of another: "mg/g", "% w/w", "g per 100 g".
_IN_MASS = pattern(
    r"\b(?:[m\u00b5\u03bcu]?g|%)\s*(?:/|per|pro|par|por)\s*(?:\d+\s*)?(?:m?g|ml|kg)\b|%\s*\(?\s*[mwpv]/[mwpv]\b",
    re.IGNORECASE,
)
# Between two words that a program wrote as one: "NetWeight", "SampleID".
_JOINED = pattern(r"(?<=[A-Za-z][a-z]{2})(?=[A-Z][a-z]{2}|(?:ID|No|Nr)\b)")
_BRACKETS = pattern(r"[\s\[\](){}<>,;:/\\_.*=\-\u2013\u2014]+")
_IN_BRACKETS = pattern(r".*[(\[]([^()\[\]]*)[)\]]\s*")
# A limit in percent, and the numbers beside a word that sums up: "-5 %", "Mean + 5 %", "Average of 20".
_PERCENT = pattern(r"\s*[-+\u00b1\u2212]?\s*\d+(?:[.,]\d+)?\s*%\s*")
_FIGURES = pattern(r"[-+\u00b1\u2212]?\d+(?:[.,]\d+)?%?|%|[-+\u00b1\u2212]")
_MASS_IN_WORDS = pattern(r"\d[.,]\d+(?!\d*\s*%)")
_POINT = pattern(r"(?<=\d)[.,](?=\d)")
_SHORTEST = 3
_NUMBER_WORDS = frozenset(("no", "nr", "n\u00b0", "n", "num", "number", "numero", "nummer", "numer", "#"))
_NAMED, _SHORT_NAME = pattern(r"\s*(?:[^\W\d]+\s+)?(?:\d{1,4}|[A-Z])\s*"), pattern(r"\w{0,3}\d[\w\u00b7]*|[a-z]")


class _Heading(Struct, frozen=True, kw_only=True):
    mass: frozenset[str]
    unit: frozenset[str]
    filler: frozenset[str]
    other: frozenset[str]
    packed: frozenset[str]
    whole: dict[str, frozenset[str]]


class _Remark(Struct, frozen=True, kw_only=True):
    weighed: frozenset[str]
    who: frozenset[str]
    again: frozenset[str]
    reference: frozenset[str]
    figure: frozenset[str]
    other: frozenset[str]
    void: frozenset[str]
    strong: frozenset[str]
    strange_units: frozenset[str]
    stated_in: frozenset[str]
    without: frozenset[str]
    joins: frozenset[str]
    phase: frozenset[str]
    answer: frozenset[str]
    status: frozenset[str]
    wrong: frozenset[str]
    apart: frozenset[str]
    record: frozenset[str]
    kept: frozenset[str]
    leaf: frozenset[str]
    substance: frozenset[str]
    single: frozenset[str]
    plain: frozenset[str]


class _Words(Struct, frozen=True, kw_only=True):
    heading: _Heading
    measure: dict[str, frozenset[str]]
    summary: dict[str, frozenset[str]]
    balance: dict[str, frozenset[str]]
    remark: _Remark
    elsewhere: frozenset[str]
    claimed: frozenset[str]
    assayed_by: frozenset[str]
    joining: frozenset[str]
    counted: frozenset[str]
    plainly: frozenset[str]
    result: frozenset[str]
    determination: frozenset[str]
    row_or_column: frozenset[str]
    of_a_standard: frozenset[str]
    form: frozenset[str]


class Heading(Struct, frozen=True):
    """What a heading says.

    Parameters
    ----------
    attribute : str
        The attribute of a unit that stands below it: "mass_g", "name" ...; "batch" for the batch number; "other" for a
        mass that is not that of a finished unit, a figure worked out, a time or a sign of the balance.
    measure : str
        "g", "mg", another unit of measure as it is written, or empty.
    """

    attribute: str
    measure: str = ""


@functools.cache
def words_known() -> _Words:
    """Every list of words, by what its words mean."""
    return convert(_lists(), _Words)


@functools.cache
def _lists() -> dict[str, Any]:
    """The lists of the file, each written as one text: phrase by phrase it takes twenty times as long to read."""
    return _apart(tomllib.loads(_DATA.read_text(encoding="utf-8")))


def _apart(lists: dict[str, Any]) -> dict[str, Any]:
    return {key: _apart(one) if isinstance(one, dict) else frozenset(one.split(", ")) for key, one in lists.items()}


@functools.cache
def every_word() -> frozenset[str]:
    """Every word that is known, whatever it means."""
    lists: list[Any] = [_lists()]
    words: set[str] = set()
    while lists:
        one = lists.pop()
        lists += one.values() if isinstance(one, dict) else ()
        words.update(*(phrase.split() for phrase in (one if isinstance(one, frozenset) else ())))
    return frozenset(words)


@functools.lru_cache(maxsize=4096)
def plain_words(text: str) -> tuple[str, ...]:
    """The words of a text as they are compared: small letters without accents, without punctuation.

    Examples
    --------
    >>> plain_words("  Zäpfchen-Masse [g]: "), plain_words("Écart-type")
    (('zapfchen', 'masse', 'g'), ('ecart', 'type'))
    >>> plain_words("m / g"), plain_words("m in mg"), plain_words("m 2")
    (('mass', 'g'), ('mass', 'in', 'mg'), ('m', '2'))
    >>> plain_words("Contr\u00f4le d'uniformit\u00e9"), plain_words("NetWeight")
    (('controle', 'uniformite'), ('net', 'weight'))
    """
    spelled = _GROSS.sub("gross weight", _SYMBOL.sub("mass ", text))
    apart = unicodedata.normalize("NFKD", _JOINED.sub(" ", spelled).replace("\u0142", "l"))
    bare = apart.casefold()
    bare = bare if bare.isascii() else "".join(one for one in bare if not unicodedata.combining(one))
    return tuple(word for word in _BRACKETS.split(_ELIDED.sub("", bare)) if word)


def measure_of(text: str) -> str:
    """The unit of measure that a text is: "g" or "mg" in any spelling, another one as written, else empty."""
    words = plain_words(text)
    if len(words) != 1:
        return ""
    names = (name for name, known in words_known().measure.items() if words[0] in known)
    return next((words[0] if name == "other" else name for name in names), "")


@functools.lru_cache(maxsize=4096)
def heading_of(text: str) -> Heading | None:
    """What a heading says; None where no word of it is known for one.

    Examples
    --------
    >>> heading_of("Net weight, mg"), heading_of("Einzelmasse [g]"), heading_of("Gross weight (g)").attribute
    (Heading(attribute='mass_g', measure='mg'), Heading(attribute='mass_g', measure='g'), 'other')
    >>> heading_of("With foil (g)"), heading_of("Suppository (g)")
    (Heading(attribute='other', measure='g'), Heading(attribute='mass_g', measure='g'))
    >>> heading_of("Weight before trimming") is None, heading_of("Brand 2 (poids en g)")
    (True, Heading(attribute='mass_g', measure='g'))
    >>> heading_of("Content (mg/g)"), heading_of("% Assay")
    (Heading(attribute='other', measure='mg/g'), Heading(attribute='content_percent', measure='%'))
    >>> heading_of("G e w i c h t"), heading_of("POURORDER")
    (Heading(attribute='mass_g', measure=''), Heading(attribute='pour_order', measure=''))
    """
    if (own := BARE_UNITS.columns.get(plain(text))) is not None:
        return Heading(own.attribute, own.unit)
    if _IN_MASS.search(text):
        return Heading("other", "mg/g")
    # "% Assay" is in per cent.
    turned = f"{text[1:]} %" if text.startswith("%") and says_content(text) else text
    known, words = words_known().heading, plain_words(turned)
    # "mg per unit" is mg.
    per = (at for at, word in enumerate(words) if at and measure_of(word) in ("g", "mg"))
    words = next((words[: at + 1] for at in per if {*words[at + 1 :]} <= known.filler | known.unit), words)
    measure = measure_of(words[-1]) if words else ""
    named = list(words[: -1 if measure else None])
    # "n/a" says that there is nothing, "N.\u00ba" is a number.
    nothing = len(named) > 1 and max(map(len, named)) == 1 and named[-1] in known.filler
    if measure and not named:
        return Heading("mass_g", measure) if measure in ("g", "mg") else None
    while named and named[-1] in known.filler:
        named.pop()
    phrase = " ".join(named)
    # "Lote n\u00ba", "N\u00b0 de lot": what is numbered.
    bare = [word for word in named if word not in _NUMBER_WORDS]
    numbered = " ".join(word for word in bare if word not in known.filler) if len(bare) < len(named) else phrase
    for attribute, phrases in known.whole.items():
        if phrase in phrases or (attribute == "batch" and numbered in phrases):
            return Heading("content_percent" if attribute == "content_mg" and measure == "%" else attribute, measure)
    if _is_content_of_label(text):
        return Heading("content_percent", "%")
    if (contents := known.whole["content_mg"] & {*named}) and {*named} <= contents | words_known().joining:
        return Heading("content_percent" if measure == "%" else "content_mg", measure)
    if measure == "mg" and names_active(text):
        return Heading("content_mg", measure)
    # "No of units" is how many there are, "No of unit" is which.
    if len(words) > 1 and " ".join(words) in words_known().summary["count"]:
        return Heading("other")
    meant = set(named) - known.filler
    if known.other & meant:
        return Heading("other", measure)
    if meant <= known.mass | known.unit and meant and not nothing:
        # What a unit is said to be in g is what it weighs.
        return Heading("mass_g" if known.mass & meant or measure in ("g", "mg") else "name", measure)
    # "Boat + unit (g)" is gross.
    besides = words_known().remark.weighed | {"+"}
    if known.packed & meant and meant - besides <= known.packed | known.mass | known.unit:
        return Heading("other", measure)
    inside = _IN_BRACKETS.fullmatch(text)
    # Before the brackets stands a name and a number or letter: "INH 1 (poids en g)", not "With foil (mass in g)".
    if inside and known.mass & set(plain_words(inside.group(1))) and _NAMED.fullmatch(text[: inside.start(1) - 1]):
        return heading_of(inside.group(1))
    # A word may stand in pieces: "M A S S (g)".
    joined = "".join(named)
    pieces = len(named) > 1 and joined in known.mass | known.unit | known.other
    return heading_of(f"{joined} {measure}".rstrip()) if pieces else None


def names_active(text: str) -> str:
    """The one word of a heading that says content which is not known: the active, "Paracetamol found (mg)"; or empty.

    Examples
    --------
    >>> names_active("Paracetamol found (mg)"), names_active("Water content (mg)"), names_active("Content (mg)")
    ('paracetamol', '', '')
    """
    words = {*plain_words(text)}
    if words.isdisjoint(words_known().heading.whole["content_mg"]):
        return ""
    rest = words - every_word()
    named = len(rest) == 1 and all(word.isalpha() and len(word) > _SHORTEST for word in rest)
    plainly = words_known().joining | words_known().heading.filler | words_known().heading.whole["content_mg"]
    return next(iter(rest)) if named and words - rest <= plainly | words_known().measure["mg"] else ""


def _is_content_of_label(text: str) -> bool:
    """Whether a heading says a content in per cent of label, in whatever words: "Teneur (% de la valeur déclarée)"."""
    known, words = words_known(), {word.strip("()%") for word in plain_words(text)} - {""}
    content, rest = known.heading.whole["content_mg"], words - known.claimed
    named = not claims_a_content().isdisjoint(words)
    says = says_content(text) or (named and (not rest or not rest.isdisjoint(known.joining)))
    return says_of_label(text) and says and rest <= content | known.joining | known.heading.filler


@functools.cache
def claims_a_content() -> frozenset[str]:
    """Words for what a unit holds by its label; "% of nominal" may be its mass as well."""
    known = words_known()
    return known.claimed - known.remark.reference - known.heading.other - {"th", "theorique"}


def meant_by(text: str) -> str:
    """The attribute that a text stands for as a heading; empty where it is none."""
    said = heading_of(text)
    return "" if said is None else said.attribute


def names_mould(label: str) -> bool:
    """Whether a label names a mould."""
    return not label.isdigit() and any(meant_by(word) == "mould" for word in plain_words(label))


def says_mass(text: str) -> bool:
    """Whether one of the words of a heading is one for a mass."""
    return any(word in words_known().heading.mass for word in plain_words(text))


def says_who(heading: str) -> bool:
    """Whether a heading is known for persons, whose initials may look like a unit of measure."""
    return not words_known().remark.who.isdisjoint(plain_words(heading))


def not_understood(text: str) -> str:
    """What of a heading that says mass, or g or mg, is not known for the mass of one unit; empty where all of it is.

    Mass with foil, mass of 10 units and weight before drying are other masses. A batch or a place may be named.

    Examples
    --------
    >>> not_understood("Mass with foil (g)"), not_understood("Weight of 10 units"), not_understood("Masse lot 7, g")
    ('with foil', '10', '')
    >>> not_understood("Individual weight per suppository [mg]"), not_understood("Paracetamol 7")
    ('', '')
    """
    # The size of a cavity, "2.0 g", is one number.
    known, words = words_known().heading, plain_words(_POINT.sub("\u00b7", text))
    if not any(word in known.mass or measure_of(word) in ("g", "mg") for word in words):
        return ""
    plainly = known.mass | known.unit | known.filler | words_known().measure["g"] | words_known().measure["mg"]
    named = batch_or_place(words)
    return " ".join(word for word in words if word not in plainly and word not in named).replace("\u00b7", ".")


def batch_or_place(words: Sequence[str]) -> set[str]:
    """The words that name a batch, a mould or a cavity by its number, and these numbers."""
    names = frozenset[str]().union(*(words_known().heading.whole[kind] for kind in ("batch", "mould", "cavity")))
    pairs = pairwise(words)
    named = (pair for pair in pairs if pair[0] in names and _SHORT_NAME.fullmatch(pair[1]) and not measure_of(pair[1]))
    return {word for pair in named for word in pair}


def says_of_label(text: str) -> bool:
    """Whether a heading says percent of what a unit should hold; per cent alone may be of its mass, or of a mean.

    Examples
    --------
    >>> says_of_label("Gehalt (% Deklaration)"), says_of_label("Content (% of label)"), says_of_label("Gehalt (%)")
    (True, True, False)
    """
    return "%" in text and not words_known().claimed.isdisjoint(plain_words(text))


def are_phases(texts: Iterable[str]) -> bool:
    """Whether texts name parts of a pour, two at least: "Start", "Middle (g)", "End"."""
    besides = words_known().heading.filler | {"pour", "pouring", "guss", "coulee", "colata", "vertido"}
    said = ([word for word in plain_words(text) if measure_of(word) not in ("g", "mg")] for text in texts)
    named = [[word for word in words if word not in besides] or words for words in said]
    phases = {" ".join(words) for words in named}
    return len(phases) > 1 and phases <= words_known().remark.phase


def says_content(text: str) -> bool:
    """Whether one of the words of a heading is one for what a unit contains."""
    return any(word in words_known().heading.whole["content_mg"] for word in plain_words(text))


@functools.lru_cache(maxsize=4096)
def summary_of(text: str) -> str:
    """What kind of row a label heads: "mean", "sd", "count", "figure", "reference"; empty where it is none of these.

    Examples
    --------
    >>> summary_of("Mittelwert:"), summary_of("Check weight"), summary_of("x\u0304"), summary_of("Unit 3")
    ('mean', 'reference', 'mean', '')
    >>> summary_of("Mean 1-10"), summary_of("-5 %"), summary_of("S 1")
    ('reference', 'reference', '')
    """
    if text.isdecimal():
        return ""
    if _PERCENT.fullmatch(text):
        return "reference"
    # "MW \u00b1 SD" stands before both, the mean first.
    mean, sign, scatter = text.partition("\u00b1")
    if sign and any(map(str.isalpha, scatter)) and summary_of(scatter) in ("sd", "rsd"):
        return summary_of(mean)
    # In small letters it is the sign of an SD.
    if text.strip(" :") == "\u03a3":
        return "figure"
    every = [word for word in plain_words(text) if word not in ("of", "the", "in")]
    # "min" is a minute and a minimum.
    words = [word for word in every if measure_of(word) in ("", "min")] or every
    known = words_known()
    besides = known.heading.mass | known.heading.unit | known.heading.filler
    spoken = [" ".join(plain_words(text)), " ".join(words)]
    spoken += [" ".join(word for word in words if word not in known.heading.mass)]
    # A single sign behind the word for a unit is its name: "Unit X".
    spoken += [rest for rest in [" ".join(word for word in words if word not in besides)] if len(rest) >= _SHORTEST]
    # "Mean mould A" is that of a part of them.
    of_part = batch_or_place(words) if known.heading.whole["batch"].isdisjoint(words) else set()
    spoken += [rest for rest in [" ".join(one for one in words if one not in of_part)] if of_part and len(rest) > 1]
    for phrase in filter(None, spoken):
        for kind, phrases in known.summary.items():
            if phrase in phrases:
                return kind
    # A mean of some units, or a limit worked out from the mean, is held against nothing; a sentence that holds a mass
    # is no label of others.
    if _MASS_IN_WORDS.search(text):
        return ""
    without = [word for word in words if not _FIGURES.fullmatch(word)]
    # "S-1 Weight" is the mass of sample S-1, no SD.
    named = sum(len(word) for word in without if word not in known.heading.mass) > 1
    long = len(without) < len(words) and sum(map(len, without)) >= _SHORTEST and named
    figures = known.remark.figure | known.remark.reference
    told = not figures.isdisjoint(without) and {*without} <= figures | besides | known.counted
    return "reference" if told or (long and summary_of(" ".join(without))) else ""


def balance_sign(word: str) -> str:
    """What a sign says that a balance prints beside a value: "rest", "moving", "net", "gross", "tare" or nothing."""
    return next((kind for kind, signs in words_known().balance.items() if word.casefold().rstrip(".:") in signs), "")
