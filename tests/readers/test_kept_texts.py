"""Typed cells with all that is read from each, in `kept_texts.txt`: our own answers, to see what a change moves.

What they should give stands in the other tests of this room; after a change that is meant, or for further texts that
were written below the others, `python tests/readers/test_kept_texts.py` writes them anew.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

from qc.fields import words
from qc.readers import contents_apart, other_sheets, typed_number, values, words_of_units
from qc.readers.cells import SheetCell, content_of
from qc.readers.finding import (
    among_lines,
    choose,
    could_be,
    facts_said,
    figures,
    find,
    from_grids,
    grids,
    gross_and_net,
    printed,
    sifting,
    told_apart,
    unit_names,
    unread,
    view,
)
from tests.shared.kept_texts import Asked, changed_lines, write_anew

FILE = Path(__file__).parent / "kept_texts.txt"


def of_cell(ask: Callable[[SheetCell], Any]) -> Callable[[str], Any]:
    """What is asked of a cell, asked of what is typed into one."""

    def asked(text: str) -> Any:
        content = content_of(text)
        return None if content is None else ask(SheetCell(2, "B3", *content))

    return asked


def number(text: str) -> Any:
    """A typed number with how it was written, or why it is none."""
    try:
        return typed_number.written(text)
    except typed_number.NotANumberError as refused:
        return str(refused)


ASKED: Asked = {
    "number": of_cell(view.number_in),
    "like": of_cell(view.like_a_mass),
    "open": of_cell(view.is_open),
    "meant": of_cell(view.meant_in),
    "decimals": of_cell(view.decimals_in),
    "measure": of_cell(view.measure_in),
    "typed": number,
    "yes": lambda text: str(values.yes_or_no(text)).replace("None", ""),
    "line": printed.printed_line,
    "unit": printed.unit_number,
    "figures": printed.figures_said,
    "figure": lambda text: "" if printed.figure_said(text) == ("", "") else printed.figure_said(text),
    "clock": printed.is_clock,
    "masses": printed.holds_masses,
    "told": printed.numbers_told,
    "place": grids.is_place,
    "mould": words.names_mould,
    "says": unread.what_it_says,
    "fact": could_be.is_plain_fact,
    "else": could_be.is_something_else,
    "figure said": could_be._is_figure,
    "numbers": of_cell(could_be.numbers_meant),
    "over": of_cell(from_grids._may_stand_over),
    "batch in": from_grids._batch_in,
    "batch": choose._names_batch,
    "gross": find._says_gross,
    "made": lambda text: "" if among_lines._made(text) == text else among_lines._made(text),
    "whole": lambda text: "" if facts_said._whole_words(text) == text else facts_said._whole_words(text),
    "moving": told_apart._is_moving,
    "parts": sifting._parts,
    "digit": of_cell(figures.last_digit),
    "has digit": unit_names.has_digit,
    "letters": lambda text: "" if unit_names._letters(text) == text else unit_names._letters(text),
    "heads": of_cell(other_sheets._heads_units),
    "is number": words_of_units._is_number,
    "labelled": printed.numbers_labelled,
    "no clock": lambda text: "" if printed.without_clock(text).strip() == text.strip() else printed.without_clock(text),
    "no measure": lambda text: "" if from_grids.without_measure(text) == text else from_grids.without_measure(text),
    "kinds": gross_and_net.kinds_of,
    "weighed as": gross_and_net._weighed_as,
    "of weighing": told_apart._of_weighing,
    "percent": unread.in_percent,
    "active": of_cell(contents_apart.names_an_active),
}


def test_all_that_is_read_from_a_cell_is_as_before() -> None:
    assert changed_lines(FILE, ASKED) == []


if __name__ == "__main__":
    write_anew(FILE, ASKED)
