"""Everything besides the tests of units that is looked at before release, judged together."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeGuard

from msgspec import Struct

from qc.batch import Active, Batch
from qc.judging.applicable import Asked
from qc.judging.reconciliation import judge_reconciliation, reconcile
from qc.problems import Notice
from qc.results import PackingChecklist, PlannedMass, Reconciliation, TestResult, Verdict, VisualInspection
from qc.rules.built_in import PACKING_CHECKLIST, load_rule
from qc.rules.records import (
    AnyRule,
    AssayRule,
    CheckRule,
    PackingRule,
    ReconciliationRule,
    ReleaseRule,
    SamplingRule,
    StatedCheckRule,
)
from qc.rules.rule_books import RuleBook


class ReleaseJudged(Struct, frozen=True, kw_only=True):
    """What was found besides the tests of units.

    Parameters
    ----------
    asked : tuple of TestResult
        Tests that the rule set asks for.
    beside : tuple of TestResult
        Checks that were entered without being asked for: they can fail a batch or keep it undecided, and never make
        it comply by themselves.
    visual, reconciliation, packing
        The records, None where nothing was entered.
    rules : tuple of AnyRule
        Every rule record that was used.
    notices, next_steps
        Remarks, and what to do now, full sentences.
    """

    asked: tuple[TestResult, ...]
    beside: tuple[TestResult, ...]
    visual: VisualInspection | None
    reconciliation: Reconciliation | None
    packing: PackingChecklist | None
    rules: tuple[AnyRule, ...]
    notices: tuple[Notice, ...]
    next_steps: tuple[str, ...]


def is_of_release(rule: AnyRule) -> TypeGuard[ReleaseRule]:
    """Whether a rule is judged here and not from the units."""
    kinds = (CheckRule, StatedCheckRule, AssayRule, SamplingRule, PackingRule, ReconciliationRule)
    return isinstance(rule, kinds)


def judge_release(
    batch: Batch,
    *,
    book: RuleBook,
    asked: Sequence[Asked],
    form: str,
    actives: Sequence[Active],
    plan: PlannedMass | None,
) -> ReleaseJudged:
    """Judge the Checks sheet, what the eye saw, the balances, and the packing checklist.

    Parameters
    ----------
    batch : Batch
    book : RuleBook
        For the words and lines of the house.
    asked : sequence of Asked
        What the rule set asks for; tests of units among them are passed over.
    form : str
        Name of the dosage form; empty when it is not known.
    actives : sequence of Active
    plan : PlannedMass or None
    """
    wanted = {type(one.rule): one for one in asked if is_of_release(one.rule)}
    checklist_rule = wanted[PackingRule].rule if PackingRule in wanted else _checklist(batch)
    packing, rest = None, list(batch.checks)
    results: list[TestResult] = []
    beside: list[TestResult] = []
    rules: list[AnyRule] = []
    notices: list[Notice] = []
    if isinstance(checklist_rule, PackingRule):
        # What a batch has no use for is not loaded: many have no checks, and nothing that the eye saw.
        from qc.judging.packing import checklist_of, judge_packing, packing_rows

        lines = (*checklist_rule.items, *book.house_packing)
        rows, rest = packing_rows(batch.checks, items=lines)
        packing = checklist_of(rows, items=lines)
        if packing.started or PackingRule in wanted:
            required = PackingRule in wanted and wanted[PackingRule].required
            (results if PackingRule in wanted else beside).append(
                judge_packing(packing, rule=checklist_rule, required=required)
            )
            rules.append(checklist_rule)
    asked_checks = [one.rule for one in asked if isinstance(one.rule, CheckRule | AssayRule)]
    if rest or asked_checks or any(active.batch_assay_percent is not None for active in actives):
        from qc.judging.checks import judge_checks

        checks = judge_checks(batch, rest, form=form, actives=actives, asked=asked_checks)
        results[:0], beside[:0], rules[:0] = checks.asked, checks.beside, checks.rules
        notices += checks.notices
    visual, seen_notices = _seen(batch, book=book)
    notices += seen_notices
    sampling = wanted.get(SamplingRule)
    if sampling is not None and isinstance(sampling.rule, SamplingRule):
        from qc.judging.visual import judge_visual

        visual, test = judge_visual(visual, rule=sampling.rule, required=sampling.required)
        results.append(test)
        rules.append(sampling.rule)
    balances = reconcile(batch, actives=actives, plan=plan)
    balancing = wanted.get(ReconciliationRule)
    if balancing is not None and isinstance(balancing.rule, ReconciliationRule):
        results.append(judge_reconciliation(balances, rule=balancing.rule, required=balancing.required))
        rules.append(balancing.rule)
    return ReleaseJudged(
        asked=tuple(results),
        beside=tuple(beside),
        visual=visual,
        reconciliation=balances,
        packing=packing,
        rules=tuple(rules),
        notices=(*notices, *_balance_notices(balances)),
        next_steps=_next_steps((*results, *beside), packing=None if PackingRule in wanted else packing),
    )


def _checklist(batch: Batch) -> AnyRule | None:
    """The built-in checklist; its file is read only for a batch that has checks at all."""
    return load_rule(PACKING_CHECKLIST) if batch.checks else None


def _seen(batch: Batch, *, book: RuleBook) -> tuple[VisualInspection | None, tuple[Notice, ...]]:
    if not any(unit.seen for unit in batch.units):
        return None, ()
    from qc.judging.visual import inspect, notices_of
    from qc.rules.defects import defect_words

    words = defect_words(book.house_defects)
    visual = inspect(batch, words=words)
    return visual, () if visual is None else notices_of(visual, words=words)


def _balance_notices(found: Reconciliation | None) -> list[Notice]:
    return [] if found is None else [Notice(where="Reconciliation", text=remark) for remark in found.remarks]


def _next_steps(tests: Sequence[TestResult], *, packing: PackingChecklist | None) -> tuple[str, ...]:
    """What the Checks sheet leaves open, named on page one."""
    steps = []
    by_person = [test for test in tests if test.verdict is Verdict.NOT_ASSESSED and not test.required and test.subject]
    for test in by_person:
        steps.append(f"Left to the person who signs: {' '.join(test.reasons)}")
    if packing is not None and packing.started and packing.open_lines:
        names = ", ".join(line.text for line in packing.open_lines)
        steps.append(f"Packing and label, not ticked yet: {names}.")
    return tuple(steps)
