"""Which row of a table holds its headings, and what to say of headings that are not known."""

from __future__ import annotations

import re
from collections.abc import Mapping
from types import MappingProxyType

from msgspec import Struct

from qc.readers.columns import SHOWN_ONLY, KnownSheet, nearest, plain
from qc.readers.tables import Cell, Findings, Kind, Row, Table, address

_IN_G, _IN_MG, _IN_PERCENT = "Mass (g)", "Mass (mg)", "Content (% of label)"
_CONTENT_MG = "Content (mg)"
# Words that people write over masses and contents; what is measured is plain, and only the unit of measure is not.
_MEASURED: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "mass": {"g": _IN_G, "gram": _IN_G, "grams": _IN_G, "mg": _IN_MG, "milligrams": _IN_MG},
        "content": {"mg": _CONTENT_MG, "%": _IN_PERCENT, "% label": _IN_PERCENT, "% of label": _IN_PERCENT},
    }
)
_WORDS: Mapping[str, str] = MappingProxyType(
    {"mass": "mass", "weight": "mass", "wt": "mass", "content": "content", "assay": "content"}
)
_MEASURE = re.compile(rf"({'|'.join(_WORDS)})\.?(?:[ ,/]+(?:in )?\(?([^()]*)\)?)?")


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


def header_row(table: Table, sheet: KnownSheet) -> Row | None:
    """The first row that holds a known heading."""
    return next((row for row in table.rows if known_cells(row, sheet)), None)


def known_cells(row: Row, sheet: KnownSheet) -> list[Cell]:
    """The cells of a row that are known headings."""
    return [cell for cell in row.cells.values() if cell.kind is Kind.TEXT and plain(cell.text) in sheet.columns]


def header_doubt(table: Table, sheet: KnownSheet, header: Row, unknown: Unknown) -> HeaderDoubt:
    """What speaks against the header row: a single known word, which a title may hold, or a later row that has more.

    Parameters
    ----------
    table : Table
    sheet : KnownSheet
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


def no_headings(table: Table, sheet: KnownSheet, findings: Findings) -> None:
    """Refuse a table with content but without one known heading."""
    headings = [column.heading for column in sheet.columns.values()]
    hints: list[str] = []
    for row in table.rows:
        for cell in row.cells.values():
            if cell.kind is not Kind.TEXT:
                continue
            said = _measured(cell, sheet)
            near = _near(cell, headings)
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


def unknown_headings(table: Table, sheet: KnownSheet, header: Row, findings: Findings) -> Unknown:
    """Notices for the headings that are not known, and what to say of them where a column is missing."""
    hints: list[str] = []
    others: list[str] = []
    known = known_cells(header, sheet)
    headings = [column.heading for column in sheet.columns.values()]
    for cell in header.cells.values():
        heading = cell.text.strip()
        if cell in known or plain(heading) in SHOWN_ONLY:
            continue
        said = _measured(cell, sheet)
        near = _near(cell, headings)
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


def _near(cell: Cell, headings: list[str]) -> str | None:
    """The known heading that looks most like a cell; "Assay (mg)" looks like "Mass (mg)" and means something else."""
    match = _MEASURE.fullmatch(plain(cell.text))
    if cell.kind is not Kind.TEXT or (match and _WORDS[match.group(1)] == "content"):
        return None
    return nearest(cell.text, headings)


def _measured(cell: Cell, sheet: KnownSheet) -> str | None:
    """What to write in place of a heading that says mass or content in other words, or without its unit of measure."""
    match = _MEASURE.fullmatch(plain(cell.text)) if cell.kind is Kind.TEXT else None
    if match is None:
        return None
    spellings = _MEASURED[_WORDS[match.group(1)]]
    offered = [heading for heading in dict.fromkeys(spellings.values()) if plain(heading) in sheet.columns]
    unit = (match.group(2) or "").strip()
    if not offered or (unit and unit not in spellings and unit not in ("kg", "percent")):
        return None
    heading = cell.text.strip()
    place = cell.address if heading in cell.address else f'{cell.address} "{heading}"'
    if not unit:
        return f"{place} names no unit of measure: write {' or '.join(offered)}"
    return f"{place} is not known: write {spellings.get(unit) or ' or '.join(offered)}"
