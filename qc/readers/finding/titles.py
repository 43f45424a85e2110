"""What titles and remarks of a sheet say against the masses that stand there; refused, since nobody would see it."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from qc.fields.days import days_meant
from qc.fields.field import Holds, plain, same_name
from qc.fields.remarks import batch_named, measures_said, other_masses, same_batch
from qc.fields.sheets import BATCH
from qc.fields.words import MassUnit, meant_by
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, row_of
from qc.readers.finding.beside import numbers_meant
from qc.readers.finding.view import SheetView
from qc.readers.located import LocatedTable

_REWORD = "Write the net masses of single units, or reword the text where it says something else"


def refuse_contradictions(
    view: SheetView,
    notes: Sequence[SheetCell],
    *,
    unit: MassUnit,
    masses: Collection[str],
    facts: LocatedTable | None,
    findings: Noted,
    batch: str = "",
) -> None:
    """Refuse the texts that speak against the masses.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    notes : sequence of SheetCell
        Its texts that are no part of the table.
    unit : "g" or "mg"
        In which it was weighed.
    masses : collection of str
        The addresses of the masses.
    facts : LocatedTable or None
        The sheet Batch.
    findings : Noted
    batch : str
        The batch that the call or a column names; or empty, where the sheet Batch may.
    """
    number = facts.entries[0].cell("number") if facts else None
    batch = batch or (number.shown if number else "")
    known = (batch or batch_named(view.table.sheet), "the call or the book" if batch else "the name of the sheet")
    for cell in notes:
        if cell.kind is not CellKind.TEXT or any(problem.cell == cell.address for problem in findings.problems):
            continue
        value = _value_beside(view, cell)
        code = batch_named(f"{cell.typed} {value.shown}" if value and meant_by(cell.typed) == "batch" else cell.typed)
        if code and known[0] and not same_batch(code, known[0]):
            found = f"{cell.quoted} names batch {quoted(code)}, and {known[1]} names {quoted(known[0])}"
            findings.refuse(view.table, cell.address, found=found, mend="Keep the one that these units are of")
        elif code and not known[0]:
            known = code, cell.address
        if facts is not None and (other := _other_day(cell, value, facts)):
            found = f"{cell.quoted} says another day than {other} on the sheet Batch"
            findings.refuse(view.table, cell.address, found=found, mend="Keep the one that is right")
        below = view.at((row_of(cell) + 1, cell.column))
        if any(one is not None and one.address not in masses and _is_value(one) for one in (value, below)):
            # What heads a number is about that number.
            continue
        if other := other_masses(cell.typed, count=len(masses)):
            found = f"{cell.quoted} stands beside the masses, and what {quoted(other)} says of them is not understood"
            findings.refuse(view.table, cell.address, found=found, mend=_REWORD)
        elif (said := measures_said(cell.typed)) and unit not in said and meant_by(cell.typed) in ("", "mass_g"):
            found = f"{cell.quoted} says another unit of mass than {unit}, in which the masses stand"
            findings.refuse(view.table, cell.address, found=found, mend="Keep the one that is right")


def _value_beside(view: SheetView, cell: SheetCell) -> SheetCell | None:
    """The next filled cell of the row."""
    row = view.rows.get(row_of(cell), {})
    return next((one for column, one in row.items() if column > cell.column), None)


def _is_value(cell: SheetCell) -> bool:
    return cell.kind in (CellKind.NUMBER, CellKind.PERCENT, CellKind.DATE) or bool(numbers_meant(cell))


def _other_day(cell: SheetCell, value: SheetCell | None, facts: LocatedTable) -> str:
    """A day of the sheet Batch that a text contradicts; empty where it names none."""
    text = same_name(cell.typed)
    for field in (one for one in BATCH.fields if one.holds is Holds.DAY and text.startswith(plain(one.heading))):
        known = facts.entries[0].cell(field.attribute)
        rest = text.removeprefix(plain(field.heading)).strip(" :") or (value.shown if value else "")
        said, days = days_meant(rest), days_meant(known.shown if known else None)
        if said and days and (said[1] < days[0] or said[0] > days[1]):
            return f"{quoted(known.shown)} in {known.address}" if known else ""
    return ""
