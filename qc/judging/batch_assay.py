"""The assay of the batch, active by active: what was found of it, and the limits it is laid against."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec.structs import replace

from qc.assurance.places import draw_found
from qc.assurance.remaining import known_size
from qc.batch import Active, Batch, Check
from qc.contents import contents_found
from qc.judging.assay_limits import judge_assay
from qc.pour.assay_list import ASSAY_PERCENT
from qc.results import TestResult, Verdict, message
from qc.rules.forms import stem
from qc.rules.kinds.assay import AssayRule
from qc.rules.kinds.check.procedure import judge_check, unassessed
from qc.rules.kinds.check.typed_limits import Span, UnreadableError, Worded, read_limit, read_results, span_of, within
from qc.rules.kinds.stated_check import StatedCheckRule
from qc.rules.measured import BESIDE_THE_TEST

_PERCENT = ("%", "")


def judge_batch_assays(
    batch: Batch,
    checks: Sequence[Check],
    *,
    actives: Sequence[Active],
    rule: AssayRule,
    asked: bool,
    of_units: Sequence[TestResult],
    lot: Sequence[str],
    words: StatedCheckRule,
) -> Iterator[TestResult]:
    """Judge the assay of every active of which something is known or asked.

    Parameters
    ----------
    batch : Batch
    checks : sequence of Check
        The rows of the Checks sheet that are about an assay.
    actives : sequence of Active
    rule : AssayRule
    asked : bool
        Whether the rule set asks for it.
    of_units : sequence of TestResult
        The tests of units, whose sample the mean content is that of.
    lot : sequence of str
        The units in the order in which a lot was drawn for this batch.
    words : StatedCheckRule
    """
    rows = [(check, _active_named(check.name, actives)) for check in checks]
    blank = TestResult(id=rule.test, rule=rule.id, verdict=Verdict.NOT_ASSESSED)
    for check in (check for check, about in rows if about is None):
        reason = message("checks.which_active", name=check.name, active=actives[0].name if actives else None)
        missing = f'the active that "{check.name}" is about'
        row = replace(blank, subject=check.name)
        yield unassessed(row, reason, missing=missing, required=check.limit is not None)
    for active in actives:
        contents = _contents(batch, active, of_units=of_units)
        drawn = draw_found(batch, measured=contents, whole=known_size(batch), lot=lot)
        known = asked or contents or active.batch_assay_percent is not None
        own = [check for check, about in rows if about is active] or ([Check(name=rule.names[0])] if known else [])
        for check in own:
            yield _judge(
                check,
                active,
                contents,
                blank=replace(blank, active=active.name, sample=tuple(contents)),
                rule=rule,
                words=words,
                random=drawn is None or drawn.random,
            )
    if asked and not actives:
        missing = "the active and its batch assay, on the Actives sheet"
        yield unassessed(replace(blank, subject=rule.names[0]), message("checks.no_active"), missing=missing)


def _judge(
    check: Check,
    active: Active,
    contents: Mapping[str, Fraction],
    *,
    blank: TestResult,
    rule: AssayRule,
    words: StatedCheckRule,
    random: bool,
) -> TestResult:
    beside, entered = active.assay_limits_percent, active.batch_assay_percent
    typed = check.limit or (beside and (beside if "%" in beside else f"{beside} %"))
    result = check.result or (None if entered is None else f"{entered:f} %")
    try:
        limit = read_limit(typed) if typed else None
        found = read_results(result) if result else ()
    except UnreadableError:
        limit = found = Worded(text="")
    by_rule = None
    if rule.low_percent is not None or rule.high_percent is not None:
        by_rule = span_of("%", low=rule.low_percent, high=rule.high_percent)
    in_percent = not isinstance(limit, Span) or limit.measure.shown in _PERCENT
    if isinstance(limit, Worded) or isinstance(found, Worded) or not (in_percent and (contents or found)):
        # Words are judged, and what is missing or cannot be read is answered, as for any other check.
        row = replace(check, result=result, limit=typed)
        told = judge_check(row, blank=replace(blank, subject=check.name), words=words, of_the_rule=by_rule)
        return told if result else replace(told, missing="the batch assay (% of label)", required=True)
    pooled = _one_figure(found)
    if found and (pooled is None or entered not in (None, pooled)):
        reason = message("checks.two_assays", percent=entered, result=check.result)
        return unassessed(blank, reason, missing="one assay of the pooled sample")
    # A limit of the record that is as strict as the rule's, or stricter, leaves nothing to the rule.
    stricter = by_rule is not None and limit is not None and bool(within(limit, by_rule))
    return judge_assay(
        blank,
        pooled=pooled,
        contents=tuple(contents.values()),
        limits=[one for one in (None if stricter else by_rule, limit) if one is not None],
        rule=rule,
        stricter=stricter,
        repeatability_percent=active.assay_repeatability_percent or Decimal(str(ASSAY_PERCENT)),
        random=random,
    )


def _one_figure(found: Sequence[Span]) -> Decimal | None:
    """The figure of a result that is one figure, in per cent or without a unit of measure."""
    if len(found) != 1 or found[0].low is None or found[0].low != found[0].high:
        return None
    return found[0].low.value if found[0].measure.shown in _PERCENT else None


def _contents(batch: Batch, active: Active, *, of_units: Sequence[TestResult]) -> dict[str, Fraction]:
    """Contents [% of label] of the units the dosage-unit test rests on; of all drawn for it where it rests on none."""
    tests = [test for test in of_units if test.id == "dosage-unit-uniformity" and test.active == active.name]
    sample = {name for test in tests for name in test.sample}
    found = [
        one
        for one in contents_found(batch, active=active)
        if (one.unit in sample if sample else one.stage != BESIDE_THE_TEST)
    ]
    known = {one.unit: one.percent for one in found if one.percent is not None}
    return known if len(known) == len(found) else {}


def named_as(text: str, names: Sequence[str]) -> bool:
    """Whether a check is entered under one of these names, whatever stands behind it in brackets or after a comma."""
    head = re.split(r"[(,:;\[]", text)[0]
    return stem(head) in {stem(name) for name in names}


def _active_named(text: str, actives: Sequence[Active]) -> Active | None:
    if len(actives) == 1:
        return actives[0]
    words = stem(text.replace(":", " ").replace("[", " ").replace("]", " "))
    found = [active for active in actives if f" {stem(active.name)} " in f" {words} "]
    found.sort(key=lambda active: -len(stem(active.name)))
    # The name of one active may stand inside that of another ("zinc", "zinc oxide"): the longer one is meant.
    inside = all(stem(active.name) in stem(found[0].name) for active in found)
    return found[0] if found and inside else None
