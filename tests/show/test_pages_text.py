"""Pieces as text: eighty columns, letters that every terminal has, and nothing left of a piece without a word."""

from __future__ import annotations

from qc.show.pages_text import text_page
from qc.show.pieces import Lines, Picture, Prose, column, number, table


def test_no_line_is_wider_than_eighty_columns_and_no_letter_is_lost() -> None:
    text = "several words " * 12 + "x" * 200
    page = text_page((Prose(text=text), Lines(title="Title", items=(text,))))
    assert max(map(len, page.splitlines())) <= 80
    assert page.count("x") == 400


def test_a_piece_that_says_nothing_leaves_no_gap() -> None:
    drawn = Picture(id="tray", title="Tray", svg="<svg/>", caption="", alternative="")
    pieces = (Prose(text="First."), Lines(title="Empty", items=()), drawn, Prose(text="Last."))
    assert text_page(pieces) == "First.\n\nLast."


def test_numbers_stand_to_the_right_in_letters_every_terminal_has() -> None:
    masses = table(
        "Masses",
        [("1", "\N{MINUS SIGN}2.5"), ("long name", None)],
        column("Unit", lambda row: row[0]),
        number("Off [%]", lambda row: row[1]),
    )
    assert text_page([masses]).splitlines() == [
        "Masses",
        "  Unit        Off [%]",
        "  1              -2.5",
        "  long name         -",
    ]
