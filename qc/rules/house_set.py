"""The rule set of a hospital: a built-in set in which the rules of the house take the place of published ones."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace

from qc.rules.built_in import load_rule, load_set, rule_ids, set_ids
from qc.rules.kinds import kind_of
from qc.rules.records import Asks, Mark, Rule, RuleSet
from qc.rules.strict_records import Findings, did_you_mean, record_from

_ID = re.compile(r"[a-z0-9]+([.-][a-z0-9]+)*")


class _HouseSet(Struct, frozen=True, kw_only=True):
    builds_on: str = "default"
    id: str = ""
    title: str = ""
    adds: tuple[str, ...] = ()
    """Built-in rules that the house asks for besides, as they stand."""


def house_set(
    table: object,
    *,
    path: Path,
    rules: Mapping[str, Rule],
    newest: Mapping[str, str],
    findings: Findings,
) -> RuleSet | None:
    """The rule set of a house file: a built-in one in which the house rules stand in place of those they build on.

    Parameters
    ----------
    table : object
        What stands under "set" in the file; an empty table when nothing does.
    path : Path
        The file, whose name the set bears when it has no id.
    rules : mapping
        The house rules by id.
    newest : mapping
        For each built-in rule that is built on, the id of the house rule that stands in its place.
    findings : Findings
        Takes the problems.

    Returns
    -------
    RuleSet or None
        None when a problem was noted.
    """
    if not isinstance(table, dict):
        findings.add("set", '"set" is not a table', "Write [set] on a line of its own")
        return None
    house = record_from(_HouseSet, table, at="set", findings=findings)
    if house is None:
        return None
    if house.builds_on not in set_ids():
        mend = did_you_mean(house.builds_on, set_ids(), every="There are")
        findings.add("set.builds_on", f'no rule set has the name "{house.builds_on}"', mend)
        return None
    if house.id:
        note_bad_id(house.id, taken=(*rule_ids(), *set_ids(), *rules), at="set", findings=findings)
    base = load_set(house.builds_on)
    asked = {ask.rule for ask in base.asks}
    own = [_own_ask(rules[id]) for built_in, id in newest.items() if built_in not in asked]
    own += _added(house.adds, asked=asked, newest=newest, findings=findings)
    of_the_house = f" Rules of the house: {', '.join(newest.values())}." if newest else ""
    added = f" Asked for besides: {', '.join(house.adds)}." if house.adds else ""
    return RuleSet(
        id=house.id or path.stem,
        title=house.title or f"{base.title}; with the rules of {path.name}",
        asks=(*(_replaced(ask, rules=rules, newest=newest) for ask in base.asks), *own),
        reference=base.reference,
        notes=(*base.notes, f"This set builds on {base.id}.{of_the_house}{added}"),
    )


def _replaced(ask: Asks, *, rules: Mapping[str, Rule], newest: Mapping[str, str]) -> Asks:
    """A line of a set with the house rule in place of the published one, asked of added forms too."""
    if ask.rule not in newest:
        return ask
    rule = rules[newest[ask.rule]]
    added: tuple[str, ...] = ()
    if ask.forms:
        kind = kind_of(rule)
        known = {*kind.forms_named(load_rule(ask.rule)), *ask.forms}
        added = tuple(form for form in kind.forms_named(rule) if form not in known)
    return replace(ask, rule=rule.id, forms=(*ask.forms, *added))


def _added(names: tuple[str, ...], *, asked: set[str], newest: Mapping[str, str], findings: Findings) -> list[Asks]:
    """Lines for built-in rules that the house asks for as they stand, over and above the set it builds on."""
    lines: list[Asks] = []
    for number, name in enumerate(names, start=1):
        key = f"set.adds[{number}]"
        if name not in rule_ids():
            findings.add(key, f'no rule has the id "{name}"', did_you_mean(name, rule_ids(), every="There are"))
        elif name in newest:
            findings.add(key, f"{newest[name]} builds on {name} and is asked for already", "Leave it out")
        elif name in asked or names.index(name) < number - 1:
            findings.add(key, f"{name} is asked for already", "Leave it out")
        else:
            lines.append(_own_ask(load_rule(name)))
    return lines


def _own_ask(rule: Rule) -> Asks:
    """The line for a house rule that builds on a rule the set does not ask for: the house asks, so it is required."""
    return Asks(rule=rule.id, forms=kind_of(rule).asked_of(rule), required=True, mark=Mark.HOUSE)


def note_bad_id(id: str, *, taken: tuple[str, ...], at: str, findings: Findings) -> None:
    """Note an id that is taken or could be mistaken for the name of a file."""
    if id in taken:
        findings.add(f"{at}.id", f'the id "{id}" is taken', "Give it a name of your own")
    elif not _ID.fullmatch(id):
        mend = "Use small letters, digits, and single hyphens or dots between them"
        findings.add(f"{at}.id", f'"{id}" cannot be an id', mend)
