"""What the number format of a cell writes behind a number: a sign of percent, a unit of measure.

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

_TEXT = re.compile(r'"([^"]*)"|\\(.)|\[\$([^\]-]*)[^\]]*\]|\[[^\]]*\]|[_*].')
_SCALED = re.compile(r"[0#?],+(?![0#?,])")


class Shown(Struct, frozen=True, kw_only=True):
    """Whether a number is shown in percent, and the unit behind it, empty where there is none."""

    percent: bool = False
    unit: str = ""


@functools.lru_cache(maxsize=1024)
def shown_behind(number_format: str) -> Shown:
    """What a number format of a workbook writes behind a number.

    Examples
    --------
    >>> shown_behind('0.000" mg"').unit, shown_behind("0.0%").percent, shown_behind("0.000").unit
    ('mg', True, '')
    >>> shown_behind('[>999]0.000," g";0" mg"').unit
    'g or mg, thousands'
    """
    digits = _TEXT.sub("", number_format)
    texts = ["".join(map("".join, _TEXT.findall(section))) for section in number_format.split(";")]
    units = dict.fromkeys(unit for text in texts if (unit := measure_of(text.strip(" ()[]\u00a0"))))
    scaled = ["thousands"] if _SCALED.search(digits) else []
    return Shown(percent="%" in digits, unit=", ".join([*filter(None, [" or ".join(units)]), *scaled]))
