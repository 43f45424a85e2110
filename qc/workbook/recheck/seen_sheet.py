"""The sheet of what was seen on the units: each unit by the grades of its defects, their counts, and what those say."""

from __future__ import annotations

from collections.abc import Sequence

from qc import expr
from qc.batch import Unit
from qc.expr import NO, YES
from qc.expr.parts import CellRange, CellRef, Expression
from qc.results import SeenClass, TestResult, Verdict, VisualInspection
from qc.workbook.page import Block, Page, column_of
from qc.workbook.recheck.unit_sheet import Recalculated

CRITICAL, VISUAL = "critical-defects", "visual-inspection"
_LOOKED, _UNKNOWN = "looked at", "with an unknown word"
_MORE = "more"
"""The answer of a class of defects that more units must be looked at."""


def write_seen(
    page: Page, seen: VisualInspection, *, units: Sequence[Unit], tests: Sequence[TestResult]
) -> dict[str, Recalculated]:
    """Write what was seen, and answer what each test of it comes to, by its id.

    Parameters
    ----------
    seen : VisualInspection
        The inspection, with its sampling plans where the rules ask for them.
    units : sequence of Unit
        Of the batch.
    tests : sequence of TestResult
        Of the batch; a test that is judged by something else, or without a plan of each class, is not answered.
    """
    page.head("What was seen", "Each unit by the grades of its defects; the words stand under Seen on the sheet Units.")
    page.set_widths(18, *[14] * (len(seen.classes) + 2), 3, 34, 18)
    every = seen.looked_at == len(units)
    marks = {_LOOKED: {one.name for one in units if one.seen or every}} | {
        one.grade: {*one.units} for one in seen.classes
    }
    marks[_UNKNOWN] = {name for names in seen.unknown.values() for name in names}
    lines = [
        {"Unit": one.name} | {of: YES if one.name in named else NO for of, named in marks.items()} for one in units
    ]
    rows = page.table(("Unit", *(of.capitalize() for of in marks)), lines)
    block = Block(page=page, column=len(marks) + 2)
    block.head("Units", "Number")
    counts = {of: block.one(of.capitalize(), expr.count_where((column_of(rows, of), YES))) for of in marks}
    unknown = (counts[_UNKNOWN] > 0, Verdict.NOT_ASSESSED.value)
    found: dict[str, Recalculated] = {}
    for test in tests:
        if test.id == CRITICAL:
            failed = (counts["critical"] > 0, Verdict.DOES_NOT_COMPLY.value)
            verdict = expr.first_of(failed, unknown, otherwise=Verdict.COMPLIES.value)
            found[test.id] = Recalculated(verdict=block.one("Critical defects", verdict), n=counts[_LOOKED])
        elif test.id == VISUAL and test.criteria:
            figures = {"lot": block.one("Lot", seen.lot), "looked_at": counts[_LOOKED]}
            asked = [one for one in seen.classes if one.aql_percent is not None]
            planned = [one for one in asked if one.plan is not None]
            answers = [_answer(one, block=block, found=counts[one.grade], **figures) for one in planned]
            answered = CellRange(cells=tuple(answers))
            verdict = expr.first_of(
                (expr.count_where((answered, NO)) > 0, Verdict.DOES_NOT_COMPLY.value),
                unknown,
                (expr.expression(len(asked)) > len(planned), Verdict.NOT_ASSESSED.value),
                (expr.count_where((answered, _MORE)) > 0, Verdict.TOO_FEW_UNITS.value),
                otherwise=Verdict.COMPLIES.value,
            )
            block.head("Visual inspection", "Value")
            figures |= {one.grade: counts[one.grade] for one in seen.classes}
            found[test.id] = Recalculated(figures=figures, verdict=block.one("Verdict", verdict), n=counts[_LOOKED])
    return found


def _answer(one: SeenClass, *, block: Block, found: CellRef, lot: CellRef, looked_at: CellRef) -> CellRef:
    """Whether a class of defects is accepted by its plan, as `acceptance_by` decides it: yes, no, or look at more."""
    assert one.plan is not None
    assert one.aql_percent is not None
    block.head(f"Plan for {one.grade} defects", "Value")
    aql = block.one("AQL (% of units)", one.aql_percent)
    size = block.one("Sample size", one.plan.values["sample_size"])
    share = found * 100
    whole = looked_at >= lot
    cases: list[tuple[Expression, Expression | str]] = [
        (expr.all_of(whole, share <= aql * expr.greatest(lot, looked_at)), YES),
        (whole, NO),
    ]
    if one.plan.values["accepts"] is None:
        cases += [(share > aql * lot, NO)]
    else:
        accepts = block.one("Acceptance number", one.plan.values["accepts"])
        cases += [
            (expr.all_of(found <= accepts, looked_at >= size), YES),
            (found <= accepts, _MORE),
            (expr.any_of(looked_at <= size, share > aql * looked_at), NO),
        ]
    return block.one("Accepted", expr.first_of(*cases, otherwise=_MORE))
