"""Text on a terminal whose code page lacks some of its characters: each gets a stand-in that a person can read."""

from __future__ import annotations

import codecs
import unicodedata

HANDLER = "qc-stand-in"
STAND_INS = {
    **dict.fromkeys("\u2010\u2011\u2012\u2013\u2014\u2212\u00ad", "-"),
    **dict.fromkeys("\u2018\u2019\u201a\u201b", "'"),
    **dict.fromkeys("\u201c\u201d\u201e\u00ab\u00bb", '"'),
    "\u2264": "<=",
    "\u2265": ">=",
    "\u2260": "<>",
    "\u2248": "~",
    "\u00b1": "+/-",
    "\u00d7": "x",
    "\u00f7": "/",
    "\u00b7": ".",
    "\u2022": "*",
    "\u00b0": " deg ",
    "\u00b5": "u",
    "\u03bc": "u",
    "\u03c3": "s",
    "\u2192": "->",
    "\u2190": "<-",
    "\u2030": " per mille",
    "\u20ac": "EUR",
    "\u00a7": "section ",
    "\u00df": "ss",
    "\u00e6": "ae",
    "\u00c6": "AE",
    "\u00f8": "o",
    "\u00d8": "O",
    "\u0142": "l",
    "\u0141": "L",
    "\u0111": "d",
    "\u0131": "i",
}


def stand_in(failure: UnicodeError) -> tuple[str, int]:
    """What is written in place of characters that an encoding lacks, and where to go on.

    Examples
    --------
    >>> register()
    >>> "2.0 \u2264 x\u0304, \u00e9, \u03a9".encode("ascii", HANDLER)
    b'2.0 <= x, e, ?'
    """
    if not isinstance(failure, UnicodeEncodeError):
        raise failure
    lacking = failure.object[failure.start : failure.end]
    return "".join(map(_of_one, lacking)), failure.end


def _of_one(letter: str) -> str:
    if letter in STAND_INS:
        return STAND_INS[letter]
    if unicodedata.combining(letter):
        return ""
    plain = "".join(one for one in unicodedata.normalize("NFKD", letter) if one.isascii())
    return plain or "?"


def register() -> None:
    """Make the handler known under its name, for `errors=` of a stream."""
    codecs.register_error(HANDLER, stand_in)
