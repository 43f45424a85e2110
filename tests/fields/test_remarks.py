"""What a title or a remark says of the masses beside it: that they are others, of another batch, or of a group."""

from __future__ import annotations

import pytest

from qc.fields.remarks import batch_named, measures_said, other_masses, parts_groups, same_batch

OTHERS = {
    "Mass with foil": "with foil",
    "With foil": "With foil",
    "Gross weights": "Gross",
    "Masses divided": "divided",
    "VOID": "VOID",
    "Example": "Example",
    "This is one example of it": "example",
    "Weighed before trimming": "before",
    "Weighed before foil": "before foil",
    "before weighing": "before",
    "Mass before drying of the units that were made today": "before",
    "Weights of 10 units": "10",
    "Weights 10": "10",
    "Mass of xyz": "xyz",
    "weight of ab suppositories": "ab",
    "mass of coated suppositories": "coated",
}
NET = (
    *("Uniformity of mass of 20 suppositories", "Weights of 20 units", "Weights 20", "Masses of day 12", "Net weights"),
    *(
        "Weights of paracetamol suppositories 250 mg, batch 7",
        "Mass of Paracetamol suppositories",
        "Mass lot 10, units",
    ),
    # What was weighed without its foil is net; a fact with its number, and a field nobody filled in, is about itself.
    *("Weights without foil", "Mass (gross) 2.1 g", "Target mass: 2.0 g", "Tare of balance 1.0 g", "Mass = "),
    # A sentence of many words is no mark over a table, and a batch is named and not qualified.
    *(
        "This is an example of how the sheet is filled in by a technician",
        "Batch with foil",
        "plus foil and more words",
    ),
    # When and how the balance was used; a day, a strength and a number of something else are no number of units.
    *("cooled before weighing", "Units cooled before the last weighing", "Masses 10 mg", "Mass 10 day"),
    *("Previous batch 7", "with foil batch 7", "This is an example of the sheet", "", "mean", "250"),
)


@pytest.mark.parametrize("text", OTHERS)
def test_a_text_that_makes_others_of_the_masses_is_told(text: str) -> None:
    assert other_masses(text, count=20) == OTHERS[text]


@pytest.mark.parametrize("text", NET)
def test_a_text_about_net_masses_of_all_units_is_none(text: str) -> None:
    assert other_masses(text, count=20) == ""


def test_from_when_to_when_they_were_weighed_says_nothing_else() -> None:
    times = ("9:10", "9:10 to 9:40")
    assert [other_masses(f"Masses {time} with foil", count=20) for time in times] == ["with foil", ""]


def test_a_word_for_other_masses_is_taken_from_a_text_of_six_words_at_most() -> None:
    texts = ("as they were left in blister", "as they were left here in blister")
    assert [other_masses(text, count=20) for text in texts] == ["blister", ""]


def test_a_number_of_units_is_that_of_all_of_them() -> None:
    assert [other_masses("Weights of 20 units", count=count) for count in (19, 20, 21)] == ["20", "", "20"]


@pytest.mark.parametrize(
    ("text", "measures"),
    [
        *(("Weights in g", {"g"}), ("masses in mg and g", {"mg", "g"}), ("in kg", {"kg"})),
        # Behind a number it is that of the number; other units are none of masses.
        *((text, set()) for text in ("2.0 g each", "250 mg", "mg", "weights in %", "")),
    ],
)
def test_the_units_of_measure_that_a_text_names(text: str, measures: set[str]) -> None:
    assert measures_said(text) == measures


@pytest.mark.parametrize(
    ("text", "batch"),
    [
        ("Weights of batch 7 in g", "7"),
        ("Charge: 2026-014", "2026-014"),
        ("batch no. 7", "7"),
        ("Batch number A-7.", "A-7"),
        ("numero de lote 55", "55"),
        ("the lot number 9 b", "9"),
        ("Weights with foil of batch 12", "12"),
        # Of the base, without a number, and a number of units.
        *((text, "") for text in ("Base lot 12", "lot", "lot abc", "batch 12 units", "")),
    ],
)
def test_the_batch_that_a_text_names(text: str, batch: str) -> None:
    assert batch_named(text) == batch


@pytest.mark.parametrize(
    ("one", "other", "same"),
    [
        *(("PARA-7", "7", True), ("PARA-7", "para 7", True), ("P7", "P-7", True), ("12", "1 2", True)),
        *(("7", "8", False), ("A-7", "B-7", False), ("A-7", "A-8", False)),
    ],
)
def test_two_numbers_may_be_one_batch_where_one_is_written_shorter(one: str, other: str, same: bool) -> None:
    assert (same_batch(one, other), same_batch(other, one)) == (same, same)


@pytest.mark.parametrize(
    "text", ["Ibuprofen", "Batch 102", "mit Folie:", "Target 2.1", "Time", "Lot", "Ab", "AB C", "Unit AB"]
)
def test_a_text_among_masses_that_may_part_them(text: str) -> None:
    assert parts_groups(text)


@pytest.mark.parametrize(
    "text", ["Mould B", "Page 2 of 3", "-----", "Mean", "Unit", "A", "A B", "12 a", "12", "Mass (g)", "continued", ""]
)
def test_a_text_among_masses_that_parts_nothing(text: str) -> None:
    assert not parts_groups(text)


@pytest.mark.parametrize(
    ("text", "batch"),
    [
        # The words right beside the number are about it: units of a batch are counted, and a base has batches too.
        ("Batch 7 of 20 units", "7"),
        ("Batch 7 test units", "7"),
        ("Batch 7 units", ""),
        ("Base batch 7", ""),
        ("base of batch 7", "7"),
        ("of base, batch 7", ""),
        ("Batch no. 7-A,", "7-A"),
        ("Batch seven", ""),
        ("Lot number (7)", "7"),
    ],
)
def test_the_words_right_beside_a_number_say_of_what_it_is(text: str, batch: str) -> None:
    assert batch_named(text) == batch
