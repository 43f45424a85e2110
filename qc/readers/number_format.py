"""What the number format of a cell makes of a number: how many decimals, a sign of percent, a unit of measure.

`0.000" mg"` shows 2.013 as "2.013 mg": whoever reads the sheet reads milligrams, whatever the heading says.

References
----------
ECMA-376, part 1, section 18.8.31 (number formats): sections, literal text, and commas that scale by a thousand.
"""

from __future__ import annotations

import functools
import re

from msgspec import Struct

from qc.fields.words import measure_of
from qc.patterns import pattern

_TEXT = pattern(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]|\[[^\]]*\]|_.|\*(.)')
# What shows a number as a number: its digits, what parts them, and the plus before a power of ten.
_BARE, _DIGITS = pattern(r"General|Standard|E[+-]|[\w\s#?.,%+'/@]", re.IGNORECASE), pattern(r"[0#?@\w]")
_SCALED = pattern(r"[0#?],+(?![0#?,])")
# Zeros alone stand behind the mark: as many decimals are shown of every number.
_PLACES = pattern(r"[#,]*0\.(0{1,9})\s*")


class Shown(Struct, frozen=True, kw_only=True):
    """How many decimals are shown of every number, whether it is in percent, the unit behind it and other words."""

    places: int
    percent: bool
    unit: str
    words: str


@functools.lru_cache(maxsize=1024)
def shown_behind(number_format: str) -> Shown:
    """What a number format of a workbook makes of a number.

    Examples
    --------
    >>> shown_behind('0.000" mg"').unit, shown_behind("0.0%").percent, shown_behind("0.000").unit
    ('mg', True, '')
    >>> shown_behind("0.000").places, shown_behind("0.000###").places, shown_behind("General").places
    (3, 0, 0)
    >>> shown_behind('[>999]0.000," g";0" mg"').unit
    'g or mg, thousands'
    >>> [shown_behind(one).words for one in ('0.000" rejected"', '"<"0.000', "-0.000", "0.000;(0.000)")]
    ['rejected', '<', '-', '']
    """
    digits = _TEXT.sub("", number_format)
    texts = ["".join(map("".join, _TEXT.findall(section))) for section in number_format.split(";")]
    said = [text.strip(" ()[]\u00a0") for text in texts]
    words = " or ".join(text for text in said if any(map(str.isalnum, text)) and not measure_of(text))
    # The first section is that of numbers above zero: what it shows beside their digits, or instead of them.
    plain, first = digits.partition(";")[0], texts[0] if measure_of(said[0]) == "" else ""
    words = words or (first + _BARE.sub("", plain)).strip(" \u00a0+'")
    if number_format and not _DIGITS.search(plain):
        words = words or "(not shown)"
    units = dict.fromkeys(unit for text in said if (unit := measure_of(text)))
    scaled = ["thousands"] if _SCALED.search(digits) else []
    fixed = _PLACES.fullmatch(plain)
    places = 0 if fixed is None or scaled else len(fixed.group(1))
    unit = ", ".join([*filter(None, [" or ".join(units)]), *scaled])
    return Shown(places=places, percent="%" in digits, unit=unit, words=words)
