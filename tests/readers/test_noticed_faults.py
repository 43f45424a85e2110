"""What faults put into the readers and fields at random had changed without a test that failed."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from qc.fields.words import Heading, heading_of
from qc.problems import InputProblems, Notice
from qc.readers.cells import CellKind, SheetCell
from qc.readers.finding.grids import _joined
from qc.readers.finding.lines import FoundLine
from qc.readers.finding.printed import printed_line
from qc.readers.finding.sifting import _worked_out
from qc.readers.finding.unaccounted import like_the_label
from qc.readers.finding.unit_names import UnitNames
from qc.readers.ignored import _in_line
from qc.readers.options import ReadOptions
from qc.readers.plausible import SLIPS, how_far_off
from qc.readers.read import read_batch

SUPPOSITORIES = ReadOptions(form="suppositories")


@pytest.mark.parametrize(
    ("text", "heading"),
    [
        ("Gehalt [mg]", Heading("content_mg", "mg")),
        ("Gehalt (%)", Heading("content_percent", "%")),
        ("Weight %", Heading("mass_g", "%")),
    ],
)
def test_a_content_in_percent_is_one_and_a_mass_or_a_content_in_mg_is_none(text: str, heading: Heading) -> None:
    assert heading_of(text) == heading


@pytest.mark.parametrize(("order", "places"), [("pour", (1, None)), ("weighing", (None, 1)), ("both", (1, 1))])
def test_rows_that_stand_in_an_order_are_counted_from_one(
    order: str, places: tuple[int | None, int | None], tmp_path: Path
) -> None:
    path = tmp_path / "masses.csv"
    path.write_text("Unit,Mass (g)\nA,2.00\nB,2.01\n")
    first, second = read_batch(path, options=ReadOptions(form="suppositories", order=order)).units  # type: ignore[arg-type]
    assert (first.pour_order, first.weighing_order) == places
    assert (second.pour_order, second.weighing_order) == tuple(one and one + 1 for one in places)


@pytest.mark.parametrize(("target", "said"), [("49", True), ("50", False)])
def test_a_target_far_from_the_label_is_remarked_on(target: str, said: bool, tmp_path: Path) -> None:
    (tmp_path / "actives.csv").write_text(f"Active,Label claim (mg),Target (% of label)\ndrug,100,{target}\n")
    (tmp_path / "units.csv").write_text("Unit,Mass (g)\nA,2.00\nB,2.01\n")
    notices = [one.text for one in read_batch(tmp_path, options=SUPPOSITORIES).notices if isinstance(one, Notice)]
    assert ("The target of drug, 49 % of label, is far from 100 %." in notices) is said


@pytest.mark.parametrize(
    ("text", "prose"),
    [("side B7 2.031 g", False), ("weighed after lunch by her 2.031 g", True), ("lid closed 2.031 g", True)],
)
def test_words_that_number_a_unit_are_no_prose(text: str, prose: bool) -> None:
    line = printed_line(text)
    assert line is not None
    assert line.is_prose is prose


@pytest.mark.parametrize(("typed", "read"), [("2.99", False), ("3", True)])
def test_a_share_typed_for_a_percentage_is_refused_below_three_percent(typed: str, read: bool, tmp_path: Path) -> None:
    (tmp_path / "actives.csv").write_text(f"Active,Label claim (mg),Batch assay (% of label)\ndrug,100,{typed}\n")
    (tmp_path / "units.csv").write_text("Unit,Mass (mg)\nA,2000\nB,2010\n")
    if read:
        batch = read_batch(tmp_path, options=SUPPOSITORIES)
        assert (batch.actives[0].batch_assay_percent, batch.units[1].mass_g) == (Decimal(3), Decimal("2.010"))
        return
    with pytest.raises(InputProblems, match="looks like a fraction of one"):
        read_batch(tmp_path, options=SUPPOSITORIES)


@pytest.mark.parametrize(
    ("others", "inside", "outside"),
    [
        (("B2", "B4"), ("B1", "B3", "B9"), ("A2", "C2")),
        (("B2", "D2"), ("A2", "C2", "H2"), ("B1", "B3")),
        # Of masses in several rows and columns the corners are those of a field.
        (("B2", "C4"), ("B2", "C2", "B3", "C4"), ("A2", "D4", "B1", "C5")),
        (("B2",), ("B1", "B9"), ("A2", "C3")),
        ((), (), ("A1",)),
    ],
)
def test_a_cell_without_a_name_stands_in_the_line_of_others_or_among_them(
    others: tuple[str, ...], inside: tuple[str, ...], outside: tuple[str, ...]
) -> None:
    def at(place: str) -> SheetCell:
        return SheetCell(ord(place[0]) - 64, place, CellKind.NUMBER, "2.013")

    assert {place: _in_line(at(place), [at(one) for one in others]) for place in (*inside, *outside)} == {
        **dict.fromkeys(inside, True), **dict.fromkeys(outside, False)
    }  # fmt: skip


@pytest.mark.parametrize(
    ("contents", "alike"),
    [
        (["60", "74.9", "99"], False), (["60", "75", "99"], True), (["99", "125", "190"], True),
        (["99", "125.1", "190"], False),
    ],
)  # fmt: skip
def test_contents_are_of_the_label_where_their_median_is_near_a_hundred(contents: list[str], alike: bool) -> None:
    cells = [SheetCell(2, f"B{row}", CellKind.NUMBER, one, Decimal(one)) for row, one in enumerate(contents, 2)]
    assert like_the_label(cells) is alike


@pytest.mark.parametrize(
    "rows",
    [
        ["XX.X", ".XXX"],
        ["X.X", "XXX"],
        ["XXX", "X.X"],
        ["XX", "X.", "XX"],
        ["XX", ".X", "XX"],
        ["X"],
    ],
)
def test_cells_that_touch_are_joined_from_whichever_is_taken_first(rows: list[str]) -> None:
    cell = SheetCell(1, "A1", CellKind.NUMBER, "2.013")
    masses = {(row, at): cell for row, text in enumerate(rows) for at, sign in enumerate(text) if sign == "X"}
    apart = {(row + 9, at): cell for row, at in masses} | {(row - 9, at): cell for row, at in masses}
    for start in masses:
        assert _joined(start, masses | apart) == masses
    assert _joined((5, 0), masses) == {}


@pytest.mark.parametrize(
    ("formula", "kind"),
    [
        ("=AVERAGE(B2:B9)", "mean"),
        ("=STDEV(B2:B9)", "sd"),
        ("=_xlfn.STDEV.S(B2:B9)", "sd"),
        ("of:=MIN([.B2:.B9])", "least"),
        ("=max(B2:B9)", "greatest"),
        ("=SUM(B2:B9)", "sum"),
        ("=B2-B3", ""),
    ],
)
def test_a_number_without_a_name_is_the_figure_that_its_formula_works_out(formula: str, kind: str) -> None:
    cell = SheetCell(2, "B10", CellKind.NUMBER, "2.013", Decimal("2.013"), formula=formula)
    names = UnitNames.of(["1", "2", "3"])
    assert _worked_out(FoundLine(number=10, cells={"mass_g": cell}), [], names) == kind


@pytest.mark.parametrize(
    ("of", "alike", "others"),
    [
        ("begin", ["Tray 1", "Tray 2", "Tray 3", "tray 4"], ["Left 5", "Right 6"]),
        ("short", ["A", "B", "C", "D"], ["Tray left", "Tray right"]),
        ("whole", ["1", "2", "3", "4"], ["A5", "A6"]),
        ("wordless", ["1", "2", "A3", "4"], ["Tray", "Left"]),
        ("roman", ["i", "ii", "iii", "iv"], ["A", "B"]),
        ("words", ["Tray left 1", "left tray 2", "Tray left 3", "Tray left 4"], ["Side 5", "Lid 6"]),
    ],
)
def test_names_are_made_alike_where_more_than_three_in_five_are(of: str, alike: list[str], others: list[str]) -> None:
    assert getattr(UnitNames.of([*alike, others[0]]), of)
    assert not getattr(UnitNames.of([*alike[:3], *others]), of)


def test_names_are_numbered_where_more_than_half_are() -> None:
    assert [UnitNames.of(names).numbered for names in (["1", "A"], ["1", "A", "B2"], ["1", "A", "B"])] == [
        False, True, False
    ]  # fmt: skip


THOUSANDFOLD = {1: "about a thousandth of", 10: "about a thousandth of", 900_000: "about a thousand times",
                9_000_000: "about a thousand times"}  # fmt: skip


@pytest.mark.parametrize(
    ("attribute", "said"),
    [
        (
            "mass_g",
            {
                **THOUSANDFOLD, 11: "at most a twelfth of", 249: "at most a twelfth of", 250: "about a tenth of",
                375: "about a tenth of", 376: "", 23_999: "", 24_000: "about ten times", 36_000: "about ten times",
                36_001: "at least twelve times", 899_999: "at least twelve times", 9_000_001: "at least twelve times",
                3_000 * 10**9: "at least twelve times", 3_000 * 10**9 + 1: "",
            },
        ),
        ("content_mg", {**THOUSANDFOLD, 0: "", 11: "", 899_999: "", 9_000_001: ""}),
        ("content_percent", {14: "", 15: "about a hundredth of", 60: "about a hundredth of", 61: ""}),
    ],
)  # fmt: skip
def test_a_slip_is_named_by_how_many_times_the_others_it_is(attribute: str, said: dict[int, str]) -> None:
    found = {value: how_far_off(Decimal(value), Decimal(3000), SLIPS[attribute]) for value in said}
    assert found == said
    assert how_far_off(Decimal(9), Decimal(0), SLIPS[attribute]) == ""
