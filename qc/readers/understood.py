"""The known sheets of a book, every cell of them read: what the batch and the comparison of entries start from."""

from __future__ import annotations

from qc.fields.field import Sheet
from qc.fields.headings import nearest, plain
from qc.fields.sheets import BARE_UNITS, SHEETS, SHOWN_ONLY
from qc.readers.facts import facts_in_a_row
from qc.readers.known_tables import KnownTable, known_table
from qc.readers.number_columns import number_columns, read_numbers
from qc.readers.options import DecimalMark
from qc.readers.read_tables import ReadTable, read_table
from qc.readers.tables import Book, Noted, SheetTable


def known_tables(book: Book, findings: Noted) -> dict[str, KnownTable]:
    """The known sheets of a book by name; an unknown one gives a notice, one that stands twice a problem."""
    tables: dict[str, KnownTable] = {}
    first: dict[str, SheetTable] = {}
    for table in book.tables:
        name = plain(table.name)
        sheet: Sheet | None = BARE_UNITS if book.bare else SHEETS.get(name)
        if sheet is None:
            if name not in SHOWN_ONLY:
                near = nearest(table.name, [known.name for known in SHEETS.values()])
                hint = f'; did you mean "{near}"?' if near else "."
                findings.remark(table, "", f'Ignored the sheet "{table.name}"{hint}')
        elif name in first:
            earlier = f'"{first[name].sheet or first[name].file}" of {first[name].file}'
            found = f"the {sheet.name} sheet stands again, after {earlier}"
            findings.refuse(table, "", found=found, mend="Keep one of the two")
        else:
            first[name] = table
            known = known_table(table, sheet, findings)
            if known is not None:
                tables[sheet.name] = known
    if "Batch" in tables:
        tables["Batch"] = facts_in_a_row(tables["Batch"], findings)
    return tables


def read_tables(
    tables: dict[str, KnownTable], decimal: DecimalMark | None, numbers_to: Noted, rest_to: Noted
) -> dict[str, ReadTable]:
    """The known sheets with the values of their cells.

    Parameters
    ----------
    tables : dict
        Known tables by the name of their sheet.
    decimal : "comma", "point" or None
        The decimal mark that the call names.
    numbers_to, rest_to : Findings
        Where the problems of the numbers go, and those of all other cells.
    """
    columns = [column for known in tables.values() for column in number_columns(known, numbers_to)]
    numbers = read_numbers(columns, decimal)
    return {name: read_table(known, numbers, rest_to) for name, known in tables.items()}
