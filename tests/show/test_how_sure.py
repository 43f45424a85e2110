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
    pass_chance=0.93,
    pass_chance_low=0.5,
    coverage=0.6058,
    tolerance_low_percent=96.04,
    tolerance_high_percent=103.06,
    said=("It is so.",),
    units_left=14,
    left_within=7,
    left_low_percent=96.04,
    left_high_percent=103.06,
    outside_at_most=4,
)


def shown(judged: JudgedBatch, *found: Assurance) -> tuple[Table, tuple[str, ...]]:
    (section,) = assurance(replace(judged, assurance=found))
    (table,) = (piece for piece in section.pieces if isinstance(piece, Table))
    return table, tuple(item for piece in section.pieces if isinstance(piece, Lines) for item in piece.items)


def test_each_test_has_a_row_with_the_ends_of_what_was_measured_rounded_outward(batches: Batches) -> None:
    gone = replace(FOUND, units_left=0, left_within=None, left_low_percent=None, left_high_percent=None)
    little = replace(FOUND, pass_chance=0.02, pass_chance_low=0.004, outside_at_most=None)
    silent = Assurance(test="mass-uniformity", active=None, confidence=0.95, said=("Nothing.",), units_left=20)
    table, said = shown(batches["sound"](), little, FOUND, gone, silent)
    assert [column.head for column in table.columns] == [
        "Test",
        "Another sample passes",
        "Measured [%]",
        "Between them at least",
        "Outside, at most",
    ]
    assert [row[1:] for row in table.rows] == [
        ("–", "–", "–", "–"),
        ("2 %", "96.0 to 103.1", "7 of 14 left", "–"),
        ("93 %, at least 50 %", "96.0 to 103.1", "7 of 14 left", "4"),
        ("93 %, at least 50 %", "96.0 to 103.1", "60 % of all", "4"),
    ]
    assert "95\xa0% confidence" in table.caption
    assert said == ("Uniformity of mass: Nothing.",)


def test_why_nothing_is_assured_and_what_limits_it_is_said_once(batches: Batches) -> None:
    silent = replace(FOUND, pass_chance=None, said=("The units do not differ at all.",))
    limited = replace(FOUND, caveats=("A change was seen along the pour.",))
    _, said = shown(batches["sound"](), silent, limited, limited)
    assert said == (
        "Uniformity of dosage units: The units do not differ at all.",
        "Uniformity of dosage units: A change was seen along the pour.",
    )
    _, said = shown(batches["sound"](), limited, limited)
    assert said == ("A change was seen along the pour.",)


def test_what_limits_one_test_alone_names_it(batches: Batches) -> None:
    first = replace(FOUND, caveats=("At least 77 %.",))
    second = replace(FOUND, test="mass-uniformity", active=None, caveats=("At least 60 %.",))
    _, said = shown(batches["sound"](), first, second)
    assert sorted(said) == ["Uniformity of dosage units: At least 77 %.", "Uniformity of mass: At least 60 %."]
