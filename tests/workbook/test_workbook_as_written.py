"""The values that a results workbook is written with, before any program calculates it: all agree with the document."""

from __future__ import annotations

from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.batch import Active
from tests.workbook import test_workbook_figures as figures
from tests.workbook.test_kept_parts import digests, kept

# In one process with those that calculate most of these workbooks anew.
pytestmark = pytest.mark.xdist_group("recalculated")
no_causes = figures.no_causes
BALANCE = {"units_obtained": 24, "melt_prepared_g": Decimal(60), "melt_left_g": Decimal(2), "trimmings_g": Decimal(1)}
WEIGHED = figures.batch(contents=(), actives=())
UNPLANNED = replace(WEIGHED, nominal_mass_g=None)
"""Without a nominal or planned mass, so that nothing says how many units the melt would give."""
FURTHER = {
    "units-poured-for-the-yield": replace(UNPLANNED, units_poured=25, **BALANCE),
    "no-yield": replace(UNPLANNED, **BALANCE),
    "some-weighed-again": replace(
        figures.batch(contents=()),
        units=(
            replace(WEIGHED.units[0], weighed_again_g=Decimal("2.2"), weighed_again_because="moved"),
            *WEIGHED.units[1:],
        ),
        checked_by="B",
    ),
    "all-weighed-again": replace(
        WEIGHED,
        units=tuple(
            replace(one, weighed_again_g=Decimal("2.1"), weighed_again_because="balance levelled")
            for one in WEIGHED.units
        ),
        checked_by="B",
    ),
}
FEW = figures.Case(batch=figures.batch(("3.00", *["2.00"] * 17), (), actives=()), verdict="does-not-comply")
"""Too few for the test, and one that fails it whatever the missing ones weigh."""
CASES = (
    figures.CASES
    | {"few-and-one-fails-at-once": FEW}
    | {
        name: figures.Case(batch=batch, verdict="undecided" if batch.actives else "complies")
        for name, batch in FURTHER.items()
    }
)


@pytest.fixture(autouse=True)
def _no_causes(no_causes: None) -> None:
    """Causes are weighed for the reader and never for a verdict."""


@pytest.mark.parametrize("name", CASES)
def test_every_figure_and_verdict_stands_as_the_document_has_it(name: str) -> None:
    document, content = figures.judged(CASES[name])
    sheets = figures.as_written(content)
    live, rows = figures.live_figures(sheets), figures.summary_rows(sheets)
    stated = figures.figures_of(document)
    assert document["verdict"] == CASES[name].verdict
    assert {key: live.get(key) for key, one in stated.items() if not figures.same(one, live.get(key))} == {}
    assert (rows[1][0], rows[1][4]) == ("Figures and verdicts that do not agree", 0)
    assert [row for row in rows if row[5] == "NO"] == []
    assert digests(content) == kept(f"results {name}")


@pytest.mark.parametrize("lacking", ["label_claim_mg", "displacement"])
def test_an_active_without_claim_or_displacement_is_named_on_the_sheet_plan_and_nothing_is_worked_out(
    lacking: str,
) -> None:
    active = replace(figures.DRUG, **{lacking: None})
    case = figures.Case(batch=figures.batch(contents=(), actives=(active,), planned="2.04"), verdict="undecided")
    _, content = figures.judged(case)
    assert figures.as_written(content)["Plan"][4][:6] == ["drug", None, None, None, None, None]


def test_a_plan_is_worked_out_where_each_active_has_its_displacement_and_not_where_one_has_none() -> None:
    def labels(other: Active) -> set[object]:
        actives = (figures.DRUG, other)
        case = figures.Case(batch=figures.batch(contents=(), actives=actives, planned="2.04"), verdict="undecided")
        _, content = figures.judged(case)
        return {cell for row in figures.as_written(content)["Plan"] for cell in row if isinstance(cell, str)}

    worked_out = "Planned mass, worked out (g)"
    assert worked_out in labels(figures.OTHER)
    assert worked_out not in labels(replace(figures.OTHER, displacement=None))


def test_the_reason_for_which_a_unit_is_left_out_stands_beside_it_on_the_sheet_of_each_test() -> None:
    case = figures.CASES["left-out"]
    _, content = figures.judged(case)
    reasons = {figures.plain(unit.name): unit.left_out_because for unit in case.batch.units if unit.left_out_because}
    rows = figures.as_written(content)["Mass"][4:]
    assert reasons
    assert {row[0]: why for row in rows for why in reasons.values() if why in row} == reasons
