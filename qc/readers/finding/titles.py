"""What of a sheet is no part of its table, and what titles and remarks say against the masses: refused, or told."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterable, Sequence
from decimal import Decimal
from functools import partial

from msgspec import Struct

from qc.fields.days import days_meant
from qc.fields.field import Holds, Plausible, same_name
from qc.fields.remarks import SHORTEST_SENTENCE, batch_named, measures_said, other_masses, same_batch, says_no_unit
from qc.fields.sheets import BATCH
from qc.fields.words import meant_by, measure_of, plain_words, says_who, summary_of, words_known
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell, row_of
from qc.readers.command import to_ignore
from qc.readers.finding.beside import Beside, beside
from qc.readers.finding.could_be import first_used, numbers_meant
from qc.readers.finding.facts_said import refuse_other_facts
from qc.readers.finding.follows import refuse_what_does_not_follow
from qc.readers.finding.gross_and_net import refuse_contradictions
from qc.readers.finding.printed import numbers_told
from qc.readers.finding.told_apart import refuse_groups, refuse_said_of_some, tell_of_days, tell_of_lines
from qc.readers.finding.unaccounted import lines_beside, refuse_unaccounted
from qc.readers.finding.view import SheetView, number_in
from qc.readers.ignored import columns_ignored
from qc.readers.located import LocatedTable
from qc.readers.options import ReadOptions

_REWORD = "Write the net masses of single units, or reword the text where it says something else"


class _Table(Struct, frozen=True, kw_only=True):
    """A table with what `rest_of` is told of it."""

    view: SheetView
    masses: Sequence[SheetCell]
    used: Collection[str]
    texts: Sequence[SheetCell]
    unit: str
    facts: LocatedTable | None
    findings: Noted
    options: ReadOptions
    labels: Sequence[SheetCell]
    contents: Sequence[SheetCell]

    def refuse(self, cell: SheetCell, found: str, mend: str) -> None:
        """Note a problem at a cell."""
        self.findings.refuse(self.view.table, cell.address, found=found, mend=mend)


def rest_of(
    view: SheetView,
    *,
    masses: Sequence[SheetCell],
    used: Collection[str],
    texts: Iterable[SheetCell],
    unit: str,
    plausible: Plausible,
    facts: LocatedTable | None,
    findings: Noted,
    options: ReadOptions,
    batch: str = "",
    apart: Collection[str] = (),
    labels: Sequence[SheetCell] = (),
    contents: Sequence[SheetCell],
) -> Beside:
    """What of a sheet is no part of the table; refused where it could be, or where it speaks against the masses.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    masses : sequence of SheetCell
    used : collection of str
        Addresses of the cells that were understood.
    texts : iterable of SheetCell
        Those among the rows of the table that name no unit.
    unit : str
        "g" or "mg", in which it was weighed; empty where that is refused.
    plausible : Plausible
        Between which masses a unit weighs [g].
    facts : LocatedTable or None
        The sheet Batch.
    findings : Noted
    options : ReadOptions
        What the call says.
    batch : str
        The batch that the call or a column names; or empty, where the sheet Batch may.
    apart : collection of str
        The titles of other tables on the sheet, which were told apart from it.
    labels : sequence of SheetCell
        The texts before the masses that are under no heading of their own.
    contents : sequence of SheetCell
        What the units hold, beside their masses.
    """
    table = _Table(
        view=view,
        masses=masses,
        used=used,
        texts=list(texts),
        unit=unit,
        facts=facts,
        findings=findings,
        options=options,
        labels=labels,
        contents=contents,
    )
    outside = beside(view, masses=masses, used=used, plausible=plausible, texts=table.texts, contents=contents)
    outside.refuse(view, findings, options.command, kind="masses" if masses else "contents")
    _refuse_counted(table, outside)
    if not findings.problems:
        _refuse_beside(table, outside)
    number = facts.entries[0].cell("number") if facts else None
    batch = batch or (number.shown if number else "")
    known = (batch or batch_named(view.table.sheet), "the call or the book" if batch else "the name of the sheet")
    _refuse_columns(table, batch=known[0])
    _refuse_texts(table, outside, apart=apart, known=known)
    return outside


def _refuse_counted(table: _Table, outside: Beside) -> None:
    """Refuse numbers that say of how many units each row is."""
    in_rows = Counter(map(row_of, table.masses))
    for text, cells in outside.ignored.items():
        counts = {number_in(cell) for cell in cells}
        # Numbers that are all different may count the rows.
        counted = (summary_of(text) == "count" or meant_by(text) == "name") and len(counts) < len(cells)
        counted = counted or not words_known().counted.isdisjoint(plain_words(text))
        counted = counted or (summary_of(text) == "count" and meant_by(text) == "other")
        # Behind a row of a grid it is how many stand there.
        own = all(in_rows[row_of(cell)] == number_in(cell) for cell in cells)
        own = own or all(number_in(cell) == at for at, cell in enumerate(cells, 1))
        if len(cells) > 1 and counts != {Decimal(1)} and counted and not own:
            found = f"the numbers under {quoted(text)} say of how many units each row is"
            table.refuse(cells[0], found, "Weigh the units one by one, one row each")


def _refuse_beside(table: _Table, outside: Beside) -> None:
    """Refuse what stands beside the units, or tell of it, by the numbers and texts that nothing took."""
    view, masses, findings, options = table.view, table.masses, table.findings, table.options
    facts, labels, texts = table.facts, table.labels, table.texts
    # A figure in percent by its name is none of what stands above it.
    ignored = [cell for cells in outside.ignored.values() for cell in cells]
    labels_of = {cell.address: view.text((row_of(cell), cell.column - 1)) for cell in ignored}
    rest = [one for one in ignored if not (summary_of(labels_of[one.address]) and "%" in labels_of[one.address])]
    refuse_unaccounted(view, masses=masses, rest=rest, call=options.command, findings=findings, contents=table.contents)
    refuse_what_does_not_follow(view, measured=masses, rest=rest, findings=findings)
    if masses:
        tell_of_lines(view, masses=masses, notes=[*outside.notes, *texts], findings=findings)
        tell_of_days(view, masses=masses, findings=findings)
    refuse_groups(view, masses=masses, notes=[*outside.notes, *labels], call=options.command, findings=findings)
    entered = facts.entries[0].value("dosage_form") if facts else None
    form = options.form or entered
    # What heads a number is about that number.
    refuse_contradictions(view, masses=masses, ignored=outside.ignored, call=options.command, findings=findings)
    labels_told = {aside.label for aside in outside.asides}
    # A remark before a column of numbers with a heading of its own heads none of them.
    headed = {cell.address for over, cells in outside.ignored.items() if over and len(cells) > 1 for cell in cells}
    headed |= {*table.used}
    beside_it = ((cell, view.next_to(cell)) for cell in outside.notes)
    heads = {cell.address for cell, one in beside_it if one and _is_value(one) and one.address not in headed}
    notes = [cell for cell in outside.notes if cell.address not in heads and cell.typed not in labels_told]
    refuse_said_of_some(view, masses=masses, notes=[*notes, *labels], call=options.command, findings=findings)
    refuse_other_facts(view, outside.notes, masses=len(masses), form=form, options=options, findings=findings)


def _refuse_columns(table: _Table, *, batch: str) -> None:
    """Refuse columns beside the units that say another unit of mass, or another batch than the one that is known."""
    view, masses, unit, labels = table.view, table.masses, table.unit, table.labels
    addresses = {cell.address for cell in masses}
    understood = addresses | {*table.used}
    every = (cell for cells in view.rows.values() for cell in cells.values())
    rest = [*(cell for cell in every if cell.address not in understood), *labels]
    held = {cell.address for cell in table.contents}
    for heading, cells, _ in lines_beside(view, masses, rest) if masses and rest else ():
        row, measures = view.rows[row_of(cells[0])], {measure_of(cell.typed) for cell in cells}
        numbers = [one.address for at, one in row.items() if at < cells[0].column and number_in(one) is not None]
        before = [one for one in numbers if one in addresses | held or one not in understood]
        if (
            unit
            and not says_who(heading)
            and addresses.issuperset(before[-1:])
            and len(measures) == 1
            and measures.isdisjoint({"", unit})
        ):
            found = f"{cells[0].quoted} stands beside the masses, and these are in {unit}"
            table.refuse(cells[0], found, "Give all masses in one unit of mass")
        named = batch or cells[0].shown
        others = [cell for cell in cells if not same_batch(cell.shown, named)] if meant_by(heading) == "batch" else []
        for cell in others[:1]:
            found = f"{cell.quoted} under {quoted(heading)} is another batch than {quoted(named)}"
            table.refuse(cell, found, "Keep the units and contents of one batch")


def _refuse_texts(table: _Table, outside: Beside, *, apart: Collection[str], known: tuple[str, str]) -> None:
    """Refuse titles and remarks that name another batch, day or unit of mass, or make other masses of these."""
    view, masses, unit, facts = table.view, table.masses, table.unit, table.facts
    rows, last = set(map(row_of, masses)), {cell.column: row_of(cell) for cell in sorted(masses, key=row_of)}
    # What a column says in most of its rows is who weighed, or on which balance.
    every = [cell for cells in view.rows.values() for cell in cells.values()]
    alike, filled = Counter((cell.column, cell.shown) for cell in every), Counter(cell.column for cell in every)
    understood = {cell.address for cell in masses} | {*table.used}
    refused = {problem.cell for problem in table.findings.problems}
    # The call may leave a column out of account, and not its heading.
    first_row, left_out = first_used(view, table.used), columns_ignored(table.options.ignore)
    under, below = dict[int, SheetCell](), dict[str, SheetCell | None]()
    for cell in reversed(every):
        below[cell.address], under[cell.column] = under.get(cell.column), cell
    for cell in (*outside.notes, *table.texts):
        if cell.kind is not CellKind.TEXT or cell.address in refused or same_name(cell.shown) in apart:
            continue
        value = view.next_to(cell)
        code = batch_named(f"{cell.typed} {value.shown}" if value and meant_by(cell.typed) == "batch" else cell.typed)
        if code and known[0] and not same_batch(code, known[0]):
            found = f"{cell.quoted} names batch {quoted(code)}, and {known[1]} names {quoted(known[0])}"
            table.refuse(cell, found, "Keep the one that these units are of")
        elif code and not known[0]:
            known = code, cell.address
        if facts is not None and (other := _other_day(cell, value, facts)):
            found = f"{cell.quoted} says another day than {other} on the sheet Batch"
            table.refuse(cell, found, "Keep the one that is right")
        under_it = below.get(cell.address)
        if row_of(cell) == first_row and under_it is None and cell.column in left_out:
            continue
        # "Deviation" over "%" heads what stands below both.
        near = (value, under_it, below.get(under_it.address) if under_it and measure_of(under_it.typed) else None)
        if any(one is not None and one.address not in understood and _is_value(one) for one in near):
            # What heads a number is about that number.
            continue
        usual = 2 * alike[cell.column, cell.shown] > filled[cell.column] > 2
        in_row = row_of(cell) in rows and not usual and (value is None or not numbers_told(value.text))
        right_below = row_of(cell) == last.get(cell.column, -1) + 1
        says = says_no_unit if in_row or right_below else other_masses
        if says is other_masses and _is_title(view, cell, last, first_row):
            says = partial(other_masses, title=True)
        if other := says(cell.typed, count=len(masses)):
            found = f"{cell.quoted} stands beside the masses, and what {quoted(other)} says of them is not understood"
            mend = f"{_REWORD}; or {to_ignore(table.options.command, view.table, [cell])}"
            table.refuse(cell, found, mend)
        elif (
            unit and (said := measures_said(cell.typed)) and unit not in said and meant_by(cell.typed) in ("", "mass_g")
        ):
            found = f"{cell.quoted} says another unit of mass than {unit}, in which the masses stand"
            table.refuse(cell, found, "Keep the one that is right")


def _is_title(view: SheetView, cell: SheetCell, columns: Collection[int], first: int) -> bool:
    """Whether a text alone in its row stands above the table, over masses or their names: it is told in its words."""
    # A few words before a colon are the name of a fact.
    label = cell.typed.rstrip().endswith(":") and len(cell.typed.split()) < SHORTEST_SENTENCE
    alone = len(view.rows.get(row_of(cell), ())) == 1 and not label
    return alone and row_of(cell) < first and bool({cell.column, cell.column + 1} & {*columns})


def _is_value(cell: SheetCell) -> bool:
    return cell.kind in (CellKind.NUMBER, CellKind.PERCENT, CellKind.DATE) or bool(numbers_meant(cell))


def _other_day(cell: SheetCell, value: SheetCell | None, facts: LocatedTable) -> str:
    """A day of the sheet Batch that a text contradicts; empty where it names none."""
    text = same_name(cell.typed)
    for field in (one for one in BATCH.fields if one.holds is Holds.DAY and text.startswith(same_name(one.heading))):
        if (known := facts.entries[0].cell(field.attribute)) is None:
            continue
        rest = text.removeprefix(same_name(field.heading)).strip(" :") or (value.shown if value else "")
        said, days = days_meant(rest), days_meant(known.shown)
        if said and days and (said[1] < days[0] or said[0] > days[1]):
            return f"{quoted(known.shown)} in {known.address}"
    return ""
