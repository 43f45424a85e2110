"""The whole results workbook: which sheets a judged batch has, and its bytes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from msgspec import Struct

from qc.judging.mass import MEAN_TEST
from qc.results import JudgedBatch, TestResult
from qc.rules.kinds.content.procedure import TEST as CONTENT_TEST
from qc.rules.kinds.dosage_units.procedure import TEST as DOSAGE_UNIT_TEST
from qc.rules.kinds.mass.procedure import TEST as MASS_TEST
from qc.rules.records import Rule
from qc.rules.rule_books import RuleBook, load_rule
from qc.workbook.page import Pages, workbook_of
from qc.workbook.recheck.balance_sheet import write_balance
from qc.workbook.recheck.content_sheet import write_content
from qc.workbook.recheck.data import DataCells, NewPage, write_data
from qc.workbook.recheck.dosage_sheet import write_dosage
from qc.workbook.recheck.mass_sheet import write_mass
from qc.workbook.recheck.plan_sheet import write_plan
from qc.workbook.recheck.rules_sheet import write_rules
from qc.workbook.recheck.summary_sheet import SheetOfTest, write_summary
from qc.workbook.recheck.unit_sheet import Recalculated
from qc.workbook.recheck.units import Case

_ON_RECORD = "The verdict of record: every unit counts."
_WITHOUT = "What it would be without the units that carry a reason to be left out; never the verdict of record."

_SHEETS: dict[str, tuple[str, Callable[[Case, Any], Recalculated]]] = {
    MASS_TEST: ("Mass", write_mass),
    CONTENT_TEST: ("Content", write_content),
    DOSAGE_UNIT_TEST: ("Dosage", write_dosage),
}
"""The tests of single units, each with the name of its sheet and what writes it."""


def results_workbook(judged: JudgedBatch, *, book: RuleBook) -> bytes:
    """The results workbook of a judged batch as bytes; the same judged batch gives the same bytes.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    book : RuleBook
        The rules it was judged by; the limits are written from their records.
    """
    return workbook_of("Results workbook", lambda pages: _write(pages, judged, book=book))


def _write(pages: Pages, judged: JudgedBatch, *, book: RuleBook) -> None:
    summary = pages.page("Summary")
    data = write_data(judged.batch, new_page=pages.page)
    plan = balance = None
    if judged.planned_mass is not None:
        mean_rule = next((rule for rule in book.rules.values() if rule.test == MEAN_TEST), None)
        limit = judged.planned_mass.limit_percent
        plan = write_plan(pages.page("Plan"), data=data, rule=mean_rule, limit_percent=limit)
    if judged.reconciliation is not None:
        planned = None if plan is None else plan.figures["planned_g"]
        balance = write_balance(pages.page("Balance"), data=data, planned=planned)
    # A check that was entered and not asked for is judged by a built-in rule that the set does not hold.
    rules = {test.rule: book.rules.get(test.rule) or load_rule(test.rule) for test in judged.tests}
    writer = _Writer(judged=judged, data=data, rules=rules, open_page=pages.page, plan=plan, balance=balance)
    tests = writer.tests()
    write_rules(pages.page("Rules"), rules=tuple(rules.values()))
    write_summary(summary, judged, tests=tests, plan=plan, balance=balance)


class _Writer(Struct, frozen=True, kw_only=True):
    """Writes the sheet of each test."""

    judged: JudgedBatch
    data: DataCells
    rules: Mapping[str, Rule]
    open_page: NewPage
    plan: Recalculated | None
    balance: Recalculated | None

    def tests(self) -> list[SheetOfTest]:
        """The sheets of all tests, numbered where there are several of a kind."""
        ids = [test.id for test in self.judged.tests]
        found = []
        for place, test in enumerate(self.judged.tests):
            name = _SHEETS[test.id][0] if test.id in _SHEETS else ""
            number = "" if ids.count(test.id) == 1 else f" {ids[: place + 1].count(test.id)}"
            found.append(self._test(test, name=f"{name}{number}"))
        return found

    def _test(self, test: TestResult, *, name: str) -> SheetOfTest:
        if test.id not in _SHEETS:
            shared = {MEAN_TEST: self.plan if test.figures else None, "reconciliation": self.balance}
            return SheetOfTest(test=test, sheet=shared.get(test.id))
        record = self._sheet(test, tuple(test.figures), name=name, less=())
        without = None
        if other := test.without_left_out:
            without = self._sheet(test, tuple(other.figures), name=f"{name} kept", less=other.units)
        return SheetOfTest(test=test, sheet=record, without=without)

    def _sheet(
        self, test: TestResult, figures: Sequence[str], *, name: str, less: Sequence[str]
    ) -> Recalculated | None:
        """The sheet of one test, less some units; None where there is nothing to calculate."""
        if not figures:
            return None
        case = Case(
            page=self.open_page(name),
            batch=self.judged.batch,
            data=self.data,
            active=test.active or "",
            less=less,
            figures=figures,
            remark=_WITHOUT if less else _ON_RECORD,
        )
        return _SHEETS[test.id][1](case, self.rules[test.rule])
