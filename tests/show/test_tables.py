"""The tables behind the pictures say the same as the pictures."""

from __future__ import annotations

from collections.abc import Callable

from msgspec.structs import replace

from qc.results import JudgedBatch
from qc.show.pieces import column, number, table
from qc.show.sections.tables import content_table

Batches = dict[str, Callable[[], JudgedBatch]]


def test_a_unit_that_any_test_of_an_active_rests_on_is_of_the_sample(batches: Batches) -> None:
    judged = batches["sound"]()
    (active,) = {name for row in judged.unit_rows for name in row.contents}
    rows = tuple(
        replace(row, contents={name: replace(one, in_sample=False) for name, one in row.contents.items()})
        for row in judged.unit_rows
    )
    assayed = [row.unit for row in rows if row.contents]
    one_test = next(test for test in judged.tests if test.id == "dosage-unit-uniformity")
    judged = replace(judged, unit_rows=rows, tests=(replace(one_test, sample=tuple(assayed[:3])),))
    table = content_table(judged, active)
    assert {row[0]: row[-1] for row in table.rows} == {
        unit: "" if unit in assayed[:3] else "beside" for unit in assayed
    }


def test_what_a_column_says_in_each_of_three_lines_stands_in_the_caption() -> None:
    columns = (
        column("Unit", lambda one: one[0]),
        column("Sample", lambda one: one[1]),
        number("g", lambda one: one[2]),
    )
    rows = [("1", "beside", "2.0"), ("2", "beside", "2.0"), ("3", "beside", "2.0")]
    said = table("Masses", rows, *columns, filled_alone=True)
    assert said.caption == "Masses; Sample beside throughout"
    assert [one.head for one in said.columns] == ["Unit", "g"]
    for kept in (rows[:2], [*rows, ("4", None, "2.0")]):
        assert table("Masses", kept, *columns, filled_alone=True).caption == "Masses"
    assert table("Masses", rows, *columns).caption == "Masses"
    empty = table("Masses", [(one, None, mass) for one, _, mass in rows], *columns, filled_alone=True)
    assert (empty.caption, len(empty.columns)) == ("Masses", 2)
