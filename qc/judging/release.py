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
    found : tuple of LookedAt
        Every result, with its rule.
    visual, reconciliation, packing
        The records, None where nothing was entered.
    remarks, next_steps
        What the reader should see, and what to do now.
    """

    found: tuple[LookedAt, ...]
    visual: VisualInspection | None
    reconciliation: Reconciliation | None
    packing: PackingChecklist | None
    remarks: tuple[Remark, ...]
    next_steps: tuple[Message, ...]

    @property
    def asked(self) -> tuple[TestResult, ...]:
        """Tests that the rule set asks for."""
        return tuple(one.test for one in self.found if one.asked)

    @property
    def beside(self) -> tuple[TestResult, ...]:
        """Checks that were entered without being asked for."""
        return tuple(one.test for one in self.found if not one.asked)

    @property
    def rules(self) -> tuple[Rule, ...]:
        """Every rule record that was used."""
        return tuple(one.rule for one in self.found)


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
    found: list[LookedAt] = []
    steps: list[Message] = []
    rest, packing, ticked = list(batch.checks), None, None
    listed = wanted.get(PackingRule)
    checklist = _checklist(batch) if listed is None else listed.rule
    if isinstance(checklist, PackingRule):
        # What a batch has no use for is not loaded: many have no checks, and nothing that was seen.
        from qc.judging.packing import checklist_of, judge_packing, lines_to_tick, packing_rows

        lines = (*checklist.items, *book.house_packing)
        rows, rest = packing_rows(batch.checks, items=lines)
        packing = checklist_of(rows, items=lines)
        if packing.started or listed is not None:
            test = judge_packing(packing, rule=checklist, required=listed is not None and listed.required)
            ticked = LookedAt(test=test, rule=checklist, asked=listed is not None)
        # A checklist that is asked for is named among the inputs to enter.
        steps += lines_to_tick(packing) if listed is None else []
    asked_checks = [one.rule for one in asked if isinstance(one.rule, CheckRule | AssayRule)]
    remarks: list[Remark] = []
    if rest or asked_checks or any(active.batch_assay_percent is not None for active in actives):
        from qc.judging.checks import judge_checks

        found, remarks = judge_checks(batch, rest, form=form, actives=actives, asked=asked_checks)
    found += [ticked] if ticked is not None else []
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
    return ReleaseJudged(
        found=tuple(found),
        visual=visual,
        reconciliation=balances,
        packing=packing,
        remarks=tuple(remarks),
        next_steps=(*_left_to_signer(sorted(found, key=lambda one: not one.asked)), *steps),
    )


def _checklist(batch: Batch) -> Rule | None:
    """The built-in checklist; its file is read only for a batch that has checks at all."""
    return load_rule(PACKING_CHECKLIST) if batch.checks else None


def _seen(batch: Batch, *, book: RuleBook) -> tuple[VisualInspection | None, tuple[Remark, ...]]:
    if not any(unit.seen for unit in batch.units):
        return None, ()
    from qc.judging.visual import inspect, notices_of
    from qc.rules.kinds.visual.defects import defect_words

    words = defect_words(book.house_defects)
    visual = inspect(batch, words=words)
    return visual, () if visual is None else notices_of(visual, words=words)


def _left_to_signer(found: Sequence[LookedAt]) -> list[Message]:
    """What the Checks sheet leaves to a person, named on page one."""
    return [
        message("checks.left_to_signer", reasons=one.test.reasons)
        for one in found
        if one.test.verdict is Verdict.NOT_ASSESSED and not one.test.required and one.test.subject
    ]
