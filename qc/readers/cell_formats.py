"""The styles of a workbook as far as a reader asks: how a cell shows its number, as a day or a time, struck through.

References
----------
ECMA-376, part 1, sections 18.8.10 (cellXfs), 18.8.30 (built-in number formats) and 18.8.31 (number formats); section
18.17.4.1 (days counted from 1900, in which 29 February 1900 stands, and from 1904).
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping, Sequence
from datetime import date, datetime, time, timedelta

from msgspec import Struct

from qc.readers.number_format import Shown, shown_behind
from qc.readers.parts import is_on, refused, walk

# The built-in formats of a day, of a time, of percent, and of two decimals; the others show a number as it is.
_BUILT_IN: Mapping[int, str] = {
    **dict.fromkeys((2, 4, 7, 8, 39, 40, 43, 44), "0.00"),
    **dict.fromkeys((14, 15, 16, 17, 22), "d/m/yy"),
    **dict.fromkeys((18, 19, 20, 21, 45, 47), "h:mm"),
    9: "0%",
    10: "0.00%",
    46: "[h]:mm:ss",
}
_FIRST_OWN = 164
# Literal texts, and brackets that hold no hours, minutes or seconds passed.
_NO_CODE = re.compile(r'".*?"|\[(?!hh?\]|mm?\]|ss?\])[^\]]*\]')
_OF_A_DATE = re.compile(r"(?<![_\\])[dmhysDMHYS]")
_PASSED = re.compile(r"\[(hh?|mm?|ss?)\]", re.IGNORECASE)
_EPOCH, _EPOCH_1904 = datetime(1899, 12, 30), datetime(1904, 1, 1)
_LEAP_DAY = 60
_COLLECTIONS = ("numFmts", "fonts", "cellStyleXfs", "cellXfs", "dxfs")


class CellFormat(Struct, frozen=True, kw_only=True):
    """How the cells of a style show what they hold."""

    shown: Shown
    is_date: bool = False
    is_duration: bool = False
    struck: bool = False


def format_of(code: str, *, struck: bool = False) -> CellFormat:
    """What a number format makes of a cell: its first section decides whether it shows a date.

    Examples
    --------
    >>> format_of("dd.mm.yyyy").is_date, format_of("[h]:mm").is_duration, format_of('0.000" mg"').is_date
    (True, True, False)
    """
    first = code.split(";")[0]
    is_date = _OF_A_DATE.search(_NO_CODE.sub("", first)) is not None
    return CellFormat(
        shown=shown_behind(code), is_date=is_date, is_duration=_PASSED.search(first) is not None, struck=struck
    )


PLAIN = format_of("General")


def cell_formats(archive: zipfile.ZipFile, part: str) -> Sequence[CellFormat]:
    """The format of each style of cells, in the order of their numbers; where a book has no styles, the plain one.

    Raises
    ------
    UnusableFileError
        When the part is missing, damaged, or a style is not what it says.
    """
    if not part:
        return (PLAIN,)
    codes: dict[int, str] = {}
    struck: list[bool] = []
    styles: list[tuple[int, int]] = []
    within = [""]

    def number(given: Mapping[str, str], name: str) -> int:
        said = given.get(name, "0")
        if not said.isdecimal():
            raise refused(f"a style of the cells says {name} = {said[:40]}, which is no whole number")
        return int(said)

    def code(given: Mapping[str, str]) -> None:
        if within[0] == "numFmts":
            codes[number(given, "numFmtId")] = given.get("formatCode", "")

    def font(_: Mapping[str, str]) -> None:
        if within[0] == "fonts":
            struck.append(False)

    def strike(given: Mapping[str, str]) -> None:
        if within[0] == "fonts" and struck:
            struck[-1] = is_on(given.get("val", "1"))

    def style(given: Mapping[str, str]) -> None:
        if within[0] == "cellXfs":
            styles.append((number(given, "numFmtId"), number(given, "fontId")))

    def ended(name: str) -> None:
        if name == within[0]:
            within[0] = ""

    entering = {name: lambda _, name=name: within.__setitem__(0, name) for name in _COLLECTIONS}
    walk(archive, part, {**entering, "numFmt": code, "font": font, "strike": strike, "xf": style}, ends=ended)
    if any(at >= len(struck) for _, at in styles):
        raise refused("a style of the cells names a font that the file does not hold")
    if any(of >= _FIRST_OWN and of not in codes for of, _ in styles):
        raise refused("a style of the cells names a number format that the file does not hold")
    return [format_of(codes.get(of, _BUILT_IN.get(of, "General")), struck=struck[at]) for of, at in styles]


def moment_of(serial: float, *, is_duration: bool, from_1904: bool) -> date | time | timedelta:
    """The day or the time that a number shows in the format of one, to the millisecond.

    Raises
    ------
    ValueError, OverflowError
        When no calendar reaches there.

    Examples
    --------
    >>> moment_of(46023.5, is_duration=False, from_1904=False), moment_of(0.25, is_duration=False, from_1904=False)
    (datetime.datetime(2026, 1, 1, 12, 0), datetime.time(6, 0))
    """
    days, part = divmod(serial, 1)
    passed = timedelta(milliseconds=round(part * 86_400_000))
    if is_duration:
        return timedelta(days=days) + passed
    if days == 0 and passed < timedelta(days=1):
        return (_EPOCH + passed).time()
    if from_1904:
        return _EPOCH_1904 + timedelta(days=days) + passed
    # Before the leap day that never was the count is one behind.
    return _EPOCH + timedelta(days=days + (0 < serial < _LEAP_DAY)) + passed


def moment_said(text: str) -> date | time:
    """The day or the time that a cell stores in words, year first.

    Raises
    ------
    ValueError
        When it is none.
    """
    said = text.removesuffix("Z")
    if "T" in said:
        return datetime.fromisoformat(said)
    return time.fromisoformat(said) if ":" in said else date.fromisoformat(said)
