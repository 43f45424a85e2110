"""Which row of a table holds its headings, and what to say of headings that are not known.

The header row is the first row that holds a known heading. A known column that stands twice is refused, because either
could be the true one; a heading that is not known is ignored with a notice.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from msgspec import Struct

from qc.fields.field import Field, Sheet, near_heading, plain
from qc.fields.remarks import says_of_some
from qc.fields.sheets import ASSAY, BARE_UNITS, SHOWN_ONLY
from qc.fields.words import heading_of
from qc.readers.cells import CellKind, Noted, SheetCell, SheetRow, SheetTable, address
from qc.readers.finding.printed import numbers_told
from qc.readers.finding.view import decimals_in, number_in

# Of so many numbers that nothing took each is told.
MOST_TOLD = 3
_SAID_THERE = (BARE_UNITS.name, ASSAY.name)


class Headings(Struct, frozen=True, kw_only=True):
    """The header row of a table, and what was made of it.

    Parameters
    ----------
    row : SheetRow
    columns : dict
        The known column at each spot.
    missing, mend : str
        What stands behind a message that a column is missing, and behind its mend: headings that are near a known one
        or not known at all, and why the header row may be another one.
    """

    row: SheetRow
    columns: dict[int, Field]
    missing: str
    mend: str

    def filled(self, row: SheetRow) -> dict[str, SheetCell]:
        """The known cells of a row by attribute."""
        return {field.attribute: row.cells[spot] for spot, field in self.columns.items() if spot in row.cells}


def known_fields(row: SheetRow, sheet: Sheet) -> dict[int, Field]:
    """The fields of the cells of a row that are known headings, by column."""
    texts = {spot: plain(cell.text) for spot, cell in row.cells.items() if cell.kind is CellKind.TEXT}
    return {spot: sheet.columns[text] for spot, text in texts.items() if text in sheet.columns}


def header_row(table: SheetTable, sheet: Sheet) -> SheetRow | None:
    """The first row that holds a known heading."""
    return next((row for row in table.rows if known_fields(row, sheet)), None)


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
    ignored = f"; ignored: {', '.join(others)}" if others else ""
    missing = "".join(f"; {hint}" for hint in hints) + ignored + against
    return Headings(row=row, columns=columns, missing=missing, mend=mend)


def _columns(table: SheetTable, sheet: Sheet, row: SheetRow, findings: Noted) -> dict[int, Field]:
    first: dict[str, SheetCell] = {}
    columns: dict[int, Field] = {}
    for spot, field in known_fields(row, sheet).items():
        cell = row.cells[spot]
        earlier = first.setdefault(field.attribute, cell)
        if earlier is cell:
            columns[spot] = field
            continue
        found = f"the column {cell.quoted} stands again, after {earlier.quoted} in {earlier.address}"
        findings.refuse(table, cell.address, found=found, mend=f"Keep one of {earlier.address} and {cell.address}")
    return columns


def _unknown(table: SheetTable, sheet: Sheet, row: SheetRow, findings: Noted) -> tuple[list[str], list[str]]:
    """Notices for the headings that are not known; hints on those near a known one, and the places of the rest."""
    hints: list[str] = []
    others: list[str] = []
    known = known_fields(row, sheet)
    for spot, cell in row.cells.items():
        if spot in known or plain(cell.text) in SHOWN_ONLY:
            continue
        if hint := _hint(cell, sheet):
            hints.append(hint)
        else:
            others.append(f"{cell.quoted} in {cell.address}")
        text = f"Ignored a column: {hint}." if hint else f"The column {cell.quoted} is not known and was ignored."
        column = [one.cells[spot] for one in table.rows if one.number > row.number and spot in one.cells]
        # What is said beside units or contents is told there.
        told = told_of([one for one in column if decimals_in(one) or sheet.name not in _SAID_THERE])
        said = f"{cell.shown}: {told}" if told else ""
        findings.ignore(table, cell.address, text, cells=column or [cell], what=f"column {cell.quoted}", said=said)
    return hints, others


def told_of(cells: Sequence[SheetCell], *, or_if: Callable[[SheetCell], bool] = lambda _: False) -> str:
    """What few cells under no known heading say: numbers with decimals, or that something is wrong."""
    telling = [
        cell
        for cell in cells
        if decimals_in(cell) or numbers_told(cell.text.replace("%", "")) or says_of_some(cell.text) or or_if(cell)
    ]
    said = (cell.shown if number_in(cell) is not None else cell.quoted for cell in telling)
    return ", ".join(said) if len(telling) <= MOST_TOLD else ""


def _against(table: SheetTable, sheet: Sheet, row: SheetRow, *, nearly: bool) -> tuple[str, str]:
    """What speaks against the header row: a single known word, which a title may hold, or a later row that has more.

    `nearly` says whether another of its cells is nearly a heading, which speaks for the row.
    """
    known = [row.cells[spot] for spot in known_fields(row, sheet)]
    better = next((other for other in table.rows if len(known_fields(other, sheet)) > len(known)), None)
    # The column names of a data frame are no row that could be mistaken.
    in_a_row = known[0].address == address(row.number, known[0].column)
    if not in_a_row or (better is None and (len(known) > 1 or nearly)):
        return "", ""
    because = " and ".join(f"{cell.quoted} in {cell.address}" for cell in known)
    mend = f"; row {better.number} holds more known headings: reword {because}" if better else ""
    return f"; row {row.number} was taken for the headings because of {because}", mend


def _refuse_unheaded(table: SheetTable, sheet: Sheet, findings: Noted) -> None:
    """Refuse a table with content but without one known heading."""
    hints = (_hint(cell, sheet) for row in table.rows for cell in row.cells.values())
    hint = next((f"; {hint}" for hint in hints if hint), "")
    headings = ", ".join(field.heading for field in sheet.fields)
    mend = f"Write the headings in one row above the entries: {headings}"
    findings.refuse(table, "", found=f"no row holds a known column heading{hint}", mend=mend)


def _hint(cell: SheetCell, sheet: Sheet) -> str:
    """What to write in place of a heading that means a known one; empty where it is near none.

    It says mass or content in other words, or without its unit of measure; or it is spelled much like a known one.
    """
    said = heading_of(cell.text)
    if cell.kind is not CellKind.TEXT or (said is not None and said.attribute == "other"):
        return ""
    nouns = {field.noun for field in sheet.fields if said is not None and field.attribute == said.attribute}
    offered = [field for field in sheet.fields if field.noun in nouns and field.unit in ("g", "mg", "%")]
    if said is not None and offered:
        meant = offered if not said.measure else [field for field in offered if field.unit == said.measure]
        if not meant:
            return ""
        place = cell.address if cell.typed in cell.address else f"{cell.address} {cell.quoted}"
        why = "is not known" if said.measure else "names no unit of measure"
        return f"{place} {why}: write {' or '.join(field.heading for field in meant)}"
    near = near_heading(cell.text, [field.heading for field in sheet.fields])
    if near is None or not _can_mean(cell.text, near, said=None if said is None else said.attribute, sheet=sheet):
        return ""
    return f'{cell.quoted} in {cell.address} is not known (did you mean "{near}"?)'


def _can_mean(text: str, near: str, *, said: str | None, sheet: Sheet) -> bool:
    """Whether a text that looks like a heading can be a slip of the pen for it.

    Another word than the heading has means something else ("Total mass (g)"), and so does another unit of measure
    ("Mass %"), unless the words are known (`said`); then they must be known for it ("Net (g)" is no content).
    """
    if any(sign in text and sign not in near for sign in "%/"):
        return False
    if said is not None:
        return sheet.columns[plain(near)].attribute == said
    words, meant = text.split(), near.split()
    return len(words) == len(meant) and all(near_heading(one, [other]) for one, other in zip(words, meant, strict=True))
