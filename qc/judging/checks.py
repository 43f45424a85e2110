"""The rows of the Checks sheet: other finished-unit tests, the assay of the batch, and free-form checks."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import partial

from qc.batch import Active, Batch, Check
from qc.judging.advice import STATED_CHECK
from qc.judging.batch_assay import judge_batch_assays, named_as
from qc.results import Remark, TestResult, Verdict, message
from qc.rules.built_in import load_rule
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check import CheckRule
from qc.rules.kinds.check.procedure import judge_check, limits_of, unassessed
from qc.rules.kinds.stated_check import StatedCheckRule
from qc.rules.records import Rule

CHECK_RULES = ("ph-eur-2.9.2", "ph-eur-2.9.22", "ph-eur-2.9.24")
STATED_ASSAY = "stated-assay"


def judge_checks(
    batch: Batch,
    checks: Sequence[Check],
    *,
    form: str,
    actives: Sequence[Active],
    asked: Sequence[Rule],
    of_units: Sequence[TestResult] = (),
    lot: Sequence[str] = (),
) -> tuple[list[TestResult], list[Remark]]:
    """Judge the rows of the Checks sheet that are not lines of the packing checklist, and the assay of the batch.

    Parameters
    ----------
    batch : Batch
    checks : sequence of Check
    form : str
        Name of the dosage form; empty when it is not known.
    actives : sequence of Active
    asked : sequence of Rule
        The rules of checks that the rule set asks for.
    of_units : sequence of TestResult
        The tests of units.
    lot : sequence of str
        The units in the order in which a lot was drawn for this batch.

    Returns
    -------
    list of TestResult and list of Remark
        A check that the set asks for and nobody entered is "not assessed" and required.
    """
    words = load_rule(STATED_CHECK)
    assert isinstance(words, StatedCheckRule)
    named = next((rule for rule in asked if isinstance(rule, AssayRule)), None)
    assay = named or load_rule(STATED_ASSAY)
    assert isinstance(assay, AssayRule)
    own = [check for check in checks if named_as(check.name, assay.names)]
    found = list(
        judge_batch_assays(
            batch, own, actives=actives, rule=assay, asked=named is not None, of_units=of_units, lot=lot, words=words
        )
    )
    remarks: list[Remark] = []
    wanted = {rule.test: rule for rule in asked if isinstance(rule, CheckRule)}
    for check in (check for check in checks if check not in own):
        known = _known_rule(check.name, asked=tuple(wanted.values()))
        if known is None:
            found.append(judge_check(check, blank=_blank(words, check.name), words=words))
        else:
            found.append(_judge_known(check, rule=known, batch=batch, form=form, words=words))
            remarks += _wrong_base(known, batch=batch, check=check)
    entered = {test.id for test in found}
    return found + [_no_row(rule) for rule in wanted.values() if rule.test not in entered], remarks


def _no_row(rule: CheckRule) -> TestResult:
    name = rule.names[0]
    missing = f'a row "{name}" on the Checks sheet'
    return unassessed(_blank(rule, name), message("checks.no_row", name=name), missing=missing)


def _blank(rule: Rule, subject: str) -> TestResult:
    return TestResult(id=rule.test, rule=rule.id, subject=subject, verdict=Verdict.NOT_ASSESSED)


def _known_rule(text: str, *, asked: Sequence[CheckRule]) -> CheckRule | None:
    rules = (*asked, *(load_rule(id) for id in CHECK_RULES))
    return next((rule for rule in rules if isinstance(rule, CheckRule) and named_as(text, rule.names)), None)


def _judge_known(check: Check, *, rule: CheckRule, batch: Batch, form: str, words: StatedCheckRule) -> TestResult:
    """A known test; where its limit goes by a base nobody entered, a verdict stands if it is the same for each."""
    blank = _blank(rule, check.name)
    judge = partial(judge_check, check, blank=blank, words=words, rule=rule, quantity=rule.quantity)
    results = [judge(of_the_rule=span) for span in limits_of(rule, form=form, base=batch.base)]
    if len({result.verdict for result in results}) == 1:
        return results[0]
    reason = message("checks.base_unknown", name=check.name, rules=(rule.id,))
    return unassessed(blank, reason, missing="the base of the batch (fatty or water-soluble)")


def _wrong_base(rule: CheckRule, *, batch: Batch, check: Check) -> Iterator[Remark]:
    if rule.base is not None and batch.base not in (None, rule.base):
        text = message("checks.wrong_base", title=rule.title, base=rule.base.value, other=batch.base.value)
        yield Remark(where=f"Checks, {check.name}", text=text)
