"""What must be true of the records behind the release checks: limits in order, tables complete, words in one class."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from itertools import pairwise

from qc.rules.records import (
    AssayRule,
    CheckRule,
    PackingRule,
    ReconciliationRule,
    ReleaseRule,
    SamplingRule,
    StatedCheckRule,
)
from qc.rules.strict_records import Findings


def note_misshapen_release(rule: ReleaseRule, *, place: str, findings: Findings) -> None:
    """Note what cannot be true of the record of a release check.

    Parameters
    ----------
    rule : ReleaseRule
        A record whose keys and types are right.
    place : str
        What stands before a key in a message: empty, or the key of the rule with a point.
    findings : Findings
        Takes the problems.
    """
    match rule:
        case CheckRule():
            _check(rule, place=place, findings=findings)
        case StatedCheckRule():
            both = sorted(set(rule.complies_words) & set(rule.fails_words))
            if both:
                mend = "Keep the word in one of the lists"
                findings.add(f"{place}fails_words", f'"{both[0]}" says both that a limit was met and was not', mend)
        case AssayRule():
            _in_order("low_percent", "high_percent", rule.low_percent, rule.high_percent, place, findings)
        case SamplingRule():
            _sampling(rule, place=place, findings=findings)
        case PackingRule():
            for id, times in Counter(item.id for item in rule.items).items():
                if times > 1:
                    findings.add(f"{place}items", f'the id "{id}" stands {times} times', "Give each line its own id")
        case ReconciliationRule():
            for low, high, names in (
                (rule.yield_low_percent, rule.yield_high_percent, ("yield_low_percent", "yield_high_percent")),
                (
                    rule.recovery_low_percent,
                    rule.recovery_high_percent,
                    ("recovery_low_percent", "recovery_high_percent"),
                ),
            ):
                _in_order(*names, low, high, place, findings)


def _in_order(
    low_key: str, high_key: str, low: Decimal | None, high: Decimal | None, place: str, findings: Findings
) -> None:
    if low is not None and high is not None and low > high:
        findings.add(f"{place}{low_key}", f"{low:f} lies above {high_key}, {high:f}", f"Give {high:f} or less")


def _check(rule: CheckRule, *, place: str, findings: Findings) -> None:
    if not rule.names:
        findings.add(f"{place}names", "the check has no name to be entered under", "Give at least one")
    seen: set[tuple[str, str]] = set()
    for number, row in enumerate(rule.limits, start=1):
        for form in row.forms:
            bases = ("fatty", "water-soluble") if row.base is None else (row.base.value,)
            for base in bases:
                if (form, base) in seen:
                    found = f"{form} with a {base} base have two limits"
                    findings.add(f"{place}limits[{number}]", found, "Keep one of the rows")
                seen.add((form, base))


def _sampling(rule: SamplingRule, *, place: str, findings: Findings) -> None:
    if rule.inspection_level not in (1, 2, 3):
        findings.add(f"{place}inspection_level", f"there is no level {rule.inspection_level}", "Write 1, 2 or 3")
    known = [column.aql_percent for column in rule.columns]
    for name in ("aql_critical_percent", "aql_major_percent", "aql_minor_percent"):
        aql: Decimal | None = getattr(rule, name)
        if aql is not None and aql != 0 and aql not in known:
            choices = ", ".join(f"{one:f}" for one in known)
            findings.add(f"{place}{name}", f"the table has no AQL of {aql:f} %", f"Write 0 or one of {choices}")
    for number, column in enumerate(rule.columns, start=1):
        if not len(column.sample_sizes) == len(column.accepts) == len(rule.letters):
            found = f"there are {len(rule.letters)} code letters"
            findings.add(f"{place}columns[{number}]", found, "Give a sample size and an acceptance number for each")
    for number, (row, following) in enumerate(pairwise(rule.codes), start=2):
        if following.lot_from != row.lot_to + 1:
            found = f"{following.lot_from} does not follow {row.lot_to}"
            findings.add(f"{place}codes[{number}].lot_from", found, f"Write {row.lot_to + 1}")
    for number, row in enumerate(rule.codes, start=1):
        if len(row.letters) != 3 or not set(row.letters) <= set(rule.letters):
            mend = "Give one known letter for each of the levels I, II and III"
            findings.add(f"{place}codes[{number}].letters", f"{len(row.letters)} letters stand here", mend)
