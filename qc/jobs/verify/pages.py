"""What the pages of a report say, as text, and whether it is what the result document says."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from functools import lru_cache
from html import unescape
from io import BytesIO
from typing import Any

_TAG = re.compile(r"<(style|script|svg)\b.*?</\1>|<[^>]*>", re.DOTALL)
_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_MOST_NAMED = 3
# A content is shown with fewer decimals than it was worked out to.
_DECIMALS = range(7)


@lru_cache(maxsize=8)
def text_of(content: bytes) -> str:
    """The text of an HTML page or of a PDF; empty where no text can be found in it."""
    if not content.startswith(b"%PDF"):
        return unescape(_TAG.sub(" ", content.decode(errors="replace")))
    from pypdf import PdfReader
    from pypdf.errors import PyPdfError

    try:
        return "\n".join(page.extract_text() for page in PdfReader(BytesIO(content)).pages)
    except (PyPdfError, ValueError, LookupError, TypeError, AttributeError, ArithmeticError, RecursionError, OSError):
        return ""


def letters_of(content: bytes) -> str:
    """The text of a page without blanks and line ends, which hang on fonts and paper."""
    return "".join(text_of(content).split())


def not_said(document: Mapping[str, Any], content: bytes) -> tuple[str, ...]:
    """What a result document says and a page does not: the batch number, and the masses and contents of its units.

    Parameters
    ----------
    document : mapping
        A result document that was read from a file.
    content : bytes
        The page.

    Returns
    -------
    tuple of str
        The first few of them, as they are called; empty where the page says all of them.
    """
    letters = letters_of(content)
    numbers = {float(number) for number in _NUMBER.findall(text_of(content))}
    number = "".join(str(document["batch"].get("number") or "").split())
    lacking = [f"batch number {number}"] if number.isascii() and number not in letters else []
    lacking += [what for what, shown in _measured(document) if numbers.isdisjoint(shown)]
    return tuple(lacking[:_MOST_NAMED])


def _measured(document: Mapping[str, Any]) -> Iterator[tuple[str, set[float]]]:
    """What was measured of each unit, with the numbers as which it may be shown."""
    for unit in document["units"]:
        for key in ("mass_g", "weighed_again_g"):
            if isinstance(unit.get(key), int | float):
                yield f"mass {unit[key]} g of unit {unit['unit']}", {float(unit[key])}
        for active, content in (unit.get("contents") or {}).items():
            found = [one for key in ("mg", "percent_of_label") if isinstance(one := content.get(key), int | float)]
            if found:
                yield (
                    f"content of {active} of unit {unit['unit']}",
                    {round(one, at) for one in found for at in _DECIMALS},
                )
