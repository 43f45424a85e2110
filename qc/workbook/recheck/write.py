"""The whole results workbook: which sheets a judged batch has, and its bytes."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from io import BytesIO

from msgspec import Struct

from qc.batch import Active, Batch
from qc.judging.samples import actives_of, contents_found, mass_sample, on_scale, scale_of
from qc.results import JudgedBatch, TestResult
from qc.rules.forms import find_form
from qc.rules.measured import Measured, Stages, split_by_stage
from qc.rules.records import AnyRule, ContentRule, DosageUnitRule, MassRule, MeanMassRule, ReconciliationRule
from qc.rules.rule_books import RuleBook, load_rule
from qc.workbook.recheck.balance_sheet import write_balance
from qc.workbook.recheck.blocks import Recalculated
from qc.workbook.recheck.cells import Cell, Page
from qc.workbook.recheck.content_sheet import ContentCase, write_content
from qc.workbook.recheck.data import DataCells, write_data
from qc.workbook.recheck.dosage_sheet import DosageCase, write_dosage
from qc.workbook.recheck.look import look_of
from qc.workbook.recheck.mass_sheet import MassCase, write_mass
from qc.workbook.recheck.plan_sheet import PlanCells, write_plan
from qc.workbook.recheck.rules_sheet import write_rules
from qc.workbook.recheck.summary_sheet import SheetOfTest, write_summary

# A fixed date: the same batch gives the same bytes.
_MADE = datetime(2026, 1, 1)

_ON_RECORD = "The verdict of record: every unit counts."
_WITHOUT = "What it would be without the units that carry a reason to be left out; never the verdict of record."


def results_workbook(judged: JudgedBatch, *, book: RuleBook) -> bytes:
    """The results workbook of a judged batch as bytes; the same judged batch gives the same bytes.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.
    book : RuleBook
        The rules it was judged by; the limits are written from their records.
    """
    from xlsxwriter import Workbook

    buffer = BytesIO()
    workbook = Workbook(
        buffer, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False, "strings_to_numbers": False}
    )
    workbook.set_properties({"title": "Results workbook", "created": _MADE})
    look = look_of(workbook)

    def new_page(name: str) -> Page:
        return Page(name=name, sheet=workbook.add_worksheet(name), look=look)

    summary = new_page("Summary")
    data = write_data(judged.batch, new_page=new_page)
    plan = None
    if judged.planned_mass is not None:
        mean_rule = next((rule for rule in book.rules.values() if isinstance(rule, MeanMassRule)), None)
        plan = write_plan(new_page("Plan"), data=data, rule=mean_rule)
    balance = None
    if judged.reconciliation is not None:
        planned = None if plan is None else plan.figures["planned_g"]
        balance = write_balance(new_page("Balance"), found=judged.reconciliation, data=data, planned=planned)
    writer = _Writer(batch=judged.batch, data=data, book=book, new_page=new_page, plan=plan, balance=balance or {})
    tests = writer.tests(judged.tests)
    # A check that was entered and not asked for is judged by a built-in rule that the set does not hold.
    rules = {test.rule: book.rules.get(test.rule) or load_rule(test.rule) for test in judged.tests}
    write_rules(new_page("Rules"), rules=tuple(rules.values()))
    write_summary(summary, judged, tests=tests, plan=plan, balance=balance)
    workbook.close()
    return buffer.getvalue()


class _Writer(Struct, frozen=True, kw_only=True):
    """Writes the sheet of each test."""

    batch: Batch
    data: DataCells
    book: RuleBook
    new_page: Callable[[str], Page]
    plan: PlanCells | None
    balance: Mapping[str, Cell]

    def tests(self, tests: Sequence[TestResult]) -> list[SheetOfTest]:
        """The sheets of all tests, numbered where there are several of a kind."""
        kinds = [_kind(self.book.rules.get(test.rule)) for test in tests]
        found = []
        for place, (test, kind) in enumerate(zip(tests, kinds, strict=True)):
            number = kinds[: place + 1].count(kind)
            sheet = kind if kinds.count(kind) == 1 else f"{kind} {number}"
            found.append(self._test(test, sheet=sheet))
        return found

    def _test(self, test: TestResult, *, sheet: str) -> SheetOfTest:
        rule = self.book.rules.get(test.rule)
        if isinstance(rule, MeanMassRule):
            plan = self.plan.recalculated if self.plan is not None and test.figures else None
            return SheetOfTest(test=test, sheet="Plan", recalculated=plan)
        if isinstance(rule, ReconciliationRule):
            return SheetOfTest(test=test, sheet="Balance", recalculated=None, further=self.balance)
        recalculated = self._sheet(test, rule, names=tuple(test.figures), sheet=sheet, less=())
        without, without_sheet = None, ""
        if test.without_left_out is not None:
            without_sheet = f"{sheet} kept"
            names = tuple(test.without_left_out.figures)
            without = self._sheet(test, rule, names=names, sheet=without_sheet, less=test.without_left_out.units)
        return SheetOfTest(
            test=test, sheet=sheet, recalculated=recalculated, without=without, without_sheet=without_sheet
        )

    def _sheet(
        self, test: TestResult, rule: AnyRule | None, *, names: Sequence[str], sheet: str, less: Sequence[str]
    ) -> Recalculated | None:
        """The sheet of one test, less some units; None where there is nothing to reckon."""
        if not names:
            return None
        title = "" if rule is None else f"{rule.title}: {test.active}" if test.active else rule.title
        remark = _WITHOUT if less else _ON_RECORD
        if isinstance(rule, MassRule):
            mass = self._mass_case(rule, names=names, less=less)
            return write_mass(self.new_page(sheet), case=mass, data=self.data, title=title, remark=remark)
        if isinstance(rule, ContentRule) and test.active is not None:
            content = self._content_case(rule, active=test.active, names=names, less=less)
            return write_content(self.new_page(sheet), case=content, data=self.data, title=title, remark=remark)
        if isinstance(rule, DosageUnitRule) and test.active is not None:
            dosage = self._dosage_case(rule, active=test.active, names=names, less=less)
            return write_dosage(self.new_page(sheet), case=dosage, data=self.data, title=title, remark=remark)
        return None

    def _mass_case(self, rule: MassRule, *, names: Sequence[str], less: Sequence[str]) -> MassCase:
        weighed = mass_sample(self.batch)
        form = find_form(self.batch.dosage_form or "")
        assert form is not None, "a test of mass has figures only where its form is known"
        return MassCase(
            sample=tuple(unit.unit for unit in weighed.sample if unit.unit not in less),
            others=tuple(unit.unit for unit in weighed.others if unit.unit not in less),
            rule=rule,
            form=form.name,
            figures=names,
        )

    def _content_case(
        self, rule: ContentRule, *, active: str, names: Sequence[str], less: Sequence[str]
    ) -> ContentCase:
        one = self._active(active)
        found = [content for content in contents_found(self.batch, active=one) if content.unit not in less]
        scale = scale_of(found, batch=self.batch, active=one)
        assert scale is not None, "a test of content has figures only where its contents stand on one scale"
        return ContentCase(
            active=active,
            stages=_staged(on_scale(found, scale=scale), [one.stage for one in found], rule=rule),
            in_mg=scale.unit == "mg",
            rule=rule,
            figures=names,
        )

    def _dosage_case(
        self, rule: DosageUnitRule, *, active: str, names: Sequence[str], less: Sequence[str]
    ) -> DosageCase:
        found = [one for one in contents_found(self.batch, active=self._active(active)) if one.unit not in less]
        by_mass = not found
        measured = (
            mass_sample(self.batch).sample
            if by_mass
            else tuple(Measured(unit=one.unit, value=one.percent) for one in found if one.percent is not None)
        )
        marked = [None] * len(measured) if by_mass else [one.stage for one in found]
        return DosageCase(
            active=active, stages=_staged(measured, marked, rule=rule), by_mass=by_mass, rule=rule, figures=names
        )

    def _active(self, name: str) -> Active:
        return next(active for active in actives_of(self.batch) if active.name == name)


def _staged(
    measured: Sequence[Measured], marked: Sequence[int | None], *, rule: ContentRule | DosageUnitRule
) -> Stages:
    return split_by_stage(measured, marked=marked, first_size=rule.first_size, second_size=rule.second_size)


def _kind(rule: AnyRule | None) -> str:
    if isinstance(rule, MassRule):
        return "Mass"
    if isinstance(rule, ContentRule):
        return "Content"
    return "Dosage" if isinstance(rule, DosageUnitRule) else "Other"
