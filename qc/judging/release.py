"""Everything besides the tests of units that is looked at before release, judged together."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.batch import Active, Batch
from qc.judging.applicable import AskedTest
from qc.judging.looked_at import LookedAt
from qc.judging.reconciliation import judge_reconciliation, reconcile
from qc.results import (
    Message,
    PackingChecklist,
    PlannedMass,
    Reconciliation,
    Remark,
    TestResult,
    Verdict,
    VisualInspection,
    message,
)
from qc.rules.built_in import PACKING_CHECKLIST, load_rule
from qc.rules.kinds import kind_of
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check import CheckRule
from qc.rules.kinds.packing import PackingRule
from qc.rules.kinds.reconciliation import ReconciliationRule
from qc.rules.kinds.visual import SamplingRule
from qc.rules.records import Rule
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
    rules : tuple of Rule
        Every rule record that was used.
    remarks, next_steps
        What the reader should see, and what to do now.
    """

    asked: tuple[TestResult, ...]
    beside: tuple[TestResult, ...]
    visual: VisualInspection | None
    reconciliation: Reconciliation | None
    packing: PackingChecklist | None
    rules: tuple[Rule, ...]
    remarks: tuple[Remark, ...]
    next_steps: tuple[Message, ...]


def is_of_release(rule: Rule) -> bool:
    """Whether a rule is judged here and not from the units."""
    return not kind_of(rule).of_units


def judge_release(
    batch: Batch,
    *,
    book: RuleBook,
    asked: Sequence[AskedTest],
    form: str,
    actives: Sequence[Active],
    plan: PlannedMass | None,
) -> ReleaseJudged:
    """Judge the Checks sheet, the visual inspection, the balances, and the packing checklist.

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
    found: list[LookedAt] = []
    rest, packing = list(batch.checks), None
    if isinstance(checklist_rule, PackingRule):
        # What a batch has no use for is not loaded: many have no checks, and nothing that was seen.
        from qc.judging.packing import checklist_of, judge_packing, packing_rows

        lines = (*checklist_rule.items, *book.house_packing)
        rows, rest = packing_rows(batch.checks, items=lines)
        packing = checklist_of(rows, items=lines)
    asked_checks = [one.rule for one in asked if isinstance(one.rule, CheckRule | AssayRule)]
    remarks: list[Remark] = []
    if rest or asked_checks or any(active.batch_assay_percent is not None for active in actives):
        from qc.judging.checks import judge_checks

        found, remarks = judge_checks(batch, rest, form=form, actives=actives, asked=asked_checks)
    if packing is not None and isinstance(checklist_rule, PackingRule) and (packing.started or PackingRule in wanted):
        required = PackingRule in wanted and wanted[PackingRule].required
        test = judge_packing(packing, rule=checklist_rule, required=required)
        found.append(LookedAt(test=test, rule=checklist_rule, asked=PackingRule in wanted))
    visual, seen = _seen(batch, book=book)
    remarks += seen
    sampling = wanted.get(SamplingRule)
    if sampling is not None and isinstance(sampling.rule, SamplingRule):
        from qc.judging.visual import judge_visual

        visual, test = judge_visual(visual, rule=sampling.rule, required=sampling.required)
        found.append(LookedAt(test=test, rule=sampling.rule, asked=True))
    balances = reconcile(batch, actives=actives, plan=plan)
    balancing = wanted.get(ReconciliationRule)
    if balancing is not None and isinstance(balancing.rule, ReconciliationRule):
        test = judge_reconciliation(balances, rule=balancing.rule, required=balancing.required)
        found.append(LookedAt(test=test, rule=balancing.rule, asked=True))
    if balances is not None:
        remarks += [Remark(where="Reconciliation", text=remark) for remark in balances.remarks]
    results = tuple(one.test for one in found if one.asked)
    beside = tuple(one.test for one in found if not one.asked)
    return ReleaseJudged(
        asked=results,
        beside=beside,
        visual=visual,
        reconciliation=balances,
        packing=packing,
        rules=tuple(one.rule for one in found),
        remarks=tuple(remarks),
        next_steps=_next_steps((*results, *beside), packing=None if PackingRule in wanted else packing),
    )


def _checklist(batch: Batch) -> Rule | None:
    """The built-in checklist; its file is read only for a batch that has checks at all."""
    return load_rule(PACKING_CHECKLIST) if batch.checks else None


def _seen(batch: Batch, *, book: RuleBook) -> tuple[VisualInspection | None, tuple[Remark, ...]]:
    if not any(unit.seen for unit in batch.units):
        return None, ()
    from qc.judging.visual import inspect, notices_of
    from qc.rules.defects import defect_words

    words = defect_words(book.house_defects)
    visual = inspect(batch, words=words)
    return visual, () if visual is None else notices_of(visual, words=words)


def _next_steps(tests: Sequence[TestResult], *, packing: PackingChecklist | None) -> tuple[Message, ...]:
    """What the Checks sheet leaves open, named on page one."""
    by_person = [test for test in tests if test.verdict is Verdict.NOT_ASSESSED and not test.required and test.subject]
    steps = [message("checks.left_to_signer", reasons=test.reasons) for test in by_person]
    if packing is not None and packing.started and packing.open_lines:
        steps.append(message("packing.to_tick", lines=[line.text for line in packing.open_lines]))
    return tuple(steps)
