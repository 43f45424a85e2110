"""The figures of the records behind the release checks, as pairs of name and text for a page of `qc rules`."""

from __future__ import annotations

from decimal import Decimal

from qc.rules.display import plain
from qc.rules.records import (
    AssayRule,
    CheckRule,
    PackingRule,
    ReconciliationRule,
    ReleaseRule,
    SamplingRule,
    StatedCheckRule,
)

NONE_SET = "none; a house rule can set one"


def release_figures(rule: ReleaseRule) -> tuple[tuple[str, str], ...]:
    """The figures of a record, each with its name, in the order of a page of rules."""
    match rule:
        case CheckRule():
            return _check(rule)
        case StatedCheckRule():
            return (
                ("words that say it was met", ", ".join(rule.complies_words)),
                ("words that say it was not", ", ".join(rule.fails_words)),
            )
        case AssayRule():
            return (
                ("limits", f"{plain(rule.low_percent)} to {plain(rule.high_percent)} % of the label claim"),
                ("entered as", ", ".join(rule.names)),
            )
        case SamplingRule():
            return _sampling(rule)
        case PackingRule():
            return tuple((item.id, f"{item.text} [{item.mark.value}]") for item in rule.items)
        case ReconciliationRule():
            return (
                ("yield, at least", _percent(rule.yield_low_percent)),
                ("yield, at most", _percent(rule.yield_high_percent)),
                ("melt not accounted for, at most", _percent(rule.unaccounted_percent)),
                ("active found, at least", _percent(rule.recovery_low_percent)),
                ("active found, at most", _percent(rule.recovery_high_percent)),
            )


def _percent(value: Decimal | None) -> str:
    return NONE_SET if value is None else f"{plain(value)} %"


def _check(rule: CheckRule) -> tuple[tuple[str, str], ...]:
    pairs = [
        ("entered as", ", ".join(rule.names)),
        ("units in the sample", str(rule.sample_size) if rule.sample_size else "not stated in a text read here"),
    ]
    if rule.base is not None:
        pairs.append(("base", rule.base.value))
    for row in rule.limits:
        base = "" if row.base is None else f", {row.base.value} base"
        limit = f"{rule.direction.value} {plain(row.limit)} {rule.unit} [{row.mark.value}]"
        pairs.append((f"{', '.join(row.forms)}{base}", limit))
    if not rule.limits:
        pairs.append(("limit", f"none; entered with the result ({rule.direction.value}, unless it says otherwise)"))
    return tuple(pairs)


def _sampling(rule: SamplingRule) -> tuple[tuple[str, str], ...]:
    level = "I" * rule.inspection_level
    pairs = [
        ("general inspection level", level),
        ("every unit is looked at up to", f"{rule.inspect_all_up_to} units"),
    ]
    for grade, aql in (
        ("critical", rule.aql_critical_percent),
        ("major", rule.aql_major_percent),
        ("minor", rule.aql_minor_percent),
    ):
        pairs.append((f"AQL of {grade} defects", _percent(aql)))
    for row in rule.codes:
        letters = ", ".join(row.letters)
        pairs.append((f"letters for {row.lot_from} to {row.lot_to} units", f"{letters} [{row.mark.value}]"))
    for column in rule.columns:
        plans = ", ".join(
            f"{letter} {size}/{accepts}"
            for letter, size, accepts in zip(rule.letters, column.sample_sizes, column.accepts, strict=True)
        )
        pairs.append((f"AQL {plain(column.aql_percent)} %: sample/accepts", plans))
    return tuple(pairs)
