"""From the sheets of a file to the one table of weights, or what is to be added so that it can be told.

A sheet is searched for tables under headings, upright and on its side; then for the lines that a balance prints; then
for a grid or a list without headings. One table in the whole file is read, several only where they are the moulds of
one batch; otherwise the call has to say which.
"""

from __future__ import annotations

from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from decimal import Decimal
from itertools import pairwise
from statistics import median

from qc.fields.field import Field, Plausible, plain, same_name
from qc.fields.sheets import BARE_UNITS
from qc.fields.words import (
    balance_sign,
    meant_by,
    names_active,
    plain_words,
    says_mass,
    says_of_label,
    summary_of,
    words_known,
)
from qc.problems import quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable, row_of
from qc.readers.command import to_ignore
from qc.readers.finding.beside import Beside
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.candidates import tables_of
from qc.readers.finding.choose import chosen
from qc.readers.finding.facts_said import strengths_said
from qc.readers.finding.found import FoundTable
from qc.readers.finding.lines import PLACES, no_figures, without_mass
from qc.readers.finding.of_contents import as_contents, tell_of_label, with_contents
from qc.readers.finding.printed import figure_said
from qc.readers.finding.titles import rest_of
from qc.readers.finding.unaccounted import lines_beside
from qc.readers.finding.unread import about_something_else, active_in_mg, says_another
from qc.readers.finding.view import SheetView, decimals_in, number_in, value_in, written_at
from qc.readers.finding.weighed_in import WeighedIn, weighed_in
from qc.readers.headed_table import refuse_cut_at_commas, remark_on_hidden
from qc.readers.located import Entry, LocatedTable
from qc.readers.options import ReadOptions

# From which median on numbers in mg below a heading are masses without a word that says so (common practice) [mg].
LEAST_IN_MG = 1000
# How far the median of contents lies from the label claim at most (common practice).
MOST_FROM_LABEL = Decimal("0.25")


def find_units(
    tables: Sequence[SheetTable],
    *,
    options: ReadOptions,
    plausible: Plausible,
    findings: Noted,
    facts: LocatedTable | None,
) -> FoundTable | None:
    """Find the one table of weights; None (and problems) where there is none or more than one.

    Parameters
    ----------
    tables : sequence of SheetTable
        The sheets to search.
    options : ReadOptions
        What the call says: the unit of mass, the batch.
    plausible : Plausible
        Between which masses a unit of the form weighs [g].
    findings : Noted
        Where problems and notices go.
    facts : LocatedTable or None
        The sheet Batch.
    """
    found = [one for table in tables for one in tables_of(table)]
    if not found:
        # What is wrong with a sheet called Units is told by its headings.
        if plain(tables[0].name) != plain(BARE_UNITS.name):
            _refuse_nothing_found(tables, findings)
        return None
    if not all(one.masses for one in found):
        # Nothing but doubts: what is in doubt is all that can be told.
        for one in found:
            _refuse_doubts(one, findings)
        return None
    # A calibration log, a price list or contents beside the units are none of the tables that are to be told apart.
    found = [one for one in found if not about_something_else(one.view, one.masses)] or found
    said = {id(one): says_another(one.view, one.masses, label=one.label) for one in found}
    of_masses = [one for one in found if not said[id(one)]]
    contents = [one for one in found if said[id(one)] == "content"]
    known = [held for one in contents if (held := as_contents(one)) is not None]
    if contents and not of_masses and len(known) != 1:
        _refuse_contents(contents[0], findings)
        return None
    if len(of_masses) == len(known) == 1 and (whole := with_contents(of_masses[0], known[0])) is not None:
        of_masses = [whole]
        tell_of_label(known[0], findings)
    found = of_masses or known or found
    held = known[0] if known and not of_masses else None
    if held is not None:
        tell_of_label(held, findings)
    candidate = held or chosen(found, options=options, file=tables[0].file, findings=findings)
    if candidate is None:
        return None
    _refuse_doubts(candidate, findings)
    _refuse_torn(candidate, findings)
    # The tables of other batches were told apart from it.
    here = [one for one in found if one.table is candidate.table]
    used = frozenset().union(*(one.used for one in here))
    used |= {cell.address for one in here for aside in one.asides for cell in aside.cells}
    masses = candidate.masses
    weighed = weighed_in(candidate, options, plausible, findings) if masses else None
    weighed = weighed or (None if masses or not _held_in(candidate) else WeighedIn(unit="g", known_by="heading"))
    outside = rest_of(
        candidate.view,
        masses=masses,
        used=used,
        texts=[*no_figures(candidate.asides), *without_mass(line.cells for line in candidate.units)],
        unit=weighed.unit if weighed and masses else "",
        plausible=plausible,
        facts=facts,
        findings=findings,
        options=options,
        labels=[cell for line in candidate.units for cell in line.texts],
        contents=_held_in(candidate),
        batch=_batch_of(candidate) or options.batch or "",
        apart={same_name(one.label) for one in here} - {same_name(candidate.label)},
    )
    if weighed is not None and masses and not findings.problems:
        _refuse_perhaps_contents(candidate, weighed, options, findings)
    if findings.problems or weighed is None or _refuse_nameless(candidate, findings):
        return None
    if masses and _refuse_words(candidate, used, options, findings):
        return None
    remark_on_hidden(candidate.table, masses or _held_in(candidate), findings)
    if masses:
        _tell_of_headings(candidate, findings)
    if options.batch is not None or options.cells:
        _tell_of_others(found, masses, findings)
    outside.remark(candidate.table, findings)
    return _as_units(candidate, weighed, outside=outside, findings=findings)


def _tell_of_headings(candidate: Candidate, findings: Noted) -> None:
    """Notices for headings that may be meant otherwise, second weighings, and an empty row."""
    view, masses, told = candidate.view, sorted(candidate.masses, key=row_of), dict[str, list[SheetCell]]()
    row, own, lines = row_of(masses[0]) - 1, {cell.address for cell in masses}, candidate.units
    headed = view.text((row, masses[0].column)) != ""
    in_mg = any("content_mg" in line.cells for line in lines)
    for name in ("name", "mould", "content_mg" if in_mg else "content_percent") if headed else ():
        cells = [cell for line in lines if (cell := line.cells.get(name)) and cell.address not in own]
        different = len({cell.shown for cell in cells}) == len(masses) > 1
        for heading, column, _ in lines_beside(view, masses, cells):
            if name == "content_percent" and "%" in heading and not says_of_label(heading):
                told[f"{quoted(heading)} as % of label"] = column
            if name == "content_mg" and (names_active(heading) or active_in_mg(heading)):
                told[f"contents under {quoted(heading)}"] = column
            no_name = name == "mould" or (name == "name" and meant_by(heading) not in ("name", *PLACES))
            if different and no_name and view.text((row, column[0].column)) == heading != "":
                told[f"units named by {quoted(heading)}"] = column
    again = [(line.mass, cell) for line in lines if (cell := line.cells.get("weighed_again_g")) is not None]
    for heading, column, _ in lines_beside(view, masses, [cell for _, cell in again]):
        others = sum(one is not None and number_in(one) != number_in(other) for one, other in again)
        told[f"{quoted(heading)} as second weighings, {others} of {len(again)} differ"] = column
    # "gr" is gross on a balance, and grains elsewhere.
    known, over = words_known(), view.at((row, masses[0].column))
    two_ways = {one for one in known.measure["g"] & known.balance["gross"] if len(one) > 1}
    if over is not None and not two_ways.isdisjoint(plain_words(over.typed)):
        told[f"{over.quoted} as net masses in g"] = [over]
    far = [(one, after) for one, after in pairwise(masses) if row_of(after) - row_of(one) > 1]
    if len(far) == 1 and not any("mould" in line.cells for line in lines):
        ((last, first),) = far
        empty = not any(row_of(last) < row < row_of(first) for row in view.rows)
        told |= {f"an empty row above {first.address}": [first]} if empty else {}
    for said, cells in told.items():
        findings.tell(candidate.table, cells, said)


def _tell_of_others(found: Sequence[Candidate], masses: Sequence[SheetCell], findings: Noted) -> None:
    """Notices for the tables, or the rows of one, that are of another batch than the one that the call names."""
    own = {id(cell) for cell in masses}
    for one in found:
        left = [cell for cell in one.masses if id(cell) not in own]
        numbers = [number for cell in left if (number := number_in(cell)) is not None]
        if numbers:
            said = f"of another batch {len(left)} {'mass' if len(left) == 1 else 'masses'}, "
            said += f"{min(numbers):f} to {max(numbers):f}"
            findings.ignore(one.table, "", f"Not read: {said}.", cells=left, what="another batch", said=said)


def _refuse_doubts(candidate: Candidate, findings: Noted) -> None:
    for doubt in candidate.doubtful:
        findings.refuse(candidate.table, doubt.cell.address, found=doubt.found, mend=doubt.mend)


def _refuse_nameless(candidate: Candidate, findings: Noted) -> bool:
    """Refuse the first of the units without a name where others have one; whether there is one."""
    nameless = [line for line in candidate.units if "name" not in line.cells]
    if len(nameless) in (0, len(candidate.units)):
        return False
    cell = nameless[0].mass or next(iter(nameless[0].cells.values()))
    found = f"{cell.quoted} has no name of a unit, and other units have one"
    findings.refuse(candidate.table, cell.address, found=found, mend="Name every unit, or none")
    return True


def _refuse_words(candidate: Candidate, used: AbstractSet[str], options: ReadOptions, findings: Noted) -> bool:
    """Refuse numbers without names where a word stands right beside some of them: it may be no unit; whether one is."""
    view, masses = candidate.view, candidate.masses
    if any("name" in line.cells for line in candidate.units):
        return False
    first, taken = row_of(masses[0]), used - {cell.address for line in candidate.units for cell in line.texts}
    cells = [cell for row in view.rows.values() for cell in row.values() if cell.address not in taken]
    words = [cell for cell in cells if number_in(cell) is None]
    for _, beside, own in lines_beside(view, masses, words):
        headed = not view.turned and any(view.text((first - step, beside[0].column)) for step in (1, 2))
        pairs = [] if len(own) == len(masses) or headed else zip(beside, own, strict=True)
        said = [(word, mass) for word, mass in pairs if _is_said_of(view, word, mass)]
        for word, mass in said[:1]:
            found = f"{mass.quoted} has no name of a unit, and {word.quoted} stands beside it"
            mend = (
                "Name all the units if it is one, or take it out if it is none; or, if the words say nothing of units, "
            )
            mend += to_ignore(options.command, candidate.table, [one for one, _ in said])
            findings.refuse(candidate.table, mass.address, found=found, mend=mend)
    return bool(findings.problems)


def _is_said_of(view: SheetView, word: SheetCell, mass: SheetCell) -> bool:
    """Whether a word with nothing empty between may be about a mass: it is no figure's, and no number stands behind."""
    between = range(min(word.column, mass.column) + 1, max(word.column, mass.column))
    after = view.next_to(word)
    heads = word.column > mass.column and after is not None and number_in(after) is not None
    joined = all(view.at((row_of(mass), column)) is not None for column in between)
    return joined and not heads and not summary_of(word.shown)


def _refuse_torn(candidate: Candidate, findings: Noted) -> None:
    """Refuse masses in merged cells, whose row cannot be told, and masses cut in two at an unquoted decimal comma."""
    table, masses = candidate.table, {cell.address: cell for cell in candidate.masses}
    for merge in table.merges:
        cell = masses.get(merge.address.partition(":")[0])
        if cell is not None:
            found = f"mass {cell.quoted} is merged over {merge.address}: which unit it belongs to cannot be told"
            mend = "Unmerge the cells and type each value into its own"
            findings.refuse(table, cell.address, found=found, mend=mend)
    # Either half may have been taken for the mass, and neither has decimals.
    for step in () if any(map(decimals_in, masses.values())) else (-1, 0):
        refuse_cut_at_commas(table, [(row_of(cell), cell.column + step) for cell in masses.values()], findings)


def _refuse_contents(candidate: Candidate, findings: Noted) -> None:
    """Refuse a table that is one of contents by its own words, where no other holds masses."""
    found = "what stands over these numbers, or the name of the sheet, says content, not mass"
    mend = (
        'Write "Unit" over the names of the units and "Content (mg)" or "Content (% of label)" over what they hold, or '
    )
    mend += '"Mass (g)" over masses'
    findings.refuse(candidate.table, candidate.where, found=found, mend=mend)


def _refuse_perhaps_contents(candidate: Candidate, weighed: WeighedIn, options: ReadOptions, findings: Noted) -> None:
    """Refuse numbers in mg that no word calls masses, and which units may as well hold: by the label or a heading."""
    view, middle = candidate.view, median(map(value_in, candidate.masses))
    taken = candidate.used | {cell.address for one in candidate.asides for cell in one.cells}
    rest = [cell for row in view.rows.values() for cell in row.values() if cell.address not in taken]
    texts = [view.table.sheet, *(cell.typed for cell in rest)]
    if weighed.unit == "g" or options.mass_unit or any(map(says_mass, texts)):
        return
    rest = [cell for cell in rest if not figure_said(cell.typed)[0]]
    claims = {options.label_mg} | {strength for cell in rest for strength in strengths_said(view, cell)}
    near = [f", near the {one:f} mg of the label" for one in claims if one and abs(middle / one - 1) <= MOST_FROM_LABEL]
    over = view.text((row_of(candidate.masses[0]) - 1, candidate.masses[0].column))
    headed = over.isalpha() and middle < LEAST_IN_MG and not meant_by(over)
    for told in (near or [f" under {quoted(over)}"])[:1] if near or headed else ():
        found = f"the median of these numbers is {middle:f} mg{told}, and no word says whether units weigh or hold so "
        found += "much"
        mend = 'Write "Mass (mg)" over masses, or "Unit" over the names of the units and "Content (mg)" over what they '
        mend += "hold"
        findings.refuse(candidate.table, candidate.where, found=found, mend=mend)


def _refuse_nothing_found(tables: Sequence[SheetTable], findings: Noted) -> None:
    names = ", ".join(quoted(table.sheet) for table in tables if table.sheet)
    found = "no table of weights was found" + (f" (the sheets are: {names})" if names else "")
    texts = [cell for table in tables for row in table.rows for cell in row.cells.values() if number_in(cell) is None]
    gross = next((cell for cell in texts if any(map(_says_gross, plain_words(cell.text)))), None)
    if gross is not None:
        found += f"; {gross.quoted} in {gross.address} is not the mass of a unit"
    mend = 'Write "Unit" over the names of the units and "Mass (g)" over the masses'
    if unsaved := [cell for cell in texts if cell.kind is CellKind.UNSAVED]:
        more = f", one of {len(unsaved)}" if len(unsaved) > 1 else ""
        found += f"; {unsaved[0].address} is a formula without a stored result ({unsaved[0].text}){more}"
        mend = "Open the file in the spreadsheet program and save it, so that it stores the results"
    findings.refuse_input(tables[0].file, found=found, mend=mend)


def _says_gross(word: str) -> bool:
    return len(word) > 2 and balance_sign(word) == "gross"


def _named_by_mould(cells: dict[str, SheetCell]) -> dict[str, SheetCell]:
    """A unit that is counted within its mould, with the mould before its number."""
    if "name" not in cells:
        return cells
    name = written_at(cells["name"], f"{cells['mould'].shown} {cells['name'].shown}")
    return {"cavity": cells["name"], **cells, "name": name}


def _as_units(candidate: Candidate, weighed: WeighedIn, *, outside: Beside, findings: Noted) -> FoundTable:
    """The units as a located table."""
    numbered = not any("name" in line.cells for line in candidate.units)
    named = [
        {"name": written_at(next(iter(line.cells.values())), str(count)), **line.cells} if numbered else line.cells
        for count, line in enumerate(candidate.units, start=1)
    ]
    names = [cells["name"].shown for cells in named]
    if len(set(names)) < len(names) and all("mould" in cells for cells in named):
        named = [_named_by_mould(cells) for cells in named]
    entries = tuple(
        Entry(number=line.number, cells={name: cell for name, cell in cells.items() if name != "batch"}, values={})
        for line, cells in zip(candidate.units, named, strict=True)
    )
    held = dict.fromkeys(name for entry in entries for name in entry.cells if name != "mass_g")
    columns: dict[str, Field] = {name: BARE_UNITS.field(name) for name in held}
    if candidate.masses:
        columns["mass_g"] = BARE_UNITS.columns[plain(f"Mass ({weighed.unit})")]
    if "weighed_again_g" in columns:
        # In the unit of the first masses: another one is a thousand times off them, and refused.
        columns["weighed_again_g"] = BARE_UNITS.columns[plain(f"Weighed again ({weighed.unit})")]
    first = (candidate.masses or _held_in(candidate))[0].address
    stands: dict[str, set[str]] = {}
    for name, cell in (one for entry in entries for one in entry.cells.items()):
        stands.setdefault(name, set()).add(cell.address.rstrip("0123456789"))
    located = LocatedTable(
        table=candidate.table,
        sheet=BARE_UNITS,
        columns=columns,
        letters={name: next(iter(letters)) for name, letters in stands.items() if len(letters) == 1},
        entries=entries,
        findings=findings,
        header=int("".join(filter(str.isdigit, first)) or 0),
    )
    return FoundTable(
        located=located,
        asides=(*candidate.asides, *outside.asides),
        weighed=weighed,
        numbered=numbered,
        notes=outside.notes,
        batch=_batch_of(candidate),
    )


def _held_in(candidate: Candidate) -> list[SheetCell]:
    """The cells that say what its units hold."""
    return [cell for line in candidate.units for name in CONTENTS if (cell := line.cells.get(name)) is not None]


def _batch_of(candidate: Candidate) -> str:
    """The batch that its rows name, or empty."""
    return next((line.cells["batch"].shown for line in candidate.units if "batch" in line.cells), "")
