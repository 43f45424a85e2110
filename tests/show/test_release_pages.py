"""The later pages on release: what they show of the records, and that nothing stands where nothing was entered."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.batch import Batch, Unit
from qc.results import (
    ActiveBalance,
    BatchVerdict,
    JudgedBatch,
    PackingChecklist,
    PackingLine,
    Reconciliation,
    SeenClass,
    SeenDefect,
    VisualInspection,
    message,
)
from qc.say.messages import words
from qc.show.pieces import Lines, Prose, Table
from qc.show.sections.release import packing, release

CHIPPED = SeenDefect(
    defect="chipped",
    entered_as=("chip",),
    grade="minor",
    grade_mark="our reading",
    units=("4", "7"),
    causes=("a brittle base", "forced removal from the mould"),
    remedy="Handle the units less.",
    mark="from memory",
    source="from memory",
    speaks_for=("uneven-fill",),
)
PLAN = message(
    "visual.plan",
    sample_size=30,
    accepts=None,
    aql_percent=Decimal("2.5"),
    level=2,
    letter="",
    from_memory=False,
)
SEEN = VisualInspection(
    lot=30,
    looked_at=30,
    defects=(CHIPPED,),
    classes=(
        SeenClass(grade="critical", units=()),
        SeenClass(grade="minor", units=("4", "7"), aql_percent=Decimal("2.5"), plan=PLAN, met=False),
    ),
    unknown={"wobbly": ("9",)},
)
BALANCE = Reconciliation(
    melt_prepared_g=Decimal("66.0"),
    units_g=Fraction(60),
    trimmings_g=Decimal("1.8"),
    melt_left_g=Decimal("3.9"),
    unaccounted_g=Fraction(3, 10),
    unaccounted_percent=Fraction(5, 11),
    units_obtained=30,
    units_difference=1,
    theoretical_units=Fraction(33),
    yield_percent=Fraction(1000, 11),
    actives=(
        ActiveBalance(
            active="drug",
            weighed_mg=Decimal(3300),
            in_units_mg=Fraction(3000),
            in_trimmings_mg=Fraction(90),
            in_dish_mg=None,
            found_mg=Fraction(3090),
            recovery_percent=Fraction(1030, 11),
            recovery_low_percent=92.5,
            recovery_high_percent=94.77,
            n=10,
        ),
    ),
    remarks=(message("reconciliation.more_came_out", excess_g=Fraction(1)),),
    working=(message("reconciliation.more_came_out", excess_g=Fraction(60)),),
)


MORE_CAME_OUT = "More came out than went in, by 1 g: a mass was misread or a weighing is missing."


def judged(**records: object) -> JudgedBatch:
    return JudgedBatch(
        batch=Batch(units=(Unit(name="1"),)),
        rule_set="default",
        verdict=BatchVerdict.UNDECIDED,
        tests=(),
        **records,  # type: ignore[arg-type]
    )


def test_a_batch_without_records_has_no_such_pages() -> None:
    assert release(judged()) == ()


def test_defects_are_shown_with_grade_units_and_causes_and_no_name_of_a_web_page() -> None:
    (section,) = release(judged(visual=SEEN))
    defects, speaks, plan, unknown = section.pieces
    assert isinstance(defects, Table)
    assert defects.rows == (
        (
            "chipped",
            "minor [our reading]",
            "2",
            "4 and 7",
            "a brittle base; forced removal from the mould",
            "Handle the units less.",
        ),
    )
    assert "usual causes and remedies are common practice" in defects.caption
    assert speaks == Prose(text="Among the possible causes these defects speak for: cavities filled unevenly.")
    assert isinstance(plan, Table)
    assert (plan.rows, plan.strong) == (
        (("minor", "2", words(PLAN), "no"),),
        (0,),
    )
    assert unknown == Lines(title="Words that are not known, and were not counted", items=("wobbly (on 9)",))


def test_balances_are_shown_as_entered_and_rounded_for_the_eye() -> None:
    (section,) = release(judged(reconciliation=BALANCE))
    melt, units, actives, remarks, working = section.pieces
    assert isinstance(melt, Table)
    assert melt.rows == (
        ("prepared", "66.0"),
        ("in the units", "60.000"),
        ("trimmings", "1.8"),
        ("left in the dish", "3.9"),
        ("not accounted for", "0.300"),
        ("not accounted for, % of melt", "0.45"),
    )
    assert isinstance(units, Table)
    assert units.rows == (
        ("theoretical", "33.00"),
        ("obtained", "30"),
        ("yield, % of theoretical", "90.91"),
        ("obtained less released, rejected and sampled", "1"),
    )
    assert units.strong == (3,)
    assert isinstance(actives, Table)
    assert actives.rows == (("drug", "3300.0", "3000.0", "90.0", "–", "93.6", "92.5 to 94.8"),)
    assert remarks == Lines(title="What does not add up", items=(MORE_CAME_OUT,))
    assert working == Lines(title="Working", items=(words(BALANCE.working[0]),), calculation=True)


def test_a_checklist_marks_the_lines_that_are_not_ticked() -> None:
    lines = (
        PackingLine(item="count", text="count", answer="yes", entered="30 of 30", done_by="technician A", mark="x"),
        PackingLine(item="label-batch", text="label: batch number", answer="no", entered="no", mark="x"),
        PackingLine(item="label-route", text="label: route of use", answer="not entered", mark="x"),
    )
    (piece,) = packing(judged(packing=PackingChecklist(lines=lines, started=True)))
    assert isinstance(piece, Lines)
    assert piece.title == "Packing and label, lines not answered yes or not applicable"
    assert piece.items == ("label: batch number: no.", "label: route of use: not entered.")


def test_a_checklist_not_begun_is_one_sentence() -> None:
    (piece,) = packing(judged(packing=PackingChecklist(lines=(), started=False)))
    assert isinstance(piece, Lines)
    assert piece.items[0] == "The packing and label checklist was not entered."
