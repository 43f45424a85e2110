"""The sheets that are plain tables of entries: Batch, Actives, Assay, Cavities, Checks."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from qc.fields.entries import Row
from qc.fields.field import Sheet
from qc.fields.sheets import ACTIVES, ADDED_HEADING, ASSAY, BATCH, FACTS, HINT_HEADING, SHARE_HEADING
from qc.quantities import mean
from qc.workbook.entry.cells import Lists, entry_format, input_check, write_column, write_entry
from qc.workbook.entry.look import Look, protect, set_page

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

# Title, one line of guidance, an empty row, then the header.
TITLE_ROW, GUIDE_ROW, HEADER_ROW = 0, 1, 3
FIRST_ROW = HEADER_ROW + 1
ROW_HEIGHT = 16.5

_LIVE_WIDTH = 13.0
_HINT_WIDTH = 84.0
# The widest table that an upright page holds in readable letters [characters].
_UPRIGHT_WIDTH = 100.0


def write_table(
    sheet: Worksheet, known: Sheet, *, look: Look, rows: Sequence[Row], last_row: int, lists: Lists
) -> None:
    """A titled table of entry columns with its header frozen."""
    _write_title(sheet, known, look)
    sheet.set_default_row(ROW_HEIGHT)
    sheet.set_row(HEADER_ROW, 42)
    for column, field in enumerate(known.entered):
        sheet.set_column(column, column, field.width)
        sheet.write_string(HEADER_ROW, column, field.heading, look.header)
        write_column(
            sheet,
            look=look,
            field=field,
            column=column,
            first_row=FIRST_ROW,
            last_row=last_row,
            rows=rows,
            check=input_check(field, lists),
        )
    sheet.ignore_errors({"number_stored_as_text": f"A1:Z{last_row + 1}"})
    sheet.freeze_panes(FIRST_ROW, 1)
    landscape = sum(field.width for field in known.entered) > _UPRIGHT_WIDTH
    set_page(sheet, landscape=landscape, header_row=HEADER_ROW)
    protect(sheet)


def write_batch(sheet: Worksheet, *, look: Look, values: Row, lists: Lists, working: str) -> None:
    """The sheet Batch: a field a row, with what to write beside it; `working` is the arithmetic of the planned mass."""
    _write_title(sheet, BATCH, look)
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 34)
    sheet.set_column(2, 2, _HINT_WIDTH)
    sheet.set_default_row(18)
    for column, field in enumerate(FACTS.fields):
        sheet.write_string(HEADER_ROW, column, field.heading, look.header)
    sheet.write_string(HEADER_ROW, 2, HINT_HEADING, look.live_header)
    for row, field in enumerate(BATCH.entered, start=FIRST_ROW):
        sheet.write_string(row, 0, field.heading, look.label)
        value = values.get(field.heading)
        write_entry(sheet, row=row, column=1, value=value, shown=entry_format(look, field), dated=look.dated)
        sheet.data_validation(row, 1, row, 1, input_check(field, lists))
        sheet.write_string(row, 2, field.hint, look.hint)
    if working:
        # Under the hints, where the reader looks for no field.
        row = FIRST_ROW + len(BATCH.entered)
        sheet.write_string(row, 2, f"Planned mass: {working}", look.plain)
        sheet.set_row(row, ROW_HEIGHT * 3)
    sheet.ignore_errors({"number_stored_as_text": "B1:B40"})
    sheet.freeze_panes(FIRST_ROW, 1)
    set_page(sheet, landscape=True, header_row=None)
    protect(sheet)


def _write_title(sheet: Worksheet, known: Sheet, look: Look) -> None:
    sheet.write_string(TITLE_ROW, 0, known.name, look.title)
    sheet.set_row(TITLE_ROW, 22)
    sheet.write_string(GUIDE_ROW, 0, known.guide, look.small)


def batch_address(attribute: str) -> str:
    """Where the value of a fact stands, for formulas of other sheets.

    Examples
    --------
    >>> batch_address("number")
    'Batch!$B$5'
    """
    return f"Batch!$B${FIRST_ROW + BATCH.entered.index(BATCH.field(attribute)) + 1}"


def _letter(known: Sheet, attribute: str) -> str:
    """The letter of the column that an attribute stands in."""
    return "ABCDEFGHIJKLMNOPQRSTUVWXYZ"[known.entered.index(known.field(attribute))]


def write_added_mass(sheet: Worksheet, *, look: Look, rows: Sequence[Row], last_row: int) -> None:
    """Beside each active, what one dose adds to the mass of a unit: d (1 - 1/f) [g]."""
    column = len(ACTIVES.entered)
    sheet.set_column(column, column, _LIVE_WIDTH)
    sheet.write_string(HEADER_ROW, column, ADDED_HEADING, look.live_header)
    letters = [_letter(ACTIVES, name) for name in ("label_claim_mg", "displacement_value", "displacement_factor")]
    for row in range(FIRST_ROW, last_row + 1):
        place = row - FIRST_ROW
        claim, value, factor = (f"{letter}{row + 1}" for letter in letters)
        formula = (
            f"=IF(AND(ISNUMBER({claim}),ISNUMBER({value})),{claim}/1000*(1-1/{value}),"
            f'IF(AND(ISNUMBER({claim}),ISNUMBER({factor})),{claim}/1000*(1-{factor}),""))'
        )
        added = _added_mass_g(rows[place]) if place < len(rows) else ""
        sheet.write_formula(row, column, formula, look.added_number, added)


def _added_mass_g(row: Row) -> float | str:
    claim, value, factor = (
        row.get(header) for header in ("Label claim (mg)", "Displacement value", "Displacement factor")
    )
    if not isinstance(claim, Decimal):
        return ""
    if isinstance(value, Decimal):
        return float(Fraction(claim) / 1000 * (1 - 1 / Fraction(value)))
    if isinstance(factor, Decimal):
        return float(Fraction(claim) / 1000 * (1 - Fraction(factor)))
    return ""


def write_assay_live(sheet: Worksheet, *, look: Look, rows: Sequence[Row], last_row: int) -> None:
    """Beside each whole-unit assay, its content in % of the mean of the same active and entry column."""
    column = len(ASSAY.entered)
    sheet.set_column(column, column, _LIVE_WIDTH)
    sheet.write_string(HEADER_ROW, column, SHARE_HEADING, look.live_header)
    span = f"${FIRST_ROW + 1}:${{letter}}${last_row + 1}"
    letters = [_letter(ASSAY, name) for name in ("active", "part", "content_mg", "content_percent")]
    active, part, mg, percent = (f"${letter}{span.format(letter=letter)}" for letter in letters)
    for row in range(FIRST_ROW, last_row + 1):
        own_active, own_part, own_mg, own_percent = (f"{letter}{row + 1}" for letter in letters)
        # An empty criterion of AVERAGEIFS finds no empty cell, so rows are picked by a product instead.
        same = f'({active}={own_active})*(({part}="")+({part}="whole"))'
        in_mg, in_percent = (
            f"{own}*SUMPRODUCT({same}*ISNUMBER({all_of}))/SUMPRODUCT({same},{all_of})*100"
            for own, all_of in ((own_mg, mg), (own_percent, percent))
        )
        formula = (
            f'=IF(NOT(OR({own_part}="",{own_part}="whole")),"",IF(ISNUMBER({own_mg}),{in_mg},'
            f'IF(ISNUMBER({own_percent}),{in_percent},"")))'
        )
        sheet.write_formula(row, column, formula, look.share_number, _share_of_mean(rows, row - FIRST_ROW))


def _share_of_mean(rows: Sequence[Row], place: int) -> float | str:
    if place >= len(rows):
        return ""
    row = rows[place]
    for header in ("Content (mg)", "Content (% of label)"):
        content = row.get(header)
        if isinstance(content, Decimal) and row.get("Part") in (None, "whole"):
            same = [
                found
                for other in rows
                if other.get("Active") == row.get("Active")
                and other.get("Part") in (None, "whole")
                and isinstance(found := other.get(header), Decimal)
            ]
            centre = mean(same)
            return float(Fraction(content) / centre * 100) if centre else ""
    return ""
