"""The whole results workbook: which sheets a judged batch has, and its bytes."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence

from msgspec.structs import replace

from qc.results import JudgedBatch, TestResult, Verdict
from qc.rules.rule_books import RuleBook, load_rule
from qc.workbook.page import RESULTS_WORKBOOK, Pages, workbook_of
from qc.workbook.recheck.batch_sheets import write_balance, write_plan, write_rules
from qc.workbook.recheck.content_sheet import write_content
from qc.workbook.recheck.data import write_data
from qc.workbook.recheck.dosage_sheet import write_dosage
from qc.workbook.recheck.large_sheet import write_large
from qc.workbook.recheck.mass_sheet import write_mass
from qc.workbook.recheck.other_sheets import has_results, write_packing, write_results
from qc.workbook.recheck.seen_sheet import write_seen
from qc.workbook.recheck.summary_sheet import SheetOfTest, write_summary
from qc.workbook.recheck.unit_sheet import Case, Recalculated

_PACKING, _LARGE = "packing-checklist", "large-sample-uniformity"
_SHEETS: dict[str, tuple[str, Callable[..., Recalculated]]] = {
    "mass-uniformity": ("Mass", write_mass),
    "content-uniformity": ("Content", write_content),
    "dosage-unit-uniformity": ("Dosage", write_dosage),
    _LARGE: ("Large", write_large),
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
    return workbook_of(RESULTS_WORKBOOK, lambda pages: _write(pages, judged, book=book))


def _write(pages: Pages, judged: JudgedBatch, *, book: RuleBook) -> None:
    summary = pages.page("Summary")
    sample = frozenset(row.unit for row in judged.unit_rows if row.in_mass_sample)
    data = write_data(judged.batch, sample=sample, pages=pages)
    plan = balance = Recalculated()
    if judged.planned_mass is not None:
        mean_rule = next((rule for rule in book.rules.values() if rule.test == "mean-mass"), None)
        limit = judged.planned_mass.limit_percent
        plan = write_plan(pages.page("Plan"), data=data, rule=mean_rule, limit_percent=limit)
    if judged.reconciliation is not None:
        balance = write_balance(pages.page("Balance"), data=data, planned=plan.figures.get("planned_g"))
    # A check that was entered and not asked for is judged by a built-in rule that the set does not hold.
    rules = {test.rule: book.rules.get(test.rule) or load_rule(test.rule) for test in judged.tests}

    def calculated(test: TestResult, figures: Collection[str], name: str, less: Sequence[str] = ()) -> Recalculated:
        """The sheet of one test, less some units; none where there is nothing to calculate."""
        if not figures:
            return Recalculated()
        page, active = pages.page(name), test.active or ""
        case = Case(page=page, batch=judged.batch, data=data, active=active, less=less, figures=figures)
        beside = {"sample": test.sample} if test.id == _LARGE else {}
        return _SHEETS[test.id][1](case, rules[test.rule], **beside)

    ids = [test.id for test in judged.tests]
    shared = {"mean-mass": plan, "reconciliation": balance}
    by_limits = [test for test in judged.tests if test.id not in (*_SHEETS, *shared) and has_results(test)]
    results = pages.page("Results") if by_limits else None
    packing = Recalculated()
    if judged.packing is not None and _PACKING in ids:
        packing = write_packing(pages.page("Packing"), judged.packing)
    seen: Mapping[str, Recalculated] = {}
    if judged.visual is not None:
        seen = write_seen(pages.page("Seen"), judged.visual, units=judged.batch.units, tests=judged.tests)
    found: dict[int, SheetOfTest] = {}
    single: dict[str, Recalculated] = {}
    for place, test in enumerate(judged.tests):
        if test.id not in _SHEETS:
            sheet = shared.get(test.id, Recalculated()) if test.figures else Recalculated()
            sheet = packing if test.id == _PACKING else seen.get(test.id, sheet)
            found[id(test)] = SheetOfTest(test=test, sheet=sheet)
            continue
        name, other = _SHEETS[test.id][0], test.without_left_out
        if ids.count(test.id) > 1:
            name += f" {ids[: place + 1].count(test.id)}"
        record = calculated(test, test.figures, name)
        if {"mean_percent", "sd_percent"} <= record.figures.keys():
            single[test.active or ""] = record
        said = None if record.verdict is None else record.verdict.value
        if test.verdict is Verdict.NOT_ASSESSED and said != test.verdict.value:
            # Where something else than its figures leaves a test open, no formula gives the verdict.
            record = replace(record, verdict=None)
        without = calculated(test, other.figures, f"{name} kept", other.units) if other else Recalculated()
        found[id(test)] = SheetOfTest(test=test, sheet=record, without=without)
    if results is not None:
        written = write_results(results, by_limits, data=data, single=single)
        found |= {id(test): SheetOfTest(test=test, sheet=one) for test, one in zip(by_limits, written, strict=True)}
    tests = [found[id(test)] for test in judged.tests]
    write_rules(pages.page("Rules"), rules=tuple(rules.values()))
    of_set = sum(test.rule in book.rules for test in judged.tests)
    write_summary(summary, judged, tests=tests, of_set=of_set, plan=plan, balance=balance)
