"""The entry workbook on the disk: never written over what somebody typed, and whole or not at all."""

from __future__ import annotations

from pathlib import Path

from qc.batch import Batch
from qc.show.filing import file_together, one_file
from qc.workbook.entry import EMPTY_UNITS, filled_bytes, sheet_bytes
from qc.workbook.entry.kept import EntriesKeptError, what_was_typed
from qc.workbook.entry.plan import Plan


def write_sheet(
    path: Path,
    *,
    plan: Plan | None = None,
    batch: Batch | None = None,
    units: int = EMPTY_UNITS,
    replace: bool = False,
    discard: bool = False,
) -> None:
    """Write an entry workbook, empty or filled with a plan or a batch; a person types into it, `qc check` reads it.

    Parameters
    ----------
    path : Path
        Where it goes; its name ends in .xlsx.
    plan : Plan or None
        What is known before the pour: units, order, cavities and planned mass are then filled in.
    batch : Batch or None
        What was entered elsewhere; everything is then filled in as it was read.
    units : int
        Rows of a sheet without a plan, each with its number [-].
    replace : bool
        Whether a file that stands there may be written over, as long as nobody typed anything into it.
    discard : bool
        Whether what somebody typed into it may be lost.

    Raises
    ------
    ValueError
        When the name does not end in .xlsx.
    FileExistsError
        When a file stands there already and may not be written over; EntriesKeptError where somebody typed into it.
    """
    if path.suffix.lower() != ".xlsx":
        raise ValueError(
            f'"{path.name}" does not end in .xlsx: name the workbook for example {path.stem or "batch"}.xlsx'
        )

    def refuse_over() -> None:
        if not path.exists() or discard:
            return
        if typed := what_was_typed(path):
            raise EntriesKeptError(
                f"{path.name} exists already, and {typed}: choose another name, or move it away first"
            )
        if not replace:
            raise FileExistsError(f"{path.name} exists already: choose another name, or move it away first")

    content = sheet_bytes(plan, units=units) if batch is None else filled_bytes(batch)
    # Asked while the place is held, so that nobody fills it in between.
    file_together([one_file(path, content, replace=True)], sure=refuse_over)
