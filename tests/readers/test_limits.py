"""The limits at which the readers take or refuse a value: each looked at below, at and above it."""

from __future__ import annotations

import errno
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any, cast

import pytest
from msgspec.structs import replace
from openpyxl.comments import Comment
from openpyxl.workbook import Workbook

from qc.batch import Batch
from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.actives import are_inverse
from qc.readers.cells import CellKind, SheetCell
from qc.readers.finding.view import like_a_mass, measure_in
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch, read_batches
from qc.readers.typed_number import NotANumberError, written

BookOf = Callable[..., Path]
Told = Callable[..., str]


@pytest.fixture
def told(tmp_path: Path) -> Told:
    """What is wrong with a table, or else the notices of it, in one text."""

    def read(*rows: str, **options: Any) -> str:
        path = tmp_path / "units.csv"
        path.write_text("\n".join(rows))
        try:
            batch = read_batch(path, options=with_rule_words(ReadOptions(form="suppositories", **options)))
        except InputProblems as refused:
            return " ".join(f"{one.cell}: {one.found}. {one.mend}." for one in refused.problems)
        return " ".join(one.text for one in batch.notices)

    return read


def masses(*values: str) -> list[str]:
    """A table of units 1, 2, 3 ... with these masses."""
    return ["Unit,Mass (g)", *(f"{number},{value}" for number, value in enumerate(values, start=1))]


@pytest.mark.parametrize(
    ("others", "mass", "lost"),
    [
        # Its decimals are missed where it lies farther off than a tenth of the median.
        (["3.63", "3.63", "3.63"], "4", True),
        (["3.64", "3.64", "3.64"], "4", False),
        (["2.225", "2.225", "2.225"], "2", True),
        (["2.222", "2.222", "2.222"], "2", False),
        (["2.22", "2.22", "2.22"], "2", False),
        # From a third of it to twice as much; a slip of the decimal point is told as such.
        (["2.9", "2.9", "2.9"], "1", True),
        (["2.99", "2.99", "3.01", "3.01", "3.01"], "1", True),
        (["3.1", "3.1", "3.1"], "1", False),
        (["1.5", "1.5", "1.5"], "3", True),
        (["1.49", "1.49", "1.49"], "3", False),
        # More than half of the masses show decimals.
        (["2", "2.1", "2.2", "2.3"], "3", True),
        (["2", "2.2", "2.3"], "3", False),
        (["2", "2", "2.2", "2.3"], "3", False),
        (["2.1"], "3", False),
    ],
)
def test_a_whole_mass_has_lost_its_decimals(told: Told, others: list[str], mass: str, lost: bool) -> None:
    assert ("is whole, without the decimals of the others" in told(*masses(*others, mass))) is lost


@pytest.mark.parametrize(
    ("mass", "mend"),
    [
        ("20", "Type 2.0 if"),
        ("200", "Type 2.00 if"),
        ("2000", "Type 2.000 if"),
        ("42", "Type 4.2 if"),
        ("43", "Type what was measured."),
        ("0.2", "Type 2 if"),
        ("0.02", "Type 2 if"),
        ("0.002", "Type 2 if"),
        ("0.105", "Type 1.05 if"),
        ("0.104", "Type what was measured."),
        ("0.0042", "Type 4.2 if"),
        ("0.0043", "Type what was measured."),
        ("0.00105", "Type 1.05 if"),
        ("0.00104", "Type what was measured."),
    ],
)
def test_what_was_meant_by_a_mass_lies_from_half_to_twice_the_others(told: Told, mass: str, mend: str) -> None:
    assert mend in told(*masses("2.1", "2.1", "2.1", mass))


@pytest.mark.parametrize(
    ("count", "total", "is_total"),
    [
        (5, "10.0", True),
        (5, "10.05", True),
        (5, "10.06", False),
        (5, "9.95", True),
        (5, "9.94", False),
        (4, "8.0", False),
        (6, "12.0", True),
    ],
)
def test_a_total_is_the_sum_of_five_others_or_more_within_half_a_percent(
    told: Told, count: int, total: str, is_total: bool
) -> None:
    said = f"mass {total} of unit {count + 1} is the sum of the other {count} masses"
    assert (said in told(*masses(*["2.0"] * count, total))) is is_total


@pytest.mark.parametrize(
    ("last", "units", "far"),
    [(30, 3, False), (31, 3, True), (40, 4, False), (41, 4, True), (50, 3, True)],
)
def test_a_place_in_the_pour_beyond_ten_times_the_others_is_refused(
    told: Told, last: int, units: int, far: bool
) -> None:
    rows = [f"{number},{place},2.0{number}" for number, place in enumerate([*range(1, units), last], start=1)]
    said = f"B{units + 1}: pour order {last} lies far beyond the others, which end at {units - 1}."
    assert (said in told("Unit,Pour order,Mass (g)", *rows)) is far


def test_a_late_place_is_held_against_the_last_but_one(told: Told) -> None:
    assert "far beyond" not in told("Unit,Pour order,Mass (g)", "1,1,2.0", "2,9,2.1", "3,90,2.0")
    assert "far beyond" in told("Unit,Pour order,Mass (g)", "1,1,2.0", "2,9,2.1", "3,91,2.0")


@pytest.mark.parametrize(
    ("note", "tells"),
    [
        ("was 4.0 g", True),
        ("was 4.1 g", False),
        ("was 1.0 g", True),
        ("was 0.9 g", False),
        ("was 2.1 g", False),
        ("was 2.0 g", False),
        ("was 2.2 g", True),
    ],
)
def test_a_note_tells_a_mass_from_half_to_twice_that_of_its_unit(told: Told, note: str, tells: bool) -> None:
    said = told("Unit,Mass (g),Note", f"1,2.0,{note}", "2,2.1,", "3,2.0,")
    assert ("C2: the note of unit 1 tells a mass" in said) is tells


@pytest.mark.parametrize(("notes", "more"), [(50, ""), (51, "; and 1 more")])
def test_fifty_notes_are_told(told: Told, notes: int, more: str) -> None:
    said = told("Unit,Mass (g),Note", *(f"{number},2.0,odd{number}" for number in range(1, notes + 1)), "99,2.0,")
    assert f'unit 50, "odd50"{more}. They change no verdict' in said
    # An answer that is the same for all units tells nothing.
    odd, ok = ([f"{number},2.0,{note}" for number in range(1, notes + 1)] for note in ("odd", "ok"))
    assert f"units 1, 2, 3 and {notes - 3} more" in told("Unit,Mass (g),Note", *odd, "99,2.0,")
    assert 'all units, "odd"' in told("Unit,Mass (g),Note", *odd)
    assert "ok" not in told("Unit,Mass (g),Note", *ok)


def test_what_is_noted_of_few_or_was_wrong_is_told_before_what_is_noted_of_many(told: Told) -> None:
    rows = [f"{number},2.0,odd" for number in range(1, 8)]
    said = told("Unit,Mass (g),Note", *rows, "8,2.0,bent", "9,2.0,", "10,2.0,exchanged")
    assert 'units that count: unit 10, "exchanged"; unit 8, "bent"; units 1, 2, 3 and 4 more, "odd". They' in said


@pytest.mark.parametrize(
    ("value", "factor", "inverse"),
    [
        ("1.5", "0.644", False),
        ("1.5", "0.645", True),
        ("1.5", "0.690", True),
        ("1.5", "0.691", False),
        ("1.25", "0.796", False),
        ("1.25", "0.797", True),
        ("2", "0.4", True),
        ("2", "0.66", True),
        ("2", "0.667", True),
        ("2", "0.668", False),
    ],
)
def test_displacement_numbers_are_inverse_within_half_of_their_last_digits(
    value: str, factor: str, inverse: bool
) -> None:
    assert are_inverse(Decimal(value), Decimal(factor)) is inverse


@pytest.mark.parametrize(("target", "far"), [("49.9", True), ("50", False), ("150", False), ("150.1", True)])
def test_a_target_is_far_from_the_label_below_half_and_above_one_and_a_half(
    tmp_path: Path, target: str, far: bool
) -> None:
    (tmp_path / "actives.csv").write_text(f"Active,Label claim (mg),Target (% of label)\ndrug,100,{target}\n")
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\nA,2.00\nB,2.01\n")
    notices = read_batch(tmp_path, options=ReadOptions(form="suppositories")).notices
    assert any("is far from 100 %" in one.text for one in notices) is far


@pytest.mark.parametrize(
    ("comment", "speaks"),
    [("4.04", True), ("4.05", False), ("1.00", True), ("0.99", False), ("seen on the 4th", False)],
)
def test_a_comment_speaks_of_masses_from_half_the_least_to_twice_the_greatest(
    book_of: BookOf, refused: Callable[..., list[str]], comment: str, speaks: bool
) -> None:
    def noted(book: Workbook) -> None:
        book["Units"]["A2"].comment = Comment(comment, "")

    path = book_of(noted, Units=[["Unit", "Mass (g)"], ["A", 2.00], ["B", 2.02], ["C", 2.01]])
    if speaks:
        assert [one.partition(", which")[0] for one in refused(path)] == [
            f'batch.xlsx, Units!A2: the comment on "A" says "{comment}"'
        ]
    else:
        (notice,) = read_batch(path).notices
        assert (notice.where, notice.text) == ("Units!A2", f'The comment on "A" was not read: "{comment}".')


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("1" * 20, ""),
        ("1" * 21, "it has more than 20 digits"),
        ("0." + "1" * 19, ""),
        ("0." + "1" * 20, "it has more than 20 digits"),
        ("2e15", ""),
        ("2e-15", ""),
        ("2e99", "its power of ten"),
        ("2e16", "its power of ten is beyond 15"),
        ("2e-16", "its power of ten is beyond 15"),
        ("2e00001", 'it holds the letter e after "2"'),
        ("1" * 20 + "e12", ""),
        ("1" * 21 + "e1", "it has more than 20"),
    ],
)
def test_a_number_has_twenty_digits_and_a_power_of_fifteen_at_most(text: str, why: str) -> None:
    said = ""
    try:
        written(text)
    except NotANumberError as error:
        said = str(error)
    assert said.startswith(why) if why else not said


def test_every_batch_of_a_file_is_read_by_the_call_that_picks_it(tmp_path: Path) -> None:
    path = tmp_path / "units.csv"
    path.write_text("Batch,No.,Weight (g)\nA,1,2.013\nA,2,2.021\nB,1,1.998\nB,2,2.004\n")
    call = with_rule_words(ReadOptions(form="suppositories"))
    found = read_batches(path, options=call)
    told = {options.batch: [unit.mass_g for unit in cast(Batch, read).units] for options, read in found}
    assert told == {"A": [Decimal("2.013"), Decimal("2.021")], "B": [Decimal("1.998"), Decimal("2.004")]}
    ((options, read),) = read_batches(path, options=replace(call, batch="C"))
    assert options.batch == "C"
    assert isinstance(read, InputProblems)
    ((_, read),) = read_batches(tmp_path / "none.csv", options=call)
    assert "there is no such file" in str(read)


@pytest.mark.parametrize(
    ("failure", "found", "mend"),
    [
        (OSError(errno.EIO, "Input/output error"), "(Input/output error)", "See whether you may read it"),
        (OSError(errno.EBUSY, "busy"), "another program holds it open, or you may not read it", "Close it in the"),
    ],
)
def test_a_file_that_cannot_be_opened(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, failure: OSError, found: str, mend: str
) -> None:
    def fail(*_: object) -> None:
        raise failure

    (tmp_path / "units.csv").touch()
    monkeypatch.setattr(Path, "open", fail)
    with pytest.raises(InputProblems) as refused:
        read_batch(tmp_path / "units.csv")
    (problem,) = refused.value.problems
    assert problem.file == "units.csv"
    assert found in problem.found
    assert problem.mend.startswith(mend)


@pytest.mark.parametrize(
    ("name", "found", "mend"),
    [
        ("b.docx", "files of the kind .docx are not read", "Use .xlsx, .xlsm, .xls, .ods, .csv"),
        ("b", "the file has no ending that tells its kind", "Use .xlsx"),
        ("b.xlsb", "files of the kind .xlsb are not read", "Save it as .xlsx in the spreadsheet program"),
        ("b.xls", "the file is empty", "Open it in the spreadsheet program and save it again as .xlsx"),
        ("b.csv", "", ""),
    ],
)
def test_a_file_of_another_kind(tmp_path: Path, name: str, found: str, mend: str) -> None:
    (tmp_path / name).touch()
    with pytest.raises(InputProblems) as refused:
        read_batch(tmp_path / name)
    (problem,) = refused.value.problems
    assert problem.found.startswith(found)
    assert problem.mend.startswith(mend)


@pytest.mark.parametrize(
    ("start", "found"),
    [
        (b"  <html>", "the file is a web page that is called .xls"),
        (b" " * 511 + b"<", "the file is a web page that is called .xls"),
        (b" " * 600 + b"x", "the file is empty"),
        (b"Unit,Mass (g)\n1,2.01\n", ""),
        (b"PK\x03\x04", "the file is damaged (BadZipFile)"),
    ],
)
def test_what_an_instrument_calls_an_old_workbook(tmp_path: Path, start: bytes, found: str) -> None:
    (tmp_path / "b.xls").write_bytes(start)
    said = ""
    try:
        read_batch(tmp_path / "b.xls")
    except InputProblems as refused:
        said = refused.problems[0].found
    assert said == found


@pytest.mark.parametrize("lock", ["~$units.csv", ".~lock.units.csv#", "other"])
def test_a_lock_file_beside_an_input_is_told(tmp_path: Path, lock: str) -> None:
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\n1,2.01\n2,2.02\n")
    (tmp_path / lock).touch()
    told = [one.text for one in read_batch(tmp_path / "units.csv").notices]
    assert [text.partition(" stands beside it")[0] for text in told] == (
        [] if lock == "other" else [f"It seems to be open in a spreadsheet program ({lock}"]
    )


@pytest.mark.parametrize(
    ("text", "like", "measure"),
    [
        ("0.5", True, ""),
        ("-0.5", False, ""),
        ("0.0", False, ""),
        ("99", False, ""),
        ("100", True, ""),
        ("2.0 g", True, "g"),
        ("2.013\nmg", True, "mg"),
        ("2.013 mg.", False, "mg"),
        ("abc", False, ""),
        ("2.O1", False, ""),
    ],
)
def test_a_cell_is_like_a_mass_by_its_decimals_or_its_size(text: str, like: bool, measure: str) -> None:
    cell = SheetCell(1, "A1", CellKind.TEXT, text)
    assert (like_a_mass(cell), measure_in(cell)) == (like, measure)
