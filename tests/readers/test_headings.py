from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pandas
import pytest

from qc.fields.sheets import BARE_UNITS
from qc.readers.cells import CellKind, Noted, SheetCell, SheetRow, SheetTable, address
from qc.readers.frames import batch_from_frames
from qc.readers.headings import headings_of
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
Remarks = Callable[[Path], list[str]]
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]


class TestNearWords:
    """A heading that says mass in other words is read; one that says content otherwise is named with what to write."""

    @pytest.mark.parametrize(
        ("heading", "typed"),
        [
            ("Mass", 2.013),
            ("WEIGHT:", 2.013),
            ("Wt.", 2013),
            ("Weight (g)", 2.013),
            ("weight [mg]", 2013),
            ("Mass, g", 2.013),
            ("Weight in mg", 2013),
            ("Netto", 2.013),
        ],
    )
    def test_masses(self, book_of: BookOf, heading: str, typed: float) -> None:
        (unit,) = read_batch(book_of(Units=[["Unit", "Mould", heading], [1, "A", typed]])).units
        assert (unit.name, unit.mould, str(unit.mass_g)) == ("1", "A", "2.013")

    @pytest.mark.parametrize(
        ("heading", "typed", "said"),
        [
            ("Weight (kg)", 2.0, "2 kg"),
            ("Weight (mg)", 2.0, "2 mg"),
            ("Mass [g]", 2013, "2013 g"),
            ("Mass", 27, "27"),
        ],
    )
    def test_masses_that_no_unit_has(
        self, book_of: BookOf, refused: Refused, heading: str, typed: float, said: str
    ) -> None:
        (message,) = refused(book_of(Weights=[["Unit", heading], [1, typed]]))
        assert message.startswith(f"batch.xlsx, Weights!B2: the median mass {said} is not plausible")

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

    def test_a_second_column_of_masses_is_refused(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[["Unit", "Mass (g)", "Weight"], [1, 2.0, 2.1], [2, 2.0, 2.1]])) == [
            'batch.xlsx, Units!C2:C3: the numbers under "Weight" could be masses (2.1 ...). Head them Weighed again '
            "(g) if they are second weighings of the same units, and Content (mg) or Content (% of label) if they are "
            "what a unit holds of the active; put other units below the first ones, with names of their own; a mass "
            "that does not count is headed Gross, Tare or Target; or leave them out of account: --ignore 'Units!C2:C3'."
        ]

    def test_columns_that_are_no_masses_are_left_aside(self, book_of: BookOf, remarks: Remarks) -> None:
        rows = [["Unit", "Mass (g)", "Colour", "Gross (g)"], [1, 2.0, "white", 2.1]]
        assert remarks(book_of(Units=rows)) == [
            'Units!C1: The column "Colour" is not known and was ignored.',
            'Units!D1: The column "Gross (g)" is not known and was ignored.',
        ]

    def test_other_headings_are_named_where_nothing_was_measured(self, table_of: TableOf, refused: Refused) -> None:
        assert refused(table_of("Unit,Colour,Taste\n1,white,2.0\n")) == [
            'units.csv: no unit has a mass or a content; there is no column "Mass (g)"; ignored: "Colour" in B1, '
            '"Taste" in C1; row 1 was taken for the headings because of "Unit" in A1. Enter the masses of the units.'
        ]

    def test_no_known_heading_at_all(self, table_of: TableOf, refused: Refused) -> None:
        (message,) = refused(table_of("Shape,Colour\n1,white\n"))
        assert message.startswith("units.csv: no row holds a known column heading. Write the headings in one row above")

    def test_a_data_frame(self) -> None:
        batch = batch_from_frames(units=pandas.DataFrame({"Unit": [1, 2], "Mass": [2.0, 2.1]}))
        assert [(unit.name, str(unit.mass_g)) for unit in batch.units] == [("1", "2"), ("2", "2.1")]


class TestTitleTakenForHeadings:
    """A known word in a title does not hide the headings below it; where there is no table, the message says so."""

    @pytest.mark.parametrize(
        "rows",
        [
            [["Weighing"], ["Note"], [], ["Unit", "Mass (g)"], [1, 2.0]],
            [["Weighing"], ["Note"], ["No", "Netto"], [1, 2.0]],
            [["Unit"], ["Unit", "Mass (g)"], [1, 2.0]],
        ],
    )
    def test_the_headings_below_are_found(self, book_of: BookOf, rows: list[list[object]]) -> None:
        (unit,) = read_batch(book_of(Units=rows)).units
        assert (unit.name, str(unit.mass_g)) == ("1", "2")

    def test_a_title_in_a_delimited_file(self, table_of: TableOf) -> None:
        (unit,) = read_batch(table_of("Note\n\nUnit,Mass (g)\n1,2.0\n")).units
        assert (unit.name, str(unit.mass_g)) == ("1", "2.0")

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


class TestHintsOnRealisticHeadings:
    """A hint that is given is right; where a heading means something else there is none."""

    def hints(self, heading: str) -> str:
        texts = enumerate(("Unit", heading), start=1)
        cells = {spot: SheetCell(spot, address(1, spot), CellKind.TEXT, text) for spot, text in texts}
        row = SheetRow(number=1, cells=cells)
        found = headings_of(SheetTable(file="a.csv", sheet="", name="Units", rows=(row,)), BARE_UNITS, Noted())
        assert found is not None
        hint, _, _ = found.missing.partition("; ignored")
        return hint

    @pytest.mark.parametrize(
        "heading",
        [
            "Gross",
            "Gross (g)",
            "Gross weight (g)",
            "Brutto",
            "Bruttogewicht",
            "Poids brut (g)",
            "Peso lordo",
            "Tare",
            "Tare (g)",
            "Taragewicht",
            "Weigh boat (g)",
            "Container weight (g)",
            "Target mass (g)",
            "Nominal mass (g)",
            "Mean mass (g)",
            "Total mass (g)",
            "Cumulative mass (g)",
            "Mass before (g)",
            "Mass after (g)",
            "Mass of mould (g)",
            "Mass deviation (%)",
            "Mass %",
            "Mass ratio",
            "Mass limit",
            "Weight loss",
            "Weight 1",
            "Wet mass",
            "Difference (g)",
            "Moisture (%)",
            "Hardness (N)",
            "Length (mm)",
            "Label claim (mg)",
            "Dose (mg)",
            "Content (mg/g)",
            "Content uniformity",
            "Assay date",
            "Weighed by",
            "Weighed on",
            "Melting point",
            "Unit price",
            "Date",
            "Time",
            "Operator",
            "Max",
            "Mess",
            "Order",
            "Form",
            "Sample",
            "Note (g)",
        ],
    )
    def test_none_for_what_means_something_else(self, heading: str) -> None:
        assert self.hints(heading) == ""

    @pytest.mark.parametrize(
        ("heading", "meant"),
        [
            ("Mas (g)", "Mass (g)"),
            ("Masss (mg)", "Mass (mg)"),
            ("Net mass (g)", "Mass (g)"),
            ("Weight (g)", "Mass (g)"),
            ("Weight", "Mass (g) or Mass (mg)"),
            ("Unit mass", "Mass (g) or Mass (mg)"),
            ("Net (g)", "Mass (g)"),
            ("Conent (mg)", "Content (mg)"),
            ("Assay (mg)", "Content (mg)"),
            ("Mouldd", "Mould"),
            ("Cavty", "Cavity"),
            ("Pour orders", "Pour order"),
            ("Mold", "Mould"),
            ("Seeen", "Seen"),
        ],
    )
    def test_the_heading_that_a_slip_or_another_word_means(self, heading: str, meant: str) -> None:
        hint = self.hints(heading)
        assert f'did you mean "{meant}"' in hint or hint.endswith(f"write {meant}")
