"""The sheet of one test of single units: units on the left, limits and figures on the right, one column a stage."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

from msgspec import Struct, field

from qc import expr
from qc.expr import NO, YES, CellRange, CellRef, Expression
from qc.results import Verdict
from qc.rules.records import Mark, Rule
from qc.workbook.page import FIRST_ROW, GREY, HEADER, HEADER_POINTS, HEADER_ROW, Block, Content, Style
from qc.workbook.recheck.units import Case, UnitsMeasured

DEVIATION: Style = {**GREY, "align": "right", "num_format": "+0.000;-0.000;0.000;@"}
# A flag of 1 or 0 is shown as a word or a dot; the arrow is for eyes that see no colour.
BEYOND: Style = {**GREY, "align": "center", "num_format": '[=1]"▲ yes";[=0]"·";General'}


class Recalculated(Struct, frozen=True, kw_only=True):
    """What a sheet hands to the Summary.

    Parameters
    ----------
    figures : mapping
        Cells by the names that the result document has for the figures.
    verdict, n : CellRef or None
        None where the verdict stands as it was judged.
    deviations : mapping
        Deviation cells by unit, of the stage that decides.
    """

    figures: Mapping[str, CellRef]
    verdict: CellRef | None = None
    n: CellRef | None = None
    deviations: Mapping[str, CellRef] = field(default_factory=dict)


class UnitCells(Struct, frozen=True, kw_only=True):
    """The cells of one unit at one look, by the names of their columns."""

    in_sample: bool
    cells: dict[str, CellRef]

    def __getitem__(self, name: str) -> CellRef:
        return self.cells[name]


class StageCells(Struct, frozen=True, kw_only=True):
    """What one stage sees: the units it rests on, those measured beside them, and their figures by name."""

    stage: int
    of: str
    """Words for headers: of the first stage or of all, nothing for a test of one stage."""
    units: Sequence[UnitCells]
    figures: dict[str, CellRef] = field(default_factory=dict)

    def __getitem__(self, name: str) -> CellRef:
        return self.figures[name]

    def sample(self, name: str) -> CellRange:
        """One column of the units that the look rests on."""
        return CellRange(cells=tuple(unit[name] for unit in self.units if unit.in_sample))

    def others(self, name: str) -> CellRange | None:
        """One column of the units measured beyond the look; None where there are none."""
        cells = tuple(unit[name] for unit in self.units if not unit.in_sample)
        return CellRange(cells=cells) if cells else None


class UnitSheet(Struct, frozen=True, kw_only=True):
    """One sheet, while it is written."""

    case: Case
    rule: Rule
    names: Sequence[str]
    looks: Sequence[StageCells]
    block: Block
    first_column: int
    """The first column of the first look."""
    width: int
    """Columns of one look."""

    def limits(self, labels: Mapping[str, str]) -> dict[str, CellRef]:
        """Lines of what the rule states, by its fields, each with its source; none for what it leaves open."""
        self.block.head("Limits", "Value", "Source")
        found = {}
        for name, label in labels.items():
            value = getattr(self.rule, name)
            if value is not None:
                stated = YES if value is True else NO if value is False else value
                found[name] = self.block.one(label, stated, note=source_of(self.rule))
        return found

    def row(self, name: str, label: str, formula: Callable[[StageCells], Content], *, note: str = "") -> None:
        """A line of one figure, worked out for each look."""
        cells = self.block.line(label, *(formula(look) for look in self.looks), note=note)
        for look, cell in zip(self.looks, cells, strict=True):
            look.figures[name] = cell

    def column(
        self,
        name: str,
        header: str,
        formula: Callable[[UnitCells, StageCells], Content],
        *,
        style: Style | None = None,
    ) -> None:
        """A column of one figure of every unit, worked out for each look; `{of}` in its header names the look."""
        page = self.case.page
        for place, look in enumerate(self.looks):
            column = self.first_column + place * self.width + len(look.units[0].cells) - 1
            page.put(HEADER_ROW, column, header.format(of=look.of), HEADER)
            for row, unit in enumerate(look.units, start=FIRST_ROW):
                unit.cells[name] = page.put(row, column, formula(unit, look), style)

    def deviation(self, header: str, value: str, centre: Callable[[StageCells], Expression]) -> None:
        """The column of the deviations of one value from the centre of each look [% of the centre]."""
        self.column(
            "deviation", header, lambda unit, look: expr.deviation_percent(unit[value], centre(look)), style=DEVIATION
        )

    def beyond(self, name: str, header: str, *, limit: CellRef) -> None:
        """A column of 1 where the deviation of a unit is greater than a limit, else 0."""
        self.column(name, header, lambda unit, _: expr.beyond(unit["deviation"], limit), style=BEYOND)

    def of_record(self, *, same: Mapping[str, CellRef], second_size: CellRef) -> Recalculated:
        """The figures of the stage that decides, by the names of the result document; `same` hang on no stage."""
        block, first, last = self.block, self.looks[0], self.looks[-1]

        def chosen(name: str) -> Expression:
            return first[name] if first is last else expr.when(stage.equals(2), last[name], first[name])

        block.head("Of record, as the result document names it", "Value")
        decides = expr.expression(1)
        if first is not last:
            second = block.one("Units of the second stage", last["n"] - first["n"])
            due = first["verdict"].equals(Verdict.SECOND_STAGE.value)
            decides = expr.when(expr.all_of(due, second >= second_size), 2, 1)
        stage = block.one("Stage that decides", decides)
        n, known = block.one("n", chosen("n")), {**same, "stage": stage}
        figures = {
            name: known[name] if name in known else block.one(name, chosen(name))
            for name in self.case.figures
            if name in known or name in first.figures
        }
        return Recalculated(
            figures=figures,
            verdict=block.one("Verdict", chosen("verdict")),
            n=n,
            deviations=self.deviations(last if stage.number == 2 else first),
        )

    def deviations(self, look: StageCells) -> dict[str, CellRef]:
        """The deviation of every unit at a look."""
        return {name: unit["deviation"] for name, unit in zip(self.names, look.units, strict=True)}


def new_unit_sheet(
    case: Case, *, rule: Rule, units: UnitsMeasured, heading: str, width: int, staged: bool = True
) -> UnitSheet:
    """Begin the sheet of a test: its title, and the units with what was measured of each, named "value"."""
    page, data, looks = case.page, case.data, len(units.sizes)
    _write_title(case, rule=rule)
    measured = [*(("Stage",) if staged else ()), heading]
    last = 1 + len(measured) + width * looks
    page.headers(HEADER_ROW, 0, ("Unit", *measured))
    page.put(HEADER_ROW, last, "Left out because", HEADER)
    page.sheet.set_row(HEADER_ROW, HEADER_POINTS)
    cells = []
    for place, (name, value) in enumerate(units.values.items()):
        row = FIRST_ROW + place
        page.put(row, 0, name)
        if staged:
            stage = next((str(stage) for stage, size in enumerate(units.sizes, start=1) if place < size), "other")
            page.put(row, 1, stage)
        cells.append(page.put(row, len(measured), value, data.mass_style if units.scale == "g" else None))
        page.put(row, last, data.left_out.get(name))
    page.set_widths(*[11] * (last + 1), 3, 40, *[17] * looks, 32)
    of = ("",) if not staged else (", first stage", ", all")
    return UnitSheet(
        case=case,
        rule=rule,
        names=tuple(units.values),
        looks=[
            StageCells(
                stage=stage,
                of=words,
                units=[UnitCells(in_sample=place < size, cells={"value": cell}) for place, cell in enumerate(cells)],
            )
            for stage, (size, words) in enumerate(zip(units.sizes, of, strict=False), start=1)
        ],
        block=Block(page=page, column=last + 2),
        first_column=1 + len(measured),
        width=width,
    )


def _write_title(case: Case, *, rule: Rule) -> None:
    reference = rule.reference
    source = (
        f"{rule.id}: {rule.title}. {reference.work} {reference.section} ({reference.edition}); {reference.mark.value}"
    )
    if rule.builds_on:
        source += ". A rule of the house: sheet Rules says what it sets"
    case.page.head(f"{rule.title}: {case.active}" if case.active else rule.title, f"{source}.", case.remark)


def source_of(rule: Rule, *, mark: Mark | None = None) -> str:
    """The source of a limit in a few words; the sheet Rules gives the work, the edition and every clause."""
    return f"{rule.id}; {(mark or rule.reference.mark).value}"
