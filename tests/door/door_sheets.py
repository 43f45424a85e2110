"""Sheets as people type them: rows of cells, and the programs that write them to a file."""

from __future__ import annotations

import csv
import io
import random
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, time
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path
from typing import Any

Row = Sequence[Any]
Rows = list[list[Any]]


@dataclass(frozen=True)
class Formula:
    """A formula and the result that was stored with it."""

    text: str
    result: Decimal | float


@dataclass(frozen=True)
class Unit:
    """A unit that was truly weighed: mass [g], and what the sheet says of it; None where it says nothing."""

    mass: Decimal
    name: str | None = None
    mould: str | None = None
    cavity: str | None = None


@dataclass(frozen=True)
class Sheet:
    """Rows of one sheet; merged ranges, and hidden rows (from 0)."""

    rows: Rows
    merged: tuple[str, ...] = ()
    hidden: tuple[int, ...] = ()


@dataclass(frozen=True)
class Case:
    """A file with what is true of it.

    `allowed` is "read" (should be read), "refuse" (no reading is right) or "either"; `carried` are numbers that must
    not vanish: a second weighing, say.
    """

    kind: str
    sheets: dict[str, Sheet] | str
    truth: tuple[Unit, ...]
    writer: str = "xlsxwriter"
    allowed: str = "read"
    options: dict[str, Any] = field(default_factory=dict)
    carried: tuple[Decimal, ...] = ()


def drawn(count: int, seed: object, *, mean: str = "2.000", light: str = "1") -> list[Decimal]:
    """Masses of a sound pour [g], no two alike, to the milligram."""
    draws = random.Random(f"{seed}")
    wanted: list[Decimal] = []
    while len(wanted) < count:
        mass = (Decimal(mean) * Decimal(light) + Decimal(draws.randint(-48, 48)) / 1000).quantize(Decimal("0.001"))
        if mass not in wanted:
            wanted.append(mass)
    return wanted


def units(
    masses: Sequence[Decimal], mould: str | None = None, *, first: int = 1, named: bool = True
) -> tuple[Unit, ...]:
    """Units numbered from `first`, or without a name of their own."""
    return tuple(Unit(m, name=str(at) if named else None, mould=mould) for at, m in enumerate(masses, first))


def listed(masses: Sequence[Any], heads: Row = ("Unit", "Mass (g)"), *more: Sequence[Any], first: int = 1) -> Rows:
    """A list with headings: number, mass and further columns."""
    return [list(heads), *([at, m, *(column[at - first] for column in more)] for at, m in enumerate(masses, first))]


def side_by_side(*blocks: Rows, gap: int = 1) -> Rows:
    """Blocks beside each other with empty columns between."""
    wide = [max(map(len, block)) for block in blocks]
    rows = []
    for parts in zip_longest(*blocks, fillvalue=[]):
        row: list[Any] = []
        for part, width in zip(parts, wide, strict=True):
            row += [*part, *[None] * (width - len(part) + gap)]
        rows.append(row[:-gap] if gap else row)
    return rows


def typed(cell: Any, mark: str = ".") -> str:
    """A cell as a text file holds it."""
    match cell:
        case None:
            return ""
        case Formula():
            return typed(cell.result, mark)
        case Decimal() | float():
            return f"{cell}".replace(".", mark)
        case date():
            return cell.strftime("%d.%m.%Y")
        case time():
            return cell.strftime("%H:%M:%S")
        case _:
            return str(cell)


# Name: separator, decimal mark, encoding, line end.
DIALECTS = {
    "csv en": (",", ".", "utf-8", "\r\n"),
    "csv en bom": (",", ".", "utf-8-sig", "\r\n"),
    "csv de": (";", ",", "cp1252", "\r\n"),
    "csv fr": (";", ",", "utf-8", "\n"),
    "csv pl": (";", ",", "utf-8-sig", "\r\n"),
    "csv it": ("\t", ",", "utf-16", "\r\n"),
    "tsv nl": ("\t", ",", "utf-8", "\n"),
    "csv us tab": ("\t", ".", "utf-8", "\n"),
}
CONVERTED = {"ods": "ods", "xls": "xls", "resaved": "xlsx", "csv of calc": "csv"}


def delimited(rows: Iterable[Row], dialect: str) -> bytes:
    """Rows as a delimited file of a locale."""
    separator, mark, encoding, end = DIALECTS[dialect]
    out = io.StringIO()
    writer = csv.writer(out, delimiter=separator, lineterminator=end)
    writer.writerows([[typed(cell, mark) for cell in row] for row in rows])
    try:
        return out.getvalue().encode(encoding)
    except UnicodeEncodeError:
        return out.getvalue().encode("utf-8-sig")


def by_xlsxwriter(path: Path, sheets: dict[str, Sheet]) -> None:
    import xlsxwriter

    with xlsxwriter.Workbook(path, {"in_memory": True}) as book:
        day, clock = book.add_format({"num_format": "dd.mm.yyyy"}), book.add_format({"num_format": "hh:mm"})
        for title, sheet in sheets.items():
            page = book.add_worksheet(title)
            for at, row in enumerate(sheet.rows):
                for across, cell in enumerate(row):
                    match cell:
                        case Formula():
                            page.write_formula(at, across, cell.text, None, float(cell.result))
                        case date():
                            page.write_datetime(at, across, cell, day)
                        case time():
                            page.write_datetime(at, across, cell, clock)
                        case str():
                            page.write_string(at, across, cell)
                        case None:
                            pass
                        case _:
                            page.write_number(at, across, float(cell))
            for where in sheet.merged:
                first = where.partition(":")[0]
                column, line = ord(first[0]) - 65, int(first[1:]) - 1
                page.merge_range(where, typed(sheet.rows[line][column]))
            for at in sheet.hidden:
                page.set_row(at, None, None, {"hidden": True})


def by_openpyxl(path: Path, sheets: dict[str, Sheet]) -> None:
    import openpyxl

    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for title, sheet in sheets.items():
        page = book.create_sheet(title)
        for row in sheet.rows:
            page.append([cell.text if isinstance(cell, Formula) else cell for cell in row])
        for where in sheet.merged:
            page.merge_cells(where)
        for at in sheet.hidden:
            page.row_dimensions[at + 1].hidden = True
    book.save(path)


def by_pandas(path: Path, sheets: dict[str, Sheet]) -> None:
    import pandas as pd

    with pd.ExcelWriter(path, engine="openpyxl") as book:
        for title, sheet in sheets.items():
            head, *rest = sheet.rows
            cells = [[float(cell) if isinstance(cell, Decimal) else cell for cell in row] for row in rest]
            pd.DataFrame(cells, columns=head).to_excel(book, sheet_name=title, index=False)


PROGRAMS = {"openpyxl": by_openpyxl, "pandas": by_pandas}


def write(case: Case, path: Path) -> Path:
    """Write a case; the suffix is added. A case that LibreOffice converts is written as the workbook it starts from."""
    if isinstance(case.sheets, str):
        suffix, _, encoding = case.writer.partition(" ")
        path = path.with_name(f"{path.name}.{suffix}")
        path.write_bytes(case.sheets.encode(encoding or "utf-8"))
    elif case.writer in DIALECTS:
        path = path.with_name(f"{path.name}.{case.writer[:3]}")
        path.write_bytes(delimited(next(iter(case.sheets.values())).rows, case.writer))
    else:
        path = path.with_name(f"{path.name}.xlsx")
        PROGRAMS.get(case.writer, by_xlsxwriter)(path, case.sheets)
    return path
