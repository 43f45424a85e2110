"""How the units of a table are named, so that a name unlike the others is seen."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from msgspec import Struct

from qc.fields.words import measure_of, summary_of
from qc.patterns import pattern
from qc.readers.cells import SheetCell
from qc.readers.finding.lines import FoundLine

# Names up to this length are short; from this length on, a word within a name may head a figure.
SHORT = 3
# The share of the names from which on a kind of name is that of the units.
MOST_BEGIN = 0.6
_WORD = pattern(r"[^\W\d_]{3,}|\s\(")
_BEGIN, _DIGITS = pattern(r"[^\W\d_]{2,}"), pattern(r"\d+")
_ROMAN = pattern(r"(?=.)X{0,4}(?:IX|IV|V?I{0,3})|(?=.)x{0,4}(?:ix|iv|v?i{0,3})")
_COUNTED = pattern(r"[^\W\d_]{0,2}\d+[.)]?\s?[^\W\d_]{0,2}")


class UnitNames(Struct, frozen=True, kw_only=True):
    """How units are named: whether most bear a digit, are short, whole, wordless, Roman; their begin and words."""

    any: bool
    numbered: bool
    begin: str | None
    short: bool
    whole: bool
    wordless: bool
    roman: bool
    words: frozenset[str]

    @classmethod
    def of(cls, names: Sequence[str]) -> UnitNames:
        """How these names are made; words for figures among them are none."""
        names = [name for name in names if not summary_of(name)] or names
        begins = Counter(map(_letters, names)).most_common(1)
        words = Counter(map(_words, names)).most_common(1)
        short = sum(len(name) <= SHORT for name in names)
        most = MOST_BEGIN * len(names)
        return cls(
            any=bool(names),
            numbered=2 * sum(map(has_digit, names)) > len(names),
            begin=begins[0][0] if begins and begins[0][1] > most else None,
            short=short > most,
            whole=sum(map(str.isdigit, names)) > most,
            wordless=sum(_WORD.search(name) is None for name in names) > most,
            roman=sum(_ROMAN.fullmatch(name) is not None for name in names) > most,
            words=words[0][0] if words and words[0][1] > most else frozenset(),
        )

    def figure(self, label: SheetCell) -> str:
        """What kind of figure a label heads, as `summary_of` says; empty where it heads none."""
        # A single letter is a figure's sign only beside units that bear numbers, or no names at all.
        told = self.numbered or not self.any or len(label.shown.strip(" :=")) > 1
        told = told and not (self.roman and _ROMAN.fullmatch(label.shown))
        return summary_of(label.shown) if told else ""

    def is_remark(self, line: FoundLine) -> bool:
        """Whether a row without a mass is a remark: it has no name, or one that is not like those of the units."""
        name = line.cells.get("name")
        if name is None:
            return True
        return (self.any and self.is_odd(name.shown)) or len(name.shown.split()) > 3

    def is_odd(self, name: str) -> bool:
        """Whether a name is not like the others: it may be a target, a check weight, a figure worked out."""
        if name.isdecimal():
            return False
        if self.roman:
            return _ROMAN.fullmatch(name) is None
        # "2 g" is no number of a unit.
        if self.whole and measure_of(name.split()[-1]) in ("g", "mg"):
            return True
        if self.numbered and not has_digit(name):
            return True
        if (self.whole and not _COUNTED.fullmatch(name.strip())) or (self.wordless and _WORD.search(name)):
            return True
        # "Unit 13 new" among "Unit 12" and "Unit 14".
        if self.words and self.words < _words(name):
            return True
        begin = _letters(name)
        if self.begin is not None and begin not in (self.begin, ""):
            return True
        return (self.short and len(name) > SHORT and not has_digit(name)) or (
            len(bare := _DIGITS.sub(" ", name).strip(" -_.:")) >= SHORT and summary_of(bare) != ""
        )


def has_digit(name: str) -> bool:
    """Whether a name holds a number."""
    return _DIGITS.search(name) is not None


def _words(name: str) -> frozenset[str]:
    """The words of a name, of three letters or more."""
    return frozenset(re.findall(r"[^\W\d_]{3,}", name.casefold()))


def _letters(name: str) -> str:
    """The first word of a name, of two letters or more; a letter alone tells one unit from another."""
    match = _BEGIN.search(name)
    return match.group().casefold() if match else ""
