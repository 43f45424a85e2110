"""What a house may change in a published rule, and in which direction: only so that fewer samples comply."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.rules.kind import shown
from qc.rules.kinds import all_kinds, kind_of
from qc.rules.records import FormRow, Mark, Rule
from qc.rules.schema import About, Shape, Tighter, schema_of
from qc.rules.strict_records import Findings


def settable(record: type[Rule]) -> Mapping[str, Shape]:
    """The figures that a house may set in rules of a record, those of the rows of its tables first."""
    own = schema_of(record)
    rows = [schema_of(shape.kind) for shape in own.values() if _is_table(shape)]
    return MappingProxyType(
        {name: shape for one in (*rows, own) for name, shape in one.items() if shape.about.tighter is not None}
    )


def settable_somewhere() -> Mapping[str, Shape]:
    """The figures that a house may set in a rule of any kind, none of which has to be there."""
    return MappingProxyType(
        {
            name: replace(shape, may_be_left_out=True)
            for kind in all_kinds()
            for name, shape in settable(kind.record).items()
        }
    )


def fixed(record: type[Rule]) -> Mapping[str, str]:
    """The figures that a house may not set in rules of a record, each with the reason."""
    return MappingProxyType({name: shape.about.fixed for name, shape in schema_of(record).items() if shape.about.fixed})


class Change(Struct, frozen=True, kw_only=True):
    """One figure that a house set: where it holds, what it was, what it is."""

    name: str
    words: str
    where: str
    before: Decimal | int | None
    after: Decimal | int

    @property
    def short(self) -> str:
        """As a line, for example "limit_percent of suppositories: 5 -> 4"."""
        place = f" of {self.where}" if self.where else ""
        return f"{self.name}{place}: {shown(self.before)} -> {shown(self.after)}"

    def sentence(self, *, base: str) -> str:
        """As a clause in words, naming the rule that it tightens."""
        place = f" for {self.where}" if self.where else ""
        return f"The {self.words} is {shown(self.after)}{place} in this house; {base} has {shown(self.before)}."


class Wish(Struct, frozen=True, kw_only=True):
    """The figures a house asks for, each at its key, and the forms a limit is for (empty: all of them)."""

    figures: Mapping[str, Decimal | int]
    forms: tuple[str, ...] = ()


def tighten(base: Rule, wish: Wish, *, at: str, findings: Findings) -> tuple[Rule, tuple[Change, ...]]:
    """A rule with the figures that a house asks for, and what has changed by them.

    Parameters
    ----------
    base : Rule
        The rule to tighten.
    wish : Wish
        The figures asked for.
    at : str
        Key of the house rule in its file.
    findings : Findings
        Takes a problem for every figure that is looser or that this kind of rule does not have.

    Returns
    -------
    tuple of Rule and tuple of Change
        The rule still bears the id and clauses of the base. Figures with a problem are as in the base.
    """
    known, kind = settable(type(base)), kind_of(base)
    rule, changes = base, list[Change]()
    for name, after in wish.figures.items():
        key = f"{at}.{name}"
        refusal = kind.refusal(base, name)
        if name not in known:
            mend = f"It can set: {', '.join(known)}" if known else "Leave it out; no figure of this rule can be set"
            findings.add(key, f'a rule on {base.test} has no "{name}" that a house can set', mend)
        elif refusal is not None:
            findings.add(key, *refusal)
        elif name not in rule.__struct_fields__:
            rule, made = _with_tighter_rows(rule, name, after, forms=wish.forms, key=key, findings=findings)
            changes += made
        else:
            about, before = known[name].about, getattr(base, name)
            if _is_tighter(about, before, after, whose=base.id, key=key, findings=findings):
                rule = replace(rule, **{name: after})
                changes.append(Change(name=name, words=about.clause, where="", before=before, after=after))
    return kind.settled(rule), tuple(changes)


def table_of(record: type[Rule], name: str) -> str:
    """The field of a record that holds the table whose rows have a figure."""
    return next(
        field for field, shape in schema_of(record).items() if _is_table(shape) and name in schema_of(shape.kind)
    )


def _is_table(shape: Shape) -> bool:
    return shape.several and issubclass(shape.kind, FormRow)


def _with_tighter_rows(
    rule: Rule, name: str, after: Decimal | int, *, forms: tuple[str, ...], key: str, findings: Findings
) -> tuple[Rule, list[Change]]:
    """The rule with one limit of its table lowered for some forms; a row of several is split where it must be."""
    table = table_of(type(rule), name)
    about = settable(type(rule))[name].about
    rows: list[FormRow] = []
    changes: list[Change] = []
    for row in getattr(rule, table):
        inside = tuple(form for form in row.forms if not forms or form in forms)
        outside = tuple(form for form in row.forms if form not in inside)
        before = getattr(row, name)
        where = ", ".join(inside) + (f" ({row.holds_for})" if row.holds_for else "")
        whose = f"{rule.id} for {where}"
        if not inside or not _is_tighter(about, before, after, whose=whose, key=key, findings=findings):
            rows.append(row)
            continue
        if outside:
            rows.append(replace(row, forms=outside))
        changed: dict[str, Any] = {name: Decimal(after)}
        rows.append(replace(row, forms=inside, mark=Mark.HOUSE, **changed))
        changes.append(Change(name=name, words=about.clause, where=where, before=before, after=after))
    return replace(rule, **{table: tuple(rows)}), changes


def _is_tighter(
    about: About,
    before: Decimal | int | None,
    after: Decimal | int,
    *,
    whose: str,
    key: str,
    findings: Findings,
) -> bool:
    """Whether a figure moves in the tight direction; one that stays is no change, one that is looser is a problem."""
    if before is None:
        return True
    if after == before:
        return False
    assert about.tighter is not None
    if (after < before) is (about.tighter is Tighter.SMALLER):
        return True
    found = f"{shown(after)} is looser than the {shown(before)} of {whose}"
    findings.add(key, found, f"Give {shown(before)} {about.tighter.value}")
    return False
