"""Dosage forms: the names that the rules use, and the words that people write for them."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from unicodedata import combining, normalize

from msgspec import Struct

from qc.patterns import pattern
from qc.rules.built_in import FORMS_FILE, RULES_FOLDER
from qc.rules.strict_records import read_record

# Between words people write spaces, hyphens, commas, or nothing; all mean the same here.
_BETWEEN_WORDS = pattern(r"[\s\-‐‑–,;/()]+")


class Form(Struct, frozen=True, kw_only=True):
    """A dosage form under the name that every rule uses.

    Between `least_g` and `most_g` any unit of the form weighs [g]: common practice, wide, to tell grams from milligrams
    and units from what is none.
    """

    name: str
    synonyms: tuple[str, ...]
    note: str = ""
    least_g: Decimal | None = None
    most_g: Decimal | None = None


class _Vocabulary(Struct, frozen=True, kw_only=True):
    forms: tuple[Form, ...]


@functools.cache
def all_forms() -> tuple[Form, ...]:
    """Every dosage form that the rules know, moulded ones first."""
    return read_record(_Vocabulary, RULES_FOLDER / f"{FORMS_FILE}.toml").forms


def find_form(text: str) -> Form | None:
    """The dosage form that a text names.

    Case, spaces, hyphens and the plural do not matter; otherwise the text must be a known word. Nothing is guessed.

    Parameters
    ----------
    text : str
        What stands in the batch as its dosage form.

    Returns
    -------
    Form or None

    Examples
    --------
    >>> find_form("Rectal Suppository").name
    'suppositories'
    >>> find_form("troches").name
    'moulded lozenges'
    >>> find_form("supositories") is None
    True
    """
    return _by_stem().get(stem(text))


def usual_mass_g(text: str | None) -> tuple[Decimal, Decimal] | None:
    """Between which masses a unit of a form weighs [g]; None where nothing is said of it.

    Examples
    --------
    >>> usual_mass_g("suppository"), usual_mass_g("tablets")
    ((Decimal('0.2'), Decimal('6.0')), None)
    """
    form = find_form(text or "")
    return None if form is None or form.least_g is None or form.most_g is None else (form.least_g, form.most_g)


def form_within(text: str) -> Form | None:
    """The dosage form that stands in a longer text, by the longest word for one that it holds; None where none does.

    Examples
    --------
    >>> form_within("Progesterone vaginal suppositories 400 mg").name, form_within("Paracetamol 250 mg")
    ('pessaries', None)
    """
    words = stem(text).split()
    spans = (
        " ".join(words[at : at + length])
        for length in range(len(words), 0, -1)
        for at in range(len(words) - length + 1)
    )
    return next((form for span in spans if (form := _by_stem().get(span)) is not None), None)


def nearest_forms(text: str, *, most: int = 3) -> tuple[Form, ...]:
    """The forms whose names or synonyms look most like a text, the likeliest first, to be offered and never chosen.

    Parameters
    ----------
    text : str
        A text that names no known form.
    most : int
        How many to return at most.

    Examples
    --------
    >>> [form.name for form in nearest_forms("supositories", most=1)]
    ['suppositories']
    >>> [form.name for form in nearest_forms("capsules, any", most=2)]
    ['hard capsules', 'capsules']
    """
    import difflib

    wanted = stem(text)
    scores: dict[Form, float] = {}
    for known, form in _by_stem().items():
        # A whole word of the text in a known name says more than any likeness of letters.
        shared = 1.0 if set(wanted.split()) & set(known.split()) - _TOO_COMMON else 0.0
        likeness = difflib.SequenceMatcher(None, wanted, known).ratio()
        scores[form] = max(scores.get(form, 0.0), shared + likeness)
    ranked = sorted(scores, key=lambda form: -scores[form])
    return tuple(form for form in ranked if scores[form] >= 0.6)[:most]


_TOO_COMMON = frozenset({"for", "in", "a", "and", "us", "with", "singl", "dos", "unit"})


@functools.lru_cache(maxsize=4096)
def stem(text: str) -> str:
    """A text as forms are compared: small letters without accents, single spaces, no plural endings.

    Examples
    --------
    >>> stem("Vaginal  pessaries"), stem("vaginal-pessary"), stem("Troche"), stem("troches")
    ('vaginal pessari', 'vaginal pessari', 'troch', 'troch')
    """
    bare = "".join(letter for letter in normalize("NFKD", text.casefold()) if not combining(letter))
    return " ".join(_word_stem(word) for word in _BETWEEN_WORDS.split(bare) if word)


def _word_stem(word: str) -> str:
    if word.endswith("s") and not word.endswith("ss"):
        word = word[:-1]
    word = word.removesuffix("e")
    return f"{word[:-1]}i" if word.endswith("y") else word


@functools.cache
def _by_stem() -> Mapping[str, Form]:
    return MappingProxyType({stem(word): form for form in all_forms() for word in (form.name, *form.synonyms)})
