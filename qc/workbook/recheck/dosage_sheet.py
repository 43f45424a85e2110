"""The sheet of a dosage-unit test: mean, s, k, M, the acceptance value and the single units, at each stage."""

from __future__ import annotations

from types import SimpleNamespace

from qc import expr
from qc.expr import NO, YES
from qc.expr.parts import CellRef, Expression, Operand
from qc.rules.kinds.dosage_units.procedure import stage_cases
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.looks import Cases
from qc.stats.second_stage import stretches_that_pass
from qc.workbook.page import column_of
from qc.workbook.recheck import unit_sheet

_LIMITS = (
    *("first_size", "second_size", "first_k", "second_k", "l1_percent", "l2_percent", "reference_low_percent"),
    *("reference_high_percent", "rounding_decimals"),
)
_STRETCHES = ("below", "within", "above")


def write_dosage(case: unit_sheet.Case, rule: DosageUnitRule) -> unit_sheet.Recalculated:
    """Write the sheet of one dosage-unit test."""
    units = unit_sheet.contents_measured(case, rule, scale="% of label")
    by_mass = units.scale == "g"
    content, counted = ("content", "own_content") if by_mass else ("value", "counted")
    sheet = unit_sheet.new_unit_sheet(
        case,
        rule=rule,
        units=units,
        heading="Mass (g)" if by_mass else "Content (% of label)",
        width=5 if by_mass else 3,
    )
    block, limits, entered = sheet.block, sheet.limits(_LIMITS), case.data.actives[case.active]
    typed = "as entered, sheet Batch"
    limits.target_percent = block.one("T, target (% of label)", entered["target_percent"], note=typed)
    if by_mass:
        assay = block.one("A, assay of the batch (% of label)", entered["batch_assay_percent"], note=typed)
    block.head("Figures", *sheet.stage_names)
    if by_mass:
        _write_contents(sheet, assay=assay)
    _write_acceptance_value(sheet, content=counted, limits=limits)
    sheet.deviation("From M{of} (% of M)", content, lambda look: look["reference_percent"])
    sheet.flags(
        "outside",
        "Outside L2{of}",
        lambda unit, look: expr.outside(unit[content], look["single_low_percent"], look["single_high_percent"]),
    )
    sheet.row("singles", "Units outside L2", lambda look: look.far("outside"))
    sheet.hidden("Others, outside L2", "outside", limits=limits)
    if not by_mass:
        _write_second_stage(sheet, rule=rule, limits=limits)
    sheet.verdicts(lambda look: _cases(look, limits=limits, by_mass=by_mass), limits=limits)
    return sheet.of_record(limits=limits)


def _write_contents(sheet: unit_sheet.UnitSheet, *, assay: CellRef) -> None:
    """Contents of every unit at each look [% of label].

    By mass variation x = w A / W, with W the mean mass of the look for its own units, and of all units for the others.
    """
    sheet.row("w", "W, mean mass (g)", lambda look: expr.average(look.column("counted")), note="of the look")
    of_all = sheet.block.one("W of all units weighed (g)", expr.average(column_of(sheet.looks[0].units, "value")))
    sheet.column(
        "content",
        "Content{of} (% of label)",
        lambda unit, look: unit["value"] * assay / expr.when(expr.is_number(unit["counted"]), look["w"], of_all),
    )
    sheet.column(
        "own_content",
        "Counts{of} (% of label)",
        lambda unit, _: expr.when(expr.is_number(unit["counted"]), unit["content"]),
    )


def _write_acceptance_value(sheet: unit_sheet.UnitSheet, *, content: str, limits: SimpleNamespace) -> None:
    """The lines from the mean to AV = |M - mean| + k s, its comparison with L1, and the range of single units."""
    low, high = limits.reference_low_percent, expr.greatest(limits.reference_high_percent, limits.target_percent)
    share = limits.l2_percent / 100

    def k(look: unit_sheet.StageCells) -> Expression:
        size, stated = limits.first_size, limits.first_k
        if look.stage == 2:
            size, stated = size + limits.second_size, limits.second_k
        return expr.when(look["n"] >= size, stated)

    def reference(look: unit_sheet.StageCells) -> Expression:
        return reference_value(look["mean_percent"], low=low, high=high)

    def acceptance_value(look: unit_sheet.StageCells) -> Expression:
        distance = abs(look["reference_percent"] - look["mean_percent"])
        return expr.when(expr.is_number(look["k"]), distance + look["k"] * look["sd_percent"])

    def rounded(look: unit_sheet.StageCells) -> Expression:
        value = look["acceptance_value"]
        return expr.when(expr.is_number(value), expr.round_once(value, limits.rounding_decimals))

    def meets(look: unit_sheet.StageCells) -> Expression:
        value = look["acceptance_value_rounded"]
        return expr.when(expr.is_number(value), expr.when(expr.compared(value, "<=", limits.l1_percent), YES, NO))

    sheet.row("n", "n", lambda look: expr.count(look.column(content)))
    sheet.row("mean_percent", "Mean (% of label)", lambda look: expr.average(look.column(content)), note="sum / n")
    sheet.row("sd_percent", "s (% of label)", lambda look: expr.spread(look.column(content)), note="divisor n - 1")
    sheet.row("k", "k", k)
    sheet.row("reference_percent", "M (% of label)", reference, note="the three cases")
    sheet.row("acceptance_value", "AV", acceptance_value, note="|M - mean| + k s")
    sheet.row("acceptance_value_rounded", "AV, rounded once", rounded)
    sheet.row("meets", "AV at most L1", meets)
    sheet.row(
        "single_low_percent", "Single units from (% of label)", lambda look: (1 - share) * look["reference_percent"]
    )
    sheet.row(
        "single_high_percent", "Single units to (% of label)", lambda look: (1 + share) * look["reference_percent"]
    )


def reference_value(mean: Expression, *, low: Operand, high: Operand) -> Expression:
    """M of the acceptance value [% of label]: the mean, or the end of its range that the mean lies beyond."""
    return expr.first_of((mean < low, low), (mean > high, high), otherwise=mean)


def _write_second_stage(sheet: unit_sheet.UnitSheet, *, rule: DosageUnitRule, limits: SimpleNamespace) -> None:
    """The lines on whether any units to come could pass the second stage, a line for each stretch of the mean of all.

    Of units known to be of the second stage, too: what the last look holds is what is known at the first.
    """
    known = sheet.looks[-1]
    whole = limits.first_size + limits.second_size
    every = known.column("value")
    low, high = limits.reference_low_percent, expr.greatest(limits.reference_high_percent, limits.target_percent)
    sd = known["sd_percent"]
    found = stretches_that_pass(
        n=known["n"],
        whole=whole,
        mean=known["mean_percent"],
        squares=(known["n"] - 1) * sd * sd,
        ends=(expr.least(every), expr.greatest(every)),
        reference=(low, high),
        limit=limits.l1_percent + (rule.l1_below - rule.l1_percent),
        share=limits.l2_percent / 100,
        k=limits.second_k,
        smallest=expr.least,
        largest=expr.greatest,
    )
    # Fewer than the first stage asks for are too few whatever comes, and the lines below do not hold of so few.
    open_still = expr.all_of(known["n"] < whole, known["n"] >= limits.first_size)
    for place, passes in zip(_STRETCHES, found, strict=True):
        said = expr.when(open_still, expr.when(passes, YES, NO))

        def same(_: unit_sheet.StageCells, said: Expression = said) -> Expression:
            return said

        sheet.row(f"clears_{place}", f"A second stage could pass, mean {place} the range", same)


def _cases(look: unit_sheet.StageCells, *, limits: SimpleNamespace, by_mass: bool) -> Cases:
    """What a stage comes to."""
    clearable = expr.expression(True)
    if not by_mass:
        clearable = expr.negated(expr.all_of(*(look[f"clears_{place}"].equals(NO) for place in _STRETCHES)))
    found = {"n": look["n"], "met": look["meets"].equals(YES), "outside": look["singles"], "hidden": look["hidden"]}
    return stage_cases(stage=look.stage, together=look.together, clearable=clearable, rule=limits, **found)
