"""Which batch the texts of a sheet name, and the refusal of contents that are said to be of another one."""

from __future__ import annotations

from collections.abc import Iterator

from qc.fields.remarks import batch_named, same_batch
from qc.fields.words import meant_by
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable


def refuse_other_batch(contents: SheetTable, units: SheetTable, facts: SheetTable | None, findings: Noted) -> None:
    """Refuse contents on a sheet that names another batch than the sheets of the units and of the batch do.

    Parameters
    ----------
    contents, units : SheetTable
    facts : SheetTable or None
        The sheet Batch.
    findings : Noted
    """
    own = [code for table in (units, facts) if table is not None for _, code in _batches(table)]
    there = list(_batches(contents))
    if own and there and not any(same_batch(code, one) for _, code in there for one in own):
        cell, code = there[0]
        found = f"the contents here are of batch {quoted(code)}, and the masses of batch {quoted(own[0])}"
        mend = "Enter the contents of this batch, or mend the number that is wrong"
        findings.refuse(contents, cell.address, found=found, mend=mend)


def _batches(table: SheetTable) -> Iterator[tuple[SheetCell, str]]:
    """The texts of a sheet that name a batch in themselves or before the next cell of their row, with its number."""
    for row in table.rows:
        cells = [cell for _, cell in sorted(row.cells.items())]
        shown = [*(cell.shown for cell in cells[1:]), ""]
        for cell, after in zip(cells, shown, strict=True) if cells else ():
            if cell.kind is not CellKind.TEXT:
                continue
            heads = meant_by(cell.shown.strip(" :")) == "batch" and any(map(str.isdigit, after))
            if code := batch_named(cell.shown) or (after if heads else ""):
                yield cell, code
