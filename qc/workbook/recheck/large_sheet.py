"""The sheet of a large sample: the acceptance value of all units assayed, those outside L2, and the verdict."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc import expr
from qc.expr import NO, YES
from qc.results import Verdict
from qc.rules.kinds.large_samples import LargeSampleRule, in_force
from qc.workbook.page import Block, column_of
from qc.workbook.recheck.dosage_sheet import reference_value
from qc.workbook.recheck.unit_sheet import Case, Recalculated

_CONTENT, _FROM_M = "Content (% of label)", "From M (% of M)"
_OUTSIDE, _OF_TARGET = "Outside L2", "Outside L2 about T"


def write_large(case: Case, rule: LargeSampleRule, *, sample: Sequence[str]) -> Recalculated:
    """Write the contents of a large sample and what comes of them.

    Parameters
    ----------
    case : Case
    rule : LargeSampleRule
    sample : sequence of str
        The units that the test rests on.
    """
    page, entered, n = case.page, case.data.actives[case.active], len(sample)
    page.head(
        "Large sample", f"{case.active or 'The active'}: by {rule.id}, alternative 1; k and c2 are those of {n} units."
    )
    page.set_widths(18, 20, 18, 14, 26, 3, 34, 18)
    block = Block(page=page, column=6)
    block.head("Figures", "Value")
    contents = [expr.average(case.data.contents["% of label", case.active, name]) for name in sample]
    target, share = entered["target_percent"], rule.l2_percent / 100
    rows = page.table(
        ("Unit", _CONTENT), [{"Unit": name, _CONTENT: one} for name, one in zip(sample, contents, strict=True)]
    )
    every = column_of(rows, _CONTENT)
    figures = {"mean_percent": block.one("Mean (% of label)", expr.average(every), note="sum / n")}
    figures["sd_percent"] = block.one("s (% of label)", expr.spread(every), note="divisor n - 1")
    figures["k"] = block.one("k", in_force(rule.k, n))
    figures["stage"] = block.one("Stage", Decimal(1))
    figures["target_percent"] = block.one("T (% of label)", target)
    figures["l1_percent"] = block.one("L1 (% of label)", rule.l1_percent)
    figures["l2_percent"] = block.one("L2 (% of M)", rule.l2_percent)
    mean = figures["mean_percent"]
    low, high = rule.reference_low_percent, expr.greatest(expr.expression(rule.reference_high_percent), target)
    reference = block.one("M (% of label)", reference_value(mean, low=low, high=high))
    figures["reference_percent"] = reference
    value = abs(reference - mean) + figures["k"] * figures["sd_percent"]
    figures["acceptance_value"] = block.one("AV", value, note="|M - mean| + k s")
    rounded = block.one("AV, rounded once", expr.round_once(figures["acceptance_value"], rule.rounding_decimals))
    figures["acceptance_value_rounded"] = rounded
    figures["single_low_percent"] = block.one("Single units from (% of label)", (1 - share) * reference)
    figures["single_high_percent"] = block.one("Single units to (% of label)", (1 + share) * reference)
    ends = (figures["single_low_percent"], figures["single_high_percent"])
    of_target = ((1 - share) * target, (1 + share) * target)
    deviations = {}
    page.headers(rows[0][_CONTENT].row - 1, 2, (_FROM_M, _OUTSIDE, _OF_TARGET))
    for name, cells in zip(sample, rows, strict=True):
        one, row = cells[_CONTENT], cells[_CONTENT].row
        deviations[name] = page.put(row, 2, expr.deviation_percent(one, reference))
        cells[_OUTSIDE] = page.put(row, 3, expr.outside(one, *ends))
        cells[_OF_TARGET] = page.put(row, 4, expr.outside(one, *of_target))
    figures["outside_l2"] = block.one("Units outside L2", expr.total(column_of(rows, _OUTSIDE)))
    beyond = block.one("Units outside L2 about T", expr.total(column_of(rows, _OF_TARGET)))
    allowed = block.one("c2, greatest number allowed", Decimal(int(in_force(rule.outside_l2, n))))
    inside = expr.when(expr.compared(rounded, "<=", expr.expression(rule.l1_percent)), YES, NO).equals(YES)
    verdict = expr.first_of(
        (expr.all_of(inside, figures["outside_l2"] <= allowed), Verdict.COMPLIES.value),
        (expr.least(figures["outside_l2"], beyond) > allowed, Verdict.DOES_NOT_COMPLY.value),
        otherwise=Verdict.NOT_ASSESSED.value,
    )
    count = block.one("n", expr.count(every))
    return Recalculated(figures=figures, verdict=block.one("Verdict", verdict), n=count, deviations=deviations)
