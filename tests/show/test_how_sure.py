"""The section on what the data assure: a row of bounds a test, and in words only what the row does not say."""

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


def shown(judged: JudgedBatch, *found: Assurance) -> tuple[Table, tuple[str, ...]]:
    (section,) = assurance(replace(judged, assurance=found))
    (table,) = (piece for piece in section.pieces if isinstance(piece, Table))
    return table, tuple(item for piece in section.pieces if isinstance(piece, Lines) for item in piece.items)


def test_each_test_has_a_row_with_the_interval_of_the_units_left_rounded_outward(batches: Batches) -> None:
    many = replace(FOUND, units_left=40, left_within=38, outside_at_most=4)
    gone = replace(FOUND, units_left=0, left_within=None, left_low_percent=None, left_high_percent=None)
    unknown = replace(gone, units_left=None)
    table, said = shown(batches["sound"](), FOUND, many, gone, unknown)
    assert [column.head for column in table.columns] == [
        "Test",
        "Another sample passes",
        "95\xa0% of units [%]",
        "Units left",
        "of them",
        "lie between [%]",
        "Outside, at most",
    ]
    assert [row[1:] for row in table.rows] == [
        ("at least 50 %", "89.8 to 110.2", "14", "all", "88.2 to 111.8", "–"),
        ("at least 50 %", "89.8 to 110.2", "40", "at least 38", "88.2 to 111.8", "4"),
        ("at least 50 %", "89.8 to 110.2", "0", "–", "–", "–"),
        ("at least 50 %", "89.8 to 110.2", "–", "–", "–", "–"),
    ]
    assert "each bound with 95\xa0% confidence" in table.caption
    assert said == ()


def test_why_nothing_is_assured_and_what_limits_it_is_said_once(batches: Batches) -> None:
    silent = replace(FOUND, pass_chance_low=None, said=("The units do not differ at all.",))
    limited = replace(FOUND, caveat="A change was seen along the pour.")
    _, said = shown(batches["sound"](), silent, limited, limited)
    assert said == (
        "Uniformity of dosage units: The units do not differ at all.",
        "A change was seen along the pour.",
    )
