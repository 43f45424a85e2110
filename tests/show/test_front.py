"""Page one: numbers as a person writes them, every source once, and the full name of the product further back."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from decimal import Decimal
from fractions import Fraction

import pytest
from msgspec.structs import replace

from qc.problems import Notice
from qc.results import BatchVerdict, JudgedBatch, Limit, Message, PlannedMass, TestResult, UnitLedger, Verdict, message
from qc.results.release import SeenClass, VisualInspection
from qc.say.messages import words
from qc.show.headline import judged_on
from qc.show.pieces import Table
from qc.show.sections import answers
from qc.show.sections.evidence import record
from qc.show.sections.front import page_one

Batches = dict[str, Callable[[], JudgedBatch]]


@pytest.mark.parametrize(
    ("planned", "shown"), [("2.1000", "2.1000"), ("2.070143884892086330935251799", "2.0701"), ("2", "2")]
)
def test_a_planned_mass_is_shown_as_typed_or_rounded_where_it_was_worked_out(
    planned: str, shown: str, batches: Batches
) -> None:
    plan = PlannedMass(planned_g=Decimal(planned), working="", mean_g=2.0, difference_percent=None)
    judged = replace(batches["sound"](), planned_mass=plan)
    assert dict(page_one(judged).facts)["Planned mass"] == f"{shown}\xa0g"


def test_the_work_and_edition_of_a_rule_stand_once_on_page_one(batches: Batches) -> None:
    sources = [test.source for test in page_one(batches["two_actives"]()).tests]
    first, *again = [source for source in sources if "2.9.40" in source]
    assert first.startswith("Ph. Eur. 2.9.40, ")
    assert again == ["Ph. Eur. 2.9.40 [unchecked]"]


def test_the_whole_name_of_the_product_stands_in_the_report(batches: Batches) -> None:
    judged = batches["sound"]()
    name = "Paracetamol suppositories 125 mg " + "in hard fat with a very long description " * 5
    judged = replace(judged, batch=replace(judged.batch, product=name))
    assert page_one(judged).product.endswith("…")
    (section,) = record(judged)
    table = section.pieces[0]
    assert isinstance(table, Table)
    assert ("Product", name) in table.rows


@pytest.mark.parametrize(
    ("work", "edition", "shown"),
    [
        ("Ph. Eur.", "01/2008:20905, unchanged in the 11th edition", "Ph. Eur. 2.9.5, 01/2008:20905 [checked]"),
        ("The monograph", "as it stands", "The monograph 2.9.5, as it stands [checked]"),
        (
            "A work whose title is longer than two lines hold",
            "as it stands",
            f"{'A work whose title is longer than two lines hold'} 2.9.5 [checked]",
        ),
    ],
)
def test_a_source_on_page_one_ends_at_a_clause(batches: Batches, work: str, edition: str, shown: str) -> None:
    judged = batches["sound"]()
    test = next(test for test in judged.tests if test.id == "mass-uniformity")
    rule = next(rule for rule in judged.rules_used if rule.id == test.rule)
    cited = replace(rule, work=work, section="2.9.5", edition=edition, mark="seen")
    assert page_one(replace(judged, tests=(test,), rules_used=(cited,))).tests[0].source == shown


def test_each_mark_beside_a_source_is_explained_once_below_the_table(batches: Batches) -> None:
    for name in ("sound", "two_actives"):
        front = page_one(batches[name]())
        marks = {test.source.rpartition("[")[2].rstrip("]") for test in front.tests}
        assert {one.split(":")[0].casefold() for one in front.marks.split(". ")} == marks


def test_a_notice_in_the_annex_is_named_by_what_it_is_about(batches: Batches) -> None:
    notices = tuple(Notice(where=where, text=message("remarks.likeliest", causes=["sound"])) for where in "aba")
    (line,) = answers.findings(replace(batches["sound"](), notices=notices))[-1].items
    assert line == "The annex has notices on a and b."


@pytest.mark.parametrize(("accepts", "allowed"), [(None, ""), (4, " (4 allowed)"), (0, " (0 allowed)")])
def test_defects_that_were_seen_stand_beside_an_appearance_that_complies(
    batches: Batches, accepts: int | None, allowed: str
) -> None:
    plan = None if accepts is None else message("visual.plan", accepts=accepts)
    seen = VisualInspection(lot=24, looked_at=24, classes=(SeenClass(grade="minor", units=("1", "2"), plan=plan),))
    values = {"name": "x", "result": "complies", "limit": "", "spans": ()}
    limit = Limit(what="check_in_words", figure=None, met=True, values=values)
    tests = tuple(
        TestResult(id="release-check", rule="", verdict=Verdict.COMPLIES, subject=subject, criteria=(limit,))
        for subject in ("Appearance", "odour")
    )
    appearance, odour = page_one(replace(batches["sound"](), visual=seen, tests=tests)).tests
    assert [line.figure for line in appearance.lines] == [
        f"complies as entered, but seen: 2 units with a minor defect{allowed}"
    ]
    assert odour.lines[0].figure == "complies"


def test_a_batch_without_a_name_has_blanks_and_is_asked_for_it_first(batches: Batches) -> None:
    judged = batches["sound"]()
    lacking = message("advice.name_it", facts=["product", "number"])
    nameless = replace(judged, batch=replace(judged.batch, product=None, number=None))
    front = page_one(replace(nameless, next_steps=(message("advice.record_lacks"), lacking)))
    assert (front.product, front.number) == (f"Product {'_' * 24}", "_" * 16)
    assert front.findings[0].items[0] == (
        "Write the product and batch number into the blanks above before this is signed or filed, or enter them and "
        "make a new report."
    )


def test_of_an_assay_its_day_is_filled_in_and_the_rest_is_left_blank(batches: Batches) -> None:
    judged = batches["sound"]()
    of = replace(judged, batch=replace(judged.batch, assayed_on="2026-11-21"))
    assert page_one(of).assay == (("laboratory", ""), ("method", ""), ("date", "2026-11-21"), ("uncertainty", ""))
    # A batch that is still to be assayed has the same blanks.
    assert len(page_one(replace(of, batch=replace(of.batch, assays=()))).assay) == 4


def test_what_is_to_be_decided_can_be_ticked_and_a_likely_fault_is_said_beside_limits_that_are_met(
    batches: Batches,
) -> None:
    judged = batches["sound"]()
    assert page_one(judged).choices == ("released", "rejected", "held")
    open_ = page_one(replace(judged, next_steps=(message("advice.record_lacks"),)))
    assert open_.choices == ("released, every point above closed", "rejected", "held")
    assert (open_.verdict_kind, page_one(judged).verdict_kind) == ("open", "complies")
    assert page_one(replace(judged, verdict=BatchVerdict.DOES_NOT_COMPLY)).choices == ("rejected", "held")
    assert judged.ledger is None or page_one(
        replace(judged, ledger=replace(judged.ledger, released_at_most=0))
    ).choices == ("nothing left to release", "rejected", "held")
    assert page_one(replace(judged, verdict=BatchVerdict.UNDECIDED)).choices == ("held until decided", "rejected")
    cause = message("advice.cause", causes=("settling-in-unit",), probabilities=(0.995,))
    look = message("advice.look_into", matters=[cause], acts=[message("advice.undivided")])
    said = "The units tested meet the limits, yet the batch probably has a fault (see Likeliest causes)"
    assert (
        f"{said}: do not release it before the points below are closed."
        in page_one(replace(judged, next_steps=(look,))).basis
    )
    none = message("advice.look_into", matters=[cause], release=False)
    assert f"{said}." in page_one(replace(judged, next_steps=(none,))).basis
    assert said not in page_one(judged).basis


def test_what_no_unit_was_assayed_for_and_what_no_unit_is_left_for_are_not_in_the_verdict(batches: Batches) -> None:
    judged = batches["sound"]()
    bare = replace(judged, batch=replace(judged.batch, assays=()))
    assert page_one(bare).not_covered.startswith("Not in this verdict: content of Paracetamol, not assayed")
    unsaid = message("advice.not_entered", form="suppositories", checks=["appearance"])
    assert judged.ledger is None or judged.ledger.released_at_most
    ledger = UnitLedger(
        whole=30,
        weighed_and_kept=20,
        assayed=10,
        other_tests=0,
        rejected=0,
        retained=0,
        left=0,
        released=None,
        released_at_most=20,
        still_asked_for=20,
    )
    taken = replace(judged, cannot_say=(unsaid,), next_steps=(), verdict=BatchVerdict.UNDECIDED, ledger=ledger)
    assert page_one(taken).not_covered.endswith(
        "appearance, not on record (not needed: all units left would be assayed)."
    )


def test_what_no_act_asks_for_says_why(batches: Batches) -> None:
    judged = batches["sound"]()
    unsaid = message("advice.not_entered", form="suppositories", checks=["appearance"])
    judged = replace(judged, cannot_say=(unsaid,), next_steps=())
    failed = replace(judged, verdict=BatchVerdict.DOES_NOT_COMPLY)
    asked = replace(judged, next_steps=(message("advice.usual_checks", **unsaid.values),))
    assert [page_one(one).not_covered.partition("appearance, not on record")[2] for one in (failed, judged, asked)] == [
        " (not needed: the batch already fails).",
        " (not needed: no unit is left).",
        ".",
    ]


def test_two_assays_of_a_batch_that_differ_are_told_in_their_row(batches: Batches) -> None:
    judged = batches["sound"]()
    differ = message("assay.differ", pooled=Decimal(91), mean=Fraction(100), n=10, most=3.5)
    test = TestResult(
        id="batch-assay", rule="stated-assay", active="Paracetamol", verdict=Verdict.DOES_NOT_COMPLY, reasons=(differ,),
        criteria=(Limit(what="units_weighed", figure=12, bound=20, met=False),), n=10,
    )  # fmt: skip
    (row,) = page_one(replace(judged, tests=(test,))).tests
    assert [(line.what, line.met) for line in row.lines][1:] == [(words(differ), "open")]


def test_page_one_says_which_test_of_uniformity_is_required_where_others_count_as_well(batches: Batches) -> None:
    judged = batches["sound"]()
    told = "Uniformity of dosage units is required; the others count as well."
    marked = tuple(replace(test, required=test.id == "dosage-unit-uniformity") for test in judged.tests)
    assert page_one(replace(judged, tests=marked)).marks.startswith(told)
    for required in (True, False):
        alike = tuple(replace(test, required=required) for test in judged.tests)
        assert "is required" not in page_one(replace(judged, tests=alike)).marks


@pytest.mark.parametrize(
    ("steps", "noted"),
    [
        ((), False),
        ((message("advice.nothing_more"),), False),
        ((message("advice.hold", causes=(), probabilities=()),), True),
    ],
)
def test_an_act_that_can_end_in_two_ways_says_how_it_is_ticked(
    steps: tuple[Message, ...], noted: bool, batches: Batches
) -> None:
    first, *others = answers.findings(replace(batches["sound"](), next_steps=steps))
    assert (first.note != "") is noted
    assert not any(one.note for one in others)


@pytest.mark.parametrize(
    ("expiry", "day", "expired"),
    [
        ("2026-11-28", date(2026, 11, 29), True),
        ("2026-11-29", date(2026, 11, 29), False),
        ("10/2026", date(2026, 10, 31), False),
        ("10/2026", date(2026, 11, 1), True),
        ("when used up", date(2026, 11, 1), False),
        (None, date(2026, 11, 1), False),
        ("2020-01-01", None, False),
    ],
)
def test_past_its_expiry_nothing_of_a_batch_can_be_released(
    batches: Batches, expiry: str | None, day: date | None, expired: bool
) -> None:
    judged = batches["sound"]()
    judged = replace(judged, batch=replace(judged.batch, expiry=expiry))
    front = page_one(judged_on(judged, day=day))
    if not expired:
        assert front == page_one(judged)
        return
    assert front.choices == ("rejected", "held")
    assert front.releasable == "none"
    assert front.verdict.endswith("; expired, so that no unit can be released")
    steps = next(block for block in front.findings if block.title == "What to do now")
    assert steps.items[0] == (
        f"The expiry ({expiry}) had passed when this report was made: release no unit; where the day is wrong, correct "
        "it and make a new report."
    )
    assert not any("nothing more" in item for item in steps.items)
