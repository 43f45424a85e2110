"""The section on what the data assure: the table of bounds, and one line of words a test."""

from __future__ import annotations

from collections.abc import Callable

from msgspec.structs import replace

from qc.results import Assurance, JudgedBatch
from qc.show.pieces import Lines, Table
from qc.show.sections.findings import assurance

Batches = dict[str, Callable[[], JudgedBatch]]

FOUND = Assurance(
    test="dosage-unit-uniformity",
    active="Zinc oxide",
    confidence=0.95,
    pass_chance_low=0.5,
    coverage=0.95,
    tolerance_low_percent=89.82,
    tolerance_high_percent=110.18,
    said=(
        "It is so. Of the 14 units left, all lie between 88.2 and 111.8 % of label with 95 % confidence if their "
        "spread is normal.",
    ),
    units_left=14,
    left_within=14,
    left_low_percent=88.283,
    left_high_percent=111.717,
)


def shown(judged: JudgedBatch, *found: Assurance) -> tuple[list[Table], Lines]:
    (section,) = assurance(replace(judged, assurance=found))
    tables = [piece for piece in section.pieces if isinstance(piece, Table)]
    lines = next(piece for piece in section.pieces if isinstance(piece, Lines))
    return [table for table in tables if table.columns[0].head == "Test"], lines


def test_the_units_left_stand_beside_the_interval_that_holds_them_rounded_outward(batches: Batches) -> None:
    many = replace(FOUND, units_left=40, left_within=38, outside_at_most=4)
    gone = replace(FOUND, units_left=0, left_within=None, left_low_percent=None, left_high_percent=None)
    unknown = replace(gone, units_left=None)
    (table, rest), _ = shown(batches["sound"](), FOUND, many, gone, unknown)
    assert len(table.rows) == 4
    assert [column.head for column in rest.columns][-4:] == [
        "Units left",
        "of them",
        "lie between [%]",
        "Outside in the whole batch, at most",
    ]
    assert [row[-4:] for row in rest.rows] == [
        ("14", "all", "88.2 to 111.8", "–"),
        ("40", "at least 38", "88.2 to 111.8", "4"),
    ]


def test_no_table_of_units_left_where_none_is(batches: Batches) -> None:
    tables, _ = shown(batches["sound"](), replace(FOUND, units_left=0), replace(FOUND, units_left=None))
    assert len(tables) == 1


def test_what_is_said_of_the_units_left_stands_under_the_tables(batches: Batches) -> None:
    _, lines = shown(batches["sound"](), FOUND)
    assert lines.items[0].endswith(
        "Of the 14 units left, all lie between 88.2 and 111.8 % of label with 95 % confidence if "
        "their spread is normal."
    )
