"""The sheet of a dosage-unit test: mean, s, k, M, the acceptance value and the single units, at each stage."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.rules.measured import Stages
from qc.rules.records import DosageUnitRule
from qc.workbook.recheck.acceptance import Limits, Look, Verdicts, reckon_look, stage_verdicts, write_limits
from qc.workbook.recheck.blocks import Block, Recalculated, write_title
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Span
from qc.workbook.recheck.data import FIRST_ROW, HEADER_ROW, DataCells
from qc.workbook.recheck.formulas import (
    chosen_by_stage,
    deciding_stage,
    deviation_of,
    mean_of,
    outside,
    same_as,
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


class DosageCase(Struct, frozen=True, kw_only=True):
    """One judging of an active against the label; `stages` hold contents [% of label], or masses [g] by that route."""

    active: str
    stages: Stages
    by_mass: bool
    rule: DosageUnitRule
    figures: Sequence[str]
    """Names of the figures that the result document has."""


def write_dosage(page: Page, *, case: DosageCase, data: DataCells, title: str, remark: str) -> Recalculated:
    """Write the sheet of one dosage-unit test."""
    write_title(page, rule=case.rule, title=title, remark=remark)
    units = write_staged(
        page,
        stages=case.stages,
        heading="Mass (g)" if case.by_mass else "Content (% of label)",
        value=lambda name: (
            same_as(data.masses[name]) if case.by_mass else mean_of(data.contents_percent[case.active, name])
        ),
        shown=data.mass_shown if case.by_mass else page.look.live,
    )
    stage_numbers = (1, 2) if units.second else (1,)
    width = 3 if case.by_mass else 2
    block_column = 3 + width * len(stage_numbers) + 2
    block = Block(page=page, column=block_column)
    limits = write_limits(block, rule=case.rule, active=data.actives[case.active], by_mass=case.by_mass)
    block.head("Figures", "First stage", *(["All stages"] if units.second else []))
    contents = _contents(page, block, units=units, limits=limits, width=width, stages=stage_numbers)
    looks = reckon_look(
        block,
        samples=[units.sample(stage, cells) for stage, cells in zip(stage_numbers, contents, strict=True)],
        names=[units.names[: units.look(stage)] for stage in stage_numbers],
        limits=limits,
        rule=case.rule,
    )
    laid = [
        _write_singles(page, contents=cells, look=look, column=3 + width * place + width - 2, stage=stage)
        for place, (stage, cells, look) in enumerate(zip(stage_numbers, contents, looks, strict=True))
    ]
    write_left_out(page, units, column=3 + width * len(stage_numbers), data=data)
    flags = [flags for _, flags in laid]
    singles = block.reckoned(
        "Units outside L2",
        *(total_of(units.sample(stage, cells)) for stage, cells in zip(stage_numbers, flags, strict=True)),
    )
    hidden = block.reckoned(
        "Others, outside L2",
        *(total_of(units.rest(stage, cells)) for stage, cells in zip(stage_numbers, flags, strict=True)),
    )
    verdicts = stage_verdicts(looks, limits=limits, counts=Verdicts(singles=singles, hidden=hidden))
    of_stages = block.reckoned("Verdict of the stage", *verdicts)
    block.head("Of record, as the result document names it", "Value")
    pooled = len(stage_numbers) > 1
    second_count = None
    if pooled:
        formula = f"{looks[1].n.address}-{looks[0].n.address}"
        second_count = block.one("Units of the second stage", Reckoned(formula=formula, value=units.second))
    stage = block.one(
        "Stage that decides",
        deciding_stage(of_stages[0], second_count=second_count, second_size=limits.second_size),
    )
    n = block.one("n", chosen_by_stage(stage, first=looks[0].n, pooled=looks[1].n if pooled else None))
    same = {
        "stage": stage,
        "target_percent": limits.target,
        "l1_percent": limits.l1,
        "l2_percent": limits.l2,
    }
    figures = of_record(
        case.figures, looks=[look.figures() for look in looks], same=same, stage=stage, reckon=block.one
    )
    verdict = block.one("Verdict", chosen_by_stage(stage, first=of_stages[0], pooled=of_stages[1] if pooled else None))
    lay_columns(page, column=block_column, widths=(40, 17, 17, 30))
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    deviations = [distances for distances, _ in laid]
    return recalculated(units, figures=figures, verdict=verdict, n=n, deviations=deviations, stage=stage)


def _contents(
    page: Page, block: Block, *, units: StagedUnits, limits: Limits, width: int, stages: Sequence[int]
) -> list[list[Cell]]:
    """Contents of every unit at each look [% of label].

    By mass variation x = w A / W, with W the mean mass of the look for its own units, and of all units for the others.
    """
    assay = limits.batch_assay
    if assay is None:
        return [list(units.values) for _ in stages]
    means = block.reckoned(
        "W, mean mass (g)", *(mean_of(units.sample(stage, units.values)) for stage in stages), remark="of the look"
    )
    of_all = block.one("W of all units weighed (g)", mean_of(Span(cells=units.values)))
    laid = []
    for place, (stage, own) in enumerate(zip(stages, means, strict=True)):
        column = 3 + width * place
        page.text(HEADER_ROW, column, f"Content, {_of(stage)} (% of label)", page.look.header)
        cells = []
        for row, mass in enumerate(units.values, start=FIRST_ROW):
            centre = own if row - FIRST_ROW < units.look(stage) else of_all
            reckoned = Reckoned(
                formula=f"{mass.address}*{assay.address}/{centre.address}",
                value=mass.exact * assay.exact / centre.exact,
            )
            cells.append(page.reckon(row, column, reckoned, page.look.live))
        laid.append(cells)
    return laid


def _write_singles(
    page: Page, *, contents: Sequence[Cell], look: Look, column: int, stage: int
) -> tuple[list[Cell], list[Cell]]:
    page.text(HEADER_ROW, column, f"From M, {_of(stage)} (% of M)", page.look.header)
    page.text(HEADER_ROW, column + 1, f"Outside L2, {_of(stage)}", page.look.header)
    distances, flags = [], []
    for row, content in enumerate(contents, start=FIRST_ROW):
        distances.append(page.reckon(row, column, deviation_of(content, look.reference), page.look.deviation))
        flags.append(page.reckon(row, column + 1, outside(content, look.low, look.high), page.look.beyond))
    return distances, flags


def _of(stage: int) -> str:
    return "first stage" if stage == 1 else "all"
