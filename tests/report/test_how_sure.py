"""The section on what the data assure: the table of bounds, and one line of words a test."""

from __future__ import annotations

from collections.abc import Callable

from msgspec.structs import replace

from qc.report.findings import assurance
from qc.report.view import Lines, Table
from qc.results import Assurance, JudgedBatch

Batches = dict[str, Callable[[], JudgedBatch]]

FOUND = Assurance(
    test="dosage-unit-uniformity",
    active="Zinc oxide",
    confidence=0.95,
    pass_chance_low=0.5,
    coverage=0.95,
    tolerance_low_percent=89.82,
    tolerance_high_percent=110.18,
    sentence="It is so. Of the 14 units left, all lie between 88.2 and 111.8 % of label with 95 % confidence if "
    "their spread is normal.",
    units_left=14,
    left_within=14,
    left_low_percent=88.283,
    left_high_percent=111.717,
)


def shown(judged: JudgedBatch, *found: Assurance) -> tuple[Table, Lines]:
    (section,) = assurance(replace(judged, assurance=found))
    table, lines = section.pieces[:2]
    assert isinstance(table, Table)
    assert isinstance(lines, Lines)
    return table, lines


def test_the_units_left_stand_beside_the_interval_that_holds_them_rounded_outward(batches: Batches) -> None:
    many = replace(FOUND, units_left=40, left_within=38)
    gone = replace(FOUND, units_left=0, left_within=None, left_low_percent=None, left_high_percent=None)
    unknown = replace(gone, units_left=None)
    table, _ = shown(batches["sound"](), FOUND, many, gone, unknown)
    assert [column.head for column in table.columns][-3:] == ["Units left", "of them", "lie between [%]"]
    assert [row[-3:] for row in table.rows] == [
        ("14", "all", "88.2 to 111.8"),
        ("40", "at least 38", "88.2 to 111.8"),
        ("0", "–", "–"),
        ("–", "–", "–"),
    ]


def test_what_is_said_of_the_units_left_stands_under_the_table(batches: Batches) -> None:
    _, lines = shown(batches["sound"](), FOUND)
    assert lines.items[0].endswith(
        "Of the 14 units left, all lie between 88.2 and 111.8 % of label with 95 % confidence if "
        "their spread is normal."
    )
