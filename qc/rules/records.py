"""What every acceptance rule has, as frozen records: its clauses, the page it stands on, and how we know it.

A record is filled from one file in `qc/rules/data/`, named by the rule id. The figures of each kind of rule stand in
`qc/rules/kinds/`. Nothing here judges.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from typing import Any

from msgspec import Struct

from qc.results import Message, TestResult, Verdict


class Mark(StrEnum):
    """How a figure came to us; the report repeats it."""

    SEEN = "seen"
    FROM_MEMORY = "from memory"
    OUR_READING = "our reading"
    COMMON_PRACTICE = "common practice"
    HOUSE = "house rule"


class Reference(Struct, frozen=True, kw_only=True):
    """The page behind a rule: work, section, edition; and whether it was read or remembered."""

    work: str
    section: str
    edition: str
    mark: Mark
    read_in: str = ""


class Clause(Struct, frozen=True, kw_only=True):
    """One sentence of a rule in our own words, numbered, with its own mark; that of a house is a message.

    `limits` are the ids of the limits that it sets, at `stage` of the test; at every stage where that is 0. `forms` are
    the dosage forms that it is about; every form of the rule where none is named.
    """

    number: str
    text: str | Message
    mark: Mark
    limits: tuple[str, ...] = ()
    stage: int = 0
    forms: tuple[str, ...] = ()


class Rule(Struct, frozen=True, kw_only=True):
    """What every rule record has."""

    id: str
    title: str
    test: str
    reference: Reference
    clauses: tuple[Clause, ...]
    builds_on: str = ""
    """Id of the built-in rule that a house rule tightens; empty for a built-in rule."""
    differs: tuple[str, ...] = ()
    """For a house rule: the fields it sets, each as "limit_percent: 5 -> 4"."""

    def clause_of(self, limit: str, *, stage: int = 1) -> str:
        """Number of the clause that sets a limit at a stage; empty where none does."""
        return next((one.number for one in self.clauses if limit in one.limits and one.stage in (0, stage)), "")


class TableRow(Struct, frozen=True, kw_only=True):
    """A row of a table of a rule."""

    mark: Mark

    @property
    def holds(self) -> str:
        """What the row is for, as the page of its rule has it."""
        raise NotImplementedError

    def said(self, rule: Any) -> str:
        """What the row says, as the page of its rule has it."""
        raise NotImplementedError


class FormRow(TableRow, frozen=True, kw_only=True):
    """A row of a table of a rule that goes by dosage form."""

    forms: tuple[str, ...]

    @property
    def holds(self) -> str:
        """The forms, and what else the row goes by."""
        return ", ".join((*self.forms, *([self.holds_for] if self.holds_for else [])))

    @property
    def holds_for(self) -> str:
        """What else the row goes by, in words; empty where the form is all."""
        return ""


class Asks(Struct, frozen=True, kw_only=True):
    """One line of a rule set: which rule it asks for, of which forms and doses.

    No form named means every form: one that the rule has no limit for is asked for too, and said to lack it.

    A dose lies under the threshold when its label claim is below `dose_below_mg` OR its share of the unit's mass is
    below `fraction_below_percent`. `actives` "under" means the test is asked of the actives under the threshold;
    "all" of every active; "labelled" requires it only of those with a label claim. `unless_all_under` waives the test
    where every active is under that threshold.
    """

    rule: str
    forms: tuple[str, ...]
    required: bool
    actives: str = "all"
    dose_below_mg: Decimal | None = None
    fraction_below_percent: Decimal | None = None
    inclusive: bool = False
    """Whether a dose exactly at a threshold counts as under it ("5 mg or less")."""
    unless_all_under: bool = False
    mark: Mark = Mark.SEEN


class RuleSet(Struct, frozen=True, kw_only=True):
    """Which rules judge a batch: the default set judges whatever has its inputs; a book's set asks for what it asks."""

    id: str
    title: str
    asks: tuple[Asks, ...]
    reference: Reference | None = None
    notes: tuple[str, ...] = ()


class PourSettings(Struct, frozen=True, kw_only=True):
    """What a house says of the pour, in the table [pour] of its file.

    Parameters
    ----------
    important_change_percent : Decimal or None
        The change from first to last unit that matters [% of mean]; the usual one where None.
    later_units_richer : bool
        True where the person who pours states beforehand that a change could only enrich the later units; contents are
        then tested for a rise only, which sees more.
    """

    important_change_percent: Decimal | None = None
    later_units_richer: bool = False


def bearing(rule: Rule, *, form: str, tests: Sequence[TestResult]) -> list[Clause]:
    """The clauses of a rule by which a batch of some form was judged: those about it that set the limits compared.

    Beside them those that are of another mark than the rule, as far as the stage was reached; one that reads a limit,
    where that was missed. Of a rule that was not read itself, what was read of its method is left out; of one whose
    clauses name no limit, all that are about the form.
    """
    about = [clause for clause in rule.clauses if not clause.forms or form in clause.forms]
    if not any(clause.limits for clause in rule.clauses):
        return about
    due = any(test.verdict is Verdict.SECOND_STAGE for test in tests)
    compared = [one for test in tests for one in test.criteria if one.met is not None or due]
    numbers, set_here = {one.clause for one in compared}, {one.what for one in compared}
    stages = (0, 1, 2) if due or any(test.figures.get("stage") == 2 for test in tests) else (0, 1)
    missed = {one.what for one in compared if not one.met}
    passed_over = (rule.reference.mark, *([Mark.SEEN] if rule.reference.mark is Mark.FROM_MEMORY else []))
    by_number = not numbers.isdisjoint(clause.number for clause in about)
    return [
        clause
        for clause in about
        if clause.number in numbers
        or (
            set_here & {*clause.limits} and (not by_number or (due and clause.stage == 2))
            if clause.mark in passed_over
            else compared and clause.stage in stages and (not clause.limits or missed & {*clause.limits})
        )
    ]
