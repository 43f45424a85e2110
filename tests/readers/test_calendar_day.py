from __future__ import annotations

from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.readers.read import read_batch
from qc.readers.values import is_no_day

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
     "2026-11-25T09:30", "12 Monday 2026", "batch 3-4-5", "26-2-29"],
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
