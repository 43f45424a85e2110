"""The sheet of one test of single units: units on the left, limits and figures on the right, one column a stage."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from fractions import Fraction
from types import SimpleNamespace

from msgspec import Struct, field

from qc import expr
from qc.batch import Batch
from qc.contents import active_named, contents_found, scale_of
from qc.expr import YES
from qc.expr.parts import CellRange, CellRef, Expression
from qc.judging.samples import mass_sample, masses_of, shared_out
from qc.results import Verdict
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.looks import Cases
from qc.rules.measured import Measured
from qc.rules.records import Mark, Rule
from qc.rules.schema import schema_of
from qc.workbook.page import FIRST_ROW, GREY, HEADER, HEADER_ROW, Block, Cells, Content, FromRow, Page, Style, column_of
from qc.workbook.recheck.data import DataCells

DEVIATION: Style = {**GREY, "align": "right", "num_format": "+0.000;-0.000;0.000;@"}
FLAG: Style = {**GREY, "align": "center"}
# The arrow is for eyes that see no colour.
FAR, FAR_BESIDE, NEAR = "▲ yes", "▲ beside", "·"
"""Of a unit that a look rests on and that lies beyond a limit, of one measured beside the look, and of any other."""

_ON_RECORD = "The verdict of record: every unit counts."
_WITHOUT = "What it would be without the units that carry a reason to be left out; never the verdict of record."


FIRST, SECOND, BOTH, OTHER = "1", "2", "1 or 2", "other"
"""What a sheet says of the stage of a unit."""


class Recalculated(Struct, frozen=True, kw_only=True):
    """What a sheet hands to the Summary; nothing where there is no sheet.

    Parameters
    ----------
    figures : mapping
        Cells by the names that the result document has for the figures.
    verdict, n : CellRef or None
        None where the verdict stands as it was judged.
    deviations : mapping
        Deviation cells by unit, of the stage that decides.
    """

    figures: Mapping[str, CellRef] = field(default_factory=dict)
    verdict: CellRef | None = None
    n: CellRef | None = None
    deviations: Mapping[str, CellRef] = field(default_factory=dict)


class Case(Struct, frozen=True, kw_only=True):
    """One judging of single units, with the page it is written on."""

    page: Page
    batch: Batch
    data: DataCells
    active: str
    """The active; empty for a test of masses."""
    less: Sequence[str]
    """Units that do not count."""
    figures: Collection[str]
    """Names of the figures that the result document has."""


class UnitsMeasured(Struct, frozen=True, kw_only=True):
    """What was measured of each unit: first the units of the first stage, then of the second, then the others."""

    values: Mapping[str, Expression]
    scale: str
    """"g", "mg" or "% of label"."""
    marks: Sequence[Expression | str]
    """What says of each unit whether it counts: a stage, or "yes" and "no"."""
    looks: Sequence[Sequence[str]]
    """The marks of the units that each look rests on: one look, or two."""
    together: bool = False
    """Whether the one look is at the units of both stages, of which nobody said which came first."""


def masses_measured(case: Case, *, asked: int) -> UnitsMeasured:
    """The weighed units, first the sample of a mass test that asks for so many."""
    weighed = mass_sample(case.batch, asked=asked)
    sample, others = (
        [unit.unit for unit in units if unit.unit not in case.less] for units in (weighed.sample, weighed.others)
    )
    values = {name: case.data.masses[name] for name in (*sample, *others)}
    return UnitsMeasured(
        values=values, scale="g", marks=[case.data.in_sample[name] for name in values], looks=((YES,),)
    )


def contents_measured(case: Case, rule: ContentRule | DosageUnitRule, *, scale: str = "") -> UnitsMeasured:
    """The units assayed, on the scale that was asked for or the one that the contents stand on.

    Where no unit was assayed it is the masses of the test sample, by the route of mass.
    """
    active = active_named(case.batch, case.active)
    found = {one.unit: one.stage for one in contents_found(case.batch, active=active)}
    values: Mapping[str, Expression] = case.data.masses
    if not found:
        scale, found = "g", {unit.unit: None for unit in masses_of(case.batch.weighed)}
    else:
        own = scale_of(case.batch, active=active, less=case.less)
        assert own is not None, "a test of content has figures only where its contents stand on one scale"
        scale = scale or own.unit
        counted = [name for name in found if name not in case.less]
        values = {name: expr.average(case.data.contents[scale, case.active, name]) for name in counted}
    # The stages are shared out by the marks of the units, whatever was measured.
    units = [Measured(unit=name, value=Fraction(0)) for name in found]
    stages = shared_out(case.batch, units, marked=list(found.values()), rule=rule, less=case.less)
    first, named = BOTH if stages.together else FIRST, dict[str, str]()
    for stage, shared in ((first, stages.first), (SECOND, stages.second), (OTHER, stages.others)):
        named |= {unit.unit: stage for unit in shared}
    marks = [_stage_of(name, stage, case=case, stages=found, first=first) for name, stage in named.items()]
    return UnitsMeasured(
        values={name: values[name] for name in named},
        scale=scale,
        # Where they go by something else than what was entered beside the units, as they were judged.
        marks=marks if [one.value for one in marks] == [*named.values()] else [*named.values()],
        looks=((first,), (first, SECOND)) if stages.second else ((first,),),
        together=stages.together,
    )


def _stage_of(name: str, taken: str, *, case: Case, stages: Mapping[str, int | None], first: str) -> Expression:
    """The stage of a unit by what was entered: beside its assay, or where no assay bears one by the test sample."""
    if all(stage is None for stage in stages.values()):
        return expr.when(case.data.picked[name].equals(YES), first, OTHER)
    cell = case.data.stages[case.active, name]
    blank = taken if cell.value is None else OTHER
    return expr.first_of((cell.equals(""), blank), (cell.equals(1), FIRST), (cell.equals(2), SECOND), otherwise=OTHER)


class StageCells(Struct, frozen=True, kw_only=True):
    """What one stage sees: the units measured, of which it rests on the first, and its figures by name."""

    stage: int
    of: str
    """Words for headers: of the first stage or of all, nothing for a test of one stage."""
    marks: Sequence[str]
    """Those of the units that it rests on."""
    units: Sequence[dict[str, CellRef]]
    """The cells of each unit by the names of their columns."""
    together: bool = False
    """Whether it is the only look, at the units of both stages."""
    figures: dict[str, CellRef] = field(default_factory=dict)

    def __getitem__(self, name: str) -> CellRef:
        return self.figures[name]

    def column(self, name: str) -> CellRange:
        """One column of all units measured; that of those the look rests on is "counted"."""
        return column_of(self.units, name)

    def far(self, name: str, word: str = FAR) -> Expression:
        """How many units bear a word in a column of flags [-]."""
        return expr.count_where((self.column(name), word))


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

    @property
    def stage_names(self) -> Sequence[str]:
        """The stages looked at, as the heads of their columns."""
        return ["First stage" if look.stage == 1 else "All stages" for look in self.looks]

    def limits(self, names: Sequence[str]) -> SimpleNamespace:
        """Lines of what the rule states, each with its source; none for what it leaves open.

        Answers what holds the cells by the same names as the rule, so that its decision can be asked.
        """
        self.block.head("Limits", "Value", "Source")
        found: dict[str, Expression] = {}
        for name in names:
            value, about = getattr(self.rule, name), schema_of(type(self.rule))[name].about
            label = about.name[0].upper() + about.name[1:] + (f" ({about.unit})" if about.unit else "")
            if value is not None:
                found[name] = self.block.one(label, value, note=source_of(self.rule))
        return SimpleNamespace(**found)

    def row(self, name: str, label: str, formula: Callable[[StageCells], Content], *, note: str = "") -> None:
        """A line of one figure, worked out for each look."""
        cells = self.block.line(label, *(formula(look) for look in self.looks), note=note)
        for look, cell in zip(self.looks, cells, strict=True):
            look.figures[name] = cell

    def statistics(self, *, unit: str, suffix: str) -> None:
        """The lines from the number of units to the RSD of what was measured; `suffix` ends the names of figures."""
        mean, sd = f"mean_{suffix}", f"sd_{suffix}"
        self.row("n", "n, units", lambda look: expr.count(look.column("counted")))
        self.row(mean, f"Mean ({unit})", lambda look: expr.average(look.column("counted")), note="sum / n")
        self.row(sd, f"SD ({unit})", lambda look: expr.spread(look.column("counted")), note="divisor n - 1")
        self.row("rsd_percent", "RSD (% of mean)", lambda look: expr.percent_of(look[sd], look[mean]), note="SD / mean")

    def column(
        self,
        name: str,
        header: str,
        formula: Callable[[Cells, StageCells], Content],
        style: Style | None = None,
    ) -> None:
        """A column of one figure of every unit, worked out for each look; `{of}` in its header names the look."""
        page = self.case.page
        for place, look in enumerate(self.looks):
            column = self.first_column + place * self.width + len(look.units[0]) - 2
            page.put(HEADER_ROW, column, header.format(of=look.of), HEADER)
            for row, unit in enumerate(look.units, start=FIRST_ROW):
                unit[name] = page.put(row, column, formula(unit, look), style)

    def deviation(self, header: str, value: str, centre: Callable[[StageCells], Expression]) -> None:
        """The column of the deviations of one value from the centre of each look [% of the centre]."""
        self.column(
            "deviation", header, lambda unit, look: expr.deviation_percent(unit[value], centre(look)), DEVIATION
        )

    def flags(self, name: str, header: str, lies_far: Callable[[Cells, StageCells], Expression]) -> None:
        """A column that says of each unit whether it lies too far off, and whether it is one beside the look."""

        def said(unit: Cells, look: StageCells) -> Expression:
            word = expr.when(expr.is_number(unit["counted"]), FAR, FAR_BESIDE)
            return expr.when(lies_far(unit, look).equals(1), word, NEAR)

        self.column(name, header, said, FLAG)

    def beyond(self, name: str, header: str, *, limit: CellRef, of: str = "deviation") -> None:
        """Flags of units whose deviation is greater than a limit."""
        self.flags(name, header, lambda unit, _: expr.beyond(unit[of], limit))

    def hidden(self, label: str, column: str, *, limits: SimpleNamespace) -> None:
        """The line of units measured beside each look that lie outside, about the centre of all where all are there."""
        last = self.looks[-1]

        def outside(look: StageCells) -> Expression:
            here = look.far(column, FAR_BESIDE)
            if look is last:
                return here
            stages, flags = last.column("mark"), last.column(column)
            second = expr.count_where((stages, SECOND), (flags, FAR))
            of_all = second + expr.count_where((stages, OTHER), (flags, FAR_BESIDE))
            return expr.when(last["n"] >= limits.first_size + limits.second_size, of_all, here)

        self.row("hidden", label, outside)

    def verdicts(self, cases: Callable[[StageCells], Cases], *, limits: SimpleNamespace) -> None:
        """The line of what each stage says; nothing of a second stage that is not whole."""

        def said(look: StageCells) -> Expression:
            whole = verdict_of(cases(look))
            missing = look["n"] < limits.first_size + limits.second_size
            return whole if look is self.looks[0] else expr.when(missing, "", whole)

        self.row("verdict", "Verdict of the stage", said)

    def of_record(self, *, limits: SimpleNamespace) -> Recalculated:
        """The figures of the stage that decides, by the names of the result document; limits hang on no stage."""
        block, first, last = self.block, self.looks[0], self.looks[-1]

        def chosen(name: str) -> Expression:
            return first[name] if first is last else expr.when(stage.equals(2), last[name], first[name])

        block.head("Of record, as the result document names it", "Value")
        decides = expr.expression(first.stage)
        if first is not last:
            second = block.one("Units of the second stage", last["n"] - first["n"])
            due = first["verdict"].equals(Verdict.SECOND_STAGE.value)
            decides = expr.when(expr.all_of(due, second >= limits.second_size), 2, 1)
        stage = block.one("Stage that decides", decides)
        n, known = block.one("n", chosen("n")), {**vars(limits), "stage": stage}
        figures = {
            name: known[name] if name in known else block.one(name, chosen(name))
            for name in self.case.figures
            if name in known or name in first.figures
        }
        deviations = self.deviations(last if stage.number == 2 else first)
        return Recalculated(
            figures=figures, verdict=block.one("Verdict", chosen("verdict")), n=n, deviations=deviations
        )

    def deviations(self, look: StageCells) -> dict[str, CellRef]:
        """The deviation of every unit at a look."""
        return {name: unit["deviation"] for name, unit in zip(self.names, look.units, strict=True)}


def new_unit_sheet(
    case: Case, *, rule: Rule, units: UnitsMeasured, heading: str, width: int, staged: bool = True
) -> UnitSheet:
    """Begin the sheet of a test: its title, and the units with what was measured of each, named "value"."""
    page, looks = case.page, len(units.looks)
    reference = rule.reference
    source = f"{rule.id}: {rule.title}. {reference.work} {reference.section} ({reference.edition})"
    house = " A rule of the house: sheet Rules says what it sets." if rule.builds_on else ""
    title = f"{rule.title}: {case.active}" if case.active else rule.title
    page.head(title, f"{source}; {reference.mark.value}.{house}", _WITHOUT if case.less else _ON_RECORD)
    first, mark = 3, "Stage" if staged else "Sample"
    last = first + width * looks
    page.set_widths(*[11] * (last + 1), 3, 40, *[17] * looks, 32)
    page.headers(HEADER_ROW, last, ["Left out because"])
    left_out = {unit.name: unit.left_out_because for unit in case.batch.units}
    rows: list[dict[str, Content | FromRow]] = []
    for place, ((name, value), said) in enumerate(zip(units.values.items(), units.marks, strict=True)):
        rows.append({"Unit": name, mark: said, heading: value})
        page.put(FIRST_ROW + place, last, left_out.get(name))
    mass = case.data.mass_style if units.scale == "g" else None
    cells = page.table(rows[0], rows, styles={mark: FLAG} | ({heading: mass} if mass else {}))
    of = (", first stage", ", all")[units.together :] if staged else ("",)
    sheet = UnitSheet(
        case=case,
        rule=rule,
        names=tuple(units.values),
        looks=[
            StageCells(
                stage=stage,
                of=words,
                marks=marks,
                units=[{"mark": unit[mark], "value": unit[heading]} for unit in cells],
                together=units.together,
            )
            for stage, (marks, words) in enumerate(zip(units.looks, of, strict=False), start=1 + units.together)
        ],
        block=Block(page=page, column=last + 2),
        first_column=first,
        width=width,
    )

    def counted(unit: Cells, look: StageCells) -> Expression:
        return expr.when(expr.any_of(*map(unit["mark"].equals, look.marks)), unit["value"])

    sheet.column("counted", "Counts{of}", counted, mass)
    return sheet


def verdict_of(cases: Cases) -> Expression:
    """The decision of a kind of rule as a formula: the verdict of the first case that holds."""
    *decided, (_, last) = cases
    return expr.first_of(*((holds, verdict.value) for holds, verdict in decided), otherwise=last.value)


def source_of(rule: Rule, *, mark: Mark | None = None) -> str:
    """The source of a limit in a few words; the sheet Rules gives the work, the edition and every clause."""
    return f"{rule.id}; {(mark or rule.reference.mark).value}"
