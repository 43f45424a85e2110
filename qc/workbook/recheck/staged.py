"""What the sheets of the two-stage tests share: units in the order of their stages, and the columns of one look."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.rules.measured import Stages
from qc.workbook.recheck.blocks import Recalculated
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Span, span
from qc.workbook.recheck.data import FIRST_ROW, HEADER_ROW, DataCells
from qc.workbook.recheck.formulas import chosen_by_stage

if TYPE_CHECKING:
    from xlsxwriter.format import Format


class StagedUnits(Struct, frozen=True, kw_only=True):
    """The measured units of a two-stage test on its sheet: first stage, second stage, others, in that order."""

    names: tuple[str, ...]
    values: tuple[Cell, ...]
    first: int
    second: int

    def look(self, stage: int) -> int:
        """How many of the units the look at a stage rests on."""
        return self.first if stage == 1 else self.first + self.second

    def sample(self, stage: int, cells: Sequence[Cell]) -> Span:
        """Those of some cells, one a unit, that belong to the look at a stage."""
        return Span(cells=tuple(cells[: self.look(stage)]))

    def rest(self, stage: int, cells: Sequence[Cell]) -> Span | None:
        """Those that were measured beyond the look at a stage."""
        return span(cells[self.look(stage) :])


def write_staged(
    page: Page, *, stages: Stages, heading: str, value: Callable[[str], Reckoned], shown: Format
) -> StagedUnits:
    """Write the units with their stage and measured value; answers where they stand."""
    for column, header in enumerate(("Unit", "Stage", heading)):
        page.text(HEADER_ROW, column, header, page.look.header)
    groups = (("1", stages.first), ("2", stages.second), ("other", stages.others))
    laid = [(unit.unit, stage) for stage, units in groups for unit in units]
    cells = []
    for row, (unit, stage) in enumerate(laid, start=FIRST_ROW):
        page.text(row, 0, unit)
        page.text(row, 1, stage)
        cells.append(page.reckon(row, 2, value(unit), shown))
    return StagedUnits(
        names=tuple(unit for unit, _ in laid),
        values=tuple(cells),
        first=len(stages.first),
        second=len(stages.second),
    )


def write_left_out(page: Page, units: StagedUnits, *, column: int, data: DataCells) -> None:
    """The reasons to leave units out, in the last column of the units."""
    page.text(HEADER_ROW, column, "Left out because", page.look.header)
    for row, unit in enumerate(units.names, start=FIRST_ROW):
        page.entry(row, column, data.left_out.get(unit))


def lay_columns(page: Page, *, column: int, widths: Sequence[int]) -> None:
    """The widths of a block that begins at a column, with a narrow gap before it."""
    page.sheet.set_column(0, column - 2, 11)
    page.sheet.set_column(column - 1, column - 1, 3)
    for offset, width in enumerate(widths):
        page.sheet.set_column(column + offset, column + offset, width)


def of_record(
    names: Sequence[str],
    *,
    looks: Sequence[Mapping[str, Cell]],
    same: Mapping[str, Cell],
    stage: Cell,
    reckon: Callable[[str, Reckoned], Cell],
) -> dict[str, Cell]:
    """The figures of the stage that decides, by the names of the result document.

    `looks` holds the figures of the first look and, where there is one, of the look at all units; `same` those that do
    not hang on the stage; `reckon` writes one.
    """
    found: dict[str, Cell] = {}
    for name in names:
        if name in same:
            found[name] = same[name]
        elif name in looks[0]:
            pooled = looks[1][name] if len(looks) > 1 else None
            found[name] = reckon(name, chosen_by_stage(stage, first=looks[0][name], pooled=pooled))
    return found


def recalculated(
    units: StagedUnits,
    *,
    figures: Mapping[str, Cell],
    verdict: Cell,
    n: Cell,
    deviations: Sequence[Sequence[Cell]],
    stage: Cell,
) -> Recalculated:
    """What the sheet hands to the Summary; deviations are those of the stage that decides now."""
    decides = deviations[1] if stage.value == 2 else deviations[0]
    return Recalculated(figures=figures, verdict=verdict, n=n, deviations=dict(zip(units.names, decides, strict=True)))
