"""The sheets of a book that are none of the known ones: ignored with a notice, refused where they hold what counts."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import median

from msgspec.structs import replace

from qc.fields.field import Plausible, near_heading, same_name
from qc.fields.remarks import how_plain, names_a_unit, says_of_some
from qc.fields.sheets import ASSAY, BARE_UNITS, SHEETS
from qc.fields.words import heading_of, plain_words, words_known
from qc.problems import COLUMNS, quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable, placed, row_of
from qc.readers.columns_left import columns_of
from qc.readers.command import in_quotes
from qc.readers.finding.beside import beside
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.candidates import tables_of
from qc.readers.finding.figures import COMPARED, FEWEST_TO_COMPARE, FINE, last_digit
from qc.readers.finding.follows import refuse_what_does_not_follow
from qc.readers.finding.gross_and_net import refuse_contradictions
from qc.readers.finding.lines import Aside
from qc.readers.finding.set_aside import MEASURED
from qc.readers.finding.unaccounted import lines_beside, refuse_unaccounted
from qc.readers.finding.unread import about_something_else, says_another
from qc.readers.finding.view import SheetView, decimals_in, number_in, value_in, view_of
from qc.readers.headings import header_row, known_fields
from qc.readers.located import LocatedTable
from qc.readers.options import ReadOptions, ready

# One alone may stand over anything: "Unit", "Value".
LEAST_KNOWN = 2
# A sheet of more numbers is one of weights, or of something else.
_FEW = 3
_NAMES = "names of units"
# A sheet of so few cells is told whole.
MOST_TOLD = 8


def did_you_mean(text: str, known: list[str]) -> str:
    """The known name that a text is near to, as the end of a sentence."""
    near = near_heading(text, known)
    return f'; did you mean "{near}"?' if near else "."


def ignore(table: SheetTable, hint: str, findings: Noted, *, by_call: bool = False) -> None:
    """A notice that a sheet was left out of account; where the call names another one, with the numbers it holds."""
    cells = [cell for row in table.rows for cell in row.cells.values()]
    text = f'Ignored the sheet "{table.name}"{hint}'
    told = [cell.shown for cell in cells]
    if len(cells) > MOST_TOLD:
        # On a sheet of remarks each is one; on others what is about units, or says that something was wrong.
        texts = [cell for cell in cells if cell.kind is CellKind.TEXT]
        of_remarks = len(texts) == len(cells) and len({cell.column for cell in cells}) == 1
        wrong = [cell for cell in texts if says_of_some(cell.shown) or names_a_unit(cell.shown)]
        remarks = [cell for cell in texts if how_plain(cell.shown) < how_plain("")] if of_remarks else wrong
        told = [cell.quoted for cell in sorted(remarks, key=lambda cell: how_plain(cell.shown))]
        numbers = [number for cell in cells if decimals_in(cell) and (number := number_in(cell)) is not None]
        if by_call and numbers:
            told = [f"{len(numbers)} numbers, {min(numbers):f} to {max(numbers):f}", *told]
    said = " ".join(told[:MOST_TOLD])
    what = f"sheet {quoted(table.name)}"
    if not said and (columns := columns_of(view_of(table))):
        what, said = COLUMNS, f"of {what}: {columns}"
    findings.ignore(table, "", text, cells=cells, what=what, said=said)


def refuse_nearly_known(table: SheetTable, findings: Noted) -> bool:
    """Whether a sheet is called nearly as a known one, Units apart, and has headings of it; refused then."""
    near = near_heading(table.name, [sheet.name for sheet in SHEETS.values()])
    sheet = SHEETS[near.casefold()] if near else BARE_UNITS
    row = header_row(table, sheet)
    if row is None or sheet.name == BARE_UNITS.name or len(known_fields(row, sheet)) < LEAST_KNOWN:
        return False
    found = f'the sheet {quoted(table.name)} is not known, but it has headings of the sheet "{sheet.name}"'
    mend = f'Call it "{sheet.name}" (one sheet of that name), or take it out of the workbook'
    findings.refuse(table, next(iter(row.cells.values())).address, found=found, mend=mend)
    return True


def refuse_more_weights(
    table: SheetTable, units: SheetTable, options: ReadOptions, plausible: Plausible, findings: Noted
) -> bool:
    """Whether a sheet beside that of the units holds weights or contents of units; refused then: they would be lost.

    Nothing is asked where the call says which sheet is meant.
    """
    if options.sheet is not None:
        return False
    own = tables_of(units)
    usual = _median(own)
    found_there = [(one, says_another(one.view, one.masses)) for one in tables_of(table) if one.masses]
    tables = [one for one, other in found_there if not other]
    contents = [one for one, other in found_there if other == "content"]
    tables = [one for one in tables if _names_units(table) or _is_near(_median([one]), usual)]
    if not _names_units(table):
        tables = [one for one in tables if not about_something_else(one.view, one.masses)]
    unread = () if tables else beside(view_of(table), masses=(), used=(), plausible=plausible).unread
    more = tables or unread or contents
    for one in more:
        content = one in contents if isinstance(one, Candidate) else one.content
        told = one.told if one not in contents else f"{len(contents[0].masses)} numbers"
        found = f'it holds {"contents" if content else "weights"} beside the sheet "{units.name}" ({told})'
        calls = [ready(options, f"--sheet {in_quotes(name)}") for name in (units.name, table.name)]
        mend = f'Put these units into "{units.name}", with their Mould; or say which sheet is to be judged: '
        mend += " or ".join(calls)
        if content:
            mend = (
                'Put these contents on a sheet "Assay" of their own, one a row, under Unit and Content (mg) or Content '
            )
            mend += f'(% of label), with nothing else beside them; to judge "{units.name}" without them: {calls[0]}'
        findings.refuse(table, one.where, found=found, mend=mend)
    for cell in _few_weights(table, [cell for one in own for cell in one.masses]) if not more else ():
        found = f"{cell.quoted} weighs like the units on the sheet {quoted(units.name)}, and was not read"
        mend = "Put it there with the name of its unit; or judge that sheet by itself: "
        mend += ready(options, f"--sheet {in_quotes(units.name)}")
        findings.refuse(table, cell.address, found=found, mend=mend)
        return True
    return bool(more)


def refuse_shared_contents(
    assay: LocatedTable, units: LocatedTable, others: Sequence[SheetTable], findings: Noted
) -> None:
    """Refuse contents that may be those of another sheet's units as well, where the call says which sheet is judged."""
    assayed = {same_name(name.shown) for entry in assay.entries if (name := entry.cell("unit")) is not None}
    for table in others:
        masses = [cell for one in tables_of(table) for cell in one.masses]
        rows = view_of(table).rows
        named = {same_name(cell.shown) for row in set(map(row_of, masses)) for cell in rows[row].values()}
        if masses and assayed <= named:
            found = f"the contents may be those of the units on {quoted(units.table.sheet)} or on {quoted(table.name)}"
            mend = (
                "Keep each lot with its contents in a file of its own, or enter them beside the masses of their units"
            )
            findings.refuse(assay.table, "", found=found, mend=mend)
            return


def refuse_about_units(
    table: SheetTable, units: LocatedTable, assay: LocatedTable | None, options: ReadOptions, findings: Noted
) -> None:
    """Refuse numbers behind the names of units, or like their contents, on a sheet that was left out."""
    held = [
        (same_name(name.shown), cell)
        for located in filter(None, (units, assay))
        for entry in located.entries
        for attribute in CONTENTS
        if (name := entry.cell("unit" if located.sheet is ASSAY else "name")) is not None
        and (cell := entry.cell(attribute)) is not None
        and number_in(cell) is not None
    ]
    contents = {(name, value_in(cell)) for name, cell in held}
    usual = float(median(number for _, number in contents)) if contents else None
    other = _other_contents(table, contents, usual)
    for cell in other or _few_weights(table, [cell for _, cell in held], fine=1):
        found = f"{cell.quoted} is like what the units hold, and was not read"
        mend = "Put it beside its unit; or judge the sheet of the units by itself: "
        mend += ready(options, f"--sheet {in_quotes(units.table.name)}")
        findings.refuse(table, cell.address, found=found, mend=mend)
    weighed = [entry for entry in units.entries if (mass := entry.cell("mass_g")) and number_in(mass) is not None]
    masses = {same_name(name.shown): entry.cell("mass_g") for entry in weighed if (name := entry.cell("name"))}
    view = view_of(table)
    for row, cells in view.rows.items():
        for column in (column for column, cell in cells.items() if _heads_units(cell)):
            below = [cell for at in view.rows if at > row and (cell := view.at((at, column))) is not None]
            named = [(cell, mass) for cell in below if (mass := masses.get(same_name(cell.shown))) is not None]
            stand_in = [replace(mass, column=column, address=cell.address) for cell, mass in named]
            rest = _numbers_beside(view, stand_in)
            if rest and not about_something_else(view, rest):
                call = options.command
                refuse_unaccounted(view, masses=stand_in, rest=rest, call=call, findings=findings, what=_NAMES)
                _refuse_other_numbers(view, stand_in, rest, findings)
                return
    # Without the names of units, as many numbers as there are masses may stand in their order.
    columns = view.on_its_side().rows.values()
    numbers = ([cell for cell in cells.values() if number_in(cell) is not None] for cells in columns)
    like = next((cells for cells in numbers if len(cells) == len(weighed) and any(map(decimals_in, cells))), [])
    if like and not about_something_else(view, like):
        stand_in = [
            replace(mass, column=0, address=cell.address)
            for entry, cell in zip(weighed, like, strict=True)
            if (mass := entry.cell("mass_g")) is not None
        ]
        _refuse_other_numbers(view, stand_in, _numbers_beside(view, stand_in), findings)


def _numbers_beside(view: SheetView, units: Sequence[SheetCell]) -> list[SheetCell]:
    return [
        cell
        for unit in units
        for column, cell in view.rows[row_of(unit)].items()
        if column != unit.column and number_in(cell) is not None
    ]


def _refuse_other_numbers(
    view: SheetView, masses: Sequence[SheetCell], rest: Sequence[SheetCell], findings: Noted
) -> None:
    """Refuse what does not follow from the masses, put into the rows of a sheet that was left out."""
    refuse_what_does_not_follow(view, measured=masses, rest=rest, findings=findings)
    by_heading = {heading: cells for heading, cells, _ in lines_beside(view, masses, rest)}
    refuse_contradictions(view, masses=masses, ignored=by_heading, call="", findings=findings)


def figures_there(table: SheetTable, units: LocatedTable) -> list[Aside]:
    """What a sheet that was left out says of masses like those of the units: figures beside such a mean, and limits."""
    view = view_of(table)
    masses = [cell for entry in units.entries if (cell := entry.cell("mass_g")) and number_in(cell)]
    asides = beside(view, masses=(), used=(), like=masses).asides
    # A heading over a number may begin a list of other batches.
    found = [
        one
        for one in asides
        if not about_something_else(view, one.cells) and view.text((row_of(one.cells[0]), one.cells[0].column - 1))
    ]
    means = [number_in(one.cells[0]) for one in found if one.kind == "mean"]
    usual = median(float(value_in(cell)) for cell in masses) if masses else None
    if not any(number is not None and _is_near(float(number), usual) for number in means):
        found = [one for one in found if one.kind not in COMPARED]
    there = [[replace(cell, address=placed(table, cell.address)) for cell in one.cells] for one in found]
    return [replace(one, cells=tuple(cells)) for one, cells in zip(found, there, strict=True)]


def _heads_units(cell: SheetCell) -> bool:
    said = heading_of(cell.typed) if cell.kind is CellKind.TEXT else None
    return (
        said is not None
        and said.attribute == "name"
        and not words_known().heading.unit.isdisjoint(plain_words(cell.typed))
    )


def _other_contents(
    table: SheetTable, contents: Collection[tuple[str, Decimal]], usual: float | None
) -> list[SheetCell]:
    """The first of a list of contents behind the names of units that is another one than the unit's own."""
    view, names = view_of(table), {name for name, _ in contents}
    rows = [list(cells.values()) for cells in view.rows.values()]
    pairs = [(name, cell) for cells in rows for name, cell in pairwise(cells) if same_name(name.shown) in names]
    like = [(name, cell) for name, cell in pairs if _is_near(float(value_in(cell)), usual)]
    if len(like) < FEWEST_TO_COMPARE or about_something_else(view, [cell for _, cell in like]):
        return []
    return [cell for name, cell in like if not _is_one_of(cell, same_name(name.shown), contents)][:1]


def _is_one_of(cell: SheetCell, name: str, contents: Collection[tuple[str, Decimal]]) -> bool:
    """Whether a number is a content of a unit to its last digit."""
    return any(unit == name and abs(float(own - value_in(cell))) <= last_digit(cell) for unit, own in contents)


def _few_weights(table: SheetTable, like: Sequence[SheetCell], *, fine: int = FINE - 1) -> list[SheetCell]:
    """The first number of a sheet of few that could be one of the masses or contents of another, without a label.

    From `fine` decimals on a number behind a name is none of other things.
    """
    view = view_of(table)
    could = beside(view, masses=(), used=(), like=like).could_be_masses
    cells = [cell for some in could.values() for cell in some if not _is_labelled(view, cell, fine=fine)]
    return [] if len(cells) > _FEW or not cells or about_something_else(view, cells) else cells[:1]


def _is_labelled(view: SheetView, cell: SheetCell, *, fine: int) -> bool:
    """Whether a word before a number says what it is: nothing that may name a unit."""
    row, column = row_of(cell), cell.column
    before = next((view.text((row, at)) for at in range(column - 1, 0, -1) if view.text((row, at))), "")
    # A name under a heading is one of a table of other things, of what went into the melt.
    headed = view.text((row - 1, column)) != "" or decimals_in(cell) < fine
    named = before.isalpha() and headed and heading_of(before) is None
    # "Label claim 250 mg" is what each should hold; what was found of it is told in per cent.
    known, words = words_known(), plain_words(before)
    claims = not known.claimed.isdisjoint(words) and known.assayed_by.isdisjoint(words) and "%" not in before
    return named or claims or not known.of_a_standard.isdisjoint(words)


def _names_units(table: SheetTable) -> bool:
    """Whether the headings are those of units and of what they weigh, so that nothing else can be meant."""
    row = header_row(table, BARE_UNITS)
    known = set() if row is None else {field.attribute for field in known_fields(row, BARE_UNITS).values()}
    return "name" in known and bool(known & set(MEASURED))


def _median(found: Sequence[Candidate]) -> float | None:
    values = [float(number) for one in found for cell in one.masses if (number := number_in(cell)) is not None]
    return median(values) if values else None


def _is_near(middle: float | None, usual: float | None) -> bool:
    """Whether masses lie within a factor of two of others, as numbers beside a table do; they may be in g or in mg."""
    if not middle or not usual:
        return False
    return any(0.5 <= middle * scale / usual <= 2 for scale in (1, 1000, 0.001))
