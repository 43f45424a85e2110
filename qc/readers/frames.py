"""A batch from data frames that have the columns of the workbook; every check of the workbook applies."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from decimal import Decimal
from numbers import Real
from typing import TYPE_CHECKING

from qc.batch import Batch
from qc.readers.assemble import batch_from_book
from qc.readers.cells import (
    Book,
    CellKind,
    Content,
    Noted,
    SheetCell,
    SheetRow,
    SheetTable,
    date_content,
    number_content,
    text_content,
)
from qc.readers.options import ReadOptions

if TYPE_CHECKING:
    from pandas import DataFrame

NAME = "data frames"


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
    import pandas

    if isinstance(batch, Mapping):
        batch = pandas.DataFrame({"Field": list(batch), "Value": list(batch.values())}, dtype=object)
    names = ("Batch", "Actives", "Units", "Assay", "Cavities", "Checks")
    frames = zip(names, (batch, actives, units, assay, cavities, checks), strict=True)
    tables = tuple(_table(name, frame) for name, frame in frames if frame is not None)
    book = Book(file=NAME, tables=tables)
    return batch_from_book(book, options=ReadOptions(), findings=Noted(), source=None)


def _table(name: str, frame: DataFrame) -> SheetTable:
    headings = [str(heading) for heading in frame.columns]
    head = {
        column: SheetCell(column, f'column "{heading}"', CellKind.TEXT, heading)
        for column, heading in enumerate(headings, start=1)
        if heading.strip()
    }
    made = [SheetRow(number=1, cells=head)]
    # Column by column keeps whole numbers whole; a row of a frame would turn them into floats.
    columns = [frame.iloc[:, spot].astype(object).tolist() for spot in range(frame.shape[1])]
    for number, values in enumerate(zip(*columns, strict=True), start=1):
        cells = {
            column: SheetCell(column, f'row {number} of "{heading}"', *content)
            for column, (heading, value) in enumerate(zip(headings, values, strict=True), start=1)
            if (content := _content(value)) is not None
        }
        if cells:
            # The heading counts as row 1 of the table.
            made.append(SheetRow(number=number + 1, cells=cells))
    return SheetTable(file=NAME, sheet=name, name=name, rows=tuple(made))


def _content(value: object) -> Content | None:
    """Kind, text and number of a value of a frame; None when it is missing."""
    import numpy
    import pandas

    if value is None or value is pandas.NA or value is pandas.NaT or (isinstance(value, Real) and value != value):
        return None
    if isinstance(value, bool | numpy.bool_):
        return CellKind.BOOLEAN, str(value).upper(), None
    if isinstance(value, Decimal):
        if value.is_nan():
            return None
        return (CellKind.NUMBER, f"{value:f}", value) if value.is_finite() else (CellKind.ERROR, str(value), None)
    if isinstance(value, Real):
        return number_content(float(value))
    if isinstance(value, date):
        return date_content(value)
    return text_content(str(value))
