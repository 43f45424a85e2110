"""The sheet of a content-uniformity test: contents about their own mean, at the first stage and over all units."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.results import Verdict
from qc.rules.measured import Stages
from qc.rules.records import ContentRule
from qc.workbook.recheck.blocks import Block, Recalculated, source_of, write_title
from qc.workbook.recheck.cells import Cell, Page, Reckoned
from qc.workbook.recheck.data import FIRST_ROW, HEADER_ROW, DataCells
from qc.workbook.recheck.formulas import (
    COMPARED_DECIMALS,
    NO,
    YES,
    beyond,
    chosen_by_stage,
    count_of,
    deciding_stage,
    deviation_of,
    mean_of,
    percent_of,
    spread_of,
    total_of,
)
from qc.workbook.recheck.look import set_page
from qc.workbook.recheck.staged import (
    StagedUnits,
    lay_columns,
    of_record,
    recalculated,
    write_left_out,
    write_staged,
)


class ContentCase(Struct, frozen=True, kw_only=True):
    """One judging of the contents of one active about their own mean."""

    active: str
    stages: Stages
    in_mg: bool
    """Whether the contents are laid out in mg (else in % of label)."""
    rule: ContentRule
    figures: Sequence[str]
    """Names of the figures that the result document has."""


class _Limits(Struct, frozen=True, kw_only=True):
    first_size: Cell
    second_size: Cell
    inner: Cell
    outer: Cell
    inner_decides: Cell
    passes: Cell
    continues: Cell
    second_passes: Cell
    mean_low: Cell | None
    mean_high: Cell | None


class _Columns(Struct, frozen=True, kw_only=True):
    deviations: list[Cell]
    inner: list[Cell]
    outer: list[Cell]


def write_content(page: Page, *, case: ContentCase, data: DataCells, title: str, remark: str) -> Recalculated:
    """Write the sheet of one content-uniformity test."""
    rule, unit = case.rule, "mg" if case.in_mg else "% of label"
    write_title(page, rule=rule, title=title, remark=remark)
    contents = data.contents_mg if case.in_mg else data.contents_percent
    units = write_staged(
        page,
        stages=case.stages,
        heading=f"Content ({unit})",
        value=lambda name: mean_of(contents[case.active, name]),
        shown=page.look.live,
    )
    stage_numbers = (1, 2) if units.second else (1,)
    block_column = 3 + 3 * len(stage_numbers) + 2
    block = Block(page=page, column=block_column)
    limits = _write_limits(block, rule=rule)
    label = data.actives[case.active].label_mg if case.in_mg else None
    block.head("Figures", "First stage", *(["All stages"] if units.second else []))
    samples = [units.sample(stage, units.values) for stage in stage_numbers]
    counts = block.reckoned("Units", *(count_of(sample) for sample in samples))
    means = block.reckoned(f"Mean ({unit})", *(mean_of(sample) for sample in samples), remark="sum / n")
    spreads = block.reckoned(f"SD ({unit})", *(spread_of(sample) for sample in samples), remark="divisor n - 1")
    relative = block.reckoned("RSD (% of mean)", *(percent_of(*pair) for pair in zip(spreads, means, strict=True)))
    looks: list[dict[str, Cell]] = [
        {"rsd_percent": spread, **({"mean_mg": centre, "sd_mg": sd} if case.in_mg else {})}
        for spread, centre, sd in zip(relative, means, spreads, strict=True)
    ]
    of_label = _of_label(block, means=means, spreads=spreads, label=label, in_mg=case.in_mg, looks=looks)
    laid = [
        _write_look(page, units=units, centre=centre, limits=limits, column=3 + 3 * place, stage=stage)
        for place, (stage, centre) in enumerate(zip(stage_numbers, means, strict=True))
    ]
    write_left_out(page, units, column=3 + 3 * len(stage_numbers), data=data)
    inner = block.reckoned(
        "Outside the inner limits",
        *(total_of(units.sample(stage, one.inner)) for stage, one in zip(stage_numbers, laid, strict=True)),
    )
    outer = block.reckoned(
        "Outside the outer limits",
        *(total_of(units.sample(stage, one.outer)) for stage, one in zip(stage_numbers, laid, strict=True)),
    )
    hidden = block.reckoned(
        "Others assayed, outside the outer limits",
        *(total_of(units.rest(stage, one.outer)) for stage, one in zip(stage_numbers, laid, strict=True)),
    )
    for look, inside, beyond_all in zip(looks, inner, outer, strict=True):
        look |= {"beyond_inner": inside, "beyond_outer": beyond_all}
    verdicts = _verdicts(limits, counts=counts, means=means, of_label=of_label, inner=inner, outer=outer, hidden=hidden)
    stage_verdicts = block.reckoned("Verdict of the stage", *verdicts)
    block.head("Of record, as the result document names it", "Value")
    second_count = None
    if units.second:
        second_count = block.one(
            "Units of the second stage",
            Reckoned(formula=f"{counts[1].address}-{counts[0].address}", value=units.second),
        )
    stage = block.one(
        "Stage that decides",
        deciding_stage(stage_verdicts[0], second_count=second_count, second_size=limits.second_size),
    )
    pooled = len(stage_numbers) > 1
    n = block.one("n", chosen_by_stage(stage, first=counts[0], pooled=counts[1] if pooled else None))
    same = {"inner_percent": limits.inner, "outer_percent": limits.outer, "stage": stage}
    figures = of_record(case.figures, looks=looks, same=same, stage=stage, reckon=block.one)
    verdict = block.one(
        "Verdict", chosen_by_stage(stage, first=stage_verdicts[0], pooled=stage_verdicts[1] if pooled else None)
    )
    lay_columns(page, column=block_column, widths=(40, 17, 17, 26))
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    deviations = [one.deviations for one in laid]
    return recalculated(units, figures=figures, verdict=verdict, n=n, deviations=deviations, stage=stage)


def _write_limits(block: Block, *, rule: ContentRule) -> _Limits:
    block.head("Limits", "Value", "Source")
    source = source_of(rule)
    low, high = rule.mean_low_percent, rule.mean_high_percent
    bounded = low is not None and high is not None
    return _Limits(
        first_size=block.stated("Units of the first stage", rule.first_size, source=source),
        second_size=block.stated("Further units of the second stage", rule.second_size, source=source),
        inner=block.stated("Inner limit (± % of mean)", rule.inner_percent, source=source),
        outer=block.stated("Outer limit (± % of mean)", rule.outer_percent, source=source),
        inner_decides=block.stated("The inner limit decides", YES if rule.inner_applies else NO, source=source),
        passes=block.stated("Outside inner: first stage passes with", rule.passes_with, source=source),
        continues=block.stated("Outside inner: second stage up to", rule.continues_with, source=source),
        second_passes=block.stated("Outside inner: all units pass with", rule.second_passes_with, source=source),
        mean_low=block.stated("Mean, at least (% of label)", low, source=source) if bounded else None,
        mean_high=block.stated("Mean, at most (% of label)", high, source=source) if bounded else None,
    )


def _of_label(
    block: Block,
    *,
    means: Sequence[Cell],
    spreads: Sequence[Cell],
    label: Cell | None,
    in_mg: bool,
    looks: Sequence[dict[str, Cell]],
) -> list[Cell]:
    """Mean and SD in % of label, put among the figures of each look; no cell where no label claim is known."""
    if not in_mg:
        in_percent, sd_percent = list(means), list(spreads)
    elif label is None or label.value is None:
        return []
    else:
        in_percent = block.reckoned("Mean (% of label)", *(percent_of(centre, label) for centre in means))
        sd_percent = block.reckoned("SD (% of label)", *(percent_of(sd, label) for sd in spreads))
    for look, centre, sd in zip(looks, in_percent, sd_percent, strict=True):
        look |= {"mean_percent": centre, "sd_percent": sd}
    return in_percent


def _write_look(page: Page, *, units: StagedUnits, centre: Cell, limits: _Limits, column: int, stage: int) -> _Columns:
    of = "first stage" if stage == 1 else "all"
    for offset, header in enumerate((f"Deviation, {of} (%)", f"Outside inner, {of}", f"Outside outer, {of}")):
        page.text(HEADER_ROW, column + offset, header, page.look.header)
    columns = _Columns(deviations=[], inner=[], outer=[])
    for row, value in enumerate(units.values, start=FIRST_ROW):
        deviation = page.reckon(row, column, deviation_of(value, centre), page.look.deviation)
        columns.deviations.append(deviation)
        columns.inner.append(page.reckon(row, column + 1, beyond(deviation, limits.inner), page.look.beyond))
        columns.outer.append(page.reckon(row, column + 2, beyond(deviation, limits.outer), page.look.beyond))
    return columns


def _verdicts(
    limits: _Limits,
    *,
    counts: Sequence[Cell],
    means: Sequence[Cell],
    of_label: Sequence[Cell],
    inner: Sequence[Cell],
    outer: Sequence[Cell],
    hidden: Sequence[Cell],
) -> list[Reckoned]:
    """What each stage says, in the order in which the rule decides."""
    fails, few = Verdict.DOES_NOT_COMPLY.value, Verdict.TOO_FEW_UNITS.value
    second, passes = Verdict.SECOND_STAGE.value, Verdict.COMPLIES.value
    mean_out = _mean_out(limits, of_label=of_label)
    n, centre, beyond_inner, beyond_outer, others = counts[0], means[0], inner[0], outer[0], hidden[0]
    decides = f'{limits.inner_decides.address}="{YES}"'
    first = (
        f'IF({centre.address}=0,"{fails}",'
        f'IF({n.address}<{limits.first_size.address},"{few}",'
        f'IF({beyond_outer.address}>0,"{fails}",'
        f'IF({mean_out.formula},"{fails}",'
        f'IF(AND({decides},{beyond_inner.address}>{limits.continues.address}),"{fails}",'
        f'IF(AND({decides},{beyond_inner.address}>{limits.passes.address}),"{second}",'
        f'IF({others.address}>0,"{fails}","{passes}")))))))'
    )
    inner_decides = limits.inner_decides.value == YES
    if centre.exact == 0:
        value = fails
    elif n.exact < limits.first_size.exact:
        value = few
    elif beyond_outer.exact > 0 or mean_out.value or (inner_decides and beyond_inner.exact > limits.continues.exact):
        value = fails
    elif inner_decides and beyond_inner.exact > limits.passes.exact:
        value = second
    else:
        value = fails if others.exact > 0 else passes
    found = [Reckoned(formula=first, value=value)]
    if len(counts) > 1:
        none = outer[1].exact == 0 and hidden[1].exact == 0
        met = none and inner[1].exact <= limits.second_passes.exact
        all_units = f"{limits.first_size.address}+{limits.second_size.address}"
        decided = (
            f"IF(AND({outer[1].address}=0,{hidden[1].address}=0,"
            f'{inner[1].address}<={limits.second_passes.address}),"{passes}","{fails}")'
        )
        short = counts[1].exact < limits.first_size.exact + limits.second_size.exact
        found.append(
            Reckoned(
                formula=f'IF({counts[1].address}<{all_units},"",{decided})',
                value=None if short else passes if met else fails,
            )
        )
    return found


def _mean_out(limits: _Limits, *, of_label: Sequence[Cell]) -> Reckoned:
    """Whether the mean of the first stage lies outside its bounds; a bound without a label claim is not met."""
    low, high = limits.mean_low, limits.mean_high
    if low is None or high is None:
        return Reckoned(formula="FALSE", value=0)
    if not of_label:
        return Reckoned(formula="TRUE", value=1)
    centre = of_label[0]
    below = f"ROUND({low.address}-{centre.address},{COMPARED_DECIMALS})>0"
    above = f"ROUND({centre.address}-{high.address},{COMPARED_DECIMALS})>0"
    return Reckoned(formula=f"OR({below},{above})", value=int(not low.exact <= centre.exact <= high.exact))
