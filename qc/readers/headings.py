"""Which row of a table holds its headings, and what to say of headings that are not known.

The header row is the first row that holds a known heading. A known column that stands twice is refused, because either
could be the true one; a heading that is not known is ignored with a notice.
"""

from __future__ import annotations

import re

from msgspec import Struct

from qc.fields.field import SPELLED_OUT, Field, Sheet, near_heading, plain
from qc.fields.sheets import BARE_UNITS, SHOWN_ONLY
from qc.readers.cells import CellKind, Noted, SheetCell, SheetRow, SheetTable, address

_WORDS = sorted({word for field in BARE_UNITS.fields for word in field.spoken})
_MEASURE = re.compile(rf"({'|'.join(_WORDS)})\.?(?:[ ,/]+(?:in )?\(?([^()]*)\)?)?")
# Units of measure that people write over such a column, and that no column is in.
_OTHER_UNITS = ("kg", "percent")


class Headings(Struct, frozen=True, kw_only=True):
    """The header row of a table, and what was made of it.

    Parameters
    ----------
    row : SheetRow
    columns : dict
        The known column at each spot.
    hints : tuple of str
        Sentences on headings that are near a known one, with their cells and what to write.
    others : tuple of str
        The other headings that are not known, with their cells.
    against, mend : str
        Why the header row may be another one, to stand behind what was found and its mend; empty where nothing
        speaks against it.
    """

    row: SheetRow
    columns: dict[int, Field]
    hints: tuple[str, ...] = ()
    others: tuple[str, ...] = ()
    against: str = ""
    mend: str = ""

    def said(self, heading: str = "") -> str:
        """The hints on one heading (all of them when it is empty), to stand behind a message on a missing column."""
        return "".join(f"; {hint}" for hint in self.hints if heading in hint)


# Of an input whose cells stand under keys instead of headings.
NO_HEADINGS = Headings(row=SheetRow(number=0, cells={}), columns={})


def known_cells(row: SheetRow, sheet: Sheet) -> list[SheetCell]:
    """The cells of a row that are known headings."""
    return [cell for cell in row.cells.values() if cell.kind is CellKind.TEXT and plain(cell.text) in sheet.columns]


def header_row(table: SheetTable, sheet: Sheet) -> SheetRow | None:
    """The first row that holds a known heading."""
    return next((row for row in table.rows if known_cells(row, sheet)), None)


def headings_of(table: SheetTable, sheet: Sheet, findings: Noted) -> Headings | None:
    """Find and understand the headings; None (and a problem, unless the table is empty) when it has none."""
    row = header_row(table, sheet)
    if row is None:
        if table.rows:
            _refuse_unheaded(table, sheet, findings)
        return None
    columns = _columns(table, sheet, row, findings)
    hints, others = _unknown(table, sheet, row, findings)
    against, mend = _against(table, sheet, row, nearly=bool(hints))
    return Headings(row=row, columns=columns, hints=tuple(hints), others=tuple(others), against=against, mend=mend)


def _columns(table: SheetTable, sheet: Sheet, row: SheetRow, findings: Noted) -> dict[int, Field]:
    first: dict[str, SheetCell] = {}
    columns: dict[int, Field] = {}
    for cell in known_cells(row, sheet):
        field = sheet.columns[plain(cell.text)]
        earlier = first.setdefault(field.attribute, cell)
        if earlier is cell:
            columns[cell.column] = field
            continue
        found = f'the column "{cell.typed}" stands again, after "{earlier.typed}" in {earlier.address}'
        findings.refuse(table, cell.address, found=found, mend=f"Keep one of {earlier.address} and {cell.address}")
    return columns


def _unknown(table: SheetTable, sheet: Sheet, row: SheetRow, findings: Noted) -> tuple[list[str], list[str]]:
    """Notices for the headings that are not known; hints on those near a known one, and the places of the rest."""
    hints: list[str] = []
    others: list[str] = []
    known = known_cells(row, sheet)
    for cell in row.cells.values():
        heading = cell.typed
        if cell in known or plain(heading) in SHOWN_ONLY:
            continue
        if said := _measured(cell, sheet):
            text = f"Ignored a column: {said}."
            hints.append(said)
        elif near := _near(cell, sheet):
            text = f'Ignored the column "{heading}"; did you mean "{near}"?'
            hints.append(f'"{heading}" in {cell.address} is not known (did you mean "{near}"?)')
        else:
            text = f'The column "{heading}" is not known and was ignored.'
            others.append(f'"{heading}" in {cell.address}')
        findings.remark(table, cell.address, text)
    return hints, others


def _against(table: SheetTable, sheet: Sheet, row: SheetRow, *, nearly: bool) -> tuple[str, str]:
    """What speaks against the header row: a single known word, which a title may hold, or a later row that has more.

    `nearly` says whether another of its cells is nearly a heading, which speaks for the row.
    """
    known = known_cells(row, sheet)
    later = (other for other in table.rows if other.number > row.number)
    better = next((other for other in later if len(known_cells(other, sheet)) > len(known)), None)
    # The column names of a data frame are no row that could be mistaken.
    in_a_row = known[0].address == address(row.number, known[0].column)
    if not in_a_row or (better is None and (len(known) > 1 or nearly)):
        return "", ""
    because = " and ".join(f'"{cell.typed}" in {cell.address}' for cell in known)
    mend = f"; row {better.number} holds more known headings: reword {because}" if better else ""
    return f"; row {row.number} was taken for the headings because of {because}", mend


def _refuse_unheaded(table: SheetTable, sheet: Sheet, findings: Noted) -> None:
    """Refuse a table with content but without one known heading."""
    hint = ""
    for cell in (cell for row in table.rows for cell in row.cells.values()):
        if said := _measured(cell, sheet):
            hint = f"; {said}"
        elif near := _near(cell, sheet):
            hint = f'; "{cell.typed}" in {cell.address} is near "{near}"'
        if hint:
            break
    headings = ", ".join(field.heading for field in sheet.fields)
    mend = f"Write the headings in one row above the entries: {headings}"
    findings.refuse(table, "", found=f"no row holds a known column heading{hint}", mend=mend)


def _near(cell: SheetCell, sheet: Sheet) -> str | None:
    """The known heading that looks most like a cell; "Assay (mg)" looks like "Mass (mg)" and means something else."""
    if cell.kind is not CellKind.TEXT:
        return None
    match = _MEASURE.fullmatch(plain(cell.text))
    meant = [field for field in sheet.fields if match is None or not field.spoken or match.group(1) in field.spoken]
    return near_heading(cell.text, [field.heading for field in meant])


def _measured(cell: SheetCell, sheet: Sheet) -> str | None:
    """What to write in place of a heading that says mass or content in other words, or without its unit of measure."""
    match = _MEASURE.fullmatch(plain(cell.text)) if cell.kind is CellKind.TEXT else None
    if match is None:
        return None
    offered = [field for field in sheet.fields if match.group(1) in field.spoken]
    unit = (match.group(2) or "").strip()
    meant = [field for field in offered if field.unit == SPELLED_OUT.get(unit, unit)]
    if not offered or (unit and not meant and unit not in _OTHER_UNITS):
        return None
    heading = cell.typed
    place = cell.address if heading in cell.address else f'{cell.address} "{heading}"'
    why = "is not known" if unit else "names no unit of measure"
    return f"{place} {why}: write {' or '.join(field.heading for field in meant or offered)}"
