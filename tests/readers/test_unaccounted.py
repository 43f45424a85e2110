"""Numbers beside the units that nothing took refuse the file, with the call that leaves them out of account."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from openpyxl.workbook import Workbook
from typer.testing import CliRunner

from qc.cli.main import application
from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

pytestmark = pytest.mark.usefixtures("past_the_file")
BookOf = Callable[..., Path]
TableOf = Callable[..., Path]
MASSES = [2.013, 2.021, 1.998, 2.004, 2.010, 1.987, 2.030, 2.001, 2.017, 1.993]
LOW = [61.3, 64.2, 66.8, 62.9, 65.5]
MEAN = sum(MASSES) / len(MASSES)


def options(*ignore: str) -> ReadOptions:
    return ReadOptions(form="suppositories", command="qc check week.xlsx", ignore=ignore)


def beside(heading: object, values: list[Any], *, first: int = 0) -> list[list[Any]]:
    columns = [None] * first + values + [None] * (len(MASSES) - first - len(values))
    return [["Nr", "Gewicht (g)", heading], *([at, mass, columns[at - 1]] for at, mass in enumerate(MASSES, start=1))]


@pytest.mark.parametrize("own", [False, True])
@pytest.mark.parametrize("heading", ["Paracetamol", "Dose found", "Potency", "CU", "Résultat", "LC%", None])
def test_numbers_under_a_heading_that_is_not_known_are_refused(book_of: BookOf, heading: str | None, own: bool) -> None:
    rows = beside(heading, LOW)
    rows[0][:2] = ["Unit", "Mass (g)"] if own else rows[0][:2]
    path = book_of(Week3=rows)
    with pytest.raises(InputProblems) as refused:
        read_batch(path, options=options())
    (problem,) = refused.value.problems
    # What says how much was found says content at its heading.
    assert problem.cell.startswith("C1" if heading in ("Dose found", "Potency") else "C2")
    if "--ignore" not in problem.mend:
        assert "says content" in problem.found
        return
    assert problem.mend.endswith("leave them out of account: qc check week.xlsx --ignore 'Week3!C2:C6'")
    batch = read_batch(path, options=options("Week3!C2:C6"))
    assert [float(unit.mass_g or 0) for unit in batch.units] == MASSES
    assert batch.read is not None
    assert ("C2:C6", "cells named by --ignore") in [(one.cells, one.what) for one in batch.read.ignored]
    assert [one.text for one in batch.notices if "--ignore" in one.text] == ["Left out of account by --ignore: C2:C6."]


def test_one_number_beside_a_unit_and_a_row_of_units_across_are_refused(book_of: BookOf, table_of: TableOf) -> None:
    with pytest.raises(InputProblems, match="under no heading were not read"):
        read_batch(book_of(Week3=beside(None, [61.3], first=8)), options=options())
    lines = ["Nr;" + ";".join(map(str, range(1, 11))), "Gewicht (g);" + ";".join(map(str, MASSES))]
    across = table_of("\n".join([*lines, "Dose;" + ";".join(map(str, [*LOW, *LOW]))]))
    with pytest.raises(InputProblems, match='under "Dose" were not read'):
        read_batch(across, options=options())


def in_percent(book: Workbook) -> None:
    for row in range(2, 12):
        book.worksheets[0].cell(row=row, column=3).number_format = "0.0%"


def test_what_is_shown_in_percent_is_a_number_too(book_of: BookOf) -> None:
    contents = [one / 100 for one in [*LOW, *LOW]]
    with pytest.raises(InputProblems, match='beside the masses under "Result" were not read'):
        read_batch(book_of(in_percent, Week3=beside("Result", contents)), options=options())
    deviations = [round(mass / MEAN - 1, 4) for mass in MASSES]
    assert len(read_batch(book_of(in_percent, Week3=beside("Dev.", deviations)), options=options()).units) == 10


@pytest.mark.parametrize(
    ("heading", "values"),
    [
        ("Abweichung (%)", [round(100 * (mass / MEAN - 1), 2) for mass in MASSES]),
        ("Delta to the target", [round(mass - 2, 3) for mass in MASSES]),
        (None, [round(100 * mass / MEAN, 2) for mass in MASSES]),
        ("Length (mm)", [21.3, 21.5, 21.1, 21.4]),
        ("Härte", [8.1, 8.4, 7.9]),
        ("Gussfolge", [3, 1, 2]),
        ("Seat", [1, 2, 3, 4, 5, 6]),
        ("Box", [7, 7, 7, 7, 7]),
    ],
)
def test_what_is_plainly_something_else_passes(book_of: BookOf, heading: str | None, values: list[float]) -> None:
    batch = read_batch(book_of(Week3=beside(heading, values)), options=options())
    assert [float(unit.mass_g or 0) for unit in batch.units] == MASSES


@pytest.mark.parametrize(
    ("ignored", "found"),
    [
        ("Week3!B4", "is what the unit"),
        ("Week3!A4:B4", "is what the unit"),
        ("Week3!B5:A4", "is what the unit"),
        ("Week3!E2:E9", "names cells that are empty"),
        ("Week 4!C2", "names no cells of one sheet"),
        ("the mean", "names no cells of one sheet"),
    ],
)
def test_no_unit_is_left_out_of_account_and_no_call_ignored(book_of: BookOf, ignored: str, found: str) -> None:
    with pytest.raises(InputProblems, match=found):
        read_batch(book_of(Week3=beside("Note", ["ok"])), options=options(ignored))


@pytest.mark.parametrize("cell", ["B2", "E2", "D2:E2"])
def test_no_unit_of_a_row_across_is_left_out_of_account(book_of: BookOf, cell: str) -> None:
    rows = [["Nr", 1, 2, 3, 4], ["Gewicht (g)", 2.013, 2.021, 1.998, 2.004]]
    with pytest.raises(InputProblems, match=r'is what the unit "[1-4]" weighs or holds'):
        read_batch(book_of(Week3=rows), options=options(f"Week3!{cell}"))


@pytest.mark.parametrize(("columns", "cell"), [(1, "A1"), (1, "A20"), (20, "A1"), (20, "T1"), (5, "E4")])
def test_no_mass_of_a_unit_without_a_name_is_left_out_of_account(book_of: BookOf, columns: int, cell: str) -> None:
    masses = [2 + (number * 7 % 20 + 1) / 1000 for number in range(20)]
    rows = [masses[start : start + columns] for start in range(0, 20, columns)]
    with pytest.raises(InputProblems, match="which is what a unit without a name weighs or holds"):
        read_batch(book_of(Week3=rows), options=options(f"Week3!{cell}"))


@pytest.mark.parametrize("title", ["Vaginalz\u00e4pfchen", "Ovules vaginaux", "Globulki 100 mg", "Vaginal pessaries"])
def test_a_title_that_names_another_form_than_the_call_is_refused(book_of: BookOf, title: str) -> None:
    rows = [[title], *beside("Note", ["ok"])]
    with pytest.raises(InputProblems, match="names pessaries, and the batch is judged as suppositories") as refused:
        read_batch(book_of(Week3=rows), options=with_rule_words(options()))
    assert "--ignore 'Week3!A1'" in str(refused.value)
    assert read_batch(book_of(Week3=rows), options=with_rule_words(replace(options(), form="pessaries"))).units
    both = [[title], ["Suppositories"], *rows[1:]]
    assert read_batch(book_of(Week3=both), options=with_rule_words(options())).units


def test_the_command_takes_several_ranges_and_the_seal_keeps_them(book_of: BookOf, tmp_path: Path) -> None:
    path = book_of(Week3=[*beside("Paracetamol", LOW), [], [None, None, None, "see 2.001 g"]])
    call = ["check", str(path), "--form", "suppositories", "--report", str(tmp_path / "out"), "--replace"]
    assert CliRunner().invoke(application("check"), call).exit_code == 2
    again = CliRunner().invoke(application("check"), [*call, "--ignore", "Week3!C2:C6"])
    assert again.exit_code == 2
    # The call to copy keeps what was left out before.
    assert "--ignore 'Week3!C2:C6' --ignore 'Week3!D13'" in " ".join(again.output.split())
    given = CliRunner().invoke(application("check"), [*call, "--ignore", "Week3!C2:C6", "--ignore", "Week3!D13"])
    assert CliRunner().invoke(application("check"), [*call, "--ignore", "Week3!C2:C6,Week3!D13"]).output == given.output
    assert "C2:C6 left out of account by --ignore" in " ".join(given.output.split())
    (page,) = (tmp_path / "out").rglob("report.html")
    assert "Left out of account by --ignore: C2:C6 and D13." in page.read_text()
    (filed,) = (tmp_path / "out").rglob("result.json")
    document = json.loads(filed.read_text())
    assert document["seal"]["asked"]["ignore"] == ["Week3!C2:C6", "Week3!D13"]
    assert [one["cells"] for one in document["read"]["ignored"]][:2] == ["C2:C6", "D13"]


@pytest.mark.parametrize(
    ("above", "found"),
    [
        (["Label claim (mg)", 500], "says 500 mg, and the call says that the label claim is 100 mg"),
        (["Deklaration", "50 mg"], "says 50 mg, and the call says"),
        (["Paracetamol 50 mg Zäpfchen"], "says 50 mg, and the call says"),
        (["Dosage form", "troches"], 'the dosage form is "troches" here, but the call says "suppositories"'),
        (["Paracetamol 100 mg suppositories"], ""),
        (["Dosage form", "Suppositories"], ""),
        (["Label claim (mg)", 100], ""),
    ],
)
def test_what_the_file_says_against_the_call_is_refused(book_of: BookOf, above: list[object], found: str) -> None:
    asked = with_rule_words(ReadOptions(form="suppositories", label_mg=Decimal(100)))
    path = book_of(Week3=[above, [], *beside("Gehalt (mg)", [99.1, 98.7, 101.2])])
    if not found:
        assert len(read_batch(path, options=asked).assays) == 3
        return
    with pytest.raises(InputProblems, match=found):
        read_batch(path, options=asked)


@pytest.mark.parametrize("heading", ["Gehalt (%)", "Content (%)", "Titolo (%)", "Assay (%)"])
def test_per_cent_that_does_not_say_of_what_is_refused(book_of: BookOf, heading: str) -> None:
    with pytest.raises(InputProblems, match="says content, but not of what"):
        read_batch(book_of(Week3=beside(heading, [5.01, 5.02, 4.97, 5.09])), options=options())


@pytest.mark.parametrize("name", ["Brutto", "mit Folie", "ungültig"])
def test_the_name_of_a_sheet_is_a_title(book_of: BookOf, name: str) -> None:
    path = book_of(**{name: beside("Note", ["ok"])})
    with pytest.raises(InputProblems, match="the sheet is called"):
        read_batch(path, options=options())
    assert len(read_batch(path, options=ReadOptions(form="suppositories", sheet=name)).units) == 10


@pytest.mark.parametrize(
    ("heading", "first", "second", "parts"),
    [
        ("Präparat", "Paracetamol", "Ibuprofen", True),
        ("Product", "A-17", "B-22", True),
        ("Datum", date(2026, 11, 3), date(2026, 12, 3), True),
        ("Gewogen von", "EK", "AB", False),
        ("Präparat", "Paracetamol", "Paracetamol", False),
    ],
)
def test_texts_that_part_the_units_into_runs_are_refused(
    book_of: BookOf, heading: str, first: object, second: object, parts: bool
) -> None:
    path = book_of(Week3=beside(heading, [first] * 5 + [second] * 5))
    if not parts:
        assert len(read_batch(path, options=options()).units) == 10
        return
    with pytest.raises(InputProblems, match=r"parts the units into .* \(5\)"):
        read_batch(path, options=options())
    assert len(read_batch(path, options=options("Week3!C2:C11")).units) == 10
    turned = [[third, number, mass] for number, mass, third in beside(heading, [first] * 5 + [second] * 5)]
    with pytest.raises(InputProblems, match=r"parts the units into .* \(5\)"):
        read_batch(book_of(Week3=turned), options=options())
