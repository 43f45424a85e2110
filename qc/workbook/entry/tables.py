"""The sheets that are plain tables of entries: Batch, Actives, Assay, Cavities, Checks."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING

from qc.quantities import mean
from qc.readers.columns import ADDED_HEADING, HINT_HEADING, SHARE_HEADING
from qc.workbook.entry.cells import entry_format, input_check, write_column, write_entry
from qc.workbook.entry.columns import ACTIVES, ASSAY, BATCH_FIELDS, Entry
from qc.workbook.entry.entries import Row
from qc.workbook.entry.look import Look, protect, set_page

if TYPE_CHECKING:
    from xlsxwriter.worksheet import Worksheet

# Title, one line of guidance, an empty row, then the header.
TITLE_ROW, GUIDE_ROW, HEADER_ROW = 0, 1, 3
FIRST_ROW = HEADER_ROW + 1
ROW_HEIGHT = 16.5

_LIVE_WIDTH = 13.0
_HINT_WIDTH = 84.0


def write_table(
    sheet: Worksheet,
    *,
    look: Look,
    title: str,
    guide: str,
    entries: Sequence[Entry],
    rows: Sequence[Row],
    last_row: int,
    landscape: bool,
) -> None:
    """A titled table of entry columns with its header frozen."""
    sheet.write_string(TITLE_ROW, 0, title, look.title)
    sheet.set_row(TITLE_ROW, 22)
    sheet.write_string(GUIDE_ROW, 0, guide, look.small)
    sheet.set_default_row(ROW_HEIGHT)
    sheet.set_row(HEADER_ROW, 42)
    for column, entry in enumerate(entries):
        sheet.set_column(column, column, entry.width)
        sheet.write_string(HEADER_ROW, column, entry.header, look.header)
        write_column(sheet, look=look, entry=entry, column=column, first_row=FIRST_ROW, last_row=last_row, rows=rows)
    sheet.ignore_errors({"number_stored_as_text": f"A1:Z{last_row + 1}"})
    sheet.freeze_panes(FIRST_ROW, 1)
    set_page(sheet, landscape=landscape, header_row=HEADER_ROW)
    protect(sheet)


def write_batch(
    sheet: Worksheet, *, look: Look, values: Row, form_list: str, rule_sets: Sequence[str], working: str
) -> None:
    """The sheet Batch: a field a row, with what to write beside it.

    `form_list` is the range that holds the names of the dosage forms, `working` the arithmetic of the planned mass.
    """
    sheet.write_string(TITLE_ROW, 0, "Batch", look.title)
    sheet.set_row(TITLE_ROW, 22)
    sheet.write_string(GUIDE_ROW, 0, "One fact a row. What is not known stays empty.", look.small)
    sheet.set_column(0, 0, 26)
    sheet.set_column(1, 1, 34)
    sheet.set_column(2, 2, _HINT_WIDTH)
    sheet.set_default_row(18)
    sheet.write_string(HEADER_ROW, 0, "Field", look.header)
    sheet.write_string(HEADER_ROW, 1, "Value", look.header)
    sheet.write_string(HEADER_ROW, 2, HINT_HEADING, look.live_header)
    for row, entry in enumerate(BATCH_FIELDS, start=FIRST_ROW):
        sheet.write_string(row, 0, entry.header, look.label)
        value = values.get(entry.header)
        write_entry(sheet, row=row, column=1, value=value, shown=entry_format(look, entry), dated=look.dated)
        source = f"={form_list}" if entry.header == "Dosage form" else None
        check = input_check(entry, source=source)
        if entry.header == "Rules":
            check |= {"validate": "list", "source": list(rule_sets), "show_error": False}
        sheet.data_validation(row, 1, row, 1, check)
        sheet.write_string(row, 2, entry.hint, look.hint)
    if working:
        # Under the hints, where the reader looks for no field.
        row = FIRST_ROW + len(BATCH_FIELDS)
        sheet.write_string(row, 2, f"Planned mass: {working}", look.plain)
        sheet.set_row(row, ROW_HEIGHT * 3)
    sheet.ignore_errors({"number_stored_as_text": "B1:B40"})
    sheet.freeze_panes(FIRST_ROW, 1)
    set_page(sheet, landscape=True, header_row=None)
    protect(sheet)


def batch_address(header: str) -> str:
    """Where the value of a field stands, for formulas of other sheets.

    Examples
    --------
    >>> batch_address("Batch number")
    'Batch!$B$5'
    """
    place = next(place for place, entry in enumerate(BATCH_FIELDS) if entry.header == header)
    return f"Batch!$B${FIRST_ROW + place + 1}"


def write_added_mass(sheet: Worksheet, *, look: Look, rows: Sequence[Row], last_row: int) -> None:
    """Beside each active, what one dose adds to the mass of a unit: d (1 - 1/f) [g]."""
    column = len(ACTIVES)
    sheet.set_column(column, column, _LIVE_WIDTH)
    sheet.write_string(HEADER_ROW, column, ADDED_HEADING, look.live_header)
    for row in range(FIRST_ROW, last_row + 1):
        place = row - FIRST_ROW
        number = row + 1
        formula = (
            f"=IF(AND(ISNUMBER(B{number}),ISNUMBER(C{number})),B{number}/1000*(1-1/C{number}),"
            f'IF(AND(ISNUMBER(B{number}),ISNUMBER(D{number})),B{number}/1000*(1-D{number}),""))'
        )
        value = _added_mass_g(rows[place]) if place < len(rows) else ""
        sheet.write_formula(row, column, formula, look.added_number, value)


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
    column = len(ASSAY)
    sheet.set_column(column, column, _LIVE_WIDTH)
    sheet.write_string(HEADER_ROW, column, SHARE_HEADING, look.live_header)
    span = f"${FIRST_ROW + 1}:${{letter}}${last_row + 1}"
    active, part, mg, percent = (f"${letter}{span.format(letter=letter)}" for letter in "BCEF")
    for row in range(FIRST_ROW, last_row + 1):
        number = row + 1
        whole = f'OR(C{number}="",C{number}="whole")'
        # An empty criterion of AVERAGEIFS finds no empty cell, so rows are picked by a product instead.
        same = f'({active}=B{number})*(({part}="")+({part}="whole"))'

        def share(letter: str, span_of: str, *, same: str = same, number: int = number) -> str:
            return f"{letter}{number}*SUMPRODUCT({same}*ISNUMBER({span_of}))/SUMPRODUCT({same},{span_of})*100"

        formula = (
            f'=IF(NOT({whole}),"",IF(ISNUMBER(E{number}),{share("E", mg)},'
            f'IF(ISNUMBER(F{number}),{share("F", percent)},"")))'
        )
        place = row - FIRST_ROW
        sheet.write_formula(row, column, formula, look.share_number, _share_of_mean(rows, place))


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
