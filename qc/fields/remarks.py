"""What a text that heads nothing says of the masses beside it: that they are others, or in another unit of mass."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import cache
from itertools import pairwise

from qc.fields.field import same_name
from qc.fields.words import (
    batch_or_place,
    every_word,
    heading_of,
    meant_by,
    measure_of,
    plain_words,
    summary_of,
    words_known,
)
from qc.patterns import pattern

# A short text without a word for masses is about them where it begins as a qualification: "with foil".
SHORTEST_SENTENCE, LONGEST_VOID, SHORTEST_NAME = 4, 6, 3
# Of how many words a text is at least that says something.
SHORTEST_SAID = 2
# Of how many words a person's name is at most, with a preposition before it.
LONGEST_NAME = 4
_NUMBER = pattern(r"[-+\u00b1\u2212~]?\d[\w.,%]*")
_FACT = pattern(r"\d\s*(?:%|m?g\b)|\d[.,]\d", re.IGNORECASE)
_PART = pattern(r"\s[-\u2013\u2014]\s|[:;,()\[\]/|\n]")
_PARTICIPLE = pattern(r"\w{3,}(?:ed|ing)|(?:un)?(?:ge|ver|um|ein)\w{3,}t(?:e[nr]?)?", re.ASCII)
# That stand under masses as headings, and in titles for something else.
_NO_NOUNS = frozenset({"ist", "net", "netto", "neto", "liquido", "liquidos", "nette", "liquida", "liquidas"})
_BEFORE, _GROSS = 3, ("gross", "brut", "lord")
_NO = pattern(r"(?:no|nr|n\u00b0|n\u00ba|\u2116|#|number|nummer|num|numero|n\u00famero)\.?", re.IGNORECASE)
# A number of more than two digits, or of several parts; a time of the day.
_LONG, _TIME = (
    pattern(r"(?<![\d.,])\d{3,}(?![.,]?\d)|\d[-/]\d|\d\.\d+\.\d"),
    pattern(r"\d{1,2}[:.]\d{2}(?:[:.]\d{2})?"),
)
_OF_BATCH = pattern(
    r"\b(?:from|of|aus|de|da|di|van|z)\s+(?:batch|lot|charge|lote?|lotto|partij|serii)\b", re.IGNORECASE
)
# What parts one thing that is said from the next; no point behind "K" or "Nr".
_CLAUSE = pattern(r"(?<=\w{4})[.!?]\s+|,\s+|;|\n|\s[-\u2013]\s")
_DIGIT = pattern(r"\d")
# Of so many so many: one of two pages, twenty of twenty-four units.
_SOME_OF = pattern(r"\b(\d+) (?:of|von|de|sur|di|van|z) (?!\1\b)\d+\b", re.IGNORECASE)
_RUN = pattern(r"\d+|[^\W\d_]+")


def other_masses(text: str, *, count: int, title: bool = False) -> str:
    """What a text says that makes other masses of those beside it than the net ones of single units; or nothing.

    Parameters
    ----------
    text : str
        A title or a remark that heads no numbers.
    count : int
        How many masses were read: a title may say so.
    title : bool
        Whether it is told as a title: a word that is not known, as the name of a house, is then told with it.

    Examples
    --------
    >>> [other_masses(one, count=20) for one in ("Mass with foil", "Gross weights", "VOID", "Weights of 10 units")]
    ['with foil', 'Gross', 'VOID', '10']
    >>> other_masses("Uniformity of mass of 20 suppositories", count=20)
    ''
    >>> other_masses("Weights of paracetamol suppositories 250 mg, batch 7", count=20)
    ''
    """
    known, words = words_known().remark, plain_words(text.replace("+/-", "\u00b1"))
    # What the units were made of, kept in or read from, and from when to when they were weighed.
    substance = text.rstrip().endswith(":") and words and words[0] in known.substance
    if substance or (words and words[0] in known.kept) or len(_TIME.findall(text)) > 1:
        return ""
    if words[:1] and words[0] in known.leaf and words[1:2] and words[1] in words_known().heading.filler:
        # A leaf of paper, "Foglio di lavorazione", is no foil.
        words = words[1:]
    # A letter alone is that of a name, as in "Z1" to "Z20", and a word alone may say of which part of the pour all are.
    if (len(text) == 1 and text.isalpha()) or (len(words) == 1 and words[0] in known.phase):
        return ""
    for clause in map(plain_words, _CLAUSE.split(text)):
        if len(clause) <= LONGEST_VOID and (void := [word for word in clause if word in known.void]):
            return _as_typed(text, void)
    if len(words) > 1 and words[-1] in known.strange_units and words[-2] in known.stated_in:
        return _as_typed(text, words[-1:])
    noun = any(map(_is_noun, words)) or any(measures_said(text))
    # A fact with its number or its name, and a field that nobody filled in, are about themselves.
    figures = known.reference | known.figure
    field = text.rstrip().endswith(")") or ":" in text or "=" in text
    stated = bool(_FACT.search(text)) or (field and not any(word.startswith(_GROSS) for word in words))
    fact = figures if stated else frozenset[str]()
    packed = words_known().heading.packed | known.other
    # What was weighed without its foil is net.
    net = known.without | packed if not known.without.isdisjoint(words) and not packed.isdisjoint(words) else fact
    qualifies = (known.other | known.reference) - fact - net
    told = [word for spot, word in enumerate(words) if word in qualifies and not _of_weighing(words, spot)]
    if not stated and len(words) <= LONGEST_VOID and (strong := [word for word in words if word in known.strong - net]):
        return _as_typed(text, strong)
    told = [word for word in told if not (word.startswith("tar") and {"balance", "waage"} & set(words))]
    of_a_batch = not words_known().heading.whole["batch"].isdisjoint(words)
    begins = bool(told) and words[0] == told[0] and len(words) <= SHORTEST_SENTENCE and not of_a_batch
    begins = begins and "\u00b0c" not in words
    if told and (begins or noun or not known.weighed.isdisjoint(words)):
        return _as_typed(text, told)
    parts = [plain_words(part) for part in _PART.split(text.replace("+/-", "\u00b1"))]
    unknown = [
        word for part in parts if any(map(_is_noun, part)) for word in _unknown(part, count) if word not in fact | net
    ]
    if title:
        tells = known.figure | known.reference | known.strong | known.status | known.wrong | known.apart | known.single
        tells |= words_known().heading.other | words_known().heading.packed
        short = {word for word in unknown if len(word) < SHORTEST_NAME}
        unknown = [word for word in unknown if word in short | tells or word.isdecimal() or _PARTICIPLE.fullmatch(word)]
    return _as_typed(text, unknown)


def says_no_unit(text: str, *, count: int) -> str:
    """What a text beside one mass says that makes it a figure, or no unit of this batch weighed once; or nothing.

    Parameters
    ----------
    text : str
    count : int
        How many masses were read.

    Examples
    --------
    >>> [says_no_unit(one, count=20) for one in ("Median", "previous batch", "2nd weighing", "chipped tip")]
    ['Median', 'previous', '2nd', '']
    """
    # A label that nobody filled in is about itself.
    label = text.rstrip().endswith((":", "=")) or any(map(str.isdigit, text)) or len(text.strip()) < SHORTEST_NAME
    if summary_of(text) and not label:
        return text
    words, known = plain_words(text), words_known().remark
    apart = [] if not known.who.isdisjoint(words) else [word for word in words if word in known.apart]
    return _as_typed(text, apart) if apart else other_masses(text, count=count)


def may_tell(text: str) -> bool:
    """Whether a text may say something of units: that something was wrong, or in words that no line of a record has.

    Examples
    --------
    >>> [may_tell(one) for one in ("13 replaced by a new one", "Standard deviation", "Checked by: A. Moe", "Seal")]
    [True, False, False, False]
    >>> [may_tell(one) for one in ("Zinc suppositories 100 mg", "one suppository was cold", "Stored at 25 \u00b0C")]
    [False, True, False]
    """
    words, known = plain_words(text.replace("_", " ")), words_known()
    if (
        says_of_some(text)
        or names_a_unit(text)
        or _SOME_OF.search(text)
        or not (known.remark.void | known.remark.apart).isdisjoint(words)
    ):
        return True
    who = known.remark.who
    signed = bool(words) and words[0] in who and len({*words} - who) <= LONGEST_NAME
    said = {word for word in words if any(map(str.isalpha, word)) and not measure_of(word)}
    if signed or len(said) < SHORTEST_SAID or said <= every_word() or _is_of_a_record(text, words):
        return False
    # What is named with its dosage form is the product, where no number of units is told.
    forms = {word for word in known.heading.unit if len(word) > SHORTEST_NAME} - {"unit", "units", "sample", "number"}
    return forms.isdisjoint(words) or not known.remark.single.isdisjoint(words)


def _is_of_a_record(text: str, words: Sequence[str]) -> bool:
    """Whether a text is a line of a record about something else than units, a time, a batch, a mould or a name."""
    known = words_known()
    if not known.remark.record.isdisjoint(words) or not known.heading.whole["mould"].isdisjoint(words):
        return True
    names = [word for word in text.split() if any(map(str.isalpha, word))]
    named = len(names) <= LONGEST_NAME and all(word[0].isupper() for word in names) and not _DIGIT.search(text)
    return named or bool(_TIME.search(text) or batch_named(text))


def is_plain(text: str) -> bool:
    """Whether every word of a text is one of the record of a batch: who, when, where, what for.

    Examples
    --------
    >>> [is_plain(one) for one in ("Weighed by:", "Uniformity of mass", "without tare", "mean of three")]
    [True, True, False, False]
    """
    words = {*plain_words(text)} - _of_a_record()
    return all(measure_of(word) for word in words if not word.isdigit())


@cache
def _of_a_record() -> frozenset[str]:
    known = words_known()
    named = (word for kind in ("batch", "mould", "cavity") for one in known.heading.whole[kind] for word in one.split())
    words = known.heading.mass | known.heading.unit | known.heading.filler | known.remark.record | known.remark.who
    return words.union(known.remark.plain, known.remark.weighed, known.form, known.row_or_column, named)


def is_fact(text: str) -> bool:
    """Whether a text names a fact of a record, whose value stands beside it: who, when, on which balance."""
    named = words_known().remark.record | words_known().remark.who
    return is_plain(text) and (not named.isdisjoint(plain_words(text)) or meant_by(text) in ("batch", "mould", "name"))


def names_a_unit(text: str) -> bool:
    """Whether a text names one unit by its number, and says something of it.

    Examples
    --------
    >>> [names_a_unit(one) for one in ("Unit 7: discarded", "Sample 7", "Lot no. 12 of 2026", "Suppositories 250 mg")]
    [True, False, False, False]
    """
    words, units = plain_words(text), words_known().heading.unit
    followed = zip(words, words[1:], words[2:], strict=False)
    return any(
        len(one) > SHORTEST_NAME and one in units and number.isdigit() and not measure_of(then)
        for one, number, then in followed
    )


def says_of_some(text: str) -> bool:
    """Whether a text says that something was wrong, or that units were taken away.

    Examples
    --------
    >>> [says_of_some(one) for one in ("Result: fails", "2 discarded", "Does not comply.", "Suppositories 250 mg")]
    [True, True, True, False]
    """
    known, words = words_known().remark, plain_words(text.replace('"', " ").strip(" .!"))
    # In phrases of at most three words.
    spoken = (" ".join(words[first:end]) for first in range(len(words)) for end in range(first + 1, first + 4))
    return any(one in known.status or one in known.wrong for one in spoken)


def measures_said(text: str) -> set[str]:
    """The units of measure of masses that a text names otherwise than behind a number."""
    words = plain_words(text)
    named = {measure_of(word) for before, word in pairwise(words) if not _NUMBER.fullmatch(before)}
    return named & {"g", "mg", "kg"}


def _is_noun(word: str) -> bool:
    return word in words_known().heading.mass and word not in _NO_NOUNS


def _of_weighing(words: Sequence[str], spot: int) -> bool:
    """Whether a word is about when or how the balance is used: "before weighing"."""
    return bool(words_known().remark.weighed & set(words[spot + 1 : spot + 1 + _BEFORE])) and spot > 0


def _unknown(words: Sequence[str], count: int) -> Iterator[str]:
    """The words of a title that says mass which are neither known nor the name of a product, and counts of others."""
    known, named = words_known(), batch_or_place(words)
    of_masses = known.heading.mass | known.heading.filler
    plainly = of_masses | known.heading.unit | known.remark.plain | known.remark.weighed | named
    strange = [word not in plainly and not _NUMBER.fullmatch(word) and not measure_of(word) for word in words]
    for spot, word in enumerate(words):
        after = next((one for one, odd in zip(words[spot:], strange[spot:], strict=True) if not odd), "")
        if strange[spot]:
            # The name of a product stands before what it is made into, or before its strength.
            named_product = after in known.heading.unit or _NUMBER.fullmatch(after)
            if not named_product or len(word) < SHORTEST_NAME or _PARTICIPLE.fullmatch(word):
                yield word
        elif word.isdecimal() and word not in named and words[spot - 1 if spot else spot] in of_masses:
            # A number of units is that of all of them; other numbers are a day, a week, a strength or a clause.
            follows = words[spot + 1] if spot + 1 < len(words) else "units"
            # "Nr wagi 12" is the number of a balance.
            balance = spot > 1 and words[spot - 2] in ("nr", "no", "numer", "n\u00b0")
            if follows in known.heading.unit and int(word) != count and not balance:
                yield word


def _as_typed(text: str, words: Sequence[str]) -> str:
    """Words as they stand in a text, without its accents and capitals where they cannot be found."""
    typed = {one: raw for raw in re.split(r"[\s,;:()\[\]/.]+", text) for one in plain_words(raw)}
    return " ".join(typed.get(word, word) for word in words)


def batch_named(text: str) -> str:
    """The batch that a text names by its number, of the units and not of what they are made of; or nothing.

    Examples
    --------
    >>> batch_named("Weights of batch 7 in g"), batch_named("Charge: 2026-014"), batch_named("Base lot 12")
    ('7', '2026-014', '')
    """
    typed = [one for one in text.replace(":", " ").split() if not _NO.fullmatch(one)]
    spans = ((start, end) for start in range(len(typed)) for end in range(min(start + 3, len(typed) - 1), start, -1))
    for first, end in spans:
        code = typed[end].strip(".,;()")
        if meant_by(" ".join(typed[first:end])) == "batch" and any(map(str.isdigit, code)):
            before, after = plain_words(" ".join(typed[:first]))[-1:], plain_words(" ".join(typed[end + 1 :]))[:1]
            others = {*before} & words_known().remark.other or {*after} & words_known().heading.unit
            return "" if others else code
    return ""


def same_batch(one: str, other: str) -> bool:
    """Whether two numbers of a batch may be the same, one of them written shorter: "PARA-7" and "7"."""
    first, second = (_RUN.findall(same_name(name)) for name in (one, other))
    return set(first) <= set(second) or set(second) <= set(first) or "".join(first) == "".join(second)


def telling_part(text: str, *, most: int) -> str:
    """A text, or where it is longer than `most` characters the first part that says something of units or masses.

    Examples
    --------
    >>> telling_part("Room temperature 21 \u00b0C, humidity 45 %; units 11-20 are from batch 12", most=40)
    '\u2026units 11-20 are from batch 12'
    >>> telling_part("Surface dull after cooling; weighed by AB", most=20)
    'Surface dull after cooling; weighed by AB'
    """
    if len(text) <= most:
        return text
    parts = [part.strip() for part in _CLAUSE.split(text)]
    # The name of a unit alone says nothing of it.
    saying = [part for part in (*parts[1:], parts[0]) if len(plain_words(part)) > SHORTEST_SAID or says_of_some(part)]
    told = min(saying, key=how_plain, default=text)
    named = [word.isdigit() for word in plain_words(parts[0])] == [False, True]
    lead = f"{parts[0]}, " if named else "\u2026"
    return text if told == parts[0] or how_plain(told) >= how_plain("") else f"{lead}{told}"


def how_plain(text: str) -> int:
    """How little a text may say of units or masses: from 0, that something was wrong, to 4, the words of a record.

    Examples
    --------
    >>> [how_plain(text) for text in ("3 discarded", "2 suppositories", "stirred by hand", "", "Weighed by")]
    [0, 1, 2, 3, 4]
    """
    words = {*plain_words(text)}
    known = words_known()
    of_units = not known.heading.unit.isdisjoint(words) and (
        _DIGIT.search(text) or not known.remark.single.isdisjoint(words)
    )
    if says_of_some(text) or names_a_unit(text) or other_masses(text, count=0) or _OF_BATCH.search(text):
        return 0
    if of_units or batch_named(text) or (_FACT.search(text) and not is_fact(text)):
        return 1
    if may_tell(text):
        return 2
    return 4 if text and is_plain(text) else 3


def parts_groups(text: str) -> bool:
    """Whether a text among masses may part those above it from those below it, as the name of another product does.

    Examples
    --------
    >>> [parts_groups(text) for text in ("Ibuprofen", "Batch 102", "mit Folie:", "Mould B", "Page 2 of 3", "-----")]
    [True, True, True, False, False, False]
    >>> [parts_groups(text) for text in ("24-118", "Supp. 250", "125 mg", "21.11.2026", "A", "2", "14:30")]
    [True, True, True, True, False, False, False]
    """
    known = words_known()
    joins = known.remark.joins | known.remark.phase | known.heading.whole["mould"] | known.heading.whole["cavity"]
    harmless = joins | known.heading.filler | known.heading.mass | known.heading.unit
    # The number of a lot, a strength or a day, where no word says that it is one of a page or a mould.
    numbered = bool(_LONG.search(text)) and joins.isdisjoint(plain_words(text)) and not _TIME.fullmatch(text.strip())
    words = [word for word in plain_words(text) if any(map(str.isalpha, word)) and len(word) > 1]
    said = heading_of(text)
    heads = (said is not None and said.attribute not in ("other", "batch")) or summary_of(text) not in ("", "reference")
    heads = heads or (summary_of(text) == "reference" and any(map(str.isdigit, text)))
    return (numbered or not {*words} <= harmless) and not heads
