from __future__ import annotations

from collections.abc import Callable
from datetime import date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.fields.sheets import BARE_UNITS, BATCH, SHEETS
from qc.readers.options import ReadOptions
from qc.readers.plausible import implausible
from qc.readers.read import read_batch

pytestmark = pytest.mark.usefixtures("past_the_file")
Refused = Callable[..., list[str]]
TableOf = Callable[..., Path]
BookOf = Callable[..., Path]


def masses(path: Path, options: ReadOptions | None = None) -> list[str]:
    return [str(unit.mass_g) for unit in read_batch(path, options=options or ReadOptions()).units]


def units(*values: Any, heading: str = "Mass (g)") -> list[list[Any]]:
    return [["Unit", heading], *([number, value] for number, value in enumerate(values, start=1))]


def test_typed_zeros_are_kept_and_stored_floats_are_the_shown_decimal(book_of: BookOf) -> None:
    path = book_of(Units=units("2.100", 2.1, 2.0129999999999999, 0.1 + 0.2, 2))
    assert masses(path) == ["2.100", "2.1", "2.013", "0.3", "2"]


def test_milligrams_become_grams_exactly(book_of: BookOf) -> None:
    assert masses(book_of(Units=units(2013, 2100.5, "2 013 mg", heading="mass [MG]"))) == ["2.013", "2.1005", "2.013"]


def test_a_unit_in_the_cell_is_accepted_when_it_is_that_of_the_heading(book_of: BookOf) -> None:
    assert masses(book_of(Units=units("2.013 g", "2.100g", "2.05 gram"))) == ["2.013", "2.100", "2.05"]


@pytest.mark.parametrize(
    ("value", "message"),
    [
        ("2.1O", 'mass "2.1O" is not a number (it ends in the letter O). Type it in digits, for example 2.10.'),
        ("n/a", 'mass "n/a" is not a number (it holds no digit). Type it in digits, for example 2.013.'),
        (
            "2013 mg",
            'mass "2013 mg" is in mg, but the column "Mass (g)" is in g. Type it without a unit, for example 2.013.',
        ),
        (
            date(2026, 5, 2),
            "mass is the date 2026-05-02 (the number 46144 in a date format): the spreadsheet program turned what was "
            "typed into a date. Format the cell as a number and type the mass again, for example 2.013.",
        ),
        (
            datetime(2026, 5, 2, 6, 0),
            "mass is the date 2026-05-02 06:00:00 (the number 46144.25 in a date format): the spreadsheet "
            "program turned "
            "what was typed into a date. Format the cell as a number and type the mass again, for example 2.013.",
        ),
        (
            time(2, 1),
            "mass is the date 02:01:00 (the number 0.0840277777777778 in a date format): the spreadsheet "
            "program turned "
            "what was typed into a date. Format the cell as a number and type the mass again, for example 2.013.",
        ),
        (True, "mass is TRUE, not a number. Format the cell as a number and type the mass again, for example 2.013."),
        ("#DIV/0!", "mass is the error #DIV/0! Mend the formula, or type the mass in digits, for example 2.013."),
        (
            "=1+1",
            "mass is a formula without a stored result (=1+1). Open the file in the spreadsheet program and "
            "save it, so "
            "that it stores the result.",
        ),
        (-2.013, "mass -2.013 is negative. Type what was measured, for example 2.013."),
        ("\u22122.01", "mass \u22122.01 is negative. Type what was measured, for example 2.013."),
        ("-1e0", "mass -1e0 is negative. Type what was measured, for example 2.013."),
        (0, "mass is 0. Type the mass, for example 2.013, or leave the cell empty."),
        (
            "2,013",
            'mass "2,013" can be read two ways, 2.013 or 2013. Type 2.013 if that is meant, or give --decimal comma or '
            "--decimal point.",
        ),
    ],
)
def test_a_mass_that_cannot_be_used_says_what_stands_there_and_how_to_mend_it(
    book_of: BookOf, refused: Refused, value: Any, message: str
) -> None:
    assert refused(book_of(Units=units(2.0, value))) == [f"batch.xlsx, Units!B3: {message}"]


def test_a_percent_format_multiplies_exactly_in_a_percent_column_only(book_of: BookOf, refused: Refused) -> None:
    def in_percent(book: Any) -> None:
        book["Assay"]["B2"].number_format = "0.0%"
        book["Assay"]["B3"].number_format = '0.0" % of label"'

    path = book_of(in_percent, Units=units(2, 2), Assay=[["Unit", "Content (% of label)"], [1, 0.997], [2, 99.7]])
    assert [str(assay.content_percent) for assay in read_batch(path).assays] == ["99.7", "99.7"]

    def mass_in_percent(book: Any) -> None:
        book["Units"]["B2"].number_format = "0.0%"

    assert refused(book_of(mass_in_percent, Units=units(2.013, 2))) == [
        "batch.xlsx, Units!B2: mass is 2.013, shown as 201.3 %: the cell is formatted in percent. Format the cell as a "
        "number and type the mass again, for example 2.013."
    ]


class TestDecimalMark:
    """A number that can be read two ways is settled by its column, the call, the file; or refused."""

    @pytest.mark.parametrize(
        ("values", "read"),
        [
            (["2,013", "2,05"], ["2.013", "2.05"]),
            (["2.013", "2.05"], ["2.013", "2.05"]),
            (["2.013", "2.014"], ["2.013", "2.014"]),
            (["0,997", "1,012"], ["0.997", "1.012"]),
        ],
    )
    def test_other_cells_of_the_column_settle_it(self, book_of: BookOf, values: list[str], read: list[str]) -> None:
        assert masses(book_of(Units=units(*values))) == read

    def test_points_that_group_make_a_single_point_a_group(self, book_of: BookOf) -> None:
        assert masses(book_of(Units=units("1.234,5", "1.234", heading="Mass (mg)"))) == ["1.2345", "1.234"]

    @pytest.mark.parametrize(("decimal", "read"), [("comma", ["2.013"]), ("point", None)])
    def test_the_call_settles_it(self, book_of: BookOf, refused: Refused, decimal: Any, read: list[str] | None) -> None:
        path, options = book_of(Units=units("2,013")), ReadOptions(decimal=decimal)
        if read:
            assert masses(path, options) == read
        else:
            assert refused(path, options) == [
                "batch.xlsx, Units!B1: the median mass 2013 g is not plausible: 0.03 to 25 g is. If they were "
                "weighed in mg, "
                "head the column Mass (mg)."
            ]

    def test_another_column_of_the_file_settles_it(self, book_of: BookOf) -> None:
        path = book_of(Units=units("2,013"), Assay=[["Unit", "Content (% of label)"], [1, "99,7"]])
        assert masses(path) == ["2.013"]

    def test_a_point_is_refused_where_the_rest_of_the_file_has_decimal_commas(
        self, book_of: BookOf, refused: Refused
    ) -> None:
        path = book_of(Units=units("2.013", "2.014"), Assay=[["Unit", "Content (% of label)"], [1, "99,7"]])
        assert refused(path) == [
            'batch.xlsx, Units!B2: mass "2.013" can be read two ways, 2.013 or 2013; so can 1 more of this '
            "column. Type "
            "2.013 if that is meant, or give --decimal comma or --decimal point."
        ]

    def test_a_semicolon_as_separator_makes_the_comma_the_decimal_mark_with_a_notice(self, table_of: TableOf) -> None:
        batch = read_batch(table_of("Unit;Mass (g)\n1;2,013\n2;2,100\n"))
        assert [str(unit.mass_g) for unit in batch.units] == ["2.013", "2.100"]
        assert [(notice.where, notice.text) for notice in batch.notices] == [
            (
                "units.csv!B2",
                '"2,013" and the like below it were read with a decimal comma, as 2.013, because semicolons separate '
                "the fields; give --decimal point if the comma groups thousands.",
            )
        ]

    def test_a_comma_that_the_column_itself_proves_needs_no_notice(self, table_of: TableOf) -> None:
        batch = read_batch(table_of("Unit;Mass (g)\n1;2,013\n2;2,1\n"))
        assert [str(unit.mass_g) for unit in batch.units] == ["2.013", "2.1"]
        assert batch.notices == ()

    def test_a_semicolon_settles_no_column_in_milligrams(self, table_of: TableOf, refused: Refused) -> None:
        path = table_of("Unit;Mass (mg)\n1;2,013\n2;2,100\n")
        assert refused(path) == [
            'units.csv, B2: mass "2,013" can be read two ways, 2.013 or 2013; so can 1 more of this column. Type 2.013 '
            "if that is meant, or give --decimal comma or --decimal point."
        ]
        assert masses(path, ReadOptions(decimal="point")) == ["2.013", "2.100"]

    def test_a_decimal_comma_elsewhere_settles_a_column_in_milligrams(self, table_of: TableOf) -> None:
        path = table_of("Unit;Mass (mg);Content (% of label)\n1;62,013;99,7\n", name="units.csv")
        assert masses(path) == ["0.062013"]

    def test_contents_in_percent_after_a_semicolon(self, table_of: TableOf) -> None:
        batch = read_batch(table_of("Unit;Content (% of label)\n1;99,713\n"))
        assert str(batch.assays[0].content_percent) == "99.713"
        notice = batch.notices[0]
        assert (notice.where, notice.text) == (
            "units.csv!B2",
            '"99,713" was read with a decimal comma, as 99.713, because semicolons separate the fields; give '
            "--decimal point if the comma groups thousands.",
        )

    def test_a_semicolon_against_points_elsewhere_settles_nothing(self, table_of: TableOf, refused: Refused) -> None:
        assert refused(table_of("Unit;Mass (g);Content (mg)\n1;2,013;99.75\n")) == [
            'units.csv, B2: mass "2,013" can be read two ways, 2.013 or 2013. Type 2.013 if that is meant, or give '
            "--decimal comma or --decimal point."
        ]

    def test_two_marks_in_one_column_are_refused_with_both_cells(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=units("2,05", "2.07"))) == [
            'batch.xlsx, Units!B2: mass "2,05" has a decimal comma, "2.07" in B3 a decimal point. Type the '
            "whole column "
            "with decimal points."
        ]

    def test_a_point_beside_decimal_commas_is_refused(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=units("2,05", "2.013"))) == [
            'batch.xlsx, Units!B3: mass "2.013" does not go with a decimal comma, which the rest of the file '
            "has. Type all "
            "numbers with the same decimal mark, best a point."
        ]

    def test_stored_numbers_settle_nothing_since_size_is_no_proof(self, book_of: BookOf, refused: Refused) -> None:
        assert refused(book_of(Units=units(2.01, "2,013", 2.02))) == [
            'batch.xlsx, Units!B3: mass "2,013" can be read two ways, 2.013 or 2013. Type 2.013 if that is '
            "meant, or give "
            "--decimal comma or --decimal point."
        ]


@pytest.mark.parametrize("value", [0, -1, 1.5, "1.5"])
def test_a_pour_order_is_a_whole_number_from_one(book_of: BookOf, refused: Refused, value: Any) -> None:
    path = book_of(Units=[["Unit", "Pour order", "Mass (g)"], [1, value, 2.0]])
    assert refused(path) == [
        f"batch.xlsx, Units!B2: pour order {value} is not a whole number from 1 up. Type a whole number, for example 1."
    ]


def test_a_content_of_zero_is_a_finding_and_a_negative_one_is_refused(book_of: BookOf, refused: Refused) -> None:
    sheets = {"Units": units(2, 2), "Assay": [["Unit", "Content (mg)"], [1, 0], [2, 125]]}
    assert read_batch(book_of(**sheets)).assays[0].content_mg == Decimal(0)
    sheets["Assay"][1][1] = -0.1
    assert refused(book_of(**sheets)) == [
        "batch.xlsx, Assay!B2: content -0.1 is negative. Type what was measured, for example 125.3."
    ]


class TestPlausibleNumbers:
    """A number that no moulded unit, balance or batch can have is refused as it stands (common practice)."""

    @pytest.mark.parametrize(
        ("value", "shown"),
        [
            (4006381333931, "4006381333931"),
            ("4006381333931", "4006381333931"),
            ("4.006e12", "4.006e12"),
            (1e300, "1e+300"),
            (1e-300, "1e-300"),
            (10000.001, "10000.001"),
            ("0.000009", "0.000009"),
        ],
    )
    def test_a_mass_is_quoted_as_it_stands(
        self, book_of: BookOf, refused: Refused, value: float | str, shown: str
    ) -> None:
        assert refused(book_of(Units=units(2.0, value))) == [
            f"batch.xlsx, Units!B3: mass {shown} g is not plausible: 0.00001 to 10000 g is. Type it again, for example "
            "2.013."
        ]

    @pytest.mark.parametrize(
        ("heading", "below", "least", "most", "above", "message"),
        [
            ("Nominal mass (g)", 0.0299, 0.03, 25, 25.1, "g is not plausible: 0.03 to 25 g is"),
            ("Planned mass (g)", 0.0299, 0.03, 25, 25.1, "g is not plausible: 0.03 to 25 g is"),
            ("Balance readability (g)", 9e-8, 1e-7, 10, 10.1, "g is not plausible: 0.0000001 to 10 g is"),
            ("Balance repeatability (g)", 9e-8, 1e-7, 10, 10.1, "g is not plausible: 0.0000001 to 10 g is"),
            ("Melt prepared (g)", 9e-7, 1e-6, 10**6, 10**6 + 1, "g is not plausible: 0.000001 to 1000000 g is"),
            ("Melt left in dish (g)", 9e-7, 0, 10**6, 10**6 + 1, "g is not plausible: 0.000001 to 1000000 g is"),
            ("Trimmings (g)", 9e-7, 0, 10**6, 10**6 + 1, "g is not plausible: 0.000001 to 1000000 g is"),
            ("Dish assay (mg)", 9e-7, 0, 10**9, 10**9 + 1, "mg is not plausible: 0.000001 to 1000000000 mg is"),
            ("Units poured", None, 1, 10**6, 10**6 + 1, "is not plausible: 1 to 1000000 is"),
            ("Units released", None, 0, 10**6, 10**6 + 1, "is not plausible: 1 to 1000000 is"),
        ],
    )
    def test_the_bounds_of_the_facts(
        self,
        book_of: BookOf,
        refused: Refused,
        heading: str,
        below: Any,
        least: Any,
        most: Any,
        above: Any,
        message: str,
    ) -> None:
        for value, fits in ((below, False), (least, True), (most, True), (above, False)):
            if value is None:
                continue
            path = book_of(Batch=[["Field", "Value"], [heading, value]], Units=units(None), Assay=self.ASSAY)
            if fits:
                assert read_batch(path)
            else:
                assert [message in one for one in refused(path)] == [True]

    ASSAY = (("Unit", "Content (mg)"), (1, 125))

    @pytest.mark.parametrize(
        ("heading", "below", "least", "most", "above", "message"),
        [
            ("Label claim (mg)", 9e-7, 1e-6, 2000, 10**6 + 1, "mg is not plausible: 0.000001 to 1000000 mg is"),
            ("Displacement value", 1e-300, 0.01, 100, 100.1, "is not plausible: 0.01 to 100 is"),
            ("Displacement factor", 0.0099, 0.01, 100, 100.1, "is not plausible: 0.01 to 100 is"),
            ("Amount weighed (g)", 9e-7, 1e-6, 10**6, 10**6 + 1, "g is not plausible: 0.000001 to 1000000 g is"),
            ("Target (% of label)", 9e-5, 1e-4, 1000, 1000.1, "% is not plausible: 0.0001 to 1000 % is"),
            ("Batch assay (% of label)", None, 3, 1000, 1000.1, "% is not plausible: 0.0001 to 1000 % is"),
            ("Assay repeatability (% RSD)", 9e-5, 0, 100, 1e300, "% is not plausible: 0.0001 to 100 % is"),
        ],
    )
    def test_the_bounds_of_the_actives(
        self,
        book_of: BookOf,
        refused: Refused,
        heading: str,
        below: Any,
        least: Any,
        most: Any,
        above: Any,
        message: str,
    ) -> None:
        for value, fits in ((below, False), (least, True), (most, True), (above, False)):
            if value is None:
                continue
            path = book_of(Actives=[["Active", heading], ["a", value]], Units=units(2.0))
            if fits:
                assert read_batch(path)
            else:
                assert [message in one for one in refused(path)] == [True]

    @pytest.mark.parametrize(
        ("heading", "value", "message"),
        [
            (
                "Content (mg)",
                1e7,
                "content 10000000 mg is not plausible: 0.000001 to 1000000 mg is. Type it again, for example 125.3.",
            ),
            (
                "Content (% of label)",
                "1001",
                "content 1001 % is not plausible: 0.0001 to 1000 % is. Type it again, for example 99.7.",
            ),
            (
                "Mass of part (g)",
                1e5,
                "mass of part 100000 g is not plausible: 0.00001 to 10000 g is. Type it again, for example 0.67.",
            ),
            ("Stage", 1e300, "stage 1e+300 is not plausible: 1 to 1000000 is. Type it again, for example 1."),
        ],
    )
    def test_an_assay(self, book_of: BookOf, refused: Refused, heading: str, value: Any, message: str) -> None:
        head, row = (["Unit", heading], [1, value])
        if not heading.startswith("Content"):
            head, row = [*head, "Content (mg)"], [*row, 125]
        assert refused(book_of(Units=units(2.0), Assay=[head, row])) == [f"batch.xlsx, Assay!B2: {message}"]

    def test_the_options_of_a_bare_table(self, table_of: TableOf, refused: Refused) -> None:
        options = ReadOptions(label_mg=Decimal("1e7"), displacement=Decimal("0.001"))
        assert refused(table_of("Unit,Mass (g)\n1,2.013\n"), options) == [
            "units.csv: --label-mg 1E+7 mg is not plausible: 0.000001 to 1000000 mg is. Give it again, for example "
            "--label-mg 125.",
            "units.csv: --displacement 0.001 is not plausible: 0.01 to 100 is. Give it again, for example "
            "--displacement 1.5.",
        ]

    def test_every_column_of_numbers_has_its_bounds(self) -> None:
        columns = [*BATCH.fields, *BARE_UNITS.fields]
        columns += [column for sheet in SHEETS.values() for column in sheet.fields]
        for column in columns:
            assert (column.plausible is not None) is column.is_number, column.heading
            assert not implausible(Decimal(column.example or 0), column.plausible, column.unit), column.heading

    def test_an_option_that_is_no_number(self, table_of: TableOf, refused: Refused) -> None:
        assert refused(table_of("Unit,Mass (g)\n1,2.013\n"), ReadOptions(label_mg=Decimal("NaN"))) == [
            "units.csv: --label-mg NaN is not above zero. Give a number above zero."
        ]


def test_a_page_of_text_in_a_cell_is_shown_in_short(book_of: BookOf, refused: Refused) -> None:
    text = "weighed twice\n" + "on the small balance, " * 20
    assert refused(book_of(Units=[["Unit", "Mass (g)"], [1, 2.0], [2, text]])) == [
        'batch.xlsx, Units!B3: mass "weighed twice on the small balance, on the small balance, o…" is not a number (it '
        "holds no digit). Type it in digits, for example 2.013."
    ]


def test_a_text_that_a_formula_did_not_give_is_asked_without_an_example(book_of: BookOf, refused: Refused) -> None:
    assert refused(book_of(Units=[["Unit", "Mould", "Mass (g)"], [1, "#DIV/0!", 2.0], [2, "A", 2.0]])) == [
        "batch.xlsx, Units!B2: mould is the error #DIV/0! Mend the formula, or type the mould."
    ]
