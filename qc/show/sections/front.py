"""Page one: which batch it is, the verdict, each test beside its limits, what bears on release, and where to sign."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Any

from msgspec.structs import replace

from qc.batch import Batch, Part
from qc.fields.words import meant_by
from qc.results import (
    OF_THE_RECORD,
    BatchVerdict,
    JudgedBatch,
    Message,
    RuleUsed,
    TestResult,
    Verdict,
    VisualInspection,
)
from qc.rules.records import Mark
from qc.say.in_short import OF_UNITS, mean_and_spread, not_covered, which_is_required
from qc.say.limits import LimitLine, in_brief, line, of_page_one
from qc.say.messages import words
from qc.say.names import MET, VERDICT, cited, mark_in_short, marks_told, test_title, titled, verdict_of
from qc.say.numbers import NOTHING, as_typed, signed, typed_or_worked_out
from qc.say.read_back import what_was_read
from qc.say.release import releasable, used_elsewhere
from qc.say.text import brief, counted, listed, sentence, shortened
from qc.show.headline import OF_CONTENT, assayed, headline, never_released, open_before_release, sign
from qc.show.pieces import Compared, PageOne, Tested
from qc.show.sections.answers import findings

# Of a rule that stands in no published text the annex says the section; page one keeps the room for its pictures.
UNPUBLISHED = {Mark.OUR_READING, Mark.COMMON_PRACTICE}
LONGEST_FACT, LONGEST_LIST, LONGEST_PRODUCT, LONGEST_SOURCE, LONGEST_REASON = 90, 600, 110, 46, 150
LISTS = ("Strength", "Lots")
"""Facts of every active."""
UNNAMED, UNNUMBERED = f"Product {'_' * 24}", "_" * 16
"""Blanks to be filled in by hand."""
NOT_ENTERED = "not entered"
FEWEST_TOGETHER, LONGEST_TOGETHER = 4, 30
"""Tests of one rule from which on they share a row, and how long the name of an active is there."""
UNDECIDED = (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)
RELEASED, RELEASED_CLOSED = "released", "released, every point above closed"
NOT_RELEASED = ("rejected", "held")
CHOICES = {
    BatchVerdict.COMPLIES: (RELEASED, *NOT_RELEASED),
    BatchVerdict.DOES_NOT_COMPLY: NOT_RELEASED,
    BatchVerdict.UNDECIDED: ("held until decided", "rejected"),
}
NOTHING_LEFT = ("nothing left to release", *NOT_RELEASED)
"""Of the decision: what the verdict and the units left allow."""
READ_FROM = "Weights read from"


def page_one(judged: JudgedBatch) -> PageOne:
    """Everything on page one but its pictures, in words and rounded figures.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.

    Returns
    -------
    PageOne
        The page before it is laid out.
    """
    batch = judged.batch
    signing = {"Prepared by": batch.made_by, "Weighed by": batch.weighed_by}
    if batch.made_by and batch.made_by == batch.weighed_by:
        signing = {"Prepared and weighed by": batch.made_by}
    signing |= {"Checked by": batch.checked_by, "Assay by": batch.assayed_by, "Decided by (pharmacist)": ""}
    never = never_released(judged)
    choices, allowed = _choices(judged), "none" if never else releasable(judged.ledger, judged.verdict)
    of_assay = {"laboratory": "", "method": "", "date": batch.assayed_on, "uncertainty": ""}
    return PageOne(
        product=shortened(batch.product or UNNAMED, most=LONGEST_PRODUCT),
        number=shortened(batch.number or UNNUMBERED, most=40),
        facts=tuple(
            (name, shortened(value, most=LONGEST_LIST if name in LISTS else LONGEST_FACT))
            for name, value in _facts(judged)
        ),
        verdict=headline(judged),
        verdict_kind="open" if open_before_release(judged) else judged.verdict.value,
        sign=sign(judged),
        not_covered=not_covered(judged),
        basis=" ".join(
            filter(None, (basis(judged), faulty(judged), judged_of(judged), what_was_read(batch, lead=READ_FROM)))
        ),
        tests=_tests(judged),
        marks=" ".join(filter(None, (which_is_required(judged.tests), _marks(judged)))),
        findings=findings(judged),
        signatures=tuple((role, shortened(name or "", most=LONGEST_FACT)) for role, name in signing.items()),
        choices=choices,
        quantity=batch.quantity_released or "",
        assay=tuple((name, value or "") for name, value in of_assay.items()),
        releasable=f"with every point closed {allowed}" if RELEASED_CLOSED in choices else allowed,
        used=used_elsewhere(judged.ledger, judged.verdict),
    )


def _marks(judged: JudgedBatch) -> str:
    known = {rule.id: rule for rule in judged.rules_used}
    found = (_mark_beside(test, known[test.rule]) for test in judged.tests if test.rule in known)
    return marks_told(found, page_one=True)


def _choices(judged: JudgedBatch) -> tuple[str, ...]:
    ledger = judged.ledger
    if never_released(judged):
        return NOT_RELEASED
    none_left = ledger is not None and not ledger.left_for_release and judged.verdict is BatchVerdict.COMPLIES
    closed = {RELEASED: RELEASED_CLOSED} if open_before_release(judged) else {}
    return NOTHING_LEFT if none_left else tuple(closed.get(one, one) for one in CHOICES[judged.verdict])


def batch_number(judged: JudgedBatch) -> str:
    """The batch number, or that none was given."""
    return shortened(judged.batch.number or "not numbered", most=40)


def basis(judged: JudgedBatch) -> str:
    """How many tests, with what outcome, in a short sentence; the books stand in the table."""
    judged_tests = [test for test in judged.tests if test.verdict is not Verdict.NOT_ASSESSED]
    if not judged_tests:
        return "No test could be judged with what was entered."
    failed = [test for test in judged_tests if test.verdict is Verdict.DOES_NOT_COMPLY]
    undecided = [test for test in judged_tests if test.verdict in UNDECIDED]
    open_ones = [test for test in judged.tests if test.verdict is Verdict.NOT_ASSESSED]
    # What lacks the same contents as a required test is open with it.
    lacking = [test for test in open_ones if test.required or (test.missing and test.id in OF_CONTENT)]
    left = []
    if judged.verdict is BatchVerdict.COMPLIES:
        every = "all " if len(judged_tests) > 1 else ""
        said = f"The sample meets {every}{counted(len(judged_tests), 'test')}"
        left = [_begun_small(test) for test in judged_tests if test.unchecked]
    elif failed:
        named = listed([_begun_small(test) for test in failed], most=2)
        said = f"{counted(len(failed), 'test')} not met: {named}"
    elif judged.batch.superseded is not None:
        said = "A later report supersedes the one made from this very file"
    elif undecided or lacking:
        waiting = [f"{_begun_small(test)} ({verdict_of(test)})" for test in undecided]
        waiting += [f"{_begun_small(test)} (inputs are missing)" for test in lacking]
        said = f"{counted(len(waiting), 'test')} not decided yet: {listed(waiting, most=2)}"
    else:
        said = "Not decided: see below"
    limits = "a limit" if len(left) == 1 else "limits"
    return sentence(said + (f", {listed(left, most=2)} by {limits} that nobody compared yet" if left else ""))


def faulty(judged: JudgedBatch) -> str:
    """That a batch whose tests are met probably has a fault all the same; empty where that is not so."""
    into = next((one for one in judged.next_steps if isinstance(one, Message) and one.id == "advice.look_into"), None)
    likely = into is not None and any(one.id == "advice.cause" for one in into.values["matters"])
    if judged.verdict is not BatchVerdict.COMPLIES or into is None or not likely:
        return ""
    then = ": do not release it before the points below are closed" if into.values.get("release", True) else ""
    return f"The units tested meet the limits, yet the batch probably has a fault (see Likeliest causes){then}."


def judged_of(judged: JudgedBatch) -> str:
    """On how many of the units assayed the content was judged, where it is fewer than all; empty otherwise."""
    count = max((test.n or 0 for test in judged.tests if test.id in OF_CONTENT), default=0)
    whole = len({assay.unit for assay in judged.batch.assays if assay.part is Part.WHOLE})
    return f"Content was judged on {count} of the {whole} units assayed." if 0 < count < whole else ""


def _begun_small(test: TestResult) -> str:
    title = shortened(test_title(test), most=60)
    return title[0].lower() + title[1:]


def _facts(judged: JudgedBatch) -> list[tuple[str, str]]:
    """What identifies the batch; a field that a record must hold is named where it was not entered."""
    batch = judged.batch
    plan = judged.planned_mass
    planned = plan.planned_g if plan else None
    off = f", sample {signed(plan.difference_percent, decimals=2)} %" if plan and plan.difference_percent else ""
    claims = (f"{one.name} {as_typed(one.label_claim_mg, unit='mg')}" for one in batch.actives if one.label_claim_mg)
    lots = [f"{one.name} {one.lot}" for one in batch.actives if one.lot]
    lots += [f"base {batch.base_lot}"] if batch.base_lot else []
    made = ", ".join(part for part in (batch.made_on, batch.made_by) if part)
    calibrated = f"calibrated {batch.balance_calibrated_on}" if batch.balance_calibrated_on else ""
    due = f"due {batch.balance_calibration_due}" if batch.balance_calibration_due else ""
    must = {
        "Form": ", ".join(filter(None, (batch.dosage_form, f"{batch.base.value} base" if batch.base else ""))),
        "Strength": ", ".join(claims),
        "Lots": ", ".join(lots),
        "Made": made,
        "Expiry": batch.expiry,
        "Storage": batch.storage,
        "Quantity": _quantity(batch),
    }
    also = {
        "Weighed on": batch.weighed_on,
        "Balance": ", ".join(filter(None, (batch.balance, calibrated, due))),
        "Deviation": batch.deviation,
        "Planned mass": typed_or_worked_out(planned, decimals=4, unit="g") + off if planned is not None else "",
    }
    return [(name, value or NOT_ENTERED) for name, value in (must | {n: v for n, v in also.items() if v}).items()]


def _quantity(batch: Batch) -> str:
    poured = [] if batch.units_poured is None else [f"{batch.units_poured} poured"]
    return ", ".join([*poured, f"{len(batch.weighed)} weighed", assayed(batch)])


def _tests(judged: JudgedBatch) -> tuple[Tested, ...]:
    """The tests; those of one rule that several actives meet within the same limits stand in one row."""
    known = {rule.id: rule for rule in judged.rules_used}
    rows: dict[Any, list[TestResult]] = {}
    compared = [_compared(test, judged) or (_without_figures(test),) for test in judged.tests]
    for place, (test, lines) in enumerate(zip(judged.tests, compared, strict=True)):
        alike = tuple((one.what, one.limit, one.met) for one in lines)
        met = test.verdict is Verdict.COMPLIES or (test.verdict is Verdict.NOT_ASSESSED and bool(test.figures))
        rows.setdefault((test.id, test.rule, alike) if met and test.active is not None else place, []).append(test)
    groups = [
        group for one in rows.values() for group in ([one] if len(one) >= FEWEST_TOGETHER else [[test] for test in one])
    ]
    # The facts above name every active with its strength.
    every = tuple(shortened(one.name, most=LONGEST_TOGETHER) for one in judged.batch.actives)
    known_names, told = {every: f"the {len(every)} actives, as listed"}, list[Tested]()
    for group in sorted(groups, key=lambda group: judged.tests.index(group[0])):
        first, names = group[0], tuple(shortened(test.active or "", most=LONGEST_TOGETHER) for test in group)
        rule, title, place = known.get(first.rule), shortened(test_title(first), most=80), judged.tests.index(first)
        if len(group) > 1:
            title = titled(first.id, about=known_names.get(names) or listed(names))
            known_names.setdefault(names, f"the same {len(names)} actives")
        again = any(first.rule == test.rule for test in judged.tests[:place])
        told.append(
            Tested(
                title=title,
                verdict=verdict_of(first),
                source=first.rule if rule is None else _cited(rule, mark=_mark_beside(first, rule), again=again),
                lines=_together(group, [compared[judged.tests.index(test)] for test in group]),
                of=len(group),
            )
        )
    return tuple(told)


def _together(tests: Sequence[TestResult], many: Sequence[tuple[Compared, ...]]) -> tuple[Compared, ...]:
    """Lines of tests with the same limits, with their figures in the order of the tests, or the one that all have.

    What has no limit, and what stands behind a figure, stands in the tables of the annex alone.
    """
    if len(many) == 1:
        return many[0]
    limits = zip(*(of_page_one(test.criteria) for test in tests), strict=True)
    lines = (alike for alike in zip(*many, strict=True) if alike[0].limit != NOTHING)
    told = [
        (alike[0], [one.figure for one in alike], [in_brief(one) for one in of])
        for alike, of in zip(lines, limits, strict=False)
    ]
    return tuple(
        replace(one, figure=figures[0] if len({*figures}) == 1 else "; ".join(brief)) for one, figures, brief in told
    )


def _compared(test: TestResult, judged: JudgedBatch) -> tuple[Compared, ...]:
    seen = judged.visual
    beside = _defects(seen) if seen is not None and meant_by(test.subject or "") == "seen" else ""
    entered = f" as entered, but seen: {beside}" if beside else ""
    mean = mean_and_spread(test) if test.id in OF_UNITS else ""
    of_active = sum(test.active in row.contents for row in judged.unit_rows)
    measured = len(judged.batch.weighed) if test.active is None else of_active
    what = f"sample of {test.n}, mean" if test.n < measured else f"mean of {test.n}"
    limits = [line(one) for one in of_page_one(test.criteria)]
    return (
        *((Compared(what=what, figure=mean, limit=NOTHING, met=NOTHING),) if mean else ()),
        *(Compared(what=one.what, figure=one.figure + entered, limit=one.limit, met=_met(one, test)) for one in limits),
        *(Compared(what=words(one), figure="", limit="", met=MET[None]) for one in test.reasons if _on_page_one(one)),
    )


def _on_page_one(reason: Message | str) -> bool:
    """Whether a reason is what the units of both stages have to keep, or that two assays differ."""
    return isinstance(reason, Message) and reason.id in ("tests.both_stages", "tests.both_stages_dose", "assay.differ")


def _defects(seen: VisualInspection) -> str:
    """What the eye saw beside a check of the appearance, grade by grade, and how many the plan of the house allows."""
    told = [
        f"{counted(len(one.units), 'unit')} with a {one.grade} defect"
        + (
            f" ({one.plan.values['accepts']} allowed)"
            if one.plan and one.plan.values.get("accepts") is not None
            else ""
        )
        for one in seen.classes
        if one.units
    ]
    return listed(told)


def _without_figures(test: TestResult) -> Compared:
    """Why a test has no figure to show."""
    reason = words(test.reasons[0]) if test.reasons else VERDICT[test.verdict]
    told = f"missing: {words(test.missing)}" if test.missing else reason
    return Compared(what=shortened(told, most=LONGEST_REASON), figure="", limit="", met=NOTHING)


def _mark(test: TestResult, rule: RuleUsed) -> str:
    """How the limit is known: one that the record states is that of the house, whatever is known of the rule."""
    stated = test.criteria and all(limit.clause == OF_THE_RECORD for limit in test.criteria)
    return Mark.HOUSE if stated and rule.mark == Mark.FROM_MEMORY else rule.mark


def _cited(rule: RuleUsed, *, mark: str, again: bool) -> str:
    """Where the rule stands and how that is known, its first clauses; the whole of it stands among the rules used."""
    said = rule.work if rule.mark in UNPUBLISHED else cited(rule.work, rule.section)
    said += "" if again or rule.mark in UNPUBLISHED else f", {rule.edition}"
    ends = [clause.start() for clause in re.finditer("[,;] ", said)] + [len(said)]
    whole = max((end for end in ends if end <= LONGEST_SOURCE), default=ends[0])
    return brief(said[:whole], most=LONGEST_FACT) + (f" [{mark_in_short(mark)}]" if mark else "")


def _mark_beside(test: TestResult, rule: RuleUsed) -> str:
    """The mark of a limit, in short; empty where there is a figure and no limit was given, or no text to have read."""
    without = rule.mark == Mark.OUR_READING or (test.verdict is Verdict.NOT_ASSESSED and bool(test.figures))
    return "" if without else _mark(test, rule)


def _met(line: LimitLine, test: TestResult) -> str:
    # Beside a verdict that is reached a line without an answer is for information.
    decided = test.verdict in (Verdict.COMPLIES, Verdict.DOES_NOT_COMPLY)
    if line.met is None and (line.for_information or decided):
        return NOTHING
    return MET[line.met]
