from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from qc.fields.field import plain
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
Remarks = Callable[[Path], list[str]]
BookOf = Callable[..., Path]

HEAD = ["Unit", "Mass (g)"]


@pytest.mark.parametrize("heading", ["Mass (g)", "MASS(G)", "M A S S [ g ]", "Mass_( g ):", "mass\u00a0g", "Mass,\ng"])
def test_a_heading_is_matched_without_regard_to_case_blanks_and_punctuation(book_of: BookOf, heading: str) -> None:
    assert plain(heading) == "massg"
    assert str(read_batch(book_of(units=[["UNIT", heading], [1, 2.013]])).units[0].mass_g) == "2.013"


def test_titles_empty_rows_and_trailing_blanks_are_skipped(book_of: BookOf) -> None:
    rows = [["Weighing of 25 November"], [], ["", "  "], HEAD, [], [1, 2.01], ["  ", " "], [2, 2.02], ["", None]]
    assert [unit.name for unit in read_batch(book_of(Units=rows)).units] == ["1", "2"]


def test_the_sheet_name_is_matched_without_regard_to_order_case_and_space(book_of: BookOf) -> None:
    path = book_of(**{"Assay": [["Unit", "Content (mg)"], [1, 125]], " uNITS ": [HEAD, [1, 2.01]]})
    assert len(read_batch(path).assays) == 1


def test_ignored_sheets_and_columns_give_notices(book_of: BookOf, remarks: Remarks) -> None:
    path = book_of(
        Units=[[*HEAD, "Colour", "Mas (g)"], [1, 2.01, "white", "-", "loose"], [2, 2.02]],
        Instructions=[["Read me"]],
        Assays=[["Unit"]],
    )
    assert remarks(path) == [
        'Units!C1: The column "Colour" is not known and was ignored.',
        'Units!D1: Ignored a column: "Mas (g)" in D1 is not known (did you mean "Mass (g)"?).',
        "Units: Column E has no heading in row 1; 1 cell was ignored.",
        'Instructions: Ignored the sheet "Instructions".',
        'Assays: Ignored the sheet "Assays"; did you mean "Assay"?',
        'Units!C2: Read what stands beside some of the units: "white".',
        'Units!E2: Read what stands beside some of the units: "loose".',
    ]


def test_errors_and_formulas_in_ignored_columns_do_no_harm(book_of: BookOf) -> None:
    path = book_of(Units=[[*HEAD, "Deviation now (%)"], [1, 2.01, "=B2/0"], [2, 2.02, "#DIV/0!"], [None, None, "=1"]])
    assert len(read_batch(path).units) == 2


def test_hidden_rows_columns_and_sheets_are_read_with_a_notice(book_of: BookOf, remarks: Remarks) -> None:
    def hide(book: Any) -> None:
        sheet = book["Units"]
        for row in (3, 4, 6):
            sheet.row_dimensions[row].hidden = True
        sheet.column_dimensions["B"].hidden = True
        sheet.sheet_state = "hidden"
        book.create_sheet("Look at me")

    path = book_of(hide, Units=[HEAD, *([number, 2.0] for number in range(1, 7))])
    assert remarks(path) == [
        "Units!A2: Read the hidden sheet Units.",
        "Units!A3: Read hidden rows 3 to 4, 6.",
        "Units!B2: Read hidden columns B.",
        'Look at me: Ignored the sheet "Look at me".',
    ]
    assert len(read_batch(path).units) == 6


def test_a_known_column_may_stand_once(book_of: BookOf, refused: Refused) -> None:
    assert refused(book_of(Units=[["Unit", "Mass (g)", "Mass (mg)", "Unit"], [1, 2.0, 2000, 1]])) == [
        'batch.xlsx, Units!C1: the column "Mass (mg)" stands again, after "Mass (g)" in B1. Keep one of B1 and C1.',
        'batch.xlsx, Units!D1: the column "Unit" stands again, after "Unit" in A1. Keep one of A1 and D1.',
    ]


def test_a_sheet_may_stand_once(book_of: BookOf, refused: Refused) -> None:
    assert refused(book_of(**{"Units": [HEAD, [1, 2.0]], "units ": [HEAD, [1, 2.0]]})) == [
        'batch.xlsx, units: the Units sheet stands again, after "Units" of batch.xlsx. Keep one of the two.'
    ]


@pytest.mark.parametrize(
    ("masses", "remark"),
    [
        ([2.0, None], "Cavities!C3: Cavities without a base mass were not used: row 3."),
        ([2.0, None, None, None], "Cavities: Cavities without a base mass were not used: rows 3 to 5."),
    ],
)
def test_cavities_without_a_base_mass_are_named_by_their_rows(
    book_of: BookOf, remarks: Remarks, masses: list[float | None], remark: str
) -> None:
    pours = [["A", number, mass] for number, mass in enumerate(masses, start=1)]
    path = book_of(Units=[HEAD, [1, 2.0]], Cavities=[["Mould", "Cavity", "Base mass (g)"], *pours])
    assert remarks(path) == [remark]


class TestMissing:
    """What is missing is named, with the heading that is near it."""

    def test_no_units_sheet(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Unit=[HEAD], Other=[[1]])) == [
            'batch.xlsx: no table of weights was found (the sheets are: "Unit", "Other"). Write "Unit" over the names '
            'of the units and "Mass (g)" over the masses.'
        ]

    def test_an_empty_units_sheet(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[])) == [
            "batch.xlsx, Units: the table is empty. Write one row a unit under the headings Unit and Mass (g)."
        ]

    def test_no_headings(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[["Untis", "Mas (g)"], [1, 2.0]])) == [
            'batch.xlsx, Units: no row holds a known column heading; "Mas (g)" in B1 is not known (did you mean '
            '"Mass (g)"?). Write the headings in one row above the entries: Unit, Pour order, Mould, Cavity, Mass (g), '
            "Mass (mg), Test sample, "
            "Seen, Weighed again (g), Weighed again (mg), Weighed again because, Left out "
            "because, Note, Weighing order, Content (mg), Content (% of label), Stage."
        ]

    def test_no_rows(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[HEAD])) == [
            "batch.xlsx, Units: there is no unit under the headings. Write one row a unit under the headings."
        ]

    def test_no_unit_column(self, book_of: BookOf) -> None:
        (unit,) = read_batch(book_of(Units=[["Units", "Mass (g)"], [1, 2.0]])).units
        assert (unit.name, str(unit.mass_g)) == ("1", "2")

    def test_no_mass_at_all(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=[["Unit", "Mas (g)"], [1, 2.0]])) == [
            'batch.xlsx, Units: no unit has a mass or a content; there is no column "Mass (g)"; "Mas (g)" in B1 '
            "is not known "
            '(did you mean "Mass (g)"?). Enter the masses of the units.'
        ]

    def test_a_unit_without_mass_and_assay_gives_a_notice(self, book_of: BookOf, remarks: Remarks) -> None:
        assert remarks(book_of(Units=[HEAD, [1, 2.0], *([number] for number in range(2, 10))])) == [
            "Units: Neither a mass nor an assay is entered for units 2, 3, 4, 5, 6, 7 and 2 more."
        ]


class TestMergedCells:
    """A value in a merged range counts for every row of it where it is a name, and is refused where it is a number."""

    def test_a_mould_covers_its_rows(self, book_of: BookOf) -> None:
        path = book_of(
            lambda book: book["Units"].merge_cells("B2:B3"),
            Units=[["Unit", "Mould", "Mass (g)"], [1, "A", 2.0], [2, None, 2.0], [3, "B", 2.0]],
        )
        assert [unit.mould for unit in read_batch(path).units] == ["A", "A", "B"]

    def test_a_mass_over_several_rows_is_refused(self, book_of: BookOf, refused: Refused) -> None:
        path = book_of(lambda book: book["Units"].merge_cells("B2:B3"), Units=[HEAD, [1, 2.0], [2]])
        assert refused(path) == [
            'batch.xlsx, Units!B2:B3: mass "2" is merged over the rows 2 to 3: which row it belongs to cannot be told. '
            "Unmerge the cells and type each value into its own row."
        ]

    def test_a_unit_over_several_rows_is_refused_in_units_and_read_in_assay(
        self, book_of: BookOf, refused: Refused
    ) -> None:
        path = book_of(lambda book: book["Units"].merge_cells("A2:A3"), Units=[HEAD, [1, 2.0], [None, 2.0]])
        assert refused(path)[0] == (
            'batch.xlsx, Units!A2:A3: unit "1" is merged over the rows 2 to 3: which row it belongs to cannot be told. '
            "Unmerge the cells and type each value into its own row."
        )
        path = book_of(
            lambda book: book["Assay"].merge_cells("A2:A3"),
            Units=[HEAD, [1, 2.0]],
            Assay=[["Unit", "Part", "Content (mg)"], [1, "tip", 60], [None, "end", 65]],
        )
        assert [(assay.unit, assay.part.value) for assay in read_batch(path).assays] == [("1", "tip"), ("1", "end")]

    def test_a_value_across_columns_is_refused(self, book_of: BookOf, refused: Refused) -> None:
        path = book_of(lambda book: book["Units"].merge_cells("A3:B3"), Units=[HEAD, [1, 2.0], ["weighed warm"]])
        assert refused(path) == [
            'batch.xlsx, Units!A3:B3: "weighed warm" is merged across the columns "Unit" and "Mass (g)". '
            "Unmerge the cells "
            "and type each value into its own cell."
        ]

    def test_a_merged_title_does_no_harm(self, book_of: BookOf) -> None:
        path = book_of(lambda book: book["Units"].merge_cells("A1:B1"), Units=[["Weighing"], HEAD, [1, 2.0]])
        assert len(read_batch(path).units) == 1


def test_numbers_above_and_beside_our_own_table_are_told(table_of: Callable[..., Path], remarks: Remarks) -> None:
    assert remarks(table_of("Limit high;2.1;;\nUnit;Mass (g);;\n1;2.013;;\n2;2.021;Tare;0.987\n")) == [
        "units.csv: Column C has no heading in row 2; 1 cell was ignored.",
        "units.csv: Column D has no heading in row 2; 1 cell was ignored.",
    ]
    batch = read_batch(table_of("Limit high;2.1\nUnit;Mass (g)\n1;2.013\n2;2.021\n"))
    assert batch.read is not None
    assert [(one.cells, one.what, str(one.value)) for one in batch.read.set_aside] == [("B1", "Limit high", "2.1")]


@pytest.mark.parametrize(
    "rows",
    [
        [HEAD, *([unit, 1.5] for unit in range(1, 6))],
        [["Unit", "Mass (mg)"], *([unit, 500] for unit in range(1, 6))],
        [["Suppository", "Weight"], *([unit, 1.5] for unit in range(1, 6))],
    ],
)
@pytest.mark.parametrize("head", [HEAD, ["Nr", "Weight (g)"]])
def test_weights_on_another_sheet_than_units_are_refused(
    book_of: BookOf, refused: Refused, head: list[str], rows: list[list[object]]
) -> None:
    path = book_of(**{"Units": [head, *([unit, 2 + unit / 1000] for unit in range(1, 21))], "Mould B": rows})
    (told,) = refused(path)
    assert told.startswith('batch.xlsx, Mould B!B2:B6: it holds weights beside the sheet "Units"')
    assert 'Put these units into "Units", with their Mould' in told
    assert len(read_batch(path, options=ReadOptions(sheet="Units")).units) == 20
    assert len(read_batch(path, options=ReadOptions(sheet="Mould B")).units) == 5


@pytest.mark.parametrize(
    "rows",
    [
        [["Time", "Temp (\u00b0C)"], ["10:01", 40.1], ["10:02", 40.3]],
        [["Standard", "Reading (g)"], ["100 g", 100.001], ["20 g", 19.999]],
        [["Mean (g)", 2.0105], ["SD (g)", 0.0059], ["n", 20]],
    ],
)
def test_a_sheet_beside_units_without_weights_of_units_gives_a_notice(
    book_of: BookOf, remarks: Remarks, rows: list[list[object]]
) -> None:
    units = [HEAD, *([unit, 2 + (unit * 7 % 20 + 1) / 1000] for unit in range(1, 21))]
    assert remarks(book_of(Units=units, Log=rows)) == ['Log: Ignored the sheet "Log".']


@pytest.mark.parametrize("units", ["Units", "Weighing"])
def test_a_sheet_called_nearly_as_a_known_one_with_its_headings_is_refused(
    book_of: BookOf, refused: Refused, units: str
) -> None:
    rows = [["Unit", "Content (mg)"], [1, 120], [2, 121]]
    assert refused(book_of(**{units: [HEAD, [1, 2.01], [2, 2.02]], "Assays": rows})) == [
        'batch.xlsx, Assays!A1: the sheet "Assays" is not known, but it has headings of the sheet "Assay". '
        'Call it "Assay" (one sheet of that name), or take it out of the workbook.'
    ]
