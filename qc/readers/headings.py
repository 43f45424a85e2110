"""Which row of a table holds its headings, and what to say of headings that are not known."""

from __future__ import annotations

import re

from msgspec import Struct

from qc.fields.field import Sheet
from qc.fields.headings import SPELLED_OUT, nearest, plain
from qc.fields.sheets import BARE_UNITS, SHOWN_ONLY
from qc.readers.tables import CellKind, Noted, SheetCell, SheetRow, SheetTable, address

_WORDS = sorted({word for field in BARE_UNITS.fields for word in field.spoken})
_MEASURE = re.compile(rf"({'|'.join(_WORDS)})\.?(?:[ ,/]+(?:in )?\(?([^()]*)\)?)?")
# Units of measure that people write over such a column, and that no column is in.
_OTHER_UNITS = ("kg", "percent")


class Unknown(Struct, frozen=True, kw_only=True):
    """What is said of the headings of a table that are not known.

    Parameters
    ----------
    hints : tuple of str
        Sentences on those that are near a known one, with their cells and what to write.
    others : tuple of str
        The rest, with their cells.
    """

    hints: tuple[str, ...] = ()
    others: tuple[str, ...] = ()

    def for_column(self, heading: str = "") -> str:
        """The hints on one heading (all of them when it is empty), to stand behind a message on a missing column."""
        return "".join(f"; {hint}" for hint in self.hints if heading in hint)

    def all(self) -> str:
        """Every ignored heading, to stand behind a message that nothing was found at all."""
        others = f"; ignored: {', '.join(self.others)}" if self.others else ""
        return f"{self.for_column()}{others}"


class HeaderDoubt(Struct, frozen=True, kw_only=True):
    """Why the row taken for the headings may be another one, to stand behind what was found and its mend."""

    found: str = ""
    mend: str = ""


def header_row(table: SheetTable, sheet: Sheet) -> SheetRow | None:
    """The first row that holds a known heading."""
    return next((row for row in table.rows if known_cells(row, sheet)), None)


def known_cells(row: SheetRow, sheet: Sheet) -> list[SheetCell]:
    """The cells of a row that are known headings."""
    return [cell for cell in row.cells.values() if cell.kind is CellKind.TEXT and plain(cell.text) in sheet.columns]


def header_doubt(table: SheetTable, sheet: Sheet, header: SheetRow, unknown: Unknown) -> HeaderDoubt:
    """What speaks against the header row: a single known word, which a title may hold, or a later row that has more.

    Parameters
    ----------
    table : Table
    sheet : Sheet
    header : Row
        The row that was taken for the headings.
    unknown : Unknown
        What was said of its other cells; one that is nearly a heading speaks for the row.
    """
    known = known_cells(header, sheet)
    later = [row for row in table.rows if row.number > header.number]
    better = next((row for row in later if len(known_cells(row, sheet)) > len(known)), None)
    # The column names of a data frame are no row that could be mistaken.
    if (better is None and (len(known) > 1 or unknown.hints)) or known[0].address != address(
        header.number, known[0].column
    ):
        return HeaderDoubt()
    because = " and ".join(f'"{cell.text.strip()}" in {cell.address}' for cell in known)
    found = f"; row {header.number} was taken for the headings because of {because}"
    if better is None:
        return HeaderDoubt(found=found)
    return HeaderDoubt(found=found, mend=f"; row {better.number} holds more known headings: reword {because}")


def no_headings(table: SheetTable, sheet: Sheet, findings: Noted) -> None:
    """Refuse a table with content but without one known heading."""
    headings = [field.heading for field in sheet.fields]
    hints: list[str] = []
    for row in table.rows:
        for cell in row.cells.values():
            if cell.kind is not CellKind.TEXT:
                continue
            said = _measured(cell, sheet)
            near = _near(cell, sheet)
            if said:
                hints.append(said)
            elif near:
                hints.append(f'"{cell.text.strip()}" in {cell.address} is near "{near}"')
    hint = f"; {hints[0]}" if hints else ""
    findings.refuse(
        table,
        "",
        found=f"no row holds a known column heading{hint}",
        mend=f"Write the headings in one row above the entries: {', '.join(headings)}",
    )


def unknown_headings(table: SheetTable, sheet: Sheet, header: SheetRow, findings: Noted) -> Unknown:
    """Notices for the headings that are not known, and what to say of them where a column is missing."""
    hints: list[str] = []
    others: list[str] = []
    known = known_cells(header, sheet)
    for cell in header.cells.values():
        heading = cell.text.strip()
        if cell in known or plain(heading) in SHOWN_ONLY:
            continue
        said = _measured(cell, sheet)
        near = _near(cell, sheet)
        if said is not None:
            findings.remark(table, cell.address, f"Ignored a column: {said}.")
            hints.append(said)
        elif near is not None:
            findings.remark(table, cell.address, f'Ignored the column "{heading}"; did you mean "{near}"?')
            hints.append(f'"{heading}" in {cell.address} is not known (did you mean "{near}"?)')
        else:
            findings.remark(table, cell.address, f'The column "{heading}" is not known and was ignored.')
            others.append(f'"{heading}" in {cell.address}')
    return Unknown(hints=tuple(hints), others=tuple(others))


def _near(cell: SheetCell, sheet: Sheet) -> str | None:
    """The known heading that looks most like a cell; "Assay (mg)" looks like "Mass (mg)" and means something else."""
    if cell.kind is not CellKind.TEXT:
        return None
    match = _MEASURE.fullmatch(plain(cell.text))
    meant = [field for field in sheet.fields if match is None or not field.spoken or match.group(1) in field.spoken]
    return nearest(cell.text, [field.heading for field in meant])


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
    heading = cell.text.strip()
    place = cell.address if heading in cell.address else f'{cell.address} "{heading}"'
    why = "is not known" if unit else "names no unit of measure"
    return f"{place} {why}: write {' or '.join(field.heading for field in meant or offered)}"
