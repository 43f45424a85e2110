"""Two entries of the same batch: what counts as the same cell, and what as the same entry."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import Workbook

from qc.jobs.compare import CellDifference, Comparison, Side, _told_in_one, compare_entries
from qc.problems import InputProblems
from qc.readers.options import ReadOptions

Rows = Sequence[Sequence[Any]]
Write = Callable[..., Path]
UNITS: Rows = [["Unit", "Pour order", "Mass (g)"], ["1", 1, 2.013], ["2", 2, 1.998]]


@pytest.fixture
def book(tmp_path: Path) -> Write:
    def write(name: str, **sheets: Rows) -> Path:
        made = Workbook()
        assert made.active is not None
        made.remove(made.active)
        for title, rows in sheets.items():
            sheet = made.create_sheet(title)
            for row in rows:
                sheet.append(list(row))
        made.save(tmp_path / name)
        return tmp_path / name

    return write


@pytest.fixture
def folder(tmp_path: Path) -> Write:
    def write(name: str, **sheets: str) -> Path:
        (tmp_path / name).mkdir()
        for title, text in sheets.items():
            (tmp_path / name / f"{title}.csv").write_text(text, encoding="utf-8")
        return tmp_path / name

    return write


def compared(a: Path, b: Path, options: ReadOptions | None = None) -> Comparison:
    return compare_entries(a, b, options=options or ReadOptions())


def told(comparison: Comparison) -> list[tuple[str, str, str, str, str]]:
    return [(one.sheet, one.key, one.column, one.a.found, one.b.found) for one in comparison.differences]


class TestMatching:
    def test_an_entry_is_the_same_as_itself_whatever_the_order_of_rows_and_columns(self, book: Write) -> None:
        turned = [["Mass (g)", "Unit", "Pour order"], [1.998, "2", 2], [2.013, "1", 1]]
        comparison = compared(book("a.xlsx", Units=UNITS), book("b.xlsx", Units=turned))
        assert comparison.differences == ()
        assert comparison.cells == 4

    def test_a_difference_names_sheet_key_column_and_both_cells(self, book: Write) -> None:
        other = [["Unit", "Pour order", "Mass (g)"], ["2", 2, 1.989], ["1", 1, 2.013]]
        assert compared(book("a.xlsx", Units=UNITS), book("b.xlsx", Units=other)).differences == (
            CellDifference(
                sheet="Units",
                key="2",
                column="Mass (g)",
                a=Side(cell="C3", found="1.998"),
                b=Side(cell="C2", found="1.989"),
            ),
        )

    def test_a_cell_that_is_empty_in_one_entry_is_named_where_it_would_stand(self, book: Write) -> None:
        other = [["Unit", "Pour order", "Mass (g)"], ["1", 1, 2.013], ["2", 2, None]]
        (one,) = compared(book("a.xlsx", Units=UNITS), book("b.xlsx", Units=other)).differences
        assert (one.a, one.b) == (Side(cell="C3", found="1.998"), Side(cell="C3", found=""))

    def test_a_row_in_one_entry_only(self, book: Write) -> None:
        (one,) = compared(book("a.xlsx", Units=UNITS[:2]), book("b.xlsx", Units=UNITS)).differences
        assert one == CellDifference(
            sheet="Units",
            key="2",
            column="",
            a=Side(cell="", found="no such row"),
            b=Side(cell="row 3", found="Pour order 2, Mass (g) 1.998"),
        )

    def test_a_sheet_in_one_entry_only_is_one_difference(self, book: Write) -> None:
        facts = [["Field", "Value"], ["Batch number", "7"], ["Product", "P"]]
        comparison = compared(book("a.xlsx", Units=UNITS, Batch=facts), book("b.xlsx", Units=UNITS))
        assert told(comparison) == [("Batch", "", "", "2 rows", "no entries")]

    def test_names_match_whatever_their_case_and_spaces(self, book: Write) -> None:
        a, b = [["Unit", "Mass (g)"], ["Unit  A1", 2]], [["unit", "mass [g]:"], [" unit a1 ", 2]]
        assert compared(book("a.xlsx", Units=a), book("b.xlsx", Units=b)).differences == ()

    def test_assays_match_by_unit_active_and_part_and_replicates_in_their_order(self, book: Write) -> None:
        head = ["Unit", "Active", "Part", "Content (mg)"]
        a = [head, ["1", "x", "tip", 40], ["1", "x", "", 100], ["1", "x", "", 102]]
        b = [head, ["1", "X", "whole", 100], ["1", "x", "tip", 41], ["1", "x", "whole", 103]]
        comparison = compared(book("a.xlsx", Units=UNITS, Assay=a), book("b.xlsx", Units=UNITS, Assay=b))
        assert told(comparison) == [
            ("Assay", "1, x, tip", "Content (mg)", "40", "41"),
            ("Assay", "1, x, whole (row 2 of that name)", "Content (mg)", "102", "103"),
        ]

    def test_the_only_active_may_be_named_or_not(self, book: Write) -> None:
        actives = [["Active"], ["x"]]
        a, b = [["Unit", "Content (mg)"], ["1", 100]], [["Unit", "Active", "Content (mg)"], ["1", "x", 100]]
        first = book("a.xlsx", Units=UNITS, Actives=actives, Assay=a)
        second = book("b.xlsx", Units=UNITS, Actives=actives, Assay=b)
        assert compared(first, second).differences == ()

    def test_a_misspelt_active_is_a_difference(self, book: Write) -> None:
        head = ["Unit", "Active", "Content (mg)"]
        a, b = [head, ["1", "x", 100], ["2", "x", 99]], [head, ["1", "x", 100], ["2", "y", 99]]
        comparison = compared(book("a.xlsx", Units=UNITS, Assay=a), book("b.xlsx", Units=UNITS, Assay=b))
        assert [(one.sheet, one.key) for one in comparison.differences] == [
            ("Assay", "2, x, whole"),
            ("Assay", "2, y, whole"),
        ]

    def test_calibration_pours_match_by_cavity_in_their_order(self, book: Write) -> None:
        head = ["Mould", "Cavity", "Base mass (g)"]
        a, b = [head, ["A", 1, 2.0], ["A", 1, 2.01]], [head, ["A", 1, 2.0], ["A", 1, 2.1]]
        comparison = compared(book("a.xlsx", Units=UNITS, Cavities=a), book("b.xlsx", Units=UNITS, Cavities=b))
        assert told(comparison) == [("Cavities", "A, 1 (row 2 of that name)", "Base mass (g)", "2.01", "2.1")]

    def test_facts_and_checks_match_by_their_name(self, book: Write) -> None:
        facts = [["Field", "Value"], ["Batch number", "7"], ["Planned mass (g)", "2.070"]]
        other = [["Field", "Value"], ["planned mass (g)", 2.07], ["BATCH NUMBER", "8"]]
        checks = [["Check", "Result"], ["pH", "6.1"], ["Colour", "white"]]
        others = [["Check", "Result"], ["colour", "yellow"], ["pH", 6.1]]
        comparison = compared(
            book("a.xlsx", Units=UNITS, Batch=facts, Checks=checks),
            book("b.xlsx", Units=UNITS, Batch=other, Checks=others),
        )
        assert told(comparison) == [
            ("Batch", "Batch number", "Value", "7", "8"),
            ("Checks", "Colour", "Result", "white", "yellow"),
        ]


def test_what_stands_outside_of_known_places_is_told_of_the_entry_that_alone_says_it() -> None:
    found = _told_in_one({"F2": "chipped", "F3": "Unit 3 broke"}, {"G9": "Unit 3 broke", "A9": "cast twice"})
    none = Side(cell="", found="not there")
    assert [(one.sheet, one.key, one.column, one.a, one.b) for one in found] == [
        ("Left aside", "", "", Side(cell="F2", found="chipped"), none),
        ("Left aside", "", "", none, Side(cell="A9", found="cast twice")),
    ]


class TestSameEntry:
    @pytest.mark.parametrize(
        ("a", "b", "same"),
        [
            ("2.10", "2.1", True),
            (2.1, "2.100", True),
            ("2.100", "2.101", False),
            ("2.013", "2.0130000000000001", False),
            ("2.0", "2", True),
        ],
    )
    def test_masses_are_compared_as_exact_decimals(self, a: object, b: object, same: bool, book: Write) -> None:
        first, second = ([["Unit", "Mass (g)"], ["1", mass], ["2", "1.5"]] for mass in (a, b))
        comparison = compared(book("a.xlsx", Units=first), book("b.xlsx", Units=second))
        assert (comparison.differences == ()) is same

    def test_the_unit_of_the_heading_is_respected(self, book: Write) -> None:
        grams, milligrams = [["Unit", "Mass (g)"], ["1", "2.013"]], [["Unit", "Mass (mg)"], ["1", 2013]]
        wrong = [["Unit", "Mass (mg)"], ["1", "2.013"]]
        a = book("a.xlsx", Units=grams)
        assert compared(a, book("b.xlsx", Units=milligrams)).differences == ()
        assert told(compared(a, book("c.xlsx", Units=wrong))) == [
            ("Units", "1", "Mass (g) / Mass (mg)", "2.013", "2.013")
        ]

    def test_texts_are_compared_without_the_blanks_around_them(self, book: Write) -> None:
        a, b = ([["Unit", "Mass (g)", "Note"], ["1", 2, note]] for note in (" chipped", "chipped  "))
        c = [["Unit", "Mass (g)", "Note"], ["1", 2, "Chipped"]]
        assert compared(book("a.xlsx", Units=a), book("b.xlsx", Units=b)).differences == ()
        assert told(compared(book("a.xlsx", Units=a), book("c.xlsx", Units=c))) == [
            ("Units", "1", "Note", "chipped", "Chipped")
        ]

    def test_yes_is_yes_in_any_of_its_spellings(self, book: Write) -> None:
        a, b, c = ([["Unit", "Mass (g)", "Test sample"], ["1", 2, word]] for word in ("yes", "Y", "no"))
        first = book("a.xlsx", Units=a)
        assert compared(first, book("b.xlsx", Units=b)).differences == ()
        assert len(compared(first, book("c.xlsx", Units=c)).differences) == 1

    @pytest.mark.parametrize(("typed", "same"), [("7", True), ("007", False), ("7 g", False), ("seven", False)])
    def test_a_stored_number_in_a_text_column_is_the_text_that_shows_it(
        self, typed: str, same: bool, book: Write
    ) -> None:
        a, b = ([["Field", "Value"], ["Batch number", number]] for number in (7, typed))
        comparison = compared(book("a.xlsx", Units=UNITS, Batch=a), book("b.xlsx", Units=UNITS, Batch=b))
        assert (comparison.differences == ()) is same

    def test_a_mass_that_is_no_number_is_compared_as_text_and_named(self, book: Write) -> None:
        a, b = ([["Unit", "Mass (g)"], ["1", mass], ["2", "2.000"]] for mass in ("2.1O", "2.10"))
        first = book("a.xlsx", Units=a)
        comparison = compared(first, book("b.xlsx", Units=b))
        assert told(comparison) == [("Units", "1", "Mass (g)", "2.1O", "2.10")]
        assert [str(problem) for problem in comparison.unread] == [
            'a.xlsx, Units!B2: mass "2.1O" is not a number (it ends in the letter O). '
            "Type it in digits, for example 2.10."
        ]
        assert compared(first, first).differences == ()


class TestKinds:
    def test_a_workbook_and_a_folder_of_tables(self, book: Write, folder: Write) -> None:
        a = book("a.xlsx", Units=UNITS, Batch=[["Field", "Value"], ["Batch number", "7"], ["Made on", "2026-11-25"]])
        b = folder(
            "b",
            units="Unit;Pour order;Mass (g)\n1;1;2,013\n2;2;1,989\n",
            batch="Field;Value\nBatch number;7\nMade on;2026-11-25\n",
        )
        (one,) = compared(a, b).differences
        assert (one.a, one.b) == (Side(cell="C3", found="1.998"), Side(cell="units.csv C3", found="1,989"))

    def test_the_contents_of_a_bare_table_are_assays_of_whole_units(self, book: Write, tmp_path: Path) -> None:
        assays = [["Unit", "Active", "Content (mg)"], ["1", "x", 99], ["2", "x", 101]]
        a = book("a.xlsx", Units=[["Unit", "Mass (g)"], ["1", 2.013], ["2", 1.998]], Assay=assays)
        b = tmp_path / "b.csv"
        b.write_text("Unit,Mass (g),Content (mg)\n1,2.013,99.0\n2,1.998,110\n")
        assert told(compared(a, b)) == [("Assay", "2, x, whole", "Content (mg)", "101", "110")]

    def test_the_decimal_mark_can_be_told(self, tmp_path: Path) -> None:
        a, b = tmp_path / "a.csv", tmp_path / "b.csv"
        a.write_text('Unit,Mass (g)\n1,"2,013"\n')
        b.write_text("Unit,Mass (g)\n1,2.013\n")
        assert len(compared(a, b).unread) == 1
        assert compared(a, b, ReadOptions(decimal="comma")).unread != ()
        b.write_text('Unit,Mass (g)\n1,"2,0130"\n')
        assert compared(a, b, ReadOptions(decimal="comma")).differences == ()

    def test_both_unusable_inputs_are_named_at_once(self, tmp_path: Path) -> None:
        (tmp_path / "empty.csv").write_text("")
        with pytest.raises(InputProblems) as refused:
            compared(tmp_path / "missing.csv", tmp_path / "empty.csv")
        assert [problem.file for problem in refused.value.problems] == ["missing.csv", "empty.csv"]

    def test_an_input_without_any_entry_is_refused(self, book: Write) -> None:
        empty = book("a.xlsx", Units=[["Unit", "Mass (g)"]])
        with pytest.raises(InputProblems) as refused:
            compared(empty, empty)
        assert str(refused.value.problems[0]) == (
            "a.xlsx: there is no entry under a known heading. Give a workbook, table or folder of tables with entries."
        )


@given(
    masses=st.lists(st.decimals(min_value=Decimal("0.5"), max_value=9, places=3), min_size=2, max_size=8, unique=True),
    data=st.data(),
)
def test_one_changed_mass_is_one_difference_at_its_unit(
    masses: list[Decimal], data: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    where = data.draw(st.integers(0, len(masses) - 1))
    changed = [mass + (Decimal("0.001") if place == where else 0) for place, mass in enumerate(masses)]
    folder = tmp_path_factory.mktemp("entries")
    order = data.draw(st.permutations(range(len(masses))))
    for name, values, places in (("a.csv", masses, range(len(masses))), ("b.csv", changed, order)):
        lines = [f"u{place},{values[place]:f}" for place in places]
        (folder / name).write_text("\n".join(["Unit,Mass (g)", *lines]) + "\n")
    there, back = (compared(folder / a, folder / b) for a, b in (("a.csv", "b.csv"), ("b.csv", "a.csv")))
    assert [(one.sheet, one.key) for one in there.differences] == [("Units", f"u{where}")]
    assert [(one.a.found, one.b.found) for one in back.differences] == [
        (one.b.found, one.a.found) for one in there.differences
    ]


def test_replicates_bear_no_order(tmp_path: Path) -> None:
    def entry(name: str, *masses: str) -> Path:
        folder = tmp_path / name
        folder.mkdir()
        (folder / "units.csv").write_text("Unit,Mass (g)\n1,2.0\n")
        rows = [f"A,1,{mass}" for mass in masses]
        (folder / "cavities.csv").write_text("\n".join(["Mould,Cavity,Base mass (g)", *rows]))
        return folder

    first = entry("a", "2.007", "2.005", "2.005")
    assert compare_entries(first, entry("b", "2.005", "2.007", "2.0050"), options=ReadOptions()).differences == ()
    (one,) = compare_entries(first, entry("c", "2.005", "2.006", "2.005"), options=ReadOptions()).differences
    assert (one.a.found, one.b.found) == ("2.007", "2.006")
    (lone,) = compare_entries(first, entry("d", "2.005", "2.007"), options=ReadOptions()).differences
    assert (lone.a.found, lone.b.found) == ("Base mass (g) 2.005", "no such row")


def test_a_content_beside_no_name_is_compared_with_one_beside_none(tmp_path: Path) -> None:
    for name, content in (("a", 99), ("b", 97)):
        (tmp_path / f"{name}.csv").write_text(f"Unit,Mass (g),Content (mg)\n1,2.013,98\n,2.021,{content}\n")
    found = compare_entries(tmp_path / "a.csv", tmp_path / "b.csv", options=ReadOptions())
    assert [(one.sheet, one.key, one.a.found, one.b.found) for one in found.differences] == [
        ("Assay", "whole", "99", "97")
    ]
