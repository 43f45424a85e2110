"""The rule file of a hospital: rules that build on published ones and are tighter, each with its own source.

Its rule set is a built-in one in which the rules of the house take the place of those they build on.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.patterns import pattern
from qc.results import Message, message
from qc.rules.built_in import RuleBook, RulesOnDemand, load_rule, load_set, rule_ids, set_ids
from qc.rules.forms import find_form, nearest_forms
from qc.rules.kind import AddedForm
from qc.rules.kinds import kind_of
from qc.rules.kinds.packing import HousePackingItem
from qc.rules.kinds.packing.answers import house_packing
from qc.rules.kinds.visual.defects import HouseDefect, note_bad_defects
from qc.rules.records import Asks, Clause, Mark, PourSettings, Reference, Rule, RuleSet
from qc.rules.schema import schema_of
from qc.rules.shapes import note_misshapen
from qc.rules.strict_records import Findings, read_toml, values_from
from qc.rules.tightening import fixed, settable, settable_somewhere, table_of, tighten

_ID = pattern(r"[a-z0-9]+([.-][a-z0-9]+)*")


class _HouseSet(Struct, frozen=True, kw_only=True):
    builds_on: str = "default"
    id: str = ""
    title: str = ""
    adds: tuple[str, ...] = ()
    """Built-in rules that the house asks for besides, as they stand."""


class _HouseFile(Struct, frozen=True, kw_only=True):
    """The tables of a house file; what a [[rule]] may set goes by the rule it builds on, so each is read by itself."""

    rule: tuple[dict[str, Any], ...] = ()
    set: _HouseSet = _HouseSet()
    defect: tuple[HouseDefect, ...] = ()
    packing: tuple[HousePackingItem, ...] = ()
    pour: PourSettings | None = None
    causes: dict[str, Any] | None = None


class _HouseRule(Struct, frozen=True, kw_only=True):
    """What a [[rule]] table says about the rule; its figures are those that a house may set."""

    id: str
    builds_on: str
    source: str
    title: str = ""
    forms: tuple[str, ...] = ()
    adds_form: tuple[AddedForm, ...] = ()


def read_house_file(path: Path) -> RuleBook:
    """The rules and the rule set of a house file.

    Parameters
    ----------
    path : Path
        A TOML file with one `[[rule]]` table a rule and, if wanted, a `[set]` table.

    Returns
    -------
    RuleBook
        In its set every rule that a house rule builds on has been replaced by the house rule; one that builds on a
        rule that the set does not ask for is asked for besides.

    Raises
    ------
    RuleProblem
        Every problem of the file at once: an unknown key with the nearest known one, a looser limit, a missing
        source, an unknown rule to build on, an id that is taken.
    """
    findings = Findings(path.name)
    read = _HouseFile(**values_from(schema_of(_HouseFile), read_toml(path), findings))
    rules: dict[str, Rule] = {}
    for number, table in enumerate(read.rule, start=1):
        rule = _house_rule(table, rules, findings.within(f"rule[{number}]"))
        if rule is not None:
            rules[rule.id] = rule
    note_bad_defects(read.defect, findings)
    packing = house_packing(read.packing, findings)
    change = None if read.pour is None else read.pour.important_change_percent
    if change is not None and not 0 < change <= 100:
        findings.add(
            "pour.important_change_percent",
            f"a change of {change} % cannot be the one that matters",
            "Give a number above 0 and at most 100, for example 10",
        )
    says = (read.rule, read.defect, read.packing, read.pour, read.causes, read.set.adds, findings.problems)
    if not any(says):
        findings.add("rule", "the file has no rule", "Add a [[rule]] table with id, builds_on and source")
    rule_set = _house_set(read.set, rules, findings.within("set"), name=path.stem)
    rule_set = findings.sound(rule_set)
    return RuleBook(
        set=rule_set,
        rules=RulesOnDemand((ask.rule for ask in rule_set.asks), of_the_house=rules),
        house_defects=read.defect,
        house_packing=packing,
        pour=read.pour,
        house_causes=read.causes,
        house_file=path.name,
    )


def _newest(rules: Mapping[str, Rule]) -> dict[str, str]:
    """For each built-in rule that is built on, the id of the house rule that stands in its place."""
    return {rule.builds_on: rule.id for rule in rules.values()}


def _note_bad_id(id: str, rules: Mapping[str, Rule], findings: Findings) -> None:
    """Note an id that is taken or could be mistaken for the name of a file."""
    if id in (*rule_ids(), *set_ids(), *rules):
        findings.add("id", f'the id "{id}" is taken', "Give it a name of your own")
    elif not _ID.fullmatch(id):
        findings.add(
            "id", f'"{id}" cannot be an id', "Use small letters, digits, and single hyphens or dots between them"
        )


def _house_rule(table: dict[str, Any], rules: Mapping[str, Rule], findings: Findings) -> Rule | None:
    """The rule of a table; None where a problem was noted."""
    before = len(findings.problems)
    base = _base(table.get("builds_on"), rules, findings)
    reasons = {} if base is None else fixed(type(base))
    for key in table:
        if base is not None and key in reasons:
            findings.add(key, f'a house rule cannot set "{key}" of {base.id}', reasons[key])
    about = schema_of(_HouseRule)
    open_to_it = {key: value for key, value in table.items() if key not in reasons}
    values = values_from({**about, **settable_somewhere()}, open_to_it, findings)
    said = {name: values.pop(name) for name in about if name in values}
    if "id" in said:
        _note_bad_id(said["id"], rules, findings)
    if base is None:
        return None
    forms = _limited_forms(said.get("forms", ()), values, findings, base=base)
    rule, changes = tighten(base, values, findings, forms=forms)
    rule, added = _with_added_forms(rule, said.get("adds_form", ()), findings, base=base)
    if len(findings.problems) > before:
        return None
    differs = (*(change.short for change in changes), *added)
    if not differs:
        findings.add("", f"the rule changes nothing of {base.id}", "Set at least one figure, or leave the rule out")
        return None
    house, published = _HouseRule(**said), base.builds_on or base.id
    texts = [change.clause(base=base.id) for change in changes] + [
        message("rules.form_added", line=line) for line in added
    ]
    rule = replace(
        rule,
        id=house.id,
        title=house.title or base.title,
        builds_on=published,
        differs=(*base.differs, *differs),
        reference=Reference(
            work=house.source,
            section=f"builds on {published}",
            edition=base.reference.edition,
            mark=Mark.HOUSE,
            read_in=findings.file,
        ),
        clauses=(*_house_clauses(base, texts), *(clause for clause in base.clauses if clause.mark is not Mark.HOUSE)),
    )
    note_misshapen(rule, findings)
    return rule


def _base(name: object, rules: Mapping[str, Rule], findings: Findings) -> Rule | None:
    """The rule to build on: a built-in one, or a house rule that stands earlier in the file."""
    known = (*rule_ids(), *rules)
    if not isinstance(name, str):
        return None  # missing or of the wrong type, which the reading of the table reports
    if name not in known:
        findings.add_unknown("builds_on", name, known=known, thing="rule")
        return None
    base = rules[name] if name in rules else load_rule(name)
    published = base.builds_on or base.id
    latest = _newest(rules).get(published, name)
    if latest != name:
        found = f"{latest} builds on {published} too, and a set asks for one of them"
        findings.add("builds_on", found, f'Write builds_on = "{latest}"')
        return None
    return base


def _limited_forms(
    names_given: tuple[str, ...], figures: Mapping[str, Any], findings: Findings, *, base: Rule
) -> tuple[str, ...]:
    """The forms that a limit of a table is for, under the names that the rules use."""
    if not names_given:
        return ()
    of_rows = [name for name in settable(type(base)) if name in figures and name not in base.__struct_fields__]
    if not of_rows:
        findings.add(
            "forms",
            '"forms" goes with limit_percent or outer_percent of a mass rule',
            "Leave it out; the other figures hold for every form of the rule",
        )
        return ()
    limited = {form for row in getattr(base, table_of(type(base), of_rows[0])) for form in row.forms}
    names: list[str] = []
    for number, text in enumerate(names_given, start=1):
        at = findings.within(f"forms[{number}]")
        name = _form(text, at)
        if name is None:
            continue
        names.append(name)
        if name not in limited:
            at.add("", f"{base.id} has no limit for {name}", "Give the form its limit and source under adds_form")
    return tuple(names)


def _form(text: str, findings: Findings) -> str | None:
    form = find_form(text)
    if form is not None:
        return form.name
    near = " or ".join(near.name for near in nearest_forms(text))
    mend = f"Did you mean {near}?" if near else "Write suppositories, say"
    findings.add("", f'"{text}" is no known dosage form', mend)
    return None


def _with_added_forms(
    rule: Rule, adds: tuple[AddedForm, ...], findings: Findings, *, base: Rule
) -> tuple[Rule, list[str]]:
    """The rule with a row for each form that the published table does not have, and a line about each."""
    kind = kind_of(rule)
    lines: list[str] = []
    if adds and not kind.forms_named(rule):
        findings.add("adds_form", f"{base.id} has no table of forms to add to", "Build on a mass rule")
        return rule, lines
    for number, added in enumerate(adds, start=1):
        at = findings.within(f"adds_form[{number}].form")
        name = _form(added.form, at)
        if name in kind.forms_named(rule):
            at.add("", f"{base.id} names {name} already", 'Set limit_percent and "forms" instead')
        elif name is not None:
            rule, line = kind.with_form(rule, form=name, added=added)
            lines.append(line)
    return rule, lines


def _house_clauses(base: Rule, texts: list[Message]) -> tuple[Clause, ...]:
    """Clauses of the house, before the published ones and numbered apart from them."""
    earlier = [clause.text for clause in base.clauses if clause.mark is Mark.HOUSE] or [message("rules.house_first")]
    return tuple(
        Clause(number=f"H{number}", text=text, mark=Mark.HOUSE)
        for number, text in enumerate((*earlier, *texts), start=1)
    )


def _house_set(house: _HouseSet, rules: Mapping[str, Rule], findings: Findings, *, name: str) -> RuleSet | None:
    """The rule set of the house, which bears the `name` of the file when it has no id; None where it builds on none."""
    if house.builds_on not in set_ids():
        findings.add_unknown("builds_on", house.builds_on, known=set_ids(), thing="rule set")
        return None
    if house.id:
        _note_bad_id(house.id, rules, findings)
    base, newest = load_set(house.builds_on), _newest(rules)
    asked = {ask.rule for ask in base.asks}
    own = [_own_ask(rules[id]) for built_in, id in newest.items() if built_in not in asked]
    for number, id in enumerate(house.adds, start=1):
        key = f"adds[{number}]"
        if id not in rule_ids():
            findings.add_unknown(key, id, known=rule_ids(), thing="rule")
        elif id in newest:
            findings.add(key, f"{newest[id]} builds on {id} and is asked for already", "Leave it out")
        elif id in asked or id in house.adds[: number - 1]:
            findings.add(key, f"{id} is asked for already", "Leave it out")
        else:
            own.append(_own_ask(load_rule(id)))
    return RuleSet(
        id=house.id or name,
        title=house.title or base.title,
        asks=(*(_replaced(ask, rules[newest[ask.rule]]) if ask.rule in newest else ask for ask in base.asks), *own),
        reference=base.reference,
        notes=base.notes,
    )


def _replaced(ask: Asks, rule: Rule) -> Asks:
    """A line of a set with the house rule in place of the published one, asked of added forms too."""
    added: list[str] = []
    if ask.forms:
        kind = kind_of(rule)
        known = {*kind.forms_named(load_rule(ask.rule)), *ask.forms}
        added = [form for form in kind.forms_named(rule) if form not in known]
    return replace(ask, rule=rule.id, forms=(*ask.forms, *added))


def _own_ask(rule: Rule) -> Asks:
    """The line for a rule that the set does not ask for by itself: the house asks, so it is required."""
    return Asks(rule=rule.id, forms=kind_of(rule).asked_of(rule), required=True, mark=Mark.HOUSE)
