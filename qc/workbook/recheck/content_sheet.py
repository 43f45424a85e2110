"""The sheet of a content-uniformity test: contents about their own mean, at the first stage and over all units."""

from __future__ import annotations

from types import SimpleNamespace

from qc import expr
from qc.expr.parts import Expression
from qc.rules.kinds.content.procedure import stage_cases
from qc.rules.kinds.content.record import ContentRule
from qc.rules.looks import Cases
from qc.workbook.recheck.unit_sheet import Case, Recalculated, StageCells, contents_measured, new_unit_sheet

_LIMITS = (
    *("first_size", "second_size", "inner_percent", "outer_percent", "passes_with", "continues_with"),
    *("second_passes_with", "mean_low_percent", "mean_high_percent"),
)


def write_content(case: Case, rule: ContentRule) -> Recalculated:
    """Write the sheet of one content-uniformity test."""
    units = contents_measured(case, rule)
    scale = units.scale
    name = "mg" if scale == "mg" else "percent"
    mean, sd = f"mean_{name}", f"sd_{name}"
    sheet = new_unit_sheet(case, rule=rule, units=units, heading=f"Content ({scale})", width=4)
    limits = sheet.limits(_LIMITS)
    sheet.block.head("Figures", *sheet.stage_names)
    sheet.statistics(unit=scale, suffix=name)
    label = case.data.actives[case.active]["label_claim_mg"]
    if scale == "mg" and label.value is not None:
        sheet.row("mean_percent", "Mean (% of label)", lambda look: expr.percent_of(look[mean], label))
        sheet.row("sd_percent", "SD (% of label)", lambda look: expr.percent_of(look[sd], label))
    sheet.deviation("Deviation{of} (%)", "value", lambda look: look[mean])
    sheet.beyond("inner", "Outside inner{of}", limit=limits.inner_percent)
    sheet.beyond("outer", "Outside outer{of}", limit=limits.outer_percent)
    sheet.row("beyond_inner", "Outside the inner limits", lambda look: look.far("inner"))
    sheet.row("beyond_outer", "Outside the outer limits", lambda look: look.far("outer"))
    sheet.hidden("Others assayed, outside the outer limits", "outer", limits=limits)
    sheet.verdicts(lambda look: _cases(look, mean=look[mean], limits=limits), limits=limits)
    return sheet.of_record(limits=limits)


def _cases(look: StageCells, *, mean: Expression, limits: SimpleNamespace) -> Cases:
    """What a stage comes to."""
    return stage_cases(
        stage=look.stage,
        together=look.together,
        n=look["n"],
        beyond=look["beyond_inner"],
        farther=look["beyond_outer"],
        hidden=look["hidden"],
        mean_out=_mean_out(look, limits=limits),
        nothing_found=mean.equals(0),
        rule=limits,
    )


def _mean_out(look: StageCells, *, limits: SimpleNamespace) -> Expression:
    """Whether the mean lies outside its bounds, where the rule has any; a bound without a label claim is not met."""
    low, high = (getattr(limits, f"mean_{end}_percent", None) for end in ("low", "high"))
    if low is None and high is None:
        return expr.expression(False)
    if "mean_percent" not in look.figures:
        return expr.expression(True)
    mean = look["mean_percent"]
    below = [] if low is None else [expr.compared(low, ">", mean)]
    return expr.any_of(*below, *([] if high is None else [expr.compared(mean, ">", high)]))
