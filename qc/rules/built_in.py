"""The rules and rule sets that come with the package, each read from the file that its id names."""

from __future__ import annotations

import functools
import os
from pathlib import Path

from qc.rules.kinds import kinds_of_tests
from qc.rules.records import Rule, RuleSet
from qc.rules.shapes import note_misshapen
from qc.rules.strict_records import Findings, RuleProblem, did_you_mean, read_toml, record_from

RULES_FOLDER = Path(__file__).parent / "data"
FORMS_FILE = "forms"
DEFECTS_FILE = "defects"
PACKING_CHECKLIST = "packing-checklist"
SETS_FOLDER = RULES_FOLDER / "sets"


def rule_ids() -> tuple[str, ...]:
    """The ids of all built-in rules, in order of the alphabet."""
    return _names(RULES_FOLDER)


def set_ids() -> tuple[str, ...]:
    """The ids of all built-in rule sets, in order of the alphabet."""
    return _names(SETS_FOLDER)


@functools.cache
def load_rule(id: str) -> Rule:
    """One built-in rule.

    Parameters
    ----------
    id : str
        Id of the rule, as `rule_ids` lists it.

    Returns
    -------
    Rule
        Its record.

    Raises
    ------
    RuleProblem
        When no rule has that id, or when its file is not sound: every problem of the file at once.
    """
    if id not in rule_ids():
        raise unknown_name(id, known=rule_ids(), thing="rule")
    return read_rule(RULES_FOLDER / f"{id}.toml")


def read_rule(path: Path) -> Rule:
    """The rule in a file that bears its id.

    Raises
    ------
    RuleProblem
        When the file is not sound: every problem at once.
    """
    table = read_toml(path)
    findings = Findings(path.name)
    test, kinds = str(table.get("test")), kinds_of_tests()
    if test not in kinds:
        findings.add("test", f'"{test}" is not a test', did_you_mean(test, kinds, every="Write one of"))
        raise RuleProblem(findings.problems)
    rule = record_from(kinds[test].record, table, at="", findings=findings)
    if rule is not None:
        if rule.id != path.stem:
            findings.add("id", f'"{rule.id}" stands in the file of {path.stem}', f'Write id = "{path.stem}"')
        note_misshapen(rule, kind=kinds[test], at="", findings=findings)
    findings.stop_if_any()
    assert rule is not None
    return rule


def load_set(id: str) -> RuleSet:
    """One built-in rule set.

    Parameters
    ----------
    id : str
        Id of the set, as `set_ids` lists it.

    Returns
    -------
    RuleSet
        Its record.

    Raises
    ------
    RuleProblem
        When no set has that id, or when its file is not sound.
    """
    if id not in set_ids():
        raise unknown_name(id, known=set_ids(), thing="rule set")
    return read_set(SETS_FOLDER / f"{id}.toml")


def read_set(path: Path) -> RuleSet:
    """The rule set in a file that bears its id.

    Raises
    ------
    RuleProblem
        When the file is not sound: every problem at once.
    """
    findings = Findings(path.name)
    rule_set = record_from(RuleSet, read_toml(path), at="", findings=findings)
    if rule_set is not None:
        if rule_set.id != path.stem:
            findings.add("id", f'"{rule_set.id}" stands in the file of {path.stem}', f'Write id = "{path.stem}"')
        known = rule_ids()
        for number, ask in enumerate(rule_set.asks, start=1):
            if ask.rule not in known:
                mend = did_you_mean(ask.rule, known, every="Rules")
                findings.add(f"asks[{number}].rule", f'no rule has the id "{ask.rule}"', mend)
            if ask.actives not in ("all", "under"):
                findings.add(f"asks[{number}].actives", f'"{ask.actives}" is not known', "Write all or under")
    findings.stop_if_any()
    assert rule_set is not None
    return rule_set


def unknown_name(name: str, *, known: tuple[str, ...], thing: str) -> RuleProblem:
    """The problem of a name that no rule or set has, with the nearest one."""
    findings = Findings("")
    findings.add("rules", f'no {thing} has the name "{name}"', did_you_mean(name, known, every="There are"))
    return RuleProblem(findings.problems)


def _names(folder: Path) -> tuple[str, ...]:
    # Several times as quick as a glob, and it is asked for each rule that is read.
    names = (name.removesuffix(".toml") for name in os.listdir(folder) if name.endswith(".toml"))
    return tuple(sorted(name for name in names if name not in (FORMS_FILE, DEFECTS_FILE)))
