"""The rules and rule sets that come with the package, each read from the file that its id names; and their books."""

from __future__ import annotations

import functools
import os
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct

from qc.rules.kinds import kinds_of_tests
from qc.rules.records import PourSettings, Rule, RuleSet
from qc.rules.shapes import note_misshapen
from qc.rules.strict_records import Findings, RuleProblem, did_you_mean, read_toml, record_from

if TYPE_CHECKING:
    from qc.rules.kinds.packing import PackingItem
    from qc.rules.kinds.visual.defects import HouseDefect

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
    rule: Rule | None = record_from(kinds[test].record, table, findings)
    if rule is not None:
        _note_other_name(rule.id, path=path, findings=findings)
        note_misshapen(rule, findings)
    return findings.sound(rule)


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
    rule_set = record_from(RuleSet, read_toml(path), findings)
    if rule_set is not None:
        _note_other_name(rule_set.id, path=path, findings=findings)
        known = rule_ids()
        for number, ask in enumerate(rule_set.asks, start=1):
            if ask.rule not in known:
                findings.add_unknown(f"asks[{number}].rule", ask.rule, known=known, thing="rule")
            if ask.actives not in ("all", "under", "labelled"):
                mend = "Write all, under or labelled"
                findings.add(f"asks[{number}].actives", f'"{ask.actives}" is not known', mend)
    return findings.sound(rule_set)


def _note_other_name(id: str, *, path: Path, findings: Findings) -> None:
    """Note an id that its file does not bear as a name."""
    if id != path.stem:
        findings.add("id", f'"{id}" stands in the file of {path.stem}', f'Write id = "{path.stem}"')


class RulesOnDemand(Mapping[str, Rule]):
    """The rules of a set by id; the file of a built-in one is read when somebody asks for that rule.

    A batch of suppositories has no use for the rules of tablets and patches, and reading them all takes longer than
    judging the batch.
    """

    def __init__(self, ids: Iterable[str], *, of_the_house: Mapping[str, Rule]) -> None:
        self._ids = tuple(dict.fromkeys(ids))
        self._of_the_house = of_the_house

    def __getitem__(self, id: str) -> Rule:
        if id not in self._ids:
            raise KeyError(id)
        return self._of_the_house[id] if id in self._of_the_house else load_rule(id)

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)


class RuleBook(Struct, frozen=True, kw_only=True):
    """A rule set with the record of every rule it asks for, by id."""

    set: RuleSet
    rules: Mapping[str, Rule]
    house_defects: tuple[HouseDefect, ...] = ()
    """Grades and words for defects that a house file sets."""
    house_packing: tuple[PackingItem, ...] = ()
    """Lines that a house file adds to the packing checklist."""
    pour: PourSettings | None = None
    """Which change along the pour matters, and which way it can only go, where a house file says so."""
    house_causes: Mapping[str, Any] | None = None
    """What a house file takes to be true of the causes beforehand, as typed; the room of causes checks it."""
    house_file: str = ""
    """Name of the house file, for messages."""


def unknown_name(name: str, *, known: Iterable[str], thing: str) -> RuleProblem:
    """The problem of a name that no rule or set has, with the nearest one."""
    findings = Findings("")
    findings.add_unknown("rules", name, known=known, thing=thing)
    return RuleProblem(findings.problems)


def _names(folder: Path) -> tuple[str, ...]:
    # Several times as quick as a glob, and it is asked for each rule that is read.
    names = (name.removesuffix(".toml") for name in os.listdir(folder) if name.endswith(".toml"))
    return tuple(sorted(name for name in names if name not in (FORMS_FILE, DEFECTS_FILE)))
