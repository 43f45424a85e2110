"""Which batch the texts of a sheet name, and the refusal of contents that are said to be of another one."""

from __future__ import annotations

from collections.abc import Iterator

from qc.fields.remarks import batch_named, same_batch
from qc.fields.words import meant_by
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable
from qc.readers.located import LocatedTable


def refuse_other_batch(
    contents: LocatedTable, units: LocatedTable, facts: SheetTable | None, findings: Noted, *, batch: str = ""
) -> None:
    """Refuse contents on a sheet that names another batch than the sheets of the units and of the batch do.

    Parameters
    ----------
    contents, units : LocatedTable
    facts : SheetTable or None
        The sheet Batch.
    findings : Noted
    batch : str
        The batch that the rows of the units name, or empty.
    """
    own = [batch] if batch else []
    own += [code for table in (units.table, facts) if table is not None for _, code in _batches(table)]
    there, beside = list(_batches(contents.table)), _batches_beside(contents)
    if not own and beside:
        # Without a number for the masses the contents are of one batch at least.
        own = [beside[0][1]]
    others = [one for one in beside if not any(same_batch(one[1], code) for code in own)]
    if own and there and not any(same_batch(code, one) for _, code in there for one in own):
        others = [*there, *others]
    if others:
        cell, code = others[0]
        found = f"the contents here are of batch {quoted(code)}, and the masses of batch {quoted(own[0])}"
        mend = "Enter the contents of this batch, or mend the number that is wrong"
        findings.refuse(contents.table, cell.address, found=found, mend=mend)


def _batches_beside(located: LocatedTable) -> list[tuple[SheetCell, str]]:
    """What stands beside units or their contents under a heading that says batch."""
    rows = {row.number: row.cells for row in located.table.rows}
    heads = rows.get(located.header, {})
    columns = [column for column, head in heads.items() if meant_by(head.shown.strip(" :")) == "batch"]
    cells = (rows[entry.number].get(column) for column in columns for entry in located.entries)
    return [(cell, cell.shown) for cell in cells if cell is not None]


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
