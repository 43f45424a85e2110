from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.fields.days import days_meant, is_no_day
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

BookOf = Callable[..., Path]


@pytest.mark.parametrize(
    "text",
    ["31.02.2026", "2026-02-30", "30/02/2026", "31-4-1026", "29 February 2025", "Feb 30, 2026", "00.01.2026",
     "2026-13-13", "31. 11. 2026", "2026-02-30 10:15", "31st June 2026"],
)  # fmt: skip
def test_a_date_that_no_calendar_has(text: str) -> None:
    assert is_no_day(text)


@pytest.mark.parametrize(
    "text",
    ["29.02.2024", "2026-11-25", "11/25/2026", "25/11/26", "3 May 2026", "May 3, 2026", "week 48", "", "1.2",
     "2026-11-25T09:30", "12 Monday 2026", "batch 3-4-5", "26-2-29", "31.2.345", "2026.2.345"],
)  # fmt: skip
def test_a_day_or_no_date_at_all(text: str) -> None:
    assert not is_no_day(text)


@given(day=st.dates(min_value=date(1900, 1, 1), max_value=date(2099, 12, 31)))
def test_every_day_is_one_however_it_is_written(day: date) -> None:
    for form in ("%Y-%m-%d", "%d.%m.%Y", "%m/%d/%Y", "%d/%m/%y", "%d %B %Y", "%b %d, %Y"):
        assert not is_no_day(day.strftime(form))


def test_the_notice_names_its_cell(book_of: BookOf) -> None:
    def made_on(value: Any) -> list[tuple[str, str]]:
        facts = [["Field", "Value"], ["Product", "x"], ["Made on", value]]
        batch = read_batch(book_of(Batch=facts, Units=[["Unit", "Mass (g)"], [1, 2.0]]))
        return [(notice.where, notice.text) for notice in batch.notices]

    assert made_on("31.02.2026") == [("Batch!B3", 'Made on "31.02.2026" is no day of the calendar.')]
    assert made_on("28.02.2026") == made_on(date(2026, 2, 28)) == []


@pytest.mark.parametrize(
    ("text", "earliest", "latest"),
    [
        ("2026-03-14", "2026-03-14", "2026-03-14"),
        ("03.04.2026", "2026-03-04", "2026-04-03"),
        ("31.12.2026 08:15", "2026-12-31", "2026-12-31"),
        ("2028-02", "2028-02-01", "2028-02-29"),
        ("1/2027", "2027-01-01", "2027-01-31"),
        ("2/2027", "2027-02-01", "2027-02-28"),
        ("3.4.26", "2003-04-26", "2026-04-03"),
        ("14 March 27", "2027-03-14", "2027-03-14"),
    ],
)
def test_the_days_that_a_text_may_mean(text: str, earliest: str, latest: str) -> None:
    assert days_meant(text) == (date.fromisoformat(earliest), date.fromisoformat(latest))


@pytest.mark.parametrize(
    "text", ["", "next week", "345.1.2", "3.1.345", "2026.1.345", "13/2027", "0/2027", "2026-02-30", "31.02.2026", None]
)
def test_no_day_at_all(text: str | None) -> None:
    assert days_meant(text) is None


@pytest.mark.parametrize("field", ["Made on", "Balance calibrated on", "Weighed on", "Assayed on"])
def test_a_day_in_the_future_is_refused(field: str, book_of: BookOf, refused: Callable[..., list[str]]) -> None:
    def read(day: str | date) -> list[str]:
        path = book_of(Batch=[["Field", "Value"], [field, day]], Units=[["Unit", "Mass (g)"], [1, 2.0]])
        options = ReadOptions(today=date(2026, 3, 14))
        try:
            return [notice.text for notice in read_batch(path, options=options).notices]
        except InputProblems:
            return refused(path, options)

    assert read("2026-03-14") == read(date(2026, 3, 13)) == []
    # Of a day that can be read in two ways the earlier one counts.
    assert read("04.03.2026") == read("01.12.2026") == []
    assert read("2026-03-15") == [
        f'batch.xlsx, Batch!B2: {field.lower()} "2026-03-15" lies in the future: today is 2026-03-14. '
        "Type the day on which it was done, or set the clock of this machine."
    ]
    assert len(read("15.03.2026")) == 1


def test_an_expiry_lies_in_the_future(book_of: BookOf) -> None:
    path = book_of(Batch=[["Field", "Value"], ["Expiry", "2030-01-01"]], Units=[["Unit", "Mass (g)"], [1, 2.0]])
    assert read_batch(path, options=ReadOptions(today=date(2026, 3, 14))).notices == ()
