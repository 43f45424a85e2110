"""A generated truth is put down in a random layout with random decoration: what is read equals it, or it is refused."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path
from typing import Any

import pytest
from door_corpus import sums
from door_sheets import DIALECTS, Case, Formula, Rows, Sheet, Unit, drawn, listed, side_by_side, typed, write
from door_words import AROUND, HEADED, SUM_LABELS
from examples import examples
from hypothesis import HealthCheck, given, note
from hypothesis import strategies as st
from test_corpus import same_label

from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

ALL_LABELS = sorted({label for text in SUM_LABELS.values() for label in text.split("|")})
LINES = (
    *(line for pair in AROUND.values() for line in pair),
    "Target mass 2.0 g",
    "Nominal: 2.000 g",
    "Limits 1.900 g - 2.100 g",
    "Balance: d = 0.001 g",
    "15.01.2024 10:32",
    "Room 21.5 °C",
    "Page 1 of 2",
)
FACTS: tuple[list[Any], ...] = (
    ["Batch", 240117],
    ["Target mass (g)", Decimal("2.0")],
    ["Label claim (mg)", 250],
    ["Date", "15.01.2024"],
    ["Tare", Decimal("1.234")],
    ["Mould", "2 g"],
    ["Room (°C)", Decimal("21.5")],
    ["Units poured", 24],
)
NEAR_A_MASS = st.integers(1800, 2200).map(lambda mg: Decimal(mg).scaleb(-3))
Table = tuple[Rows, list[Unit], bool]


@st.composite
def plain_lists(draw: st.DrawFn) -> Table:
    """A list: headings in a language or none, names of units of some style, other columns."""
    masses = drawn(draw(st.integers(5, 30)), draw(st.integers(0, 10**6)))
    heads = draw(st.sampled_from([pair for pairs in HEADED.values() for pair in pairs]))
    style = draw(st.sampled_from(["{}", "{}", "Z{}", "{:02}"]))
    names: list[Any] = [style.format(at) if style != "{}" else at for at in range(1, len(masses) + 1)]
    rows: Rows = [list(heads), *([name, m] for name, m in zip(names, masses, strict=True))]
    for what in draw(
        st.lists(
            st.sampled_from(["deviation", "target", "tare", "date", "remark", "length", "empty"]),
            max_size=2,
            unique=True,
        )
    ):
        cells: list[Any] = {
            "deviation": ["Deviation (%)", *(round((m - 2) * 50, 2) for m in masses)],
            "target": ["Target (g)", *[Decimal("2.0")] * len(masses)],
            "tare": ["Tare (g)", *drawn(len(masses), "tare", mean="1.5")],
            "date": ["Date", *["15.01.2024"] * len(masses)],
            "remark": ["Remark", "chipped", *[None] * (len(masses) - 1)],
            "length": ["Length (mm)", *[Decimal("2.4")] * len(masses)],
            "empty": [None] * len(rows),
        }[what]
        at = draw(st.sampled_from([1, 2]))
        rows = [[*row[:at], cell, *row[at:]] for row, cell in zip(rows, cells, strict=True)]
    return rows, [Unit(m, name=str(name)) for name, m in zip(names, masses, strict=True)], True


@st.composite
def headless(draw: st.DrawFn) -> Table:
    """A list without headings, with numbers or without; a row."""
    masses = drawn(draw(st.integers(5, 30)), draw(st.integers(0, 10**6)))
    match draw(st.sampled_from(["numbered", "column", "row", "headed"])):
        case "numbered":
            return (
                [[at, m] for at, m in enumerate(masses, 1)],
                [Unit(m, name=str(at)) for at, m in enumerate(masses, 1)],
                True,
            )
        case "column":
            return [[m] for m in masses], [Unit(m) for m in masses], False
        case "row":
            return [list(masses)], [Unit(m) for m in masses], False
        case _:
            return [["Weight (g)"], *([m] for m in masses)], [Unit(m) for m in masses], False


@st.composite
def several(draw: st.DrawFn) -> Table:
    """Blocks side by side or one above another, columns of moulds, grids, units across."""
    length, count = draw(st.integers(3, 12)), draw(st.integers(2, 4))
    masses = drawn(length * count, draw(st.integers(0, 10**6)))
    parts = {name: masses[at * length : at * length + length] for at, name in enumerate("ABCD"[:count])}
    moulded = [Unit(m, mould=name) for name, part in parts.items() for m in part]
    titled: list[Rows] = [[[f"Mould {name}"], *listed(part)] for name, part in parts.items()]
    match draw(st.sampled_from(["beside", "above", "columns", "letters", "across", "runs on", "bare"])):
        case "beside":
            return side_by_side(*titled, gap=draw(st.integers(0, 2))), moulded, True
        case "above":
            return [row for block in titled for row in [*block, []]][:-1], moulded, True
        case "columns":
            head: Rows = [["Cavity", *(f"Mould {name} (g)" for name in parts)]]
            return head + [[at, *row] for at, row in enumerate(zip(*parts.values(), strict=True), 1)], moulded, True
        case "letters":
            grid = [[None, *range(1, length + 1)], *([name, *part] for name, part in parts.items())]
            return grid, [Unit(m, cavity=f"{n}{at}") for n, part in parts.items() for at, m in enumerate(part, 1)], True
        case "across":
            return (
                [["Unit", *range(1, len(masses) + 1)], ["Mass (g)", *masses]],
                [Unit(m, name=str(at)) for at, m in enumerate(masses, 1)],
                True,
            )
        case "runs on":
            blocks = [listed(part, first=at * length + 1) for at, part in enumerate(parts.values())]
            return (
                side_by_side(*blocks, gap=draw(st.integers(0, 1))),
                [Unit(m, name=str(at)) for at, m in enumerate(masses, 1)],
                True,
            )
        case _:
            return [list(part) for part in parts.values()], [Unit(m) for m in masses], False


# How a mass is typed, and tables that are none of the batch.
TYPED: dict[str, Callable[[Decimal], Any]] = {
    "number": lambda mass: mass,
    "comma": lambda mass: typed(mass, ","),
    "with g": lambda mass: f"{mass} g",
    "with mg": lambda mass: f"{mass.scaleb(3):f} mg",
    "formula": lambda mass: Formula(f"={mass - 1}+1", mass),
}
DECOYS: dict[str, Rows] = {
    "ingredients": [
        ["Ingredient", "Amount (g)"],
        ["Paracetamol", Decimal("5.00")],
        ["Hard fat", Decimal("41.35")],
        ["Silica", Decimal("2.1")],
    ],
    "plain base": [["Plain base"], ["Cavity", "Mass (g)"], *([at, m] for at, m in enumerate(drawn(6, "base"), 1))],
    "balance check": [["Nominal (g)", "Reading (g)"], [Decimal(1), Decimal("1.0001")], [Decimal(2), Decimal("2.0003")]],
    "hardness": [["Hardness (kg)"], *([h] for h in (Decimal("1.8"), Decimal("2.0"), Decimal("1.79")))],
    "melting": [["No.", "Melting time (min)"], *([at, Decimal("2.5")] for at in (1, 2, 3))],
    "limits": [["Lower limit", "Upper limit"], [Decimal("1.9"), Decimal("2.1")]],
    "assay": [["Sample", "Content (mg)"], *([at, Decimal("251.3")] for at in (3, 7, 12))],
    "again": [["Weighed again (g)"], [Decimal("1.987")], [Decimal("2.004")]],
}


@st.composite
def put_down(draw: st.DrawFn) -> Case:
    """A table with whatever stands around it."""
    rows, truth, named = draw(st.one_of(plain_lists(), headless(), several()))
    masses, allowed = [unit.mass for unit in truth], "either"
    below: Rows = []
    for what in draw(
        st.lists(
            st.sampled_from(
                ["sum", "sum", "text", "gap", "note", "number", "batch", "beside", "labelled beside", "inside"]
            ),
            max_size=4,
        )
    ):
        value = draw(st.one_of(st.just(sums(masses)["mean"]), NEAR_A_MASS))
        label = draw(st.sampled_from(ALL_LABELS))
        match what:
            case "sum":
                below.append([label, value] if named else [value, label])
            case "text":
                below.append([f"{label}: {value} g"])
            case "gap":
                below.append([])
            case "note":
                below.append([draw(st.sampled_from(LINES))])
            case "number" if named:
                below += [[], [None, value]]
            case "batch":
                below += [[], ["Batch 99"], *listed(drawn(6, "other"))]
                allowed = "refuse"
            case "inside" if named:
                at = draw(st.integers(1, len(rows) - 1))
                rows = [*rows[:at], [label, value], *rows[at:]]
            case "beside" | "labelled beside":
                extra = [None, *([label] if what != "beside" else []), value]
                at = draw(st.integers(0, len(rows) - 1))
                width = max(map(len, rows))
                rows = [[*row, *[None] * (width - len(row)), *(extra if n == at else [])] for n, row in enumerate(rows)]
            case _:
                pass
    style = draw(st.sampled_from(["number"] * 4 + [*TYPED]))
    rows = [
        [TYPED[style](cell) if cell in masses and isinstance(cell, Decimal) else cell for cell in row] for row in rows
    ]
    for decoy in draw(st.lists(st.sampled_from(sorted(DECOYS)), max_size=1)):
        if draw(st.booleans()):
            below += [[], *DECOYS[decoy]]
        else:
            rows = side_by_side(rows, DECOYS[decoy], gap=draw(st.integers(0, 2)))
    above: Rows = [[line] for line in draw(st.lists(st.sampled_from(LINES), max_size=2))]
    above += [list(fact) for fact in draw(st.lists(st.sampled_from(FACTS), max_size=3, unique_by=str))]
    if above or draw(st.booleans()):
        above += [[]] * draw(st.integers(0, 2))
    sheet: Rows = [*above, *rows, *below]
    shift = draw(st.sampled_from([0, 0, 1, 3]))
    sheet = [[*[None] * shift, *row] for row in sheet]
    if not above and draw(st.integers(0, 9)) == 0:
        sheet = [list(row) for row in zip_longest(*sheet)]
    writer = draw(st.sampled_from([*DIALECTS, "xlsxwriter", "xlsxwriter", "xlsxwriter", "openpyxl"]))
    return Case(
        "random", {draw(st.sampled_from(["Sheet1", "Units", "Wägung"])): Sheet(sheet)}, tuple(truth), writer, allowed
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("random")


@examples(75, suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture])
@given(case=put_down())
def test_what_is_read_of_a_random_layout_is_what_was_put_down(folder: Path, case: Case) -> None:
    """No mass is lost, none added, and each keeps its unit and its mould."""
    assert isinstance(case.sheets, dict)
    note("\n".join(str([str(cell) for cell in row]) for sheet in case.sheets.values() for row in sheet.rows))
    note(case.writer)
    path = write(case, folder / "random")
    try:
        batch = read_batch(path, options=with_rule_words(ReadOptions(form="suppositories")))
    except InputProblems as refusal:
        named = [
            problem for problem in refusal.problems if problem.file == path.name and problem.found and problem.mend
        ]
        if len(named) < len(refusal.problems):
            raise
        return
    read = [unit.mass_g for unit in batch.weighed]
    assert Counter(read) == Counter(unit.mass for unit in case.truth)
    assert case.allowed != "refuse", "another batch was left out without a word"
    for unit in case.truth:
        there = [one for one in batch.weighed if one.mass_g == unit.mass]
        assert unit.name is None or any(same_label(one.name, unit.name) for one in there)
        assert unit.mould is None or any(same_label(one.mould, unit.mould) for one in there)
