"""A batch from data frames that have the columns of the workbook; every check of the workbook applies."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from decimal import Decimal
from numbers import Real
from typing import TYPE_CHECKING

from qc.batch import Batch
from qc.quantities import shown_decimal
from qc.readers.assemble import batch_from_book
from qc.readers.options import ReadOptions
from qc.readers.tables import Book, CellKind, Noted, SheetCell, SheetRow, SheetTable

if TYPE_CHECKING:
    from pandas import DataFrame

FACTS = ("Field", "Value")


def batch_from_frames(
    *,
    units: DataFrame,
    batch: Mapping[str, object] | DataFrame | None = None,
    actives: DataFrame | None = None,
    assay: DataFrame | None = None,
    cavities: DataFrame | None = None,
    checks: DataFrame | None = None,
) -> Batch:
    """Make a batch of data frames, one a sheet.

    Parameters
    ----------
    units, actives, assay, cavities, checks : DataFrame
        Their column names are the headings of the workbook, such as "Mass (g)". The index is not read.
    batch : mapping or DataFrame, optional
        Facts by field name, or a frame with the columns "Field" and "Value".

    Returns
    -------
    Batch

    Raises
    ------
    InputProblems
        With every problem; `cell` names the column and the row, counted from 1.
    """
    frames: list[tuple[str, list[str], list[list[object]]]] = []
    if isinstance(batch, Mapping):
        frames.append(("Batch", list(FACTS), [[name, value] for name, value in batch.items()]))
    given = {"Actives": actives, "Units": units, "Assay": assay, "Cavities": cavities, "Checks": checks}
    if batch is not None and not isinstance(batch, Mapping):
        given = {"Batch": batch, **given}
    for name, frame in given.items():
        if frame is not None:
            # Column by column keeps whole numbers whole; a row of a frame would turn them into floats.
            columns = [frame.iloc[:, spot].astype(object).tolist() for spot in range(frame.shape[1])]
            frames.append(
                (name, [str(heading) for heading in frame.columns], [list(row) for row in zip(*columns, strict=True)])
            )
    tables = tuple(_table(name, headings, rows) for name, headings, rows in frames)
    return batch_from_book(
        Book(file="data frames", tables=tables), options=ReadOptions(), findings=Noted(), source=None
    )


def _table(name: str, headings: list[str], rows: list[list[object]]) -> SheetTable:
    head = {
        column: SheetCell(row=1, column=column, address=f'column "{heading}"', kind=CellKind.TEXT, text=heading)
        for column, heading in enumerate(headings, start=1)
        if heading.strip()
    }
    made = [SheetRow(number=1, cells=head)]
    for number, values in enumerate(rows, start=1):
        cells: dict[int, SheetCell] = {}
        for column, value in enumerate(values, start=1):
            found = _kind(value)
            if found is not None:
                kind, text, decimal = found
                place = f'row {number} of "{headings[column - 1]}"'
                cells[column] = SheetCell(
                    row=number, column=column, address=place, kind=kind, text=text, number=decimal
                )
        if cells:
            # The heading counts as row 1 of the table.
            made.append(SheetRow(number=number + 1, cells=cells))
    return SheetTable(file="data frames", sheet=name, name=name, rows=tuple(made))


def _kind(value: object) -> tuple[CellKind, str, Decimal | None] | None:
    """What a value of a frame is; None when it is missing."""
    import numpy
    import pandas

    if value is None or value is pandas.NA or value is pandas.NaT:
        return None
    if isinstance(value, bool | numpy.bool_):
        return CellKind.BOOLEAN, str(value).upper(), None
    if isinstance(value, Decimal):
        if value.is_nan():
            return None
        return (CellKind.NUMBER, f"{value:f}", value) if value.is_finite() else (CellKind.ERROR, str(value), None)
    if isinstance(value, Real):
        number = float(value)
        if number != number:
            return None
        if number in (float("inf"), float("-inf")):
            return CellKind.ERROR, str(number), None
        shown = shown_decimal(number)
        return CellKind.NUMBER, f"{shown:f}", shown
    if isinstance(value, datetime | date):
        is_day = not isinstance(value, datetime) or (value.hour, value.minute, value.second) == (0, 0, 0)
        text = value.strftime("%Y-%m-%d") if is_day else value.strftime("%Y-%m-%d %H:%M:%S")
        return CellKind.DATE, text, None
    text = str(value)
    return (CellKind.TEXT, text, None) if text.strip() else None
