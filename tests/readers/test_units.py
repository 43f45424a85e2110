from __future__ import annotations

import zipfile
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.batch import Batch
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

pytestmark = pytest.mark.usefixtures("past_the_file")
Refused = Callable[..., list[str]]
Remarks = Callable[[Path], list[str]]
BookOf = Callable[..., Path]
HEAD = ["Unit", "Mass (g)"]


def test_every_field_of_a_unit_is_read(book_of: BookOf) -> None:
    head = ["Unit", "Pour order", "Mould", "Cavity", "Mass (g)", "Test sample", "Seen", "Left out because", "Note"]
    path = book_of(Units=[head, [1.0, "2", " A ", 3, "2.100", "Y", "chip; ; air bubble ", "fell", "cold"]])
    (unit,) = read_batch(path).units
    assert (unit.name, unit.pour_order, unit.mould, unit.cavity) == ("1", 2, "A", "3")
    assert (str(unit.mass_g), unit.test_sample, unit.seen) == ("2.100", True, ("chip", "air bubble"))
    assert (unit.left_out_because, unit.note) == ("fell", "cold")


@pytest.mark.parametrize(
    ("value", "meaning"),
    [
        ("yes", True),
        ("X", True),
        (True, True),
        ("true", True),
        ("No", False),
        ("n", False),
        (False, False),
        (None, None),
    ],
)
def test_the_test_sample_is_yes_or_no_or_unsaid(book_of: BookOf, value: Any, meaning: bool | None) -> None:
    assert read_batch(book_of(Units=[[*HEAD, "Test sample"], [1, 2.0, value]])).units[0].test_sample is meaning


def test_another_word_for_the_test_sample_is_refused(book_of: BookOf, refused: Refused) -> None:
    assert refused(book_of(Units=[[*HEAD, "Test sample"], [1, 2.0, "maybe"], [2, 2.0, 1]])) == [
        'batch.xlsx, Units!C2: test sample "maybe" is neither yes nor no. Type yes or no, or leave the cell empty.',
        'batch.xlsx, Units!C3: test sample "1" is neither yes nor no. Type yes or no, or leave the cell empty.',
    ]


@pytest.mark.parametrize(("first", "second"), [(1, "1"), ("A 1", "a  1"), ("u1", "U1 "), (1.0, 1)])
def test_a_unit_stands_once_without_regard_to_case_and_space(
    book_of: BookOf, refused: Refused, first: Any, second: Any
) -> None:
    name = second.strip() if isinstance(second, str) else second
    assert refused(book_of(Units=[HEAD, [first, 2.0], [9, 2.0], [second, 2.0]])) == [
        f'batch.xlsx, Units!A4: unit "{name}" stands again, after A2. Give each unit its own name in A2 and A4.'
    ]


@pytest.mark.parametrize(
    "word",
    [
        *(
            "Mean",
            "mean:",
            "Average",
            "Sum",
            "TOTAL",
            "SD",
            "Durchschnitt",
            "Mean (g)",
            "Mean mass",
            "x\u0304",
            "Target",
        ),
        *(
            "Check weight",
            "Tare",
            "Nominal mass (g)",
            "Mittel",
            "Odch. std.",
            "Écart-type",
            "Desv. std",
            "LCL",
            "5 % limit",
        ),
    ],
)
def test_a_row_that_sums_up_is_set_aside(book_of: BookOf, remarks: Remarks, word: str) -> None:
    path = book_of(Units=[HEAD, [1, 2.0], [2, 2.1], [3, 2.05], [word, 2.05]])
    assert remarks(path)[:1] == [f'Units!A5: Set aside "{word}", which is no unit.']
    assert [unit.name for unit in read_batch(path).units] == ["1", "2", "3"]


@pytest.mark.parametrize("word", ["Empty cup", "Reference X", "Vessel 2", "QC 2 g", "Leer"])
def test_a_label_that_is_not_named_as_the_units_are_is_refused(book_of: BookOf, refused: Refused, word: str) -> None:
    assert refused(book_of(Units=[HEAD, [1, 2.0], [2, 2.1], [3, 2.05], [word, 2.05]])) == [
        f'batch.xlsx, Units!A5: "{word}" stands among units that are named otherwise. Name it as the others if it is a '
        "unit, or take the row out."
    ]


def test_a_mass_without_a_unit_is_refused(book_of: BookOf, refused: Refused) -> None:
    assert refused(
        book_of(Units=[["Unit", "Mould", "Mass (g)"], [1, "A", 2.0], [None, None, 2.1], [None, "Mean", 2.05]])
    ) == [
        'batch.xlsx, Units!A3: the row has no unit, but "2.1" stands in C3. Type the name of the unit, or clear '
        "the row.",
    ]


@pytest.mark.parametrize("names", [["1-10"], ["1 to 10"], ["1-10", "11-20"], ["1\u201310"]])
def test_units_weighed_together_are_refused(book_of: BookOf, refused: Refused, names: list[str]) -> None:
    assert refused(book_of(Units=[HEAD, *([name, 20.0] for name in names)])) == [
        f'batch.xlsx, Units!A{row}: unit "{name}" reads as several units weighed together. Weigh the units one '
        f"by one, one "
        "row each."
        for row, name in enumerate(names, start=2)
    ]


def test_units_named_by_mould_and_cavity_are_no_ranges(book_of: BookOf) -> None:
    assert len(read_batch(book_of(Units=[HEAD, ["1-1", 2.0], ["1-2", 2.0], ["2-1", 2.0], ["2-2", 2.0]])).units) == 4


def test_a_date_for_a_unit_is_refused(book_of: BookOf, refused: Refused) -> None:
    assert refused(book_of(Units=[HEAD, [date(2026, 10, 1), 2.0]])) == [
        "batch.xlsx, Units!A2: unit is the date 2026-10-01 (the number 46296 in a date format): the spreadsheet "
        "program "
        "turned what was typed into a date. Format the cell as text and type the unit again."
    ]


@pytest.mark.parametrize(
    ("orders", "texts"),
    [
        ([1, 2, 3], []),
        ([1, 1, 2], []),
        ([1, 1, 3], []),
        ([1, 2, 4], ["Units: The pour order leaves out 3."]),
        ([2, 3, 9], ["Units: The pour order leaves out 1, 4 to 8."]),
        ([1, None, 2], ["Units!B3: No pour order is given for unit 2."]),
        ([1, None, None], ["Units: No pour order is given for units 2, 3."]),
        ([None, None, None], []),
    ],
)
def test_gaps_in_the_pour_order_give_a_notice(
    book_of: BookOf, remarks: Remarks, orders: list[int | None], texts: list[str]
) -> None:
    rows = [[number, order, 2.0] for number, order in enumerate(orders, start=1)]
    assert remarks(book_of(Units=[["Unit", "Pour order", "Mass (g)"], *rows])) == texts


class TestImplausibleMasses:
    """Slips by a thousand and totals are refused with both readings, never mended by guess."""

    def test_single_masses_in_another_unit(self, book_of: BookOf, refused: Refused) -> None:
        rows = [[number, 2.0] for number in range(1, 8)]
        rows[2][1], rows[4][1] = 2013, 0.002013
        still = "say so under Note: it then counts as it stands."
        assert refused(book_of(Units=[HEAD, *rows])) == [
            "batch.xlsx, Units!B4: mass 2013 g of unit 3 is about a thousand times the others (median 2 g). Type 2.013 "
            "if that is what was measured.",
            "batch.xlsx, Units!B6: mass 0.002013 g of unit 5 is about a thousandth of the others (median 2 g). Type "
            f"2.013 if that is what was measured. If it does weigh 0.002013 g, {still}",
        ]

    @pytest.mark.parametrize(
        ("mass", "how"),
        [
            (6001, "at least twelve times the others"),
            (6000, "about a thousand times the others"),
            (600, "about a thousand times the others"),
            (599.9, "at least twelve times the others"),
            (40, "at least twelve times the others"),
            (39.99, "at least twelve times the others"),
            (24.01, "at least twelve times the others"),
            (24, "about ten times the others"),
            (16, "about ten times the others"),
            (15.99, None),
            (0.251, None),
            (0.25, "about a tenth of the others"),
            (0.167, "about a tenth of the others"),
            (0.166, "at most a twelfth of the others"),
            (0.1001, "at most a twelfth of the others"),
            (0.1, "at most a twelfth of the others"),
            (0.00667, "at most a twelfth of the others"),
            (0.0066, "about a thousandth of the others"),
            (0.00066, "at most a twelfth of the others"),
        ],
    )
    def test_the_bounds_of_a_slipped_decimal_point(
        self, book_of: BookOf, refused: Refused, mass: float, how: str | None
    ) -> None:
        path = book_of(Units=[HEAD, [1, 2], [2, 2], [3, 2], [4, mass]])
        if how is None:
            assert len(read_batch(path).units) == 4
        else:
            (message,) = refused(path)
            assert f" of unit 4 is {how} (median 2 g)" in message

    @pytest.mark.parametrize(
        ("typed", "message"),
        [
            (
                "20.13",
                "mass 20.13 g of unit 4 is about ten times the others (median 2 g). "
                "Type 2.013 if that is what was measured.",
            ),
            (
                "0.2013",
                "mass 0.2013 g of unit 4 is about a tenth of the others (median 2 g). "
                "Type 2.013 if that is what was measured. If it does weigh 0.2013 g, say so under Note: "
                "it then counts as it stands.",
            ),
            (
                "2.01e2",
                "mass 2.01e2 g of unit 4 is at least twelve times the others (median 2 g). "
                "Type 2.01 if that is what was measured.",
            ),
            (
                "0.07",
                "mass 0.07 g of unit 4 is at most a twelfth of the others (median 2 g). "
                "Type what was measured. If it does weigh 0.07 g, say so under Note: it then counts as "
                "it stands.",
            ),
        ],
    )
    def test_a_slipped_decimal_point_is_refused_with_both_readings(
        self, book_of: BookOf, refused: Refused, typed: str, message: str
    ) -> None:
        path = book_of(Units=[HEAD, [1, 2], [2, 2], [3, 2], [4, typed]])
        assert refused(path) == [f"batch.xlsx, Units!B5: {message}"]

    @pytest.mark.parametrize(
        "beside",
        [
            ("Note", "ran nearly empty"),
            ("Seen", "short fill"),
            ("Left out because", "fell"),
            ("Weighed again (g)", 0.2),
        ],
    )
    def test_a_cavity_that_ran_nearly_empty_counts_where_that_is_said(
        self, book_of: BookOf, refused: Refused, beside: tuple[str, str | float]
    ) -> None:
        head, said = beside
        units = [[*HEAD, head], *([number, 2.0] for number in range(1, 21)), [21, 0.2, said]]
        assert read_batch(book_of(Units=units)).units[20].mass_g == Decimal("0.2")
        units[21][1] = 20
        assert "of unit 21 is about" in refused(book_of(Units=units))[0]

    def test_two_masses_are_too_few_to_say_which_slipped(self, book_of: BookOf) -> None:
        assert len(read_batch(book_of(Units=[HEAD, [1, 2], [2, 20]])).units) == 2

    @pytest.mark.parametrize(
        ("mass", "heading", "usual", "other"),
        [(2013, "Mass (g)", "0.03 to 25 g", "mg"), (2.013, "Mass (mg)", "30 to 25000 mg", "g")],
    )
    def test_a_whole_column_in_another_unit(
        self, book_of: BookOf, refused: Refused, mass: float, heading: str, usual: str, other: str
    ) -> None:
        unit = heading[6:-1]
        assert refused(book_of(Units=[["Unit", heading], [1, mass], [2, mass]])) == [
            f"batch.xlsx, Units!B1: the median mass {mass} {unit} is not plausible: {usual} is. If they were weighed "
            f"in {other}, head the column Mass ({other})."
        ]

    def test_masses_a_thousand_times_the_plan(self, book_of: BookOf, refused: Refused) -> None:
        path = book_of(
            Units=[["Unit", "Mass (mg)"], [1, 40], [2, 41]], Batch=[["Field", "Value"], ["Nominal mass (g)", 20]]
        )
        assert refused(path) == [
            "batch.xlsx, Units!B1: the median mass 40.5 mg is about a thousand times off the nominal mass of "
            "20 g in Batch!B2. See which of the two is in the wrong unit, and mend its heading or its value."
        ]

    def test_a_total_among_the_units(self, book_of: BookOf, refused: Refused) -> None:
        rows = [[number, 2.0] for number in range(1, 11)]
        assert refused(book_of(Units=[HEAD, *rows, [11, 20.01]])) == [
            "batch.xlsx, Units!B12: mass 20.01 of unit 11 is the sum of the other 10 masses. Weigh the units "
            "one by one; a "
            "total is worked out here, not typed in."
        ]


@pytest.mark.parametrize("word", ["no", "None", "-", "n/a", "N.A.", "yes", "X", "?", True, False])
def test_a_mere_yes_or_no_is_no_reason_to_leave_a_unit_out(book_of: BookOf, refused: Refused, word: Any) -> None:
    shown = str(word).upper() if isinstance(word, bool) else word
    assert refused(book_of(Units=[[*HEAD, "Left out because"], [1, 2.0, word]])) == [
        f'batch.xlsx, Units!C2: left out because "{shown}" gives no reason. Give the reason in words, or clear the '
        "cell when the unit is not left out."
    ]


@pytest.mark.parametrize("reason", ["fell", "no tip", "none of it set", "x-ray"])
def test_a_reason_in_words_is_kept(book_of: BookOf, reason: str) -> None:
    path = book_of(Units=[[*HEAD, "Left out because"], [1, 2.0, reason]])
    assert read_batch(path).units[0].left_out_because == reason


class TestUnmeasured:
    """Units without a mass and without an assay give a notice, with the cell where it is one."""

    def test_one_unit(self, book_of: BookOf, remarks: Remarks) -> None:
        assert remarks(book_of(Units=[HEAD, [1, 2.0], [2]])) == [
            "Units!B3: Neither a mass nor an assay is entered for unit 2."
        ]

    def test_a_row_of_text_below_the_units(self, book_of: BookOf, remarks: Remarks) -> None:
        assert remarks(book_of(Units=[HEAD, [1, 2.0], [2], [3], ["weighed by me"]])) == [
            'Units!A5: Nothing stands beside "weighed by me", which was read as a unit without a mass; if it is a '
            "remark, write it under Note or above the headings.",
            "Units: Neither a mass nor an assay is entered for units 2, 3.",
        ]

    def test_the_units_are_named_in_one_order_whatever_the_rows(self, book_of: BookOf, remarks: Remarks) -> None:
        rows = [[1, 2.0], [10], [2], ["B1"], [9]]
        for order in (rows, rows[::-1]):
            assert remarks(book_of(Units=[HEAD, *order])) == [
                "Units: Neither a mass nor an assay is entered for units 2, 9, 10, B1."
            ]

    def test_a_short_name_is_a_unit(self, book_of: BookOf, remarks: Remarks) -> None:
        assert remarks(book_of(Units=[HEAD, ["A", 2.0], ["B"]])) == [
            "Units!B3: Neither a mass nor an assay is entered for unit B."
        ]


class TestWeighedAgain:
    HEAD = "Unit,Mass (g),Weighed again (g),Weighed again because\n"

    def read(self, tmp_path: Path, row: str, rest: str = "2,2.01\n3,2.02\n4,1.99\n") -> Batch:
        path = tmp_path / "units.csv"
        path.write_text(f"{self.HEAD}{row}\n{rest}")
        return read_batch(path)

    def test_both_masses_and_the_reason_are_read(self, tmp_path: Path) -> None:
        first = self.read(tmp_path, "1,2.310,2.031,moved on the pan").units[0]
        assert (first.mass_g, first.weighed_again_g) == (Decimal("2.310"), Decimal("2.031"))
        assert first.weighed_again_because == "moved on the pan"

    @pytest.mark.parametrize(
        ("row", "message"),
        [
            (
                "1,,2.031,moved",
                "units.csv, C2: the second mass 2.031 g of unit 1 has no first one beside it. Type the mass that was "
                "read first too: both are kept.",
            ),
            (
                "1,2.031,2031,moved",
                "units.csv, C2: the second mass 2031 g of unit 1 is about a thousand times the first masses. Type what "
                "was measured, in g.",
            ),
            (
                "1,2.310,2.031,yes",
                'units.csv, D2: weighed again because "yes" gives no reason. Give the reason in words, or clear the '
                "cell when the unit is not weighed again.",
            ),
        ],
    )
    def test_what_cannot_be_is_refused(self, row: str, message: str, tmp_path: Path) -> None:
        with pytest.raises(InputProblems) as refused:
            self.read(tmp_path, row)
        assert [str(problem) for problem in refused.value.problems] == [message]

    @pytest.mark.parametrize("slip", ["20.31", "2031", "20310", "0.0203", "6.02", "0.000001"])
    def test_a_slip_beside_its_correction_stays_as_it_was_entered(self, slip: str, tmp_path: Path) -> None:
        rest = "".join(f"{number},2.01\n" for number in range(2, 8))
        first = self.read(tmp_path, f"1,{slip},2.031,typed wrongly", rest).units[0]
        assert (first.mass_g, first.weighed_again_g) == (Decimal(slip), Decimal("2.031"))

    @pytest.mark.parametrize("slip", ["0", "-2.031", "2.O31", "2.031 kg", "?"])
    def test_a_first_mass_that_is_none_stays_as_it_was_entered_beside_its_correction(
        self, slip: str, tmp_path: Path
    ) -> None:
        rest = "".join(f"{number},2.01\n" for number in range(2, 8))
        batch = self.read(tmp_path, f"1,{slip},2.031,typed wrongly", rest)
        assert (batch.units[0].mass_g, batch.units[0].weighed_again_g) == (None, Decimal("2.031"))
        assert batch.lost == frozenset()
        (notice,) = batch.notices
        assert notice.where == "units.csv!B2"
        assert notice.text.endswith(". It stays as it was entered, beside the second mass.")
        with pytest.raises(InputProblems, match=r"B2: mass"):
            self.read(tmp_path, f"1,{slip},2.031,", rest)

    def test_a_slip_that_is_typed_twice_is_no_correction(self, tmp_path: Path) -> None:
        with pytest.raises(InputProblems, match=r"20\.31 g of unit 1 is about ten times the others"):
            self.read(tmp_path, "1,20.31,20.31,checked")

    def test_a_reason_without_a_mass_gives_a_notice(self, tmp_path: Path) -> None:
        (notice,) = self.read(tmp_path, "1,2.031,,moved").notices
        assert notice.text == "Unit 1 has a reason to be weighed again, and no second mass stands beside it."

    @pytest.mark.parametrize(
        ("head", "scale"),
        [
            ("Unit,Mass (mg),Weighed again (mg),Weighed again because", 1000),
            ("No,Weight (g),Reweigh (g),Reason for reweighing", 1),
            ("Nr,Gewicht [mg],Nachw\u00e4gung [mg],Grund der Nachw\u00e4gung", 1000),
            ("No,Weight (g),2nd weighing,Reweigh reason", 1),
        ],
    )
    def test_in_other_words_and_in_milligrams(self, head: str, scale: int, tmp_path: Path) -> None:
        first = [(2310, 2031), *((mass, None) for mass in (2010, 2020, 1990, 2005, 2015))]
        rows = []
        for number, (mass, again) in enumerate(first, start=1):
            second = "" if again is None else f"{Decimal(again) / 1000 * scale},moved"
            rows.append(f"{number},{Decimal(mass) / 1000 * scale},{second or ','}")
        path = tmp_path / "units.csv"
        path.write_text("\n".join((head, *rows)) + "\n", encoding="utf-8")
        batch = read_batch(path, options=ReadOptions(form="suppositories"))
        unit = batch.units[0]
        assert (unit.mass_g, unit.weighed_again_g) == (Decimal("2.310"), Decimal("2.031"))
        assert unit.weighed_again_because == "moved"


@pytest.mark.parametrize("said", ["Note", "Left out because"])
def test_a_unit_without_a_mass_is_told_with_the_word_why(said: str, tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_text(f"Unit,Mass (g),{said}\n1,2.013,\n2,,fell on the floor\n")
    assert [one.text for one in read_batch(path).notices] == [
        'Read what is said of unit 2 without a mass, "fell on the floor".'
    ]


def test_figures_below_their_words_are_no_units(book_of: BookOf, refused: Refused) -> None:
    rows = [["Unit", "Mass (g)"], *([n / 100, 2.01] for n in range(191, 197)), [], ["SD", "n"], [0.03, 6]]
    assert refused(book_of(Units=rows)) == [
        'batch.xlsx, Units!A10: "0.03" stands among units that are named otherwise. Name it as the others if it is a '
        "unit, or take the row out."
    ]


@pytest.mark.parametrize(
    ("name", "is_unit"), [("7a", True), ("7 b", True), ("U7", True), ("2024-01-15", False), ("B-2.01", False)]
)
def test_a_name_among_numbers_is_a_number_perhaps_with_a_letter(
    book_of: BookOf, refused: Refused, name: str, is_unit: bool
) -> None:
    path = book_of(Units=[["Unit", "Mass (g)"], *([n, 2.01] for n in range(1, 7)), [name, 2.02]])
    if is_unit:
        assert len(read_batch(path).units) == 7
    else:
        assert refused(path) == [
            f'batch.xlsx, Units!A8: "{name}" stands among units that are named otherwise. Name it as the others if it '
            "is a unit, or take the row out."
        ]


@pytest.mark.parametrize("name", ["Z3 again", "Z3 (2nd)", "check Z3"])
def test_a_word_behind_a_name_makes_it_none_of_the_others(book_of: BookOf, refused: Refused, name: str) -> None:
    path = book_of(Units=[["Unit", "Mass (g)"], *([f"Z{n}", 2.01] for n in range(1, 7)), [name, 2.02]])
    assert refused(path) == [
        f'batch.xlsx, Units!A8: "{name}" stands among units that are named otherwise. Name it as the others if it '
        "is a unit, or take the row out."
    ]


class TestCalculatedMasses:
    """A mass that was calculated from masses of other units is none."""

    @pytest.fixture
    def book(self, tmp_path: Path) -> Callable[..., Path]:
        """A book as a spreadsheet program saves it: formulas with their results."""

        def write(formula: str, value: float, *, name: str = "20") -> Path:
            import xlsxwriter

            with xlsxwriter.Workbook(tmp_path / "batch.xlsx") as workbook:
                sheet = workbook.add_worksheet("Units")
                sheet.write_row(0, 0, ["Unit", "Mass (g)", "Gross (g)", "Tare (g)"])
                for row in range(1, 20):
                    sheet.write_row(row, 0, [str(row), 2 + row / 1000, 5 + row / 1000, 3])
                sheet.write_string(20, 0, name)
                sheet.write_formula(20, 1, formula, None, value)
                sheet.write_row(20, 2, [round(3 + value, 3), 3])
            return tmp_path / "batch.xlsx"

        return write

    @pytest.mark.parametrize(
        "formula", ["=AVERAGE(B2:B20)", "=AVERAGE($B$2:$B$20)", "=MIN(B2,B3)", "=B2", "=(B2+B3)/2"]
    )
    def test_is_refused(self, formula: str, book: Callable[..., Path], refused: Refused) -> None:
        assert refused(book(formula, 2.01)) == [
            f"batch.xlsx, Units!B21: the mass of unit 20 is calculated from other masses ({formula}). Type the mass "
            "that the balance showed, or clear the row."
        ]

    @pytest.mark.parametrize("formula", ["=C21-D21", "=5.02-3", "=ROUND(C21-D21,3)", "=SUM(C21,-D21)"])
    def test_a_net_mass_is_not(self, formula: str, book: Callable[..., Path]) -> None:
        assert read_batch(book(formula, 2.02)).units[19].mass_g == Decimal("2.02")

    @pytest.mark.parametrize(("formula", "sheet"), [("=Other!B2", "Other"), ("='[1]a b'!B2", "[1]a b")])
    def test_a_sheet_that_is_not_there_is_refused(
        self, formula: str, sheet: str, book: Callable[..., Path], refused: Refused
    ) -> None:
        mend = "Mend the formula, or type the mass in digits, for example 2.013."
        assert refused(book(formula, 2.02))[-1] == f"batch.xlsx, Units!B21: mass is the error #REF! ({sheet}). {mend}"

    @pytest.mark.parametrize(
        ("formula", "function"),
        [
            ("=RAND()+1.5", "RAND"),
            ("=RANDBETWEEN(1900,2100)/1000", "RANDBETWEEN"),
            ("=_xlfn.RANDARRAY(1)", "RANDARRAY"),
            ("=2+NOW()*0", "NOW"),
            ("=offset(C21,0,0)-3", "OFFSET"),
            ('=INDIRECT("B2")', "INDIRECT"),
        ],
    )
    def test_one_that_changes_by_itself_is_refused(
        self, formula: str, function: str, book: Callable[..., Path], refused: Refused
    ) -> None:
        assert refused(book(formula, 2.01)) == [
            f"batch.xlsx, Units!B21: the mass of unit 20 is another one at every calculation, by {function} "
            f"({formula}). "
            "Type the mass that the balance showed, or clear the row."
        ]

    def test_one_that_takes_a_mean_from_elsewhere_is_refused(self, tmp_path: Path, refused: Refused) -> None:
        import xlsxwriter

        with xlsxwriter.Workbook(tmp_path / "batch.xlsx") as workbook:
            sheet = workbook.add_worksheet("Units")
            sheet.write_row(0, 0, ["Unit", "Mass (g)", "Note"])
            for row in range(1, 20):
                sheet.write_row(row, 0, [str(row), 2 + row / 1000])
            sheet.write_formula(1, 2, "=AVERAGE(B2:B20)", None, 2.01)
            sheet.write_string(20, 0, "20")
            sheet.write_formula(20, 1, "=C2", None, 2.01)
        assert refused(tmp_path / "batch.xlsx") == [
            "batch.xlsx, Units!B21: the mass of unit 20 is calculated from other masses (=C2). Type the mass that the "
            "balance showed, or clear the row."
        ]

    def dragged(self, path: Path, formula: str, *, second: str = "") -> Path:
        """A book in which the masses of units 20 and 21 are one dragged formula, as spreadsheet programs keep it."""
        import xlsxwriter

        with xlsxwriter.Workbook(path.with_suffix(".made.xlsx")) as workbook:
            sheet = workbook.add_worksheet("Units")
            sheet.write_row(0, 0, ["Unit", "Mass (g)", "Gross (g)", "Tare (g)"])
            for row in range(1, 22):
                sheet.write_row(row, 0, [str(row), 2 + row / 1000, 5 + row / 1000, 3])
            for row in (20, 21):
                sheet.write_formula(row, 1, "=1", None, 2 + row / 1000)
        with zipfile.ZipFile(path.with_suffix(".made.xlsx")) as made, zipfile.ZipFile(path, "w") as book:
            for part in made.namelist():
                content = made.read(part).decode("utf-8")
                if part == "xl/worksheets/sheet1.xml":
                    shared = f'<f t="shared" ref="B21:B22" si="0">{formula}</f>'
                    content = content.replace("<f>1</f>", shared, 1)
                    content = content.replace("<f>1</f>", second or '<f t="shared" si="0"/>', 1)
                book.writestr(part, content)
        return path

    def test_a_dragged_formula_is_read_where_it_stands(self, tmp_path: Path, refused: Refused) -> None:
        path = self.dragged(tmp_path / "batch.xlsx", "AVERAGE(B19:B20)")
        assert refused(path) == [
            f"batch.xlsx, Units!B2{at}: the mass of unit 2{at - 1} is calculated from other masses "
            f"(=AVERAGE({of})). Type "
            "the mass that the balance showed, or clear the row."
            for at, of in ((1, "B19:B20"), (2, "B20:B21"))
        ]

    def test_a_dragged_net_mass_is_read(self, tmp_path: Path) -> None:
        path = self.dragged(tmp_path / "batch.xlsx", "C21-D21")
        assert [str(unit.mass_g) for unit in read_batch(path).units[19:]] == ["2.02", "2.021"]

    def test_a_formula_that_is_written_nowhere_is_refused(self, tmp_path: Path, refused: Refused) -> None:
        path = self.dragged(tmp_path / "batch.xlsx", "C21-D21", second='<f t="shared" si="7"/>')
        assert refused(path) == [
            "batch.xlsx, Units!B22: the mass of unit 21 is calculated by a formula that the file does not "
            "write out (shared "
            "with other cells). Type the mass that the balance showed, or clear the row."
        ]


@pytest.mark.parametrize("note", [98.2, "98.2 %", "102 mg", "2.153", "2,153 g"])
def test_a_number_that_was_typed_as_a_note_is_refused(book_of: BookOf, refused: Refused, note: object) -> None:
    rows = [["Unit", "Mass (g)", "Note"], *([number, 2 + number / 1000, None] for number in range(1, 21))]
    rows[5][2] = note
    for sheet in ("Units", "Week 3"):
        (said,) = refused(book_of(**{sheet: rows}), ReadOptions(form="suppositories"))
        assert "C6: the note of unit 5 is a number" in said
