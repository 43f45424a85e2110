"""Texts beside the units that tell some of them apart: the names of two products, answers, the signs of a balance."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from qc.fields.days import days_meant
from qc.fields.field import same_name
from qc.fields.remarks import other_masses, says_of_some
from qc.fields.words import are_phases, balance_sign, heading_of, plain_words, words_known
from qc.problems import all_in_full, quoted
from qc.readers.cells import CellKind, Noted, SheetCell, areas, row_of
from qc.readers.command import to_ignore
from qc.readers.finding.lines import MOST_SHARE
from qc.readers.finding.printed import is_clock
from qc.readers.finding.unaccounted import LineBeside, lines_beside
from qc.readers.finding.view import SheetView

# From how many units on a run of one name or day is a group (common practice: the fewest of a mould).
FEWEST_IN_RUN = 5
_SAYS, _MOST_TOLD = (CellKind.TEXT, CellKind.BOOLEAN), 6
# What people type where there is nothing to say.
_NOTHING = " -\u2013\u2014._"
# A text of so few letters says nothing by itself.
_SIGN = 3


def refuse_groups(
    view: SheetView, *, masses: Sequence[SheetCell], notes: Iterable[SheetCell], call: str, findings: Noted
) -> None:
    """Refuse texts or days beside all units that part them into runs, as the names of two products do.

    Parameters
    ----------
    view, masses, call, findings
        As for `unaccounted.refuse_unaccounted`.
    notes : iterable of SheetCell
        The texts and days of the sheet that nothing took.
    """
    for heading, cells, own in _no_places(lines_beside(view, masses, notes)):
        runs = [(name, len(list(run))) for name, run in groupby(same_name(cell.shown) for cell in cells)]
        parts = len(own) > MOST_SHARE * len(masses) and 1 < len(runs) == len({name for name, _ in runs})
        days = any(cell.kind is CellKind.DATE or is_clock(cell.typed) for cell in cells)
        if parts and min(count for _, count in runs) >= FEWEST_IN_RUN and (days or not _of_weighing(heading)):
            names = ", ".join(f"{quoted(name)} ({count})" for name, count in runs)
            if are_phases(name for name, _ in runs):
                findings.tell(view.table, cells, f"units of {names}")
                continue
            found = f"what stands under {quoted(heading)} parts the units into {names}"
            mend = "Judge each batch by itself, or head them Batch or Mould if that is what they name; or "
            mend += to_ignore(call, view.table, cells)
            findings.refuse(view.table, cells[0].address, found=found, mend=mend)


def refuse_said_of_some(
    view: SheetView, *, masses: Sequence[SheetCell], notes: Iterable[SheetCell], call: str, findings: Noted
) -> None:
    """Refuse what says that the balance was not at rest, and answers and signs that are not the same for all units.

    Parameters
    ----------
    view, masses, call, findings
        As for `unaccounted.refuse_unaccounted`.
    notes : iterable of SheetCell
        The texts beside the units that are no names of theirs.
    """
    known = words_known().remark
    for heading, cells, _ in _no_places(lines_beside(view, masses, notes)):
        cells = [cell for cell in cells if cell.kind in _SAYS and not is_clock(cell.typed)]
        cells = [cell for cell in cells if cell.shown.strip(_NOTHING)]
        said = Counter(same_name(cell.shown) for cell in cells)
        of_all = len(said) == 1 and len(cells) == len(masses)
        if of_all and (other := other_masses(cells[0].shown, count=len(masses))):
            found = f"{cells[0].quoted} stands beside all of them, and what {quoted(other)} says is not understood"
            mend = "Write what was found on single units, net; or reword the text where it says something else"
            findings.refuse(view.table, cells[0].address, found=found, mend=mend)
        if not said or (of_all and not says_of_some(cells[0].shown)):
            continue
        moving = next((cell for cell in cells if _is_moving(cell.shown)), None)
        count = max(said.values())
        who = not (known.who | known.weighed).isdisjoint(plain_words(heading))
        signs = all(len(text) <= _SIGN or " ".join(plain_words(text)) in known.answer | known.status for text in said)
        aside = f"; or {to_ignore(call, view.table, cells)}"
        if moving is not None:
            found, cell, aside = f"{moving.quoted} says that the balance was not at rest", moving, ""
            mend = "Weigh that unit again, or say under Left out because why it does not count"
        elif not (who or of_all) and (signs or 2 * count > len(masses)):
            cell = min(cells, key=lambda one: said[same_name(one.shown)])
            found = f"{cell.quoted} stands beside a unit, and the same is not said of all"
            mend = "Say under Left out because why a unit does not count, under Seen what was seen, under Unit its name"
        else:
            # What is said of few, or says that something was wrong, stands before what is said of many.
            first = sorted(cells, key=lambda cell: (not says_of_some(cell.shown), said[same_name(cell.shown)]))
            words = all_in_full(cell.typed for cell in first)
            if not who or len(cells) < len(masses):
                where = areas(view.table, cells)
                text = f"Read what stands beside some of the units: {words}."
                findings.ignore(view.table, where, text, cells=cells, what="words beside units", said=words)
            continue
        findings.refuse(view.table, cell.address, found=found, mend=f"{mend}{aside}")


def tell_of_lines(view: SheetView, *, masses: Sequence[SheetCell], notes: Iterable[SheetCell], findings: Noted) -> None:
    """Tell of lines that stand again between the masses, and not with each of them: two batches, two weighings.

    Parameters
    ----------
    view, masses, findings
        As for `unaccounted.refuse_unaccounted`.
    notes : iterable of SheetCell
        The texts and days of the sheet that nothing took.
    """
    rows, lines = set(map(row_of, masses)), dict[str, list[SheetCell]]()
    for cell in (one for one in notes if row_of(one) not in rows and any(map(str.isalnum, one.shown))):
        if min(rows) - 2 < row_of(cell) < max(rows) + 2 and not _heads(view, cell):
            lines.setdefault(same_name(cell.shown), []).append(cell)
    told = [cells for cells in lines.values() if 1 < len(cells) < len(masses) - 1]
    if told:
        said = ", ".join(f"{cells[0].quoted} ({len(cells)})" for cells in told[:_MOST_TOLD])
        said += f"{' ...' if len(told) > _MOST_TOLD else ''} between the masses"
        findings.tell(view.table, told[0][:1], said)


def _heads(view: SheetView, cell: SheetCell) -> bool:
    return heading_of(cell.typed) is not None or view.numbers_below((row_of(cell), cell.column), within=1) > 0


def tell_of_days(view: SheetView, *, masses: Sequence[SheetCell], findings: Noted) -> None:
    """Tell of days beside the units that are not the same for all of them."""
    # A mass of four decimals may be written as a month is.
    weighed = {cell.address for cell in masses}
    others = [cell for cells in view.rows.values() for cell in cells.values() if cell.address not in weighed]
    for heading, cells, own in lines_beside(view, masses, others):
        days = {days for cell in cells if (days := days_meant(cell.shown)) is not None}
        if len(days) > 1 or (days and 2 < len(own) < len(masses)):
            said = f"{len(days)} {'day' if len(days) == 1 else 'days'} beside {len(own)} of {len(masses)} units"
            text = f"Read {said}{f', under {quoted(heading)}' if heading else ''}."
            findings.tell(view.table, cells, said, text)


def _no_places(lines: Iterable[LineBeside]) -> Iterator[LineBeside]:
    """The columns beside the units but for the row and the column of a cavity in its mould."""
    return (one for one in lines if not words_known().row_or_column.issuperset(plain_words(one[0]) or ("",)))


def _of_weighing(heading: str) -> bool:
    """Whether a heading is about who weighed, and on what: that tells no unit from another."""
    known = words_known()
    return not (known.heading.other | known.remark.who | known.remark.weighed).isdisjoint(plain_words(heading))


def _is_moving(text: str) -> bool:
    """Whether all that is said is a balance's sign that it was not at rest, "S D" or "unstable"."""
    signs = [balance_sign(word) for word in text.split()]
    return bool(signs) and all(signs) and "moving" in signs
