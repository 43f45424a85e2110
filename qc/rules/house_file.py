"""The rule file of a hospital: rules that build on published ones and are tighter, each with its own source."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from types import MappingProxyType
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.rules.built_in import PACKING_CHECKLIST, load_rule, rule_ids, set_ids
from qc.rules.forms import find_form, nearest_forms
from qc.rules.house_set import house_set, note_bad_id
from qc.rules.kind import AddedForm
from qc.rules.kinds import kind_of
from qc.rules.kinds.packing import PackingItem, PackingRule
from qc.rules.kinds.packing.answers import house_packing
from qc.rules.kinds.visual.defects import HouseDefect, house_defects
from qc.rules.pour_settings import PourSettings, pour_settings
from qc.rules.records import Clause, Mark, Reference, Rule, RuleSet
from qc.rules.schema import schema_of
from qc.rules.shapes import note_misshapen
from qc.rules.strict_records import Findings, did_you_mean, note_unknown_keys, read_toml, values_from
from qc.rules.tightening import Wish, fixed, settable, settable_somewhere, table_of, tighten


class HouseFile(Struct, frozen=True, kw_only=True):
    """What a house rule file holds: its rule set, and its own rules by id."""

    set: RuleSet
    rules: Mapping[str, Rule]
    defects: tuple[HouseDefect, ...] = ()
    packing: tuple[PackingItem, ...] = ()
    pour: PourSettings | None = None
    causes: Mapping[str, Any] | None = None
    """What the house takes to be true of the causes beforehand, as typed; the room of causes checks it."""


class _HouseRule(Struct, frozen=True, kw_only=True):
    """What a [[rule]] table says about the rule; its figures are those that a house may set."""

    id: str = "unnamed"
    builds_on: str = "nothing"
    source: str = "none"
    title: str = ""
    forms: tuple[str, ...] = ()
    adds_form: tuple[AddedForm, ...] = ()


_MUST_BE_THERE = ("id", "builds_on", "source")


def read_house_file(path: Path) -> HouseFile:
    """The rules and the rule set of a house file.

    Parameters
    ----------
    path : Path
        A TOML file with one `[[rule]]` table a rule and, if wanted, a `[set]` table.

    Returns
    -------
    HouseFile
        In its set every rule that a house rule builds on has been replaced by the house rule; one that builds on a
        rule that the set does not ask for is asked for besides.

    Raises
    ------
    RuleProblem
        Every problem of the file at once: an unknown key with the nearest known one, a looser limit, a missing
        source, an unknown rule to build on, an id that is taken.
    """
    table = read_toml(path)
    findings = Findings(path.name)
    note_unknown_keys(table, known=("rule", "set", "defect", "packing", "pour", "causes"), at="", findings=findings)
    rules: dict[str, Rule] = {}
    newest: dict[str, str] = {}
    for number, rule_table in enumerate(_tables(table, "rule", findings), start=1):
        rule = _house_rule(rule_table, at=f"rule[{number}]", rules=rules, newest=newest, findings=findings)
        if rule is not None:
            rules[rule.id] = rule
            newest[rule.builds_on] = rule.id
    defects = house_defects(_tables(table, "defect", findings), findings=findings)
    packing = _packing(_tables(table, "packing", findings), findings=findings)
    set_table = table.get("set", {})
    adds = isinstance(set_table, dict) and set_table.get("adds")
    pour = pour_settings(table["pour"], findings=findings) if "pour" in table else None
    causes = table.get("causes")
    if causes is not None and not isinstance(causes, dict):
        findings.add("causes", '"causes" is not a table', "Write a line [causes.prior] and its values below it")
    if not (any(table.get(key) for key in ("rule", "defect", "packing", "pour", "causes")) or adds):
        findings.add("rule", "the file has no rule", "Add a [[rule]] table with id, builds_on and source")
    rule_set = house_set(set_table, path=path, rules=rules, newest=newest, findings=findings)
    findings.stop_if_any()
    assert rule_set is not None
    return HouseFile(
        set=rule_set, rules=MappingProxyType(rules), defects=defects, packing=packing, pour=pour, causes=causes
    )


def _packing(tables: list[dict[str, Any]], *, findings: Findings) -> tuple[PackingItem, ...]:
    """The lines that the house adds to the checklist; the built-in ones are read only when it adds some."""
    if not tables:
        return ()
    checklist = load_rule(PACKING_CHECKLIST)
    assert isinstance(checklist, PackingRule)
    return house_packing(tables, built_in=checklist.items, findings=findings)


def _tables(table: Mapping[str, Any], key: str, findings: Findings) -> list[dict[str, Any]]:
    value = table.get(key, [])
    if isinstance(value, list) and all(isinstance(item, dict) for item in value):
        return value
    findings.add(key, f'"{key}" is not a list of tables', f"Begin each rule with [[{key}]]")
    return []


def _house_rule(
    table: dict[str, Any],
    *,
    at: str,
    rules: Mapping[str, Rule],
    newest: Mapping[str, str],
    findings: Findings,
) -> Rule | None:
    base = _base(table.get("builds_on"), at=at, rules=rules, newest=newest, findings=findings)
    if base is not None:
        table = _without_fixed(table, base=base, at=at, findings=findings)
    before = len(findings.problems)
    house, figures = _read(table, at=at, findings=findings)
    note_bad_id(house.id, taken=(*rule_ids(), *set_ids(), *rules), at=at, findings=findings)
    if base is None:
        return None
    forms = _limited_forms(house.forms, figures, base=base, at=at, findings=findings)
    wish = Wish(figures=figures, forms=forms)
    rule, changes = tighten(base, wish, at=at, findings=findings)
    rule, added = _with_added_forms(rule, house.adds_form, base=base, at=at, findings=findings)
    if len(findings.problems) > before:
        return None
    differs = (*(change.short for change in changes), *added)
    if not differs:
        findings.add(at, f"the rule changes nothing of {base.id}", "Set at least one figure, or leave the rule out")
        return None
    texts = [change.sentence(base=base.id) for change in changes] + [f"Added in this house: {line}." for line in added]
    rule = replace(
        rule,
        id=house.id,
        title=house.title or base.title,
        builds_on=base.builds_on or base.id,
        differs=(*base.differs, *differs),
        reference=Reference(
            work=house.source,
            section=f"builds on {base.builds_on or base.id}",
            edition=base.reference.edition,
            mark=Mark.HOUSE,
            read_in=findings.file,
        ),
        clauses=(*_house_clauses(base, texts), *(clause for clause in base.clauses if clause.mark is not Mark.HOUSE)),
    )
    note_misshapen(rule, kind=kind_of(rule), at=at, findings=findings)
    return rule


def _read(table: Mapping[str, Any], *, at: str, findings: Findings) -> tuple[_HouseRule, Mapping[str, Decimal | int]]:
    """What a table says about the rule, and the figures it sets; less what cannot be read, which is noted."""
    about = {
        name: replace(shape, may_be_left_out=name not in _MUST_BE_THERE)
        for name, shape in schema_of(_HouseRule).items()
    }
    values = values_from({**about, **settable_somewhere()}, table, at=at, findings=findings)
    said = {name: values.pop(name) for name in about if name in values}
    return _HouseRule(**said), MappingProxyType(values)


def _base(
    name: object,
    *,
    at: str,
    rules: Mapping[str, Rule],
    newest: Mapping[str, str],
    findings: Findings,
) -> Rule | None:
    """The rule to build on: a built-in one, or a house rule that stands earlier in the file."""
    known = (*rule_ids(), *rules)
    if not isinstance(name, str):
        return None  # missing or of the wrong type, which the reading of the table reports
    if name not in known:
        mend = did_you_mean(name, known, every="There are")
        findings.add(f"{at}.builds_on", f'no rule has the id "{name}"', mend)
        return None
    base = rules[name] if name in rules else load_rule(name)
    latest = newest.get(base.builds_on or base.id)
    if latest is not None and latest != name:
        found = f"{latest} builds on {base.builds_on or base.id} too, and a set asks for one of them"
        findings.add(f"{at}.builds_on", found, f'Write builds_on = "{latest}"')
        return None
    return base


def _without_fixed(table: dict[str, Any], *, base: Rule, at: str, findings: Findings) -> dict[str, Any]:
    reasons = fixed(type(base))
    for key in table:
        if key in reasons:
            findings.add(f"{at}.{key}", f'a house rule cannot set "{key}" of {base.id}', reasons[key])
    return {key: value for key, value in table.items() if key not in reasons}


def _limited_forms(
    names_given: tuple[str, ...], figures: Mapping[str, Any], *, base: Rule, at: str, findings: Findings
) -> tuple[str, ...]:
    """The forms that a limit of a table is for, under the names that the rules use."""
    if not names_given:
        return ()
    of_rows = [name for name in settable(type(base)) if name in figures and name not in base.__struct_fields__]
    if not of_rows:
        mend = "Leave it out; the other figures hold for every form of the rule"
        findings.add(f"{at}.forms", '"forms" goes with limit_percent or outer_percent of a mass rule', mend)
        return ()
    limited = {form for row in getattr(base, table_of(type(base), of_rows[0])) for form in row.forms}
    names: list[str] = []
    for number, text in enumerate(names_given, start=1):
        name = _form(text, at=f"{at}.forms[{number}]", findings=findings)
        if name is not None and name not in limited:
            mend = "Give the form its limit and source under adds_form"
            findings.add(f"{at}.forms[{number}]", f"{base.id} has no limit for {name}", mend)
        elif name is not None:
            names.append(name)
    return tuple(names)


def _form(text: str, *, at: str, findings: Findings) -> str | None:
    form = find_form(text)
    if form is not None:
        return form.name
    near = " or ".join(near.name for near in nearest_forms(text))
    findings.add(
        at, f'"{text}" is no known dosage form', f"Did you mean {near}?" if near else "Write suppositories, say"
    )
    return None


def _with_added_forms(
    rule: Rule, adds: tuple[AddedForm, ...], *, base: Rule, at: str, findings: Findings
) -> tuple[Rule, tuple[str, ...]]:
    """The rule with a row for each form that the published table does not have, and a line about each."""
    if not adds:
        return rule, ()
    kind = kind_of(rule)
    if not kind.adds_forms:
        findings.add(f"{at}.adds_form", f"{base.id} has no table of forms to add to", "Build on a mass rule")
        return rule, ()
    lines: list[str] = []
    for number, added in enumerate(adds, start=1):
        key = f"{at}.adds_form[{number}]"
        name = _form(added.form, at=f"{key}.form", findings=findings)
        if name is None:
            continue
        if name in kind.forms_named(rule):
            findings.add(f"{key}.form", f"{base.id} names {name} already", 'Set limit_percent and "forms" instead')
            continue
        rule, line = kind.with_form(rule, form=name, added=added)
        lines.append(line)
    return rule, tuple(lines)


def _house_clauses(base: Rule, texts: list[str]) -> tuple[Clause, ...]:
    """Clauses of the house, before the published ones and numbered apart from them."""
    earlier = [clause.text for clause in base.clauses if clause.mark is Mark.HOUSE]
    if not earlier:
        earlier = ["Where a clause of the house differs from a published one below, the clause of the house holds."]
    return tuple(
        Clause(number=f"H{number}", text=text, mark=Mark.HOUSE)
        for number, text in enumerate((*earlier, *texts), start=1)
    )
