"""The data of a batch as cells: facts, actives, units, assays, calibration pours, checks; each number once."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from qc import expr
from qc.batch import Assay, Batch, Part, Unit
from qc.contents import actives_of
from qc.expr import NO, YES
from qc.expr.parts import CellRange, CellRef, Expression
from qc.fields.entries import Entries, Row, entries_of
from qc.fields.field import Sheet
from qc.fields.sheets import ACTIVES, ASSAY, BATCH, CAVITIES, CHECKS, FACTS, UNITS
from qc.judging.weighed_again import second_counts
from qc.workbook.page import FIRST_ROW, LIVE, NUMBER, Cells, Content, FromRow, Page, Pages, Style, column_of

MOST_DECIMALS = 6

_COUNTS = "Mass that counts (g)"
_IN_SAMPLE, _IN_MG, _IN_PERCENT = "In the test sample by mass", "In mg", "In % of label"


class DataCells(Struct, frozen=True, kw_only=True):
    """Where every number of a batch stands; the cell of what was not entered is empty."""

    facts: Cells
    actives: Mapping[str, Cells]
    masses: Mapping[str, CellRef]
    """Mass by unit [g]."""
    in_sample: Mapping[str, CellRef]
    """Whether a unit is of the test sample by mass, "yes" or "no"."""
    picked: Mapping[str, Expression]
    """Whether a unit is picked by what stands under Test sample: one that is marked, or where none is, not left out."""
    stages: Mapping[tuple[str, str], CellRef]
    """The stage that was entered beside the first determination of a whole unit, by active and unit."""
    mass_style: Style
    """How a formula that repeats a mass is shown: with the decimals that were typed."""
    mass_range: CellRange
    sample_mean: Expression | None
    """Mean mass of the test sample [g]; None when nothing was weighed."""
    sample_count: Expression
    """Units in the test sample [-]."""
    contents: Mapping[tuple[str, str, str], CellRange]
    """Determinations of whole units by their scale ("mg" or "% of label"), active and unit."""


def write_data(batch: Batch, *, sample: Collection[str], pages: Pages) -> DataCells:
    """Write the sheets that hold what was entered, and answer where each number stands.

    `sample` names the units that the test of mass rests on.
    """
    entries = entries_of(replace(batch, actives=actives_of(batch)))
    facts, actives = _write_batch(batch, entries, page=pages.page(BATCH.name))
    decimals = _mass_decimals(batch)
    style: Style = {**NUMBER, **decimals}
    units = _write_units(batch, entries, sample=sample, page=pages.page(UNITS.name), style=style)
    masses = column_of(units, _COUNTS if units and _COUNTS in units[0] else "mass_g")
    marks = column_of(units, _IN_SAMPLE)
    count = expr.count_where((marks, YES))
    assays = _write_assays(batch, entries, actives=actives, page=pages.page(ASSAY.name)) if batch.assays else []
    for known, guide, rows in (
        (CAVITIES, "Calibration pours of plain base, as entered.", entries.cavities),
        (CHECKS, "Other tests of the finished units and release checks, as entered.", entries.checks),
    ):
        if rows:
            page = pages.page(known.name)
            page.head(known.name, guide)
            page.set_widths(*[24] * len(known.entered))
            page.table(_headings(known), _rows(known, rows))
    return DataCells(
        facts=facts,
        actives=actives,
        masses=dict(zip((unit.name for unit in batch.units), masses.cells, strict=True)),
        in_sample=dict(zip((unit.name for unit in batch.units), marks.cells, strict=True)),
        picked=dict(zip((unit.name for unit in batch.units), _picked(units), strict=True)),
        stages={(one.active, one.unit): cells["stage"] for one, cells in reversed(assays) if one.part is Part.WHOLE},
        mass_style={**LIVE, **decimals},
        mass_range=masses,
        sample_mean=expr.average_where(masses, marks=marks, word=YES) if count.number else None,
        sample_count=count,
        contents=_by_scale(assays),
    )


def _headings(known: Sheet) -> list[str]:
    return [field.heading for field in known.entered]


def _rows(known: Sheet, rows: Sequence[Row]) -> list[dict[str, Content | FromRow]]:
    """Typed values by attribute as words, numbers, or nothing."""
    plain = (
        {name: one if one is None or isinstance(one, int | Decimal) else str(one) for name, one in row.items()}
        for row in rows
    )
    return [{field.attribute: row[field.heading] for field in known.entered} for row in plain]


def _write_batch(batch: Batch, entries: Entries, *, page: Page) -> tuple[Cells, dict[str, Cells]]:
    page.head(BATCH.name, "What was entered about the batch.")
    page.set_widths(30, 40, *[17] * 7)
    (values,) = _rows(BATCH, [entries.batch])
    lines = [{"field": field.heading, "value": values[field.attribute]} for field in BATCH.entered]
    facts = page.table(_headings(FACTS), lines)
    # A target of 100 need not be typed; the formulas go by it, so that it stands here.
    named = zip(actives_of(batch), _rows(ACTIVES, entries.actives), strict=True)
    rows = [row | {"target_percent": active.target_percent} for active, row in named]
    actives = page.table(_headings(ACTIVES), rows, top=FIRST_ROW + len(facts) + 1) if rows else []
    return (
        {field.attribute: cells["value"] for field, cells in zip(BATCH.entered, facts, strict=True)},
        {active.name: cells for active, cells in zip(actives_of(batch), actives, strict=True)},
    )


def _write_units(
    batch: Batch, entries: Entries, *, sample: Collection[str], page: Page, style: Style
) -> Sequence[Cells]:
    page.head(UNITS.name, "One row a unit, as entered. The sheets of the tests follow the marks under Test sample.")
    page.set_widths(*[11] * 6, 24, 11, *[24] * 3, 11, 11)
    rows: list[dict[str, Content | FromRow]] = _rows(UNITS, entries.units)
    at = [field.attribute for field in UNITS.entered].index("test_sample")
    marks = [
        {
            "test_sample": CellRef(
                sheet=page.name, row=place, column=at, value=YES if mark else NO if mark is False else None
            )
        }
        for place, mark in enumerate((unit.test_sample for unit in batch.units), start=FIRST_ROW)
    ]
    taken = [YES if unit.name in sample else NO if unit.mass_g is not None else None for unit in batch.units]
    picked = [None if one is None else mark for one, mark in zip(taken, _picked(marks), strict=True)]
    # Marks of a test of content beside masses of all units say nothing of the test of mass.
    follows = [one and one.value for one in picked] == taken
    rows = [row | {_IN_SAMPLE: mark} for row, mark in zip(rows, picked if follows else taken, strict=True)]
    headings = [*_headings(UNITS), _IN_SAMPLE]
    masses = dict.fromkeys(("mass_g", "weighed_again_g", _COUNTS), style)
    # Of units that were all weighed once, the mass as entered is the one that counts.
    if any(unit.weighed_again_g is not None for unit in batch.units):
        rows = [row | {_COUNTS: _mass_that_counts(batch, unit)} for row, unit in zip(rows, batch.units, strict=True)]
        headings.append(_COUNTS)
    return page.table(headings if rows else (), rows, styles=masses)


def _picked(units: Sequence[Cells]) -> list[Expression]:
    """Whether each unit is picked by the marks: as marked; one without a mark where none is marked "yes"."""
    if not units:
        return []
    unmarked = expr.when(expr.count_where((column_of(units, "test_sample"), YES)) > 0, NO, YES)
    marks = (unit["test_sample"] for unit in units)
    return [expr.first_of((mark.equals(YES), YES), (mark.equals(NO), NO), otherwise=unmarked) for mark in marks]


def _mass_that_counts(batch: Batch, unit: Unit) -> FromRow:
    """The cell of the mass that counts; which of two that is was decided by what stands under Checked by too."""
    name = "weighed_again_g" if second_counts(batch, unit) else "mass_g"
    return lambda cells: cells[name] if cells[name].value is not None else None


def _write_assays(
    batch: Batch, entries: Entries, *, actives: Mapping[str, Cells], page: Page
) -> list[tuple[Assay, Cells]]:
    guide = "One row a determination, as entered, those of one unit together. The grey columns are formulas."
    page.head(ASSAY.name, guide)
    page.set_widths(12, 12, 24, *[12] * 7)
    assays, entered = _grouped(batch), _rows(ASSAY, entries.assay)
    rows = [
        {"entry": entry, **entered[entry - 1], **_both_scales(actives.get(assay.active, {}).get("label_claim_mg"))}
        for entry, assay in assays
    ]
    table = page.table(("Entry", *_headings(ASSAY), _IN_MG, _IN_PERCENT), rows)
    return [(assay, cells) for (_, assay), cells in zip(assays, table, strict=True)]


def _by_scale(assays: Sequence[tuple[Assay, Cells]]) -> dict[tuple[str, str, str], CellRange]:
    """The determinations of each whole unit by their scale, active and unit."""
    found: dict[tuple[str, str, str], list[CellRef]] = {}
    for assay, cells in assays:
        for scale, column in (("mg", _IN_MG), ("% of label", _IN_PERCENT)):
            if assay.part is Part.WHOLE and cells[column].value is not None:
                found.setdefault((scale, assay.active, assay.unit), []).append(cells[column])
    return {key: CellRange(cells=tuple(cells)) for key, cells in found.items()}


def _both_scales(label: CellRef | None) -> dict[str, FromRow]:
    """The columns of a content in mg and in % of label; nothing where no label claim joins the two."""
    claim = None if label is None or label.value is None else label

    def in_mg(cells: Cells) -> Content:
        mg, percent = cells["content_mg"], cells["content_percent"]
        return mg if mg.value is not None else claim and percent * claim / 100

    def in_percent(cells: Cells) -> Content:
        mg, percent = cells["content_mg"], cells["content_percent"]
        return percent if mg.value is None else claim and mg / claim * 100

    return {_IN_MG: in_mg, _IN_PERCENT: in_percent}


def _grouped(batch: Batch) -> list[tuple[int, Assay]]:
    """Determinations with the number of their entry, those of one active and one whole unit below each other."""
    actives = list(dict.fromkeys(assay.active for assay in batch.assays))
    groups = [(assay.active, assay.unit, assay.part is Part.WHOLE) for assay in batch.assays]

    def place(entry: tuple[int, Assay]) -> tuple[int, bool, int]:
        active, _, whole = group = groups[entry[0] - 1]
        return actives.index(active), not whole, groups.index(group)

    return sorted(enumerate(batch.assays, start=1), key=place)


def _mass_decimals(batch: Batch) -> Style:
    """How a mass, and a formula that repeats one, is shown: with as many decimals as were typed, unless too many."""
    most = max([0, *(-int(unit.mass_g.as_tuple().exponent) for unit in batch.units if unit.mass_g is not None)])
    return {} if most > MOST_DECIMALS else {"num_format": "0." + "0" * most if most else "0"}
