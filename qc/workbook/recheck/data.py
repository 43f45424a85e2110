"""The data of a batch as cells: facts, actives, units, assays, calibration pours, checks; each number once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.batch import Active, Assay, Batch, DisplacementConvention, Part
from qc.judging.samples import actives_of, mass_sample
from qc.quantities import mean
from qc.workbook.entry.entries import entries_of
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Span, Value
from qc.workbook.recheck.formulas import NO, YES, same_as
from qc.workbook.recheck.look import MOST_DECIMALS, set_page

if TYPE_CHECKING:
    from xlsxwriter.format import Format

HEADER_ROW = 3
FIRST_ROW = HEADER_ROW + 1

NewPage = Callable[[str], Page]


class ActiveCells(Struct, frozen=True, kw_only=True):
    """Where the facts of one active stand; a cell may be empty."""

    name: str
    label_mg: Cell
    displacement: Cell
    by_value: bool
    """Whether the displacement number is a displacement value (else a displacement factor)."""
    target_percent: Cell
    batch_assay_percent: Cell


class DataCells(Struct, frozen=True, kw_only=True):
    """Where every number of a batch stands."""

    facts: Mapping[str, Cell]
    actives: Mapping[str, ActiveCells]
    masses: Mapping[str, Cell]
    mass_shown: Format
    """How a formula that repeats a mass is shown: with the decimals that were typed."""
    mass_range: str
    """Address of the masses of all units; a unit that was not weighed has an empty cell."""
    sample_mean: Reckoned | None
    """Mean mass of the test sample [g]; None when nothing was weighed."""
    sample_count: Reckoned
    """Units in the test sample [-]."""
    contents_mg: Mapping[tuple[str, str], Span]
    contents_percent: Mapping[tuple[str, str], Span]
    """Determinations of whole units by active and unit, on each scale they can be laid on."""
    left_out: Mapping[str, str]
    """Reason by unit."""


def write_data(batch: Batch, *, new_page: NewPage) -> DataCells:
    """Write the sheets that hold what was entered, and answer where each number stands."""
    facts, actives = _write_batch(batch, page=new_page("Batch"))
    units = new_page("Units")
    masses, sample_mean, sample_count = _write_units(batch, page=units)
    decimals = _mass_decimals(batch)
    contents_mg: dict[tuple[str, str], Span] = {}
    contents_percent: dict[tuple[str, str], Span] = {}
    if batch.assays:
        contents_mg, contents_percent = _write_assays(batch, actives=actives, page=new_page("Assay"))
    entries = entries_of(batch)
    for name, guide, rows in (
        ("Cavities", "Calibration pours of plain base, as entered.", entries.cavities),
        ("Checks", "Other tests of the finished units and release checks, as entered.", entries.checks),
    ):
        if rows:
            plain_rows = [[_plain(value) for value in row.values()] for row in rows]
            _write_table(new_page(name), guide=guide, headers=list(rows[0]), rows=plain_rows)
    return DataCells(
        facts=facts,
        actives=actives,
        masses=masses,
        mass_shown=units.look.live if decimals is None else units.look.live_by_decimals[decimals],
        mass_range=_column(units, batch, column=4),
        sample_mean=sample_mean,
        sample_count=sample_count,
        contents_mg=contents_mg,
        contents_percent=contents_percent,
        left_out={unit.name: unit.left_out_because for unit in batch.units if unit.left_out_because},
    )


def _write_batch(batch: Batch, *, page: Page) -> tuple[dict[str, Cell], dict[str, ActiveCells]]:
    page.text(0, 0, "Batch", page.look.title)
    page.text(1, 0, "What was entered about the batch.", page.look.small)
    page.sheet.set_column(0, 0, 30)
    page.sheet.set_column(1, 1, 40)
    page.sheet.set_column(2, 7, 17)
    page.text(HEADER_ROW, 0, "Field", page.look.header)
    page.text(HEADER_ROW, 1, "Value", page.look.header)
    facts: dict[str, Cell] = {}
    for row, (field, value) in enumerate(entries_of(batch).batch.items(), start=FIRST_ROW):
        page.text(row, 0, field)
        facts[field] = page.entry(row, 1, _plain(value), page.look.wrapped if isinstance(value, str) else None)
        page.fit(row, (value if isinstance(value, str) else None, 40))
    head = FIRST_ROW + len(facts) + 1
    headers = (
        "Active",
        "Label claim (mg)",
        "Displacement number",
        "Displacement convention",
        "State",
        "Amount weighed (g)",
        "T, target (% of label)",
        "Batch assay (% of label)",
    )
    for column, header in enumerate(headers):
        page.text(head, column, header, page.look.header)
    page.sheet.set_row(head, 30)
    actives = {
        active.name: _write_active(active, page=page, row=row)
        for row, active in enumerate(actives_of(batch), start=head + 1)
    }
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    return facts, actives


def _write_active(active: Active, *, page: Page, row: int) -> ActiveCells:
    number = active.displacement
    page.text(row, 0, active.name, page.look.wrapped)
    label = page.entry(row, 1, active.label_claim_mg)
    displacement = page.entry(row, 2, None if number is None else number.given)
    page.entry(row, 3, "" if number is None else number.convention.value, page.look.wrapped)
    page.entry(row, 4, "" if active.state is None else active.state.value)
    page.fit(row, (active.name, 30), (None if number is None else number.convention.value, 17))
    page.entry(row, 5, active.amount_weighed_g)
    return ActiveCells(
        name=active.name,
        label_mg=label,
        displacement=displacement,
        by_value=number is not None and number.convention is DisplacementConvention.VALUE,
        target_percent=page.number(row, 6, active.target_percent),
        batch_assay_percent=page.entry(row, 7, active.batch_assay_percent),
    )


def _write_units(batch: Batch, *, page: Page) -> tuple[dict[str, Cell], Reckoned | None, Reckoned]:
    headers = (
        "Unit",
        "Pour order",
        "Mould",
        "Cavity",
        "Mass (g)",
        "In the test sample by mass",
        "Seen",
        "Left out because",
        "Note",
    )
    sample = {unit.unit for unit in mass_sample(batch).sample}
    decimals = _mass_decimals(batch)
    shown = page.look.number if decimals is None else page.look.by_decimals[decimals]
    _write_head(page, guide="One row a unit, as entered; the test sample as the rules take it.", headers=headers)
    page.sheet.set_column(0, 5, 11)
    page.sheet.set_column(6, 8, 24)
    masses: dict[str, Cell] = {}
    for row, unit in enumerate(batch.units, start=FIRST_ROW):
        page.text(row, 0, unit.name)
        page.entry(row, 1, unit.pour_order)
        page.entry(row, 2, unit.mould)
        page.entry(row, 3, unit.cavity)
        mass = page.entry(row, 4, unit.mass_g, shown)
        if unit.mass_g is not None:
            masses[unit.name] = mass
        page.text(row, 5, YES if unit.name in sample else NO if unit.mass_g is not None else "")
        page.entry(row, 6, "; ".join(unit.seen), page.look.wrapped)
        page.entry(row, 7, unit.left_out_because, page.look.wrapped)
        page.entry(row, 8, unit.note, page.look.wrapped)
        page.fit(row, ("; ".join(unit.seen), 24), (unit.left_out_because, 24), (unit.note, 24))
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    mass_range, sample_range = (_column(page, batch, column=column) for column in (4, 5))
    count = Reckoned(formula=f'COUNTIF({sample_range},"{YES}")', value=len(sample))
    if not sample:
        return masses, None, count
    average = mean([masses[name].exact for name in masses if name in sample])
    return masses, Reckoned(formula=f'AVERAGEIFS({mass_range},{sample_range},"{YES}")', value=average), count


def _column(page: Page, batch: Batch, *, column: int) -> str:
    """The address of one column of all units."""
    rows = (FIRST_ROW, FIRST_ROW + len(batch.units) - 1)
    return Span(cells=tuple(Cell(sheet=page.name, row=row, column=column, value=None) for row in rows)).address


def _write_assays(
    batch: Batch, *, actives: Mapping[str, ActiveCells], page: Page
) -> tuple[dict[tuple[str, str], Span], dict[tuple[str, str], Span]]:
    headers = (
        "Entry",
        "Active",
        "Unit",
        "Part",
        "Stage",
        "Content (mg)",
        "Content (% of label)",
        "Mass of part (g)",
        "In mg",
        "In % of label",
    )
    guide = "One row a determination, as entered, those of one unit together. The grey columns are formulas."
    _write_head(page, guide=guide, headers=headers)
    page.sheet.set_column(0, 9, 12)
    page.sheet.set_column(1, 1, 24)
    cells_mg: dict[tuple[str, str], list[Cell]] = {}
    cells_percent: dict[tuple[str, str], list[Cell]] = {}
    for row, (entry, assay) in enumerate(_grouped(batch), start=FIRST_ROW):
        page.number(row, 0, entry)
        page.text(row, 1, assay.active, page.look.wrapped)
        page.fit(row, (assay.active, 24))
        page.text(row, 2, assay.unit)
        page.text(row, 3, assay.part.value)
        page.entry(row, 4, assay.stage)
        mg = page.entry(row, 5, assay.content_mg)
        percent = page.entry(row, 6, assay.content_percent)
        page.entry(row, 7, assay.part_mass_g)
        label = actives[assay.active].label_mg if assay.active in actives else None
        in_mg, in_percent = _both_scales(mg, percent, label=label)
        for column, reckoned, found in ((8, in_mg, cells_mg), (9, in_percent, cells_percent)):
            if reckoned is None:
                page.blank(row, column, page.look.live)
                continue
            cell = page.reckon(row, column, reckoned, page.look.live)
            if assay.part is Part.WHOLE:
                found.setdefault((assay.active, assay.unit), []).append(cell)
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)
    return (
        {key: Span(cells=tuple(cells)) for key, cells in cells_mg.items()},
        {key: Span(cells=tuple(cells)) for key, cells in cells_percent.items()},
    )


def _grouped(batch: Batch) -> list[tuple[int, Assay]]:
    """Determinations with the number of their entry, those of one active and one whole unit below each other."""
    groups: dict[tuple[str, str, bool], list[tuple[int, Assay]]] = {}
    for entry, assay in enumerate(batch.assays, start=1):
        groups.setdefault((assay.active, assay.unit, assay.part is Part.WHOLE), []).append((entry, assay))
    order = {name: place for place, name in enumerate(dict.fromkeys(assay.active for assay in batch.assays))}
    keys = sorted(groups, key=lambda key: (order[key[0]], not key[2]))
    return [row for key in keys for row in groups[key]]


def _both_scales(mg: Cell, percent: Cell, *, label: Cell | None) -> tuple[Reckoned | None, Reckoned | None]:
    """A content in mg and in % of label; None where no label claim joins the two."""
    known = None if label is None or label.value is None else label
    if mg.value is not None:
        return same_as(mg), None if known is None else Reckoned(
            formula=f"{mg.address}/{known.address}*100", value=mg.exact / known.exact * 100
        )
    return None if known is None else Reckoned(
        formula=f"{percent.address}*{known.address}/100", value=percent.exact * known.exact / 100
    ), same_as(percent)


def _write_head(page: Page, *, guide: str, headers: Sequence[str]) -> None:
    page.text(0, 0, page.name, page.look.title)
    page.text(1, 0, guide, page.look.small)
    page.sheet.set_row(HEADER_ROW, 30)
    for column, header in enumerate(headers):
        page.text(HEADER_ROW, column, header, page.look.header)


def _write_table(page: Page, *, guide: str, headers: Sequence[str], rows: Sequence[Sequence[Value]]) -> None:
    _write_head(page, guide=guide, headers=headers)
    page.sheet.set_column(0, len(headers) - 1, 24)
    for row, values in enumerate(rows, start=FIRST_ROW):
        for column, value in enumerate(values):
            page.entry(row, column, value, page.look.wrapped if isinstance(value, str) else None)
        page.fit(row, *((value if isinstance(value, str) else None, 24) for value in values))
    set_page(page.sheet, landscape=False, header_row=HEADER_ROW)


def _mass_decimals(batch: Batch) -> int | None:
    """As many decimals as were typed; None where they are too many to show."""
    most = max([0, *(-int(unit.mass_g.as_tuple().exponent) for unit in batch.units if unit.mass_g is not None)])
    return None if most > MOST_DECIMALS else most


def _plain(value: object) -> Value:
    """A typed value as words, a number, or nothing."""
    if value is None or isinstance(value, int | Decimal | Fraction):
        return value
    return str(value)
