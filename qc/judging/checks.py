"""The rows of the Checks sheet: other finished-unit tests, the assay of a pooled sample, and free-form checks."""

from __future__ import annotations

import re
from collections.abc import Sequence

from msgspec import Struct, field
from msgspec.structs import replace

from qc.batch import Active, Batch, Check
from qc.judging.words import STATED_CHECK
from qc.problems import Notice
from qc.results import TestResult, Verdict
from qc.rules.built_in import load_rule
from qc.rules.finished_unit_checks import judge_check, limits_of
from qc.rules.forms import stem
from qc.rules.records import AnyRule, AssayRule, CheckRule, StatedCheckRule
from qc.rules.typed_limits import Span, UnreadableError, Worded, read_limit, read_results

CHECK_RULES = ("ph-eur-2.9.2", "ph-eur-2.9.22", "ph-eur-2.9.24")
COMPOUNDED_ASSAY = "compounded-assay"
ASSAY_TEST = "batch-assay"


class ChecksJudged(Struct, frozen=True, kw_only=True):
    """What the Checks sheet says: tests the rule set asks for, tests entered beside them, the rules used, remarks."""

    asked: tuple[TestResult, ...] = ()
    beside: tuple[TestResult, ...] = ()
    rules: tuple[AnyRule, ...] = ()
    notices: tuple[Notice, ...] = ()


class _Gathered(Struct, kw_only=True):
    asked: list[TestResult] = field(default_factory=list)
    beside: list[TestResult] = field(default_factory=list)
    rules: dict[str, AnyRule] = field(default_factory=dict)
    notices: list[Notice] = field(default_factory=list)


def judge_checks(
    batch: Batch, checks: Sequence[Check], *, form: str, actives: Sequence[Active], asked: Sequence[AnyRule]
) -> ChecksJudged:
    """Judge the rows of the Checks sheet that are not lines of the packing checklist.

    Parameters
    ----------
    batch : Batch
    checks : sequence of Check
    form : str
        Name of the dosage form; empty when it is not known.
    actives : sequence of Active
    asked : sequence of AnyRule
        The rules of checks that the rule set asks for.

    Returns
    -------
    ChecksJudged
        A check that the set asks for and nobody entered is "not assessed" and required.
    """
    assay = next((rule for rule in asked if isinstance(rule, AssayRule)), None)
    assayed = any(active.batch_assay_percent is not None for active in actives)
    gathered = _Gathered()
    if not (checks or assayed or asked):
        return ChecksJudged()
    words = load_rule(STATED_CHECK)
    assert isinstance(words, StatedCheckRule)
    rest = _judge_assays(checks, actives=actives, rule=assay, words=words, gathered=gathered)
    wanted = {rule.test: rule for rule in asked if isinstance(rule, CheckRule)}
    entered: set[str] = set()
    for check in rest:
        known = _known_rule(check.name, asked=tuple(wanted.values()))
        if known is None:
            result = judge_check(check, test=words.test, rule=words.id, words=words)
            gathered.rules[words.id] = words
        else:
            result = _judge_known(check, rule=known, batch=batch, form=form, words=words)
            gathered.rules[known.id] = known
            entered.add(known.test)
            gathered.notices += _wrong_base(known, batch=batch, check=check)
        (gathered.asked if known is not None and known.test in wanted else gathered.beside).append(result)
    for test, rule in wanted.items():
        if test not in entered:
            gathered.rules[rule.id] = rule
            gathered.asked.append(_not_entered(rule))
    return ChecksJudged(
        asked=tuple(gathered.asked),
        beside=tuple(gathered.beside),
        rules=tuple(gathered.rules.values()),
        notices=tuple(gathered.notices),
    )


def _not_entered(rule: CheckRule) -> TestResult:
    return TestResult(
        id=rule.test,
        rule=rule.id,
        subject=rule.names[0],
        verdict=Verdict.NOT_ASSESSED,
        missing=f'a row "{rule.names[0]}" on the Checks sheet',
        reasons=(f"The Checks sheet has no row for {rule.names[0]}.",),
    )


def _named(text: str, names: Sequence[str]) -> bool:
    """Whether a check is entered under one of these names, whatever stands behind it in brackets or after a comma."""
    head = re.split(r"[(,:;\[]", text, maxsplit=1)[0]
    return stem(head) in {stem(name) for name in names}


def _known_rule(text: str, *, asked: Sequence[CheckRule]) -> CheckRule | None:
    rules = list(asked)
    for id in CHECK_RULES:
        rule = load_rule(id)
        assert isinstance(rule, CheckRule)
        rules.append(rule)
    return next((rule for rule in rules if _named(text, rule.names)), None)


def _judge_known(check: Check, *, rule: CheckRule, batch: Batch, form: str, words: StatedCheckRule) -> TestResult:
    """A known test; where its limit goes by a base nobody entered, a verdict stands if it is the same for each."""
    results = [
        judge_check(
            check,
            test=rule.test,
            rule=rule.id,
            words=words,
            of_the_rule=span,
            bare=rule.direction,
            quantity=rule.quantity,
            sample_size=rule.sample_size,
        )
        for span in limits_of(rule, form=form, base=batch.base)
    ]
    if len({result.verdict for result in results}) == 1:
        return results[0]
    return TestResult(
        id=rule.test,
        rule=rule.id,
        subject=check.name,
        verdict=Verdict.NOT_ASSESSED,
        missing="the base of the batch (fatty or water-soluble)",
        reasons=(f'"{check.name}": the limit of {rule.id} goes by the base, and the Batch sheet names none.',),
    )


def _wrong_base(rule: CheckRule, *, batch: Batch, check: Check) -> list[Notice]:
    if rule.base is None or batch.base is None or batch.base is rule.base:
        return []
    text = f"{rule.title} is a test for a {rule.base.value} base; the base of this batch is {batch.base.value}."
    return [Notice(where=f"Checks, {check.name}", text=text)]


def _judge_assays(
    checks: Sequence[Check],
    *,
    actives: Sequence[Active],
    rule: AssayRule | None,
    words: StatedCheckRule,
    gathered: _Gathered,
) -> list[Check]:
    """Judge the assay of the pooled sample of every active; the rows that are about something else are handed back."""
    names = _assay_names(rule)
    rest: list[Check] = []
    rows: dict[str, list[Check]] = {}
    for check in checks:
        if not _named(check.name, names):
            rest.append(check)
            continue
        active = _active_named(check.name, actives)
        if active is None:
            gathered.beside.append(_which_active(check, actives=actives, words=words))
            gathered.rules[words.id] = words
        else:
            rows.setdefault(active.name, []).append(check)
    for active in actives:
        own = rows.get(active.name, [])
        if not own and rule is None:
            gathered.notices += _for_information(active)
            continue
        by: AnyRule = words if rule is None else rule
        gathered.rules[by.id] = by
        for check in own or [Check(name="assay")]:
            result = _judge_assay(check, active=active, rule=rule, words=words)
            (gathered.beside if rule is None else gathered.asked).append(result)
    if rule is not None and not actives:
        gathered.rules[rule.id] = rule
        gathered.asked.append(_no_active(rule))
    return rest


def _no_active(rule: AssayRule) -> TestResult:
    return TestResult(
        id=rule.test,
        rule=rule.id,
        subject=rule.names[0],
        verdict=Verdict.NOT_ASSESSED,
        missing="the active and its batch assay, on the Actives sheet",
        reasons=("The Actives sheet names no active to be assayed.",),
    )


def _assay_names(rule: AssayRule | None) -> tuple[str, ...]:
    named = rule if rule is not None else load_rule(COMPOUNDED_ASSAY)
    assert isinstance(named, AssayRule)
    return named.names


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
    example = f'"{check.name}, {actives[0].name}"' if actives else "the active on the Actives sheet"
    return TestResult(
        id=ASSAY_TEST,
        rule=words.id,
        subject=check.name,
        verdict=Verdict.NOT_ASSESSED,
        missing=f'the active that "{check.name}" is about',
        reasons=(f'"{check.name}" does not say which active it is about. Type {example}.',),
        required=check.limit is not None,
    )


def _judge_assay(check: Check, *, active: Active, rule: AssayRule | None, words: StatedCheckRule) -> TestResult:
    by = words.id if rule is None else rule.id
    of_the_rule: Span | None = None
    if rule is not None:
        span = read_limit(f"{rule.low_percent} to {rule.high_percent} %")
        assert isinstance(span, Span)
        of_the_rule = span
    entered = active.batch_assay_percent
    row = check
    if check.result is None and entered is not None:
        row = replace(check, result=f"{entered:f} %")
    elif check.result is not None and entered is not None and _disagrees(check.result, figure=f"{entered:f} %"):
        return TestResult(
            id=ASSAY_TEST,
            rule=by,
            active=active.name,
            subject=check.name,
            verdict=Verdict.NOT_ASSESSED,
            missing="one assay of the pooled sample",
            reasons=(
                f"The Actives sheet has a batch assay of {entered:f} % of label, and the Checks sheet "
                f'"{check.result}". Keep the true one.',
            ),
        )
    result = judge_check(row, test=ASSAY_TEST, rule=by, words=words, of_the_rule=of_the_rule, quantity="pooled assay")
    missing = "the batch assay (% of label)" if row.result is None else result.missing
    return replace(result, active=active.name, missing=missing)


def _disagrees(typed: str, *, figure: str) -> bool:
    """Whether a result holds another figure than the batch assay; words do not, and neither does what is unreadable."""
    try:
        found = read_results(typed)
    except UnreadableError:
        return False  # What cannot be read is reported when it is judged.
    return not isinstance(found, Worded) and found != read_results(figure)


def _for_information(active: Active) -> list[Notice]:
    if active.batch_assay_percent is None:
        return []
    text = (
        f"The pooled assay of {active.name} is {active.batch_assay_percent:f} % of label, for information: no limit "
        'was entered (a row "Assay" on the Checks sheet) and the rules in use set none.'
    )
    return [Notice(where=f"Actives, {active.name}", text=text)]
