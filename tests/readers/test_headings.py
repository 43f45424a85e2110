from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas
import pytest

from qc.problems import InputProblems
from qc.readers.frames import batch_from_frames
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
Remarks = Callable[[Path], list[str]]
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]


class TestNearWords:
    """A heading that says mass or content, but not as it is known, is named with its cell and what to write."""

    @pytest.mark.parametrize(
        ("heading", "said"),
        [
            ("Mass", 'C1 "Mass" names no unit of measure: write Mass (g) or Mass (mg)'),
            ("WEIGHT:", 'C1 "WEIGHT:" names no unit of measure: write Mass (g) or Mass (mg)'),
            ("Wt.", 'C1 "Wt." names no unit of measure: write Mass (g) or Mass (mg)'),
            ("Weight (g)", 'C1 "Weight (g)" is not known: write Mass (g)'),
            ("weight [mg]", 'C1 "weight [mg]" is not known: write Mass (mg)'),
            ("Mass, g", 'C1 "Mass, g" is not known: write Mass (g)'),
            ("Weight in mg", 'C1 "Weight in mg" is not known: write Mass (mg)'),
            ("Weight (kg)", 'C1 "Weight (kg)" is not known: write Mass (g) or Mass (mg)'),
        ],
    )
    def test_masses(self, book_of: BookOf, refused: Refused, heading: str, said: str) -> None:
        assert refused(book_of(Units=[["Unit", "Mould", heading], [1, "A", 2.0]])) == [
            f'batch.xlsx, Units: no unit has a mass or a content; there is no column "Mass (g)"; {said}. Enter the '
            "masses of the units."
        ]

    @pytest.mark.parametrize(
        ("heading", "said"),
        [
            ("Content", 'B1 "Content" names no unit of measure: write Content (mg) or Content (% of label)'),
            ("Assay", 'B1 "Assay" names no unit of measure: write Content (mg) or Content (% of label)'),
            ("Assay (%)", 'B1 "Assay (%)" is not known: write Content (% of label)'),
            ("Assay (mg)", 'B1 "Assay (mg)" is not known: write Content (mg)'),
        ],
    )
    def test_contents(self, book_of: BookOf, refused: Refused, heading: str, said: str) -> None:
        sheets = {"Units": [["Unit", "Mass (g)"], [1, 2.0]], "Assay": [["Unit", heading], [1, 100]]}
        assert refused(book_of(**sheets)) == [
            'batch.xlsx, Assay: the table has neither a column "Content (mg)" nor "Content (% of label)"; '
            f"{said}. Write one of these headings over the contents."
        ]

    def test_a_column_of_masses_beside_it_makes_it_a_notice(self, book_of: BookOf, remarks: Remarks) -> None:
        assert remarks(book_of(Units=[["Unit", "Mass (g)", "Weight", "Assay (mg)"], [1, 2.0, 2.1, 5]])) == [
            'Units!C1: Ignored a column: C1 "Weight" names no unit of measure: write Mass (g) or Mass (mg).',
            'Units!D1: The column "Assay (mg)" is not known and was ignored.',
        ]

    def test_other_headings_are_named_where_nothing_was_measured(self, table_of: TableOf, refused: Refused) -> None:
        assert refused(table_of("Unit,Colour,Netto\n1,white,2.0\n")) == [
            'units.csv: no unit has a mass or a content; there is no column "Mass (g)"; ignored: "Colour" in B1, '
            '"Netto" in C1; row 1 was taken for the headings because of "Unit" in A1. Enter the masses of the units.'
        ]

    def test_no_known_heading_at_all(self, table_of: TableOf, refused: Refused) -> None:
        (message,) = refused(table_of("No,Weight\n1,2.0\n"))
        assert message.startswith(
            'units.csv: no row holds a known column heading; B1 "Weight" names no unit of measure: write Mass (g) or '
            "Mass (mg). Write the headings in one row above the entries: Unit, Pour order, "
        )

    def test_a_data_frame(self) -> None:
        with pytest.raises(InputProblems, match="no unit") as caught:
            batch_from_frames(units=pandas.DataFrame({"Unit": [1], "Mass": [2.0]}))
        assert [str(problem) for problem in caught.value.problems] == [
            'data frames, Units: no unit has a mass or a content; there is no column "Mass (g)"; column "Mass" names '
            "no unit of measure: write Mass (g) or Mass (mg). Enter the masses of the units."
        ]


class TestTitleTakenForHeadings:
    """The first row with a known word holds the headings; where that was a title, the message says so."""

    def test_a_later_row_with_more_known_headings_is_named(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[["Weighing"], ["Note"], [], ["Unit", "Mass (g)"], [1, 2.0]])) == [
            'batch.xlsx, Units: the table has no column "Unit"; row 2 was taken for the headings because of "Note" in '
            'A2. Name every unit, once each, under the heading "Unit"; row 4 holds more known headings: reword "Note" '
            "in A2."
        ]

    def test_a_title_above_headings_of_which_none_is_known(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[["Weighing"], ["Note"], ["No", "Netto"], [1, 2.0]])) == [
            'batch.xlsx, Units: the table has no column "Unit"; row 2 was taken for the headings because of "Note" in '
            'A2. Name every unit, once each, under the heading "Unit".'
        ]

    def test_a_title_in_a_delimited_file_makes_no_row_too_wide(self, table_of: TableOf, refused: Refused) -> None:
        assert refused(table_of("Note\n\nUnit,Mass (g)\n1,2.0\n")) == [
            'units.csv: the table has no column "Unit"; row 1 was taken for the headings because of "Note" in A1. Name '
            'every unit, once each, under the heading "Unit"; row 3 holds more known headings: reword "Note" in A1.'
        ]

    def test_a_title_that_is_the_word_unit(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[["Unit"], ["Unit", "Mass (g)"], [1, 2.0]])) == [
            'batch.xlsx, Units: no unit has a mass or a content; there is no column "Mass (g)"; row 1 was taken for '
            'the headings because of "Unit" in A1. Enter the masses of the units; row 2 holds more known headings: '
            'reword "Unit" in A1.'
        ]

    def test_the_assay_sheet(self, book_of: BookOf, refused: Refused) -> None:
        sheets = {
            "Units": [["Unit", "Mass (g)"], [1, 2.0]],
            "Assay": [["Active"], ["Unit", "Content (mg)"], [1, 125]],
        }
        assert refused(book_of(**sheets)) == [
            'batch.xlsx, Assay: the table has no column "Unit"; row 1 was taken for the headings because of "Active" '
            'in A1. Write the heading "Unit" over the unit of each determination; row 2 holds more known headings: '
            'reword "Active" in A1.'
        ]


class TestRepeatedHeadings:
    """A page break or a pasted block repeats the headings among the units."""

    def test_the_row_is_named_as_such(self, book_of: BookOf, refused: Refused) -> None:
        head = ["Unit", "Mould", "Mass (g)"]
        assert refused(book_of(Units=[head, [1, "A", 2.0], ["UNIT", None, "mass [g]"], [2, "A", "2.O"]])) == [
            "batch.xlsx, Units!A3: row 3 repeats the headings of row 1. Remove row 3.",
            'batch.xlsx, Units!C4: mass "2.O" is not a number (it ends in the letter O). Type it in digits, for '
            "example 2.0.",
        ]

    def test_a_unit_that_bears_one_of_the_words_is_a_unit(self, book_of: BookOf) -> None:
        path = book_of(Units=[["Unit", "Mould", "Mass (g)"], ["unit", "mould", 2.0], [2, "Mould", 2.0]])
        assert [unit.name for unit in read_batch(path).units] == ["unit", "2"]
