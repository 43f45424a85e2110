"""Everything besides the tests of units that is looked at before release, judged together."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.assurance.ledger import unit_ledger
from qc.batch import Active, Batch
from qc.fields.words import meant_by
from qc.judging.applicable import AskedTest
from qc.judging.reconciliation import reconcile
from qc.judging.weighed_again import judged_by_both_masses, with_counting_masses
from qc.results import (
    Message,
    PackingChecklist,
    PlannedMass,
    Reconciliation,
    Remark,
    TestResult,
    UnitLedger,
    Verdict,
    VisualInspection,
    message,
)
from qc.rules.built_in import PACKING_CHECKLIST, load_rule
from qc.rules.kind import RuleOfKind
from qc.rules.kinds import kind_of
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check import CheckRule
from qc.rules.kinds.critical import judge_critical
from qc.rules.kinds.packing import PackingRule
from qc.rules.kinds.reconciliation import ReconciliationRule, judge_reconciliation
from qc.rules.kinds.superseded import judge_superseded
from qc.rules.kinds.visual import Grade, SamplingRule
from qc.rules.records import Rule
from qc.rules.rule_books import RuleBook

BATCH_BALANCE, CRITICAL_DEFECTS, SUPERSEDED = "batch-balance", "critical-defects", "superseded-input"


class ReleaseJudged(Struct, frozen=True, kw_only=True):
    """What was found besides the tests of units.

    Parameters
    ----------
    asked : tuple of TestResult
        Tests that the rule set asks for.
    beside : tuple of TestResult
        Checks that were entered without being asked for: they can fail a batch or keep it undecided, and never make it
        comply by themselves.
    rules : tuple of Rule
        Every rule record that was used.
    visual, reconciliation, ledger, packing
        The records, None where nothing was entered.
    remarks : tuple of Remark
        What the reader should see.
    """

    asked: tuple[TestResult, ...]
    beside: tuple[TestResult, ...]
    rules: tuple[Rule, ...]
    visual: VisualInspection | None
    reconciliation: Reconciliation | None
    ledger: UnitLedger | None
    packing: PackingChecklist | None
    remarks: tuple[Remark, ...]


def is_of_release(rule: Rule) -> bool:
    """Whether a rule is judged here and not from the units."""
    return not kind_of(rule).of_units


def judge_release(
    batch: Batch,
    *,
    book: RuleBook,
    asked: Sequence[AskedTest[Any]],
    form: str,
    actives: Sequence[Active],
    plan: PlannedMass | None,
    of_units: Sequence[TestResult] = (),
    lot: Sequence[str] = (),
) -> ReleaseJudged:
    """Judge the Checks sheet, the visual inspection, the balances, and the packing checklist.

    Parameters
    ----------
    batch : Batch
        As it was entered.
    book : RuleBook
        For the words and lines of the house.
    asked : sequence of Asked
        What the rule set asks for; tests of units among them are passed over.
    form : str
        Name of the dosage form; empty when it is not known.
    actives : sequence of Active
    plan : PlannedMass or None
    of_units : sequence of TestResult
        The tests of units, judged.
    lot : sequence of str
        The units in the order in which a lot was drawn for this batch.
    """
    found: list[TestResult] = []
    ticked: list[TestResult] = []
    remarks: list[Remark] = []
    rest, packing = list(batch.checks), None
    listed, required = _asked_for(asked, PackingRule)
    # What a batch has no use for is not loaded: many have no checks, and nothing that was seen.
    checklist = load_rule(PACKING_CHECKLIST) if listed is None and batch.checks else listed
    if isinstance(checklist, PackingRule):
        from qc.rules.kinds.packing.answers import checklist_of, judge_packing

        packing, rest = checklist_of(batch.checks, items=(*checklist.items, *book.house_packing))
        if packing.started or listed is not None:
            # What was begun is finished: a line that is not ticked leaves the batch undecided.
            ticked.append(judge_packing(packing, rule=checklist, required=required or packing.started))
    asked_checks = [one.rule for one in asked if isinstance(one.rule, CheckRule | AssayRule)]
    if rest or asked_checks or batch.assays or any(active.batch_assay_percent is not None for active in actives):
        from qc.judging.checks import judge_checks

        found, remarks = judge_checks(
            batch, rest, form=form, actives=actives, asked=asked_checks, of_units=of_units, lot=lot
        )
    found += ticked
    visual: VisualInspection | None = None
    if any(unit.seen for unit in batch.units):
        from qc.rules.kinds.visual.defects import defect_words, inspect, notices_of

        words = defect_words(book.house_defects)
        visual = inspect(batch, words=words)
        if visual is not None:
            remarks += notices_of(visual, words=words)
            found.append(judge_critical(visual, rule=load_rule(CRITICAL_DEFECTS)))
    sampling, required = _asked_for(asked, SamplingRule)
    if sampling is not None:
        from qc.rules.kinds.visual.sampling import judge_visual

        visual, test = judge_visual(visual, rule=sampling, required=required)
        found.append(test)
    if visual is not None:
        seen_otherwise = dict(_beside_appearance(visual, found))
        found = [
            _left_open(test, seen_otherwise[at]) if at in seen_otherwise else test for at, test in enumerate(found)
        ]
    balances = reconcile(with_counting_masses(batch), actives=actives, plan=plan)
    rules = {one.rule.id: one.rule for one in asked}
    ledger = unit_ledger(batch, checks=[(test, rules.get(test.rule) or load_rule(test.rule)) for test in found])
    counts = () if ledger is None else ledger.limits
    balancing, required = _asked_for(asked, ReconciliationRule)
    if balancing is not None or counts or (balances is not None and balances.units_difference is not None):
        rule = balancing or load_rule(BATCH_BALANCE)
        assert isinstance(rule, ReconciliationRule)

        def closes(one: Batch) -> TestResult:
            return judge_reconciliation(
                reconcile(one, actives=actives, plan=plan), rule=rule, required=required, counts=counts
            )

        found.append(judged_by_both_masses(closes, batch))
    if ledger is not None and ledger.used > ledger.whole:
        remarks.append(Remark(where="Reconciliation", text=message("reconciliation.more_used", ledger=ledger)))
    if ledger is not None and packing is not None:
        remarks += _counts_that_differ(packing, ledger)
    if balances is not None:
        remarks += [Remark(where="Reconciliation", text=remark) for remark in balances.remarks]
    if batch.superseded is not None:
        found.append(judge_superseded(batch.superseded, rule=load_rule(SUPERSEDED)))
    of_the_set = tuple(test for test in found if test.rule in rules)
    beside = tuple(test for test in found if test.rule not in rules)
    return ReleaseJudged(
        asked=of_the_set,
        beside=beside,
        rules=tuple(rules.get(test.rule) or load_rule(test.rule) for test in found),
        visual=visual,
        reconciliation=balances,
        ledger=ledger,
        packing=packing,
        remarks=tuple(remarks),
    )


def _counts_that_differ(packing: PackingChecklist, ledger: UnitLedger) -> Iterator[Remark]:
    """Counts on the packing list that are neither of all units, nor of those kept, nor of those left."""
    from qc.rules.kinds.packing.answers import counted_in

    known = {None, ledger.whole, ledger.weighed_and_kept, ledger.left_for_release, ledger.released_at_most}
    for one in packing.lines:
        if counted_in(one.entered) not in known:
            said = {"line": one.text, "entered": one.entered, "whole": ledger.whole, "left": ledger.left_for_release}
            yield Remark(where="Checks", text=message("packing.count_differs", **said))


def _beside_appearance(seen: VisualInspection, tests: Sequence[TestResult]) -> Iterator[tuple[int, Message]]:
    """The place of an appearance that was entered as complying, beside a defect that no plan of the house accepts."""
    for at, test in enumerate(tests):
        if test.verdict is Verdict.COMPLIES and meant_by(test.subject) == "seen":
            graver = [one for one in seen.classes if one.units and one.grade != Grade.MINOR and one.met is not True]
            for one in graver[:1]:
                yield at, message("visual.beside_appearance", name=test.subject, units=one.units, grade=one.grade)


def _left_open(test: TestResult, why: Message) -> TestResult:
    """A check whose entry and the record of the units contradict each other: neither is taken for the other."""
    return replace(
        test,
        verdict=Verdict.NOT_ASSESSED,
        required=False,
        missing="which holds, the entry or what was seen",
        reasons=(why,),
        criteria=tuple(replace(limit, met=None) for limit in test.criteria),
    )


def _asked_for(asked: Sequence[AskedTest[Any]], record: type[RuleOfKind]) -> tuple[RuleOfKind | None, bool]:
    """The rule of a kind that the rule set asks for, and whether the batch cannot comply without its test."""
    own = ((one.rule, one.required) for one in asked if isinstance(one.rule, record))
    return next(own, (None, False))
