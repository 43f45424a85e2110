"""The data of a batch as cells: facts, actives, units, assays, calibration pours, checks; each number once."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal

from msgspec import Struct
from msgspec.structs import replace

from qc import expr
from qc.batch import Assay, Batch, Part
from qc.contents import actives_of
from qc.expr import NO, YES, CellRange, CellRef, Expression
from qc.fields.entries import Entries, Row, entries_of
from qc.fields.sheets import UNITS
from qc.judging.samples import mass_sample
from qc.workbook.page import FIRST_ROW, LIVE, NUMBER, Content, FromRow, Page, Style

MOST_DECIMALS = 6

NewPage = Callable[[str], Page]
CellsByHeading = Mapping[str, CellRef]

LABEL, TARGET, BATCH_ASSAY = "Label claim (mg)", "Target (% of label)", "Batch assay (% of label)"
_MASS, _MARKED, _IN_SAMPLE = "Mass (g)", "Test sample", "In the test sample by mass"
_IN_MG, _IN_PERCENT = "In mg", "In % of label"


class DataCells(Struct, frozen=True, kw_only=True):
    """Where every number of a batch stands; the cell of what was not entered is empty."""

    facts: CellsByHeading
    actives: Mapping[str, CellsByHeading]
    masses: Mapping[str, CellRef]
    """Mass by unit [g]."""
    mass_style: Style
    """How a formula that repeats a mass is shown: with the decimals that were typed."""
    mass_range: CellRange
    sample_mean: Expression | None
    """Mean mass of the test sample [g]; None when nothing was weighed."""
    sample_count: Expression
    """Units in the test sample [-]."""
    contents: Mapping[tuple[str, str, str], CellRange]
    """Determinations of whole units by their scale ("mg" or "% of label"), active and unit."""


def write_data(batch: Batch, *, new_page: NewPage) -> DataCells:
    """Write the sheets that hold what was entered, and answer where each number stands."""
    entries = entries_of(replace(batch, actives=actives_of(batch)))
    facts, actives = _write_batch(batch, entries, page=new_page("Batch"))
    page = new_page("Units")
    decimals = _mass_decimals(batch)
    units = _write_units(batch, entries, page=page, style={**NUMBER, **decimals})
    masses, marks = (CellRange(cells=tuple(unit[heading] for unit in units)) for heading in (_MASS, _MARKED))
    count = expr.count_where((marks, YES))
    contents = _write_assays(batch, entries, actives=actives, page=new_page("Assay")) if batch.assays else {}
    for name, guide, rows in (
        ("Cavities", "Calibration pours of plain base, as entered.", entries.cavities),
        ("Checks", "Other tests of the finished units and release checks, as entered.", entries.checks),
    ):
        if rows:
            page = new_page(name)
            page.head(name, guide)
            page.set_widths(*[24] * len(rows[0]))
            page.table(rows[0], map(_plain, rows))
    return DataCells(
        facts=facts,
        actives=actives,
        masses=dict(zip((unit.name for unit in batch.units), masses.cells, strict=True)),
        mass_style={**LIVE, **decimals},
        mass_range=masses,
        sample_mean=expr.average_where(masses, marks=marks, word=YES) if count.number else None,
        sample_count=count,
        contents=contents,
    )


def _write_batch(batch: Batch, entries: Entries, *, page: Page) -> tuple[CellsByHeading, dict[str, CellsByHeading]]:
    page.head("Batch", "What was entered about the batch.")
    page.set_widths(30, 40, *[17] * 7)
    lines = [{"Field": name, "Value": value} for name, value in _plain(entries.batch).items()]
    fields = page.table(("Field", "Value"), lines)
    # A target of 100 need not be typed; the formulas go by it, so that it stands here.
    rows = [
        _plain(row) | {TARGET: active.target_percent}
        for active, row in zip(actives_of(batch), entries.actives, strict=True)
    ]
    actives = page.table(rows[0], rows, top=FIRST_ROW + len(fields) + 1) if rows else []
    return (
        {str(field["Field"].value): field["Value"] for field in fields},
        {active.name: cells for active, cells in zip(actives_of(batch), actives, strict=True)},
    )


def _write_units(batch: Batch, entries: Entries, *, page: Page, style: Style) -> Sequence[CellsByHeading]:
    page.head("Units", "One row a unit, as entered; the test sample as the rules take it.")
    page.set_widths(*[11] * 6, *[24] * 3)
    sample = {unit.unit for unit in mass_sample(batch).sample}
    taken = [YES if unit.name in sample else NO if unit.mass_g is not None else None for unit in batch.units]
    rows = [_plain(row) | {_MARKED: mark} for row, mark in zip(entries.units, taken, strict=True)]
    headings = [_IN_SAMPLE if field.attribute == "test_sample" else field.heading for field in UNITS.entered]
    return page.table(headings if rows else (), rows, styles={_MASS: style})


def _write_assays(
    batch: Batch, entries: Entries, *, actives: Mapping[str, CellsByHeading], page: Page
) -> dict[tuple[str, str, str], CellRange]:
    guide = "One row a determination, as entered, those of one unit together. The grey columns are formulas."
    page.head("Assay", guide)
    page.set_widths(12, 12, 24, *[12] * 7)
    assays = _grouped(batch)
    rows = [
        {"Entry": entry, **_plain(entries.assay[entry - 1]), **_both_scales(actives.get(assay.active, {}).get(LABEL))}
        for entry, assay in assays
    ]
    found: dict[tuple[str, str, str], list[CellRef]] = {}
    for (_, assay), cells in zip(assays, page.table(rows[0], rows), strict=True):
        for scale, heading in (("mg", _IN_MG), ("% of label", _IN_PERCENT)):
            if assay.part is Part.WHOLE and cells[heading].value is not None:
                found.setdefault((scale, assay.active, assay.unit), []).append(cells[heading])
    return {key: CellRange(cells=tuple(cells)) for key, cells in found.items()}


def _both_scales(label: CellRef | None) -> dict[str, FromRow]:
    """The columns of a content in mg and in % of label; nothing where no label claim joins the two."""
    claim = None if label is None or label.value is None else label

    def in_mg(cells: CellsByHeading) -> Content:
        mg, percent = cells["Content (mg)"], cells["Content (% of label)"]
        return mg if mg.value is not None else claim and percent * claim / 100

    def in_percent(cells: CellsByHeading) -> Content:
        mg, percent = cells["Content (mg)"], cells["Content (% of label)"]
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


def _plain(row: Row) -> dict[str, Content | FromRow]:
    """Typed values as words, numbers, or nothing."""
    return {
        heading: value if value is None or isinstance(value, int | Decimal) else str(value)
        for heading, value in row.items()
    }
