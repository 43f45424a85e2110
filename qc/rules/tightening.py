"""What a house may change in a published rule, and in which direction: only so that fewer samples comply."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from types import MappingProxyType
from typing import Any

from msgspec import Struct
from msgspec.structs import replace

from qc.results import Message, message
from qc.rules.kind import shown
from qc.rules.kinds import all_kinds
from qc.rules.records import FormRow, Mark, Rule
from qc.rules.schema import About, Shape, schema_of
from qc.rules.strict_records import Findings


def settable(record: type[Rule]) -> Mapping[str, Shape]:
    """The figures that a house may set in rules of a record, those of the rows of its tables first."""
    own = schema_of(record)
    rows = [schema_of(shape.kind) for shape in own.values() if _is_table(shape)]
    return MappingProxyType({name: shape for one in (*rows, own) for name, shape in one.items() if shape.about.tighter})


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


class SetFigure(Struct, frozen=True, kw_only=True):
    """One figure that a house set: where it holds, what it was, what it is."""

    name: str
    about: About
    where: str
    before: Decimal | int | None
    after: Decimal | int

    @property
    def short(self) -> str:
        """As a line, for example "limit_percent of suppositories: 5 -> 4"."""
        place = f" of {self.where}" if self.where else ""
        return f"{self.name}{place}: {shown(self.before)} -> {shown(self.after)}"

    def clause(self, *, base: str) -> Message:
        """As a clause of the house, naming the rule that it tightens."""
        return message(
            "rules.figure_set",
            figure=self.about.name,
            where=self.where,
            before=shown(self.before, unit=self.about.unit),
            after=shown(self.after, unit=self.about.unit),
            base=base,
        )

    def is_tighter(self, findings: Findings, *, whose: str) -> bool:
        """Whether it moves in the tight direction; one that stays is no change, one that is looser is a problem."""
        if self.before is None or self.after == self.before:
            return self.before is None
        if (self.after < self.before) is (self.about.tighter == "less"):
            return True
        before = shown(self.before)
        found = f"{shown(self.after)} is looser than the {before} of {whose}"
        findings.add(self.name, found, f"Give {before} or {self.about.tighter}")
        return False


def tighten(
    base: Rule, figures: Mapping[str, Decimal | int], findings: Findings, *, forms: tuple[str, ...] = ()
) -> tuple[Rule, tuple[SetFigure, ...]]:
    """A rule with the figures that a house asks for, and what has changed by them.

    Parameters
    ----------
    base : Rule
        The rule to tighten.
    figures : mapping
        The figures asked for, each at its key.
    findings : Findings
        Takes a problem for every figure that is looser or that this kind of rule does not have.
    forms : tuple of str
        The forms that a limit of a table is for; empty for all of them.

    Returns
    -------
    tuple of Rule and tuple of SetFigure
        The rule still bears the id and clauses of the base. Figures with a problem are as in the base.
    """
    known = settable(type(base))
    rule, changes = base, list[SetFigure]()
    for name, after in figures.items():
        if name not in known:
            findings.add(
                name,
                f'a rule on {base.test} has no "{name}" that a house can set',
                f"It can set: {', '.join(known)}" if known else "Leave it out; no figure of this rule can be set",
            )
        elif name not in rule.__struct_fields__:
            rule, made = _with_tighter_rows(rule, name, after, findings, forms=forms)
            changes += made
        else:
            before = getattr(base, name)
            change = SetFigure(name=name, about=known[name].about, where="", before=before, after=after)
            if change.is_tighter(findings, whose=base.id):
                rule = replace(rule, **{name: after})
                changes.append(change)
    return rule, tuple(changes)


def table_of(record: type[Rule], name: str) -> str:
    """The field of a record that holds the table whose rows have a figure."""
    return next(
        field for field, shape in schema_of(record).items() if _is_table(shape) and name in schema_of(shape.kind)
    )


def _is_table(shape: Shape) -> bool:
    return shape.several and issubclass(shape.kind, FormRow)


def _with_tighter_rows(
    rule: Rule, name: str, after: Decimal | int, findings: Findings, *, forms: tuple[str, ...]
) -> tuple[Rule, list[SetFigure]]:
    """The rule with one limit of its table moved for some forms; a row of several is split where it must be."""
    table, about = table_of(type(rule), name), settable(type(rule))[name].about
    rows: list[FormRow] = []
    changes: list[SetFigure] = []
    for row in getattr(rule, table):
        inside = tuple(form for form in row.forms if not forms or form in forms)
        outside = tuple(form for form in row.forms if form not in inside)
        where = ", ".join(inside) + (f" ({row.holds_for})" if row.holds_for else "")
        change = SetFigure(name=name, about=about, where=where, before=getattr(row, name), after=after)
        if not inside or not change.is_tighter(findings, whose=f"{rule.id} for {where}"):
            rows.append(row)
            continue
        if outside:
            rows.append(replace(row, forms=outside))
        tighter: dict[str, Any] = {name: Decimal(after)}
        rows.append(replace(row, forms=inside, mark=Mark.HOUSE, **tighter))
        changes.append(change)
    return replace(rule, **{table: tuple(rows)}), changes
