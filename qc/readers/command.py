"""A call to be copied: words quoted as the shell at hand takes them, PowerShell on Windows."""

from __future__ import annotations

import os
import re
import shlex
from collections.abc import Sequence

from qc.patterns import pattern
from qc.readers.cells import SheetCell, SheetTable, areas

_PLAIN = {True: pattern(r"[\w./\\:+-][\w./\\:=+-]*"), False: pattern(r"[\w./:+-][\w./:=+-]*")}
# What a shell reads within double quotation marks; PowerShell takes the typographic ones for its own.
_LIVE = {True: pattern('[$`"\u201c\u201d\u201e]'), False: pattern(r'[$`"\\!]')}


def in_quotes(word: str, *, windows: bool | None = None) -> str:
    """A word in double quotation marks, which every shell takes; in single ones where it holds what a shell would read.

    Parameters
    ----------
    word : str
    windows : bool or None
        Whether it is for PowerShell; as the system is when None.

    Examples
    --------
    >>> in_quotes("week 4.xlsx"), in_quotes("a$b", windows=False), in_quotes("it's $5", windows=True)
    ('"week 4.xlsx"', "'a$b'", "'it''s $5'")
    """
    powershell = os.name == "nt" if windows is None else windows
    if not _LIVE[powershell].search(word):
        return f'"{word}"'
    if powershell:
        return "'" + re.sub("(['\u2018\u2019\u201a\u201b])", r"\1\1", word) + "'"
    return shlex.quote(word)


def as_word(word: str, *, windows: bool | None = None) -> str:
    """A word of a call, in quotation marks only where it needs them.

    Examples
    --------
    >>> as_word("C:/data/week.xlsx"), as_word("week 4.xlsx"), as_word(""), as_word("it's $5", windows=True)
    ('C:/data/week.xlsx', '"week 4.xlsx"', '""', "'it''s $5'")
    """
    powershell = os.name == "nt" if windows is None else windows
    return word if _PLAIN[powershell].fullmatch(word) else in_quotes(word, windows=powershell)


def to_ignore(call: str, table: SheetTable, *lines: Sequence[SheetCell]) -> str:
    """The end of a mend, with the call that leaves some cells out of account; what is given of it from a program."""
    named = [area for line in lines for area in areas(table, line).split(", ")]
    ranges = ",".join(f"{table.sheet}!{area}".lstrip("!") for area in named)
    return f"leave them out of account: {f'{call} --ignore'.strip()} {in_quotes(ranges)}"
