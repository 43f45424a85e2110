"""The rows of the Checks sheet: other finished-unit tests, the assay of a pooled sample, and free-form checks."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from functools import partial

from msgspec.structs import replace

from qc.batch import Active, Batch, Check
from qc.judging.advice import STATED_CHECK
from qc.results import Remark, TestResult, Verdict, message
from qc.rules.built_in import load_rule
from qc.rules.forms import stem
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check import CheckRule
from qc.rules.kinds.check.procedure import judge_check, limits_of, unassessed
from qc.rules.kinds.check.typed_limits import UnreadableError, Worded, read_results, span_of
from qc.rules.kinds.stated_check import StatedCheckRule
from qc.rules.records import Rule

CHECK_RULES = ("ph-eur-2.9.2", "ph-eur-2.9.22", "ph-eur-2.9.24")
COMPOUNDED_ASSAY = "compounded-assay"
ASSAY_TEST = "batch-assay"


def judge_checks(
    batch: Batch, checks: Sequence[Check], *, form: str, actives: Sequence[Active], asked: Sequence[Rule]
) -> tuple[list[TestResult], list[Remark]]:
    """Judge the rows of the Checks sheet that are not lines of the packing checklist.

    Parameters
    ----------
    batch : Batch
    checks : sequence of Check
    form : str
        Name of the dosage form; empty when it is not known.
    actives : sequence of Active
    asked : sequence of Rule
        The rules of checks that the rule set asks for.

    Returns
    -------
    list of TestResult and list of Remark
        A check that the set asks for and nobody entered is "not assessed" and required.
    """
    words = load_rule(STATED_CHECK)
    assert isinstance(words, StatedCheckRule)
    assay = next((rule for rule in asked if isinstance(rule, AssayRule)), None)
    found, rest = _judge_assays(checks, actives=actives, rule=assay, words=words)
    remarks = _for_information(actives, rule=assay, found=found)
    wanted = {rule.test: rule for rule in asked if isinstance(rule, CheckRule)}
    for check in rest:
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


def _blank(rule: Rule, subject: str, *, test: str = "", active: str | None = None) -> TestResult:
    return TestResult(id=test or rule.test, rule=rule.id, subject=subject, active=active, verdict=Verdict.NOT_ASSESSED)


def _named(text: str, names: Sequence[str]) -> bool:
    """Whether a check is entered under one of these names, whatever stands behind it in brackets or after a comma."""
    head = re.split(r"[(,:;\[]", text, maxsplit=1)[0]
    return stem(head) in {stem(name) for name in names}


def _known_rule(text: str, *, asked: Sequence[CheckRule]) -> CheckRule | None:
    rules = (*asked, *(load_rule(id) for id in CHECK_RULES))
    return next((rule for rule in rules if isinstance(rule, CheckRule) and _named(text, rule.names)), None)


def _judge_known(check: Check, *, rule: CheckRule, batch: Batch, form: str, words: StatedCheckRule) -> TestResult:
    """A known test; where its limit goes by a base nobody entered, a verdict stands if it is the same for each."""
    blank = _blank(rule, check.name)
    judge = partial(judge_check, check, blank=blank, words=words, rule=rule, quantity=rule.quantity)
    results = [judge(of_the_rule=span) for span in limits_of(rule, form=form, base=batch.base)]
    if len({result.verdict for result in results}) == 1:
        return results[0]
    reason = message("checks.base_unknown", name=check.name, rule=rule.id)
    return unassessed(blank, reason, missing="the base of the batch (fatty or water-soluble)")


def _wrong_base(rule: CheckRule, *, batch: Batch, check: Check) -> Iterator[Remark]:
    if rule.base is not None and batch.base not in (None, rule.base):
        text = message("checks.wrong_base", title=rule.title, base=rule.base.value, other=batch.base.value)
        yield Remark(where=f"Checks, {check.name}", text=text)


def _judge_assays(
    checks: Sequence[Check], *, actives: Sequence[Active], rule: AssayRule | None, words: StatedCheckRule
) -> tuple[list[TestResult], list[Check]]:
    """Judge the assay of the pooled sample of every active; the rows that are about something else are handed back."""
    named = rule if rule is not None else load_rule(COMPOUNDED_ASSAY)
    assert isinstance(named, AssayRule)
    rows = [(check, _active_named(check.name, actives)) for check in checks if _named(check.name, named.names)]
    found = [_which_active(check, actives=actives, words=words) for check, active in rows if active is None]
    for active in actives:
        own = [check for check, about in rows if about is active]
        limited = active.assay_limits_percent and active.batch_assay_percent is not None
        due = own or ([Check(name="assay")] if rule is not None or limited else [])
        found += [_judge_assay(_limited(check, active), active=active, rule=rule, words=words) for check in due]
    if rule is not None and not actives:
        missing = "the active and its batch assay, on the Actives sheet"
        found.append(unassessed(_blank(rule, rule.names[0]), message("checks.no_active"), missing=missing))
    return found, [check for check in checks if not _named(check.name, named.names)]


def _limited(check: Check, active: Active) -> Check:
    """An assay without a limit beside it, with the limits that stand beside the active."""
    limits = active.assay_limits_percent
    if check.limit is not None or not limits:
        return check
    return replace(check, limit=limits if "%" in limits else f"{limits} %")


def _active_named(text: str, actives: Sequence[Active]) -> Active | None:
    if len(actives) == 1:
        return actives[0]
    words = stem(text.replace(":", " ").replace("[", " ").replace("]", " "))
    found = [active for active in actives if f" {stem(active.name)} " in f" {words} "]
    found.sort(key=lambda active: -len(stem(active.name)))
    # The name of one active may stand inside that of another ("zinc", "zinc oxide"): the longer one is meant.
    inside = all(stem(active.name) in stem(found[0].name) for active in found)
    return found[0] if found and inside else None


def _which_active(check: Check, *, actives: Sequence[Active], words: StatedCheckRule) -> TestResult:
    reason = message("checks.which_active", name=check.name, active=actives[0].name if actives else None)
    missing = f'the active that "{check.name}" is about'
    blank = _blank(words, check.name, test=ASSAY_TEST)
    return unassessed(blank, reason, missing=missing, required=check.limit is not None)


def _judge_assay(check: Check, *, active: Active, rule: AssayRule | None, words: StatedCheckRule) -> TestResult:
    blank = _blank(rule or words, check.name, test=ASSAY_TEST, active=active.name)
    limits = None if rule is None else span_of("%", low=rule.low_percent, high=rule.high_percent)
    entered = active.batch_assay_percent
    row = check
    if check.result is None and entered is not None:
        row = replace(check, result=f"{entered:f} %")
    elif check.result is not None and entered is not None and _disagrees(check.result, figure=f"{entered:f} %"):
        reason = message("checks.two_assays", percent=entered, result=check.result)
        return unassessed(blank, reason, missing="one assay of the pooled sample")
    result = judge_check(row, blank=blank, words=words, of_the_rule=limits, quantity="pooled assay")
    return replace(result, missing="the batch assay (% of label)") if row.result is None else result


def _disagrees(typed: str, *, figure: str) -> bool:
    """Whether a result holds another figure than the batch assay; words do not, and neither does what is unreadable."""
    try:
        found = read_results(typed)
    except UnreadableError:
        return False  # What cannot be read is reported when it is judged.
    return not isinstance(found, Worded) and found != read_results(figure)


def _for_information(actives: Sequence[Active], *, rule: AssayRule | None, found: Sequence[TestResult]) -> list[Remark]:
    """A remark on each assay of a pooled sample that nothing sets a limit for."""
    judged = {test.active for test in found}
    return [
        Remark(
            where=f"Actives, {active.name}",
            text=message("checks.assay_for_information", active=active.name, percent=active.batch_assay_percent),
        )
        for active in actives
        if rule is None and active.name not in judged and active.batch_assay_percent is not None
    ]
