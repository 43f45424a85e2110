"""What a typed day may mean: day, month and year in every order that is in use."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date

from qc.patterns import pattern

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_FIGURES = pattern(r"(\d{1,4})([./-])\s?(\d{1,2})\2\s?(\d{1,4})", re.ASCII)
_DAY_FIRST = pattern(r"(\d{1,2})(?:st|nd|rd|th|\.)?[ -]([a-z]{3,9})\.?,?[ -](\d{4}|\d{2})", re.ASCII)
_MONTH_FIRST = pattern(r"([a-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? (\d{4})", re.ASCII)
_MONTH_ALONE = pattern(r"(\d{4})[./-](\d{1,2})|(\d{1,2})[./-](\d{4})", re.ASCII)
_TIME = pattern(r"[t ,]\s*\d{1,2}:\d{2}.*", re.ASCII)


def days_meant(text: str | None) -> tuple[date, date] | None:
    """The earliest and the latest day that a text may mean; None where it is not written like a day.

    A month by itself, as on labels, means any of its days.

    Examples
    --------
    >>> [str(day) for day in days_meant("3.4.2026")], [str(day) for day in days_meant("02/2028")]
    (['2026-03-04', '2026-04-03'], ['2028-02-01', '2028-02-29'])
    """
    plain = _plain(text or "")
    days = [day for reading in _readings(plain) if (day := _day(*reading)) is not None]
    if match := _MONTH_ALONE.fullmatch(plain):
        year, month = (int(one) for one in (match[1] or match[4], match[2] or match[3]))
        days = [date(year, month, one) for one in (1, monthrange(year, month)[1])] if 1 <= month <= 12 and year else []
    return (min(days), max(days)) if days else None


def is_no_day(text: str) -> bool:
    """Whether a text is written like a date and no reading of it is a day of the calendar.

    Day, month and year may stand in any order that is in use; a text that is not written like a date is no such text.

    Examples
    --------
    >>> is_no_day("31.02.2026"), is_no_day("28.02.2026"), is_no_day("02/28/2026"), is_no_day("on a Monday")
    (True, False, False, False)
    """
    readings = _readings(_plain(text))
    return bool(readings) and all(_day(*reading) is None for reading in readings)


def _plain(text: str) -> str:
    return _TIME.sub("", " ".join(text.split()).casefold())


def _readings(plain: str) -> list[tuple[int, int, int]]:
    """Year, month and day of every way to read a text; none when it is not written like a date."""
    if match := _FIGURES.fullmatch(plain):
        first, second, third = (match.group(place) for place in (1, 3, 4))
        readings = []
        if len(first) != 3 and len(third) <= 2:
            readings.append((int(first), int(second), int(third)))
        if len(first) <= 2 and len(third) in (2, 4):
            readings += [(int(third), int(second), int(first)), (int(third), int(first), int(second))]
        return readings
    if match := _DAY_FIRST.fullmatch(plain):
        day, month, year = match.groups()
    elif match := _MONTH_FIRST.fullmatch(plain):
        month, day, year = match.groups()
    else:
        return []
    return [(int(year), _MONTHS.index(month[:3]) + 1, int(day))] if month[:3] in _MONTHS else []


def _day(year: int, month: int, day: int) -> date | None:
    try:
        return date(year if year > 99 else 2000 + year, month, day)
    except ValueError:
        return None
