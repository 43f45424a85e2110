"""A batch from data frames that have the columns of the workbook; every check of the workbook applies."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from qc.batch import Batch
from qc.readers.assemble import batch_from_book
from qc.readers.cells import Book, CellKind, Noted, SheetCell, SheetRow, SheetTable, content_of
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
    options: ReadOptions | None = None,
) -> Batch:
    """Make a batch of data frames, one a sheet.

    Parameters
    ----------
    units, actives, assay, cavities, checks : DataFrame
        Their column names are the headings of the workbook, such as "Mass (g)". The index is not read.
    batch : mapping or DataFrame, optional
        Facts by field name, or a frame with the columns "Field" and "Value".
    options : ReadOptions, optional
        Facts that no frame holds.

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
    return batch_from_book(book, options=options or ReadOptions(), findings=Noted(), source=None)


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
            if not _is_missing(value) and (content := content_of(value)) is not None
        }
        if cells:
            # The heading counts as row 1 of the table.
            made.append(SheetRow(number=number + 1, cells=cells))
    return SheetTable(file=NAME, sheet=name, name=name, rows=tuple(made))


def _is_missing(value: Any) -> bool:
    from pandas import isna
    from pandas.api.types import is_scalar

    return is_scalar(value) and bool(isna(value))
