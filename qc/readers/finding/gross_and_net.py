"""Gross masses and tares beside the net masses: what contradicts them, or stands where the net mass is missing."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from decimal import Decimal
from statistics import median

from qc.fields.words import measure_of, plain_words, summary_of, words_known
from qc.problems import quoted
from qc.readers.cells import Noted, SheetCell, row_of
from qc.readers.command import to_ignore
from qc.readers.finding.lines import NEAR
from qc.readers.finding.view import SheetView, decimals_in, measure_in, number_in, value_in

# More masses than one batch has targets, or lots of a tared dish.
MOST_TARGETS = 3
_MEND = "Type the net mass of that unit as it was weighed, or clear what does not belong there"


def refuse_contradictions(
    view: SheetView,
    *,
    masses: Sequence[SheetCell],
    ignored: Mapping[str, Sequence[SheetCell]],
    call: str,
    findings: Noted,
) -> None:
    """Refuse rows whose net mass alone is missing, whose gross mass less tare is not the net mass, and varying targets.

    A number beside all other units, whatever its heading, was weighed or worked out for that unit as well.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    masses : sequence of SheetCell
        The net masses.
    ignored : mapping
        The numbers that were not read, by what stands over them.
    call : str
        The call so far, to be copied with what leaves them out of account.
    findings : Noted
    """
    net = {row_of(cell): cell for cell in masses}
    if not masses or len(net) < len(masses):
        return
    for heading, cells in ignored.items():
        column = {row_of(cell): cell for cell in cells}
        varies = len({number_in(cell) for cell in cells}) > 1 and any(map(decimals_in, cells))
        if not varies or 2 * len(column.keys() & net.keys()) <= len(net):
            continue
        for row in (row for row in column if row not in net and row > min(net) and value_in(column[row]) > 0):
            if not any(summary_of(cell.shown) for cell in view.rows[row].values()):
                found = f"the row of {column[row].quoted}, under {quoted(heading)}, has no net mass"
                findings.refuse(view.table, column[row].address, found=found, mend=_MEND)
    gross, tare = (
        {row_of(cell): cell for heading, cells in ignored.items() if kind in _weighed_as(heading) for cell in cells}
        for kind in ("gross", "tare")
    )
    names = {next(iter(view.rows[row].values())).shown for row in (net if gross else ())}
    apart = [cell for row, cell in gross.items() if _is_another(view, row, names)]
    if len(apart) > MOST_TARGETS:
        found = f"{apart[0].quoted} and {len(apart) - 1} other gross masses are of units without a net mass"
        mend = f"Type the net masses of these units too; or {to_ignore(call, view.table, apart)}"
        findings.refuse(view.table, apart[0].address, found=found, mend=mend)
    over = view.text((min(net) - 1, masses[0].column))
    for heading, cells in ignored.items() if not gross and "net" not in kinds_of(over) else ():
        if "tare" in _weighed_as(heading) and any(map(decimals_in, cells)):
            said = f"{quoted(heading)} {cells[0].shown} beside masses read as net"
            text = f"There is {said}: see whether they are gross."
            findings.ignore(view.table, cells[0].address, text, cells=cells, what="tares", said=said)
    middle = median(value_in(cell) for cell in masses)
    for heading, cells in ignored.items():
        values = [value_in(cell) for cell in cells]
        held = not words_known().remark.reference.isdisjoint(plain_words(heading)) and "gross" not in kinds_of(heading)
        alike = all(middle / NEAR <= value <= NEAR * middle for value in values)
        if held and alike and len(set(values)) > MOST_TARGETS and not gross.keys() & net.keys():
            found = f"the numbers under {quoted(heading)} differ from row to row as masses do"
            mend = f"Head them Mass (g) if they are what the units weigh; or {to_ignore(call, view.table, cells)}"
            findings.refuse(view.table, cells[0].address, found=found, mend=mend)
    for row in sorted(gross.keys() & net.keys()):
        values = [value_in(cell) for cell in (gross[row], net[row])]
        if 0 < values[0] < values[1] and not measure_in(gross[row]):
            found = f"the gross mass {gross[row].quoted} is less than the net mass {net[row].quoted} beside it"
            findings.refuse(view.table, net[row].address, found=found, mend=_MEND)
    for row in sorted(gross.keys() & tare.keys() & net.keys()):
        cells = (gross[row], tare[row], net[row])
        values = [value_in(cell) for cell in cells]
        # A spreadsheet drops the zeros at the end, 2.500 to 2.5.
        last = Decimal(2).scaleb(-max(map(decimals_in, cells)))
        if abs(values[0] - values[1] - values[2]) > last:
            found = f"{cells[0].quoted} less the tare {cells[1].quoted} is {values[0] - values[1]:f}, and the net mass "
            found += f"beside them is {quoted(cells[2].typed)}"
            findings.refuse(view.table, cells[2].address, found=found, mend=_MEND)


def _is_another(view: SheetView, row: int, names: Collection[str]) -> bool:
    """Whether a row begins with the number of a unit that is none of these."""
    first = next(iter(view.rows[row].values()))
    return first.shown.isdecimal() and first.shown not in names


def _weighed_as(heading: str) -> set[str]:
    """What a heading names; a foil alone, and the like, is a tare."""
    words = [word for word in plain_words(heading) if not measure_of(word)]
    packed = len(words) == 1 and words[0] in words_known().heading.packed
    return kinds_of(heading) or ({"tare"} if packed else set())


def kinds_of(heading: str) -> set[str]:
    """Whether a heading names gross masses or tares, by the signs of a balance of two letters or more."""
    known, words = words_known(), plain_words(heading)
    both = {"gross"} if "+" in words and not known.heading.packed.isdisjoint(words) else set()
    return both | {kind for kind, signs in known.balance.items() for word in words if len(word) > 2 and word in signs}
