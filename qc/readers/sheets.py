"""The known sheets of a book, each a located table; the facts of the Batch sheet stand in one row, a column a fact."""

from __future__ import annotations

from collections.abc import Collection, Sequence

from msgspec.structs import replace

from qc.fields.field import Plausible, plain, same_name
from qc.fields.remarks import may_tell
from qc.fields.sheets import ASSAY, BARE_UNITS, BATCH, SHEETS, SHOWN_ONLY, USUAL_MASS_G
from qc.fields.words import heading_of, meant_by, says_of_label
from qc.problems import TITLES, in_full, quoted
from qc.readers.assays import CONTENTS
from qc.readers.batches_said import refuse_other_batch
from qc.readers.cells import Book, CellKind, Noted, SheetCell, SheetRow, SheetTable, areas, row_of
from qc.readers.columns_left import told_as_titles
from qc.readers.command import in_quotes, to_ignore
from qc.readers.contents_apart import contents_alone, contents_apart, contents_beside, heads_contents, names_an_active
from qc.readers.determinations import determinations_apart, with_units_named
from qc.readers.finding.beside import Beside, beside
from qc.readers.finding.found import FoundTable
from qc.readers.finding.lines import Aside, no_figures
from qc.readers.finding.set_aside import without_summaries
from qc.readers.finding.view import view_of
from qc.readers.headed_table import headed_table
from qc.readers.headings import header_row, known_fields
from qc.readers.located import LocatedTable
from qc.readers.measures_apart import with_measures_in_headings
from qc.readers.options import ReadOptions, ready
from qc.readers.other_sheets import (
    did_you_mean,
    figures_there,
    ignore,
    refuse_about_units,
    refuse_more_weights,
    refuse_nearly_known,
    refuse_shared_contents,
)
from qc.readers.own_layout import accounted_for, facts_in_a_row, has_own_headings, on_own_layout
from qc.readers.results_in_rows import refuse_results, results_in_rows

UNITS_NAME = plain(BARE_UNITS.name)


def located_sheets(
    book: Book, options: ReadOptions, findings: Noted
) -> tuple[dict[str, LocatedTable], FoundTable | None]:
    """The known sheets of a book by name, and how the table of units was found.

    An unknown sheet gives a notice, one that stands twice a problem.
    """
    tables: dict[str, LocatedTable] = {}
    first: dict[str, SheetTable] = {}
    options = _with_batch_of(book, options, findings)
    book = replace(book, tables=tuple(with_units_named(with_measures_in_headings(one)) for one in book.tables))
    asked = [one for one in _may_hold_units(book) if book.bare or options.sheet_name in (None, one.name)]
    in_rows = [(one, rows) for one in asked if (rows := results_in_rows(one)) is not None]
    told_apart = [(one, rows.told_apart(one, findings)) for one, rows in in_rows]
    for one, rows in in_rows if not any(parts for _, parts in told_apart) else ():
        refuse_results(rows, one, findings)
    for one, (alone, *_) in (each for each in told_apart if len(each[1]) == 1):
        book = _with(book, one, alone)
    parted = [(one, *parts) for one, parts in told_apart if len(parts) > 1]
    parted = parted or [(one, *parts) for one in asked if (parts := contents_beside(one)) is not None]
    whole = listed = None
    if len(parted) == 1:
        ((whole, units_alone, listed),) = parted
        book = _with(book, whole, units_alone)
    elif (only := _only_sheet(book)) is not None:
        book = _with(book, only, contents_alone(only))
    searched = _to_search(book, options, findings)
    named = next((table for table in book.tables if _holds_units(table, book, options)), None)
    others: list[SheetTable] = []
    left: list[SheetTable] = []
    understood: list[LocatedTable] = []
    for table in book.tables:
        name = plain(table.name)
        sheet = BARE_UNITS if _holds_units(table, book, options) else SHEETS.get(name)
        if table in searched:
            continue
        if options.sheet is not None and name == UNITS_NAME and sheet is not BARE_UNITS:
            ignore(table, ", as the call says.", findings, by_call=True)
            continue
        if sheet is None:
            known = name in SHOWN_ONLY or refuse_nearly_known(table, findings)
            # Which of several sheets is meant may have been said by the call.
            if known:
                continue
            if options.sheet is not None and searched:
                ignore(table, ", as the call says.", findings, by_call=True)
                continue
            others.append(table)
        elif ASSAY.name not in first and _names_units_otherwise(table):
            others.append(table)
        elif (earlier := first.setdefault(sheet.name, table)) is not table:
            again = f'the {sheet.name} sheet stands again, after "{earlier.sheet or earlier.file}" of {earlier.file}'
            findings.refuse(table, "", found=again, mend="Keep one of the two")
        elif (located := headed_table(table, sheet, findings)) is not None:
            tables[sheet.name] = facts_in_a_row(located) if sheet.name == BATCH.name else located
            if sheet is not BARE_UNITS:
                understood.append(located)
    plausible = usual_mass(tables.get(BATCH.name), options)
    for table in _without_contents(others, tables, options, findings):
        if named is None or not refuse_more_weights(table, named, options, plausible, findings):
            left.append(table)
            ignore(table, did_you_mean(table.name, [one.name for one in SHEETS.values()]), findings)
    for located in understood:
        view, used = view_of(located.table), accounted_for(located)
        outside = beside(view, masses=(), used=used, plausible=plausible)
        outside.refuse(view, findings)
        _tell_of_lines(located, outside.notes, used, findings)
    found = None
    if searched and not findings.problems:
        from qc.readers.finding.find import find_units

        found = find_units(
            searched, options=options, plausible=plausible, findings=findings, facts=tables.get(BATCH.name)
        )
        if found is not None:
            tables[BARE_UNITS.name] = found.located
            rest = [table for table in searched if table is not found.located.table]
            for table in rest if found.numbered else _without_contents(rest, tables, options, findings):
                if not (
                    refuse_nearly_known(table, findings)
                    or refuse_more_weights(table, found.located.table, options, plausible, findings)
                ):
                    left.append(table)
                    ignore(table, ".", findings, by_call=options.sheet is not None)
        elif not findings.problems and (located := headed_table(searched[0], BARE_UNITS, findings)) is not None:
            tables[BARE_UNITS.name] = located
    elif BARE_UNITS.name in tables and not findings.problems:
        units = tables[BARE_UNITS.name]
        if options.mass_unit and units.has("mass_g") and units.columns["mass_g"].unit != options.mass_unit:
            said = f"the masses stand in {units.columns['mass_g'].unit} here, but the call says {options.mass_unit}"
            units.refuse_column("mass_g", said, "Leave out --mass-unit, or mend the heading")
        found = on_own_layout(units, book, tables.get(BATCH.name), plausible, options)
        tables[BARE_UNITS.name] = found.located
    if found is not None and whole is not None and listed is not None and not findings.problems:
        _take_list(listed, whole, found, tables, options, findings)
    if found is not None and ASSAY.name not in tables and (apart := determinations_apart(found.located)) is not None:
        tables[BARE_UNITS.name], tables[ASSAY.name] = apart
        found = replace(found, located=apart[0])
    elif found is not None and ASSAY.name in tables and not findings.problems:
        tables[ASSAY.name], asides = _own_contents(tables[ASSAY.name], plausible, options)
        found = replace(found, beside_contents=asides)
        of_batch = tables[BATCH.name].table if BATCH.name in tables else None
        refuse_other_batch(tables[ASSAY.name], found.located, of_batch, tables[ASSAY.name].findings, batch=found.batch)
        if options.sheet is not None and not book.bare and plain(found.located.table.name) != UNITS_NAME:
            taken = [one.table for one in tables.values()]
            others = [one for one in book.tables if one not in taken and plain(one.name) not in {*SHOWN_ONLY, *SHEETS}]
            refuse_shared_contents(tables[ASSAY.name], tables[BARE_UNITS.name], others, findings)
    # Nothing is asked where the call says which sheet is meant.
    for table in left if options.sheet is None and not findings.problems else ():
        if found is None:
            break
        refuse_about_units(table, tables[BARE_UNITS.name], tables.get(ASSAY.name), options, findings)
        found = replace(found, asides=(*found.asides, *figures_there(table, tables[BARE_UNITS.name])))
    return tables, found


def _own_contents(
    table: LocatedTable, plausible: Plausible, options: ReadOptions
) -> tuple[LocatedTable, tuple[Aside, ...]]:
    """A sheet Assay without the rows that sum up, and what was set aside; what over it is like contents is refused."""
    assay, asides = without_summaries(table)
    contents = [cell for entry in assay.entries for name in CONTENTS if (cell := entry.cell(name)) is not None]
    if not contents:
        return assay, asides
    view, used = view_of(assay.table), accounted_for(table)
    outside = beside(view, masses=contents, used=used, plausible=plausible, texts=no_figures(asides), fewest_decimals=1)
    could = {
        over: above
        for over, cells in outside.could_be_masses.items()
        if (above := [cell for cell in cells if row_of(cell) < assay.header])
    }
    Beside(could_be_masses=could).refuse(view, assay.findings, options.command, kind="contents")
    return assay, (*asides, *outside.asides)


def _without_contents(
    rest: Sequence[SheetTable], tables: dict[str, LocatedTable], options: ReadOptions, findings: Noted
) -> list[SheetTable]:
    """Other sheets less the one with the contents of the units in people's own words, which becomes the sheet Assay."""
    units, known = tables.get(BARE_UNITS.name), [one.table for name, one in tables.items() if name != BARE_UNITS.name]
    alone = units is not None and ASSAY.name not in tables and options.sheet is None
    apart = [(one, as_assay) for one in rest if units and alone and (as_assay := contents_apart(one, units, known))]
    if len(apart) != 1 or units is None:
        return list(rest)
    ((table, as_assay),) = apart
    located = headed_table(as_assay, ASSAY, findings)
    if located is not None:
        tables[ASSAY.name] = located
        there = f"the units on the sheet {quoted(units.table.sheet)}"
        there = "the units beside them" if table.sheet == units.table.sheet else there
        findings.remark(table, "", f"The contents here were read as those of {there}, by their names.")
        kept = {row.number for row in as_assay.rows}
        heads = (row.cells.values() for row in table.rows if row.number == as_assay.rows[0].number)
        ours = {cell.text for cell in as_assay.rows[0].cells.values()}
        for cell in (cell for cells in heads for cell in cells if cell.text not in ours):
            if heading_of(cell.typed) is None or names_an_active(cell):
                findings.tell(table, [cell], f"contents under {cell.quoted}")
            elif meant_by(cell.typed) == "content_percent" and not says_of_label(cell.typed):
                findings.tell(table, [cell], f"{cell.quoted} as % of label")
        left = [cell for row in table.rows if row.number not in kept for cell in row.cells.values()]
        if left:
            said = told_as_titles(table, [cell for cell in left if cell.kind is CellKind.TEXT]).said
            text, what = "Titles and figures here were ignored.", TITLES if said else "text"
            findings.ignore(table, areas(table, left), text, cells=left, what=what, said=said)
    return [one for one in rest if one is not table]


def _names_units_otherwise(table: SheetTable) -> bool:
    """Whether a sheet Assay heads its units in other words than ours."""
    row = header_row(table, ASSAY)
    known = set() if row is None else {field.attribute for field in known_fields(row, ASSAY).values()}
    return plain(table.name) == plain(ASSAY.name) and known <= {*CONTENTS} and heads_contents(table)


def _with_batch_of(book: Book, options: ReadOptions, findings: Noted) -> ReadOptions:
    """The options without the batch that the call asks for, where the sheet Batch names one; another is refused."""
    heading = plain(BATCH.field("number").heading)
    for table in book.tables if options.batch is not None else ():
        facts = [list(row.cells.values()) for row in table.rows if plain(table.name) == plain(BATCH.name)]
        for _, number, *_ in (cells for cells in facts if len(cells) > 1 and plain(cells[0].typed) == heading):
            if same_name(number.shown) != same_name(options.batch or ""):
                found = f"the call asks for batch {quoted(options.batch or '')}, but this one is {number.quoted}"
                findings.refuse(table, number.address, found=found, mend="Leave out --batch, or mend it")
            return replace(options, batch=None)
    return options


def _holds_units(table: SheetTable, book: Book, options: ReadOptions) -> bool:
    """Whether the units stand on a sheet by its name, by the call, or because there is no other."""
    if options.sheet_name is not None and not book.bare:
        return same_name(table.name) == same_name(options.sheet_name)
    alone = _only_sheet(book) is table
    return book.bare or plain(table.name) == UNITS_NAME or (alone and _holds_contents_alone(table))


def _may_hold_units(book: Book) -> list[SheetTable]:
    """The sheets that are not known for something else than units."""
    passed = {*SHOWN_ONLY, *SHEETS} - {UNITS_NAME}
    return [one for one in book.tables if book.bare or plain(one.name) not in passed]


def _only_sheet(book: Book) -> SheetTable | None:
    """The one sheet that is not known for something else than units; None where there are several or none."""
    rest = _may_hold_units(book)
    return rest[0] if len(rest) == 1 else None


def _with(book: Book, table: SheetTable, other: SheetTable) -> Book:
    """A book with another table in the place of one."""
    return replace(book, tables=tuple(other if one is table else one for one in book.tables))


def _take_list(
    listed: SheetTable,
    whole: SheetTable,
    found: FoundTable,
    tables: dict[str, LocatedTable],
    options: ReadOptions,
    findings: Noted,
) -> None:
    """Read a list of contents beside the masses as the sheet Assay; refuse it where it may be of other units.

    The `whole` sheet holds both.
    """
    rest = [listed] if found.numbered else _without_contents([listed], tables, replace(options, sheet=None), findings)
    for table in rest:
        cells = [cell for row in table.rows for cell in row.cells.values()]
        found_text = "a list of contents stands beside the masses, and may be of other units"
        mend = "Name its units as the masses are named, and take out what else is said there; or "
        mend += to_ignore(options.command, whole, cells)
        findings.refuse(table, areas(whole, cells), found=found_text, mend=mend)


def _to_search(book: Book, options: ReadOptions, findings: Noted) -> list[SheetTable]:
    """The sheets among which the units are to be found; none where a sheet called Units has our own headings."""
    if named := [table for table in book.tables if _holds_units(table, book, options)]:
        own = options.batch is None and not options.cells and has_own_headings(named[0])
        return [] if own else named[:1]
    known = {*SHOWN_ONLY, *SHEETS}
    others = [table for table in book.tables if plain(table.name) not in known or _names_units_otherwise(table)]
    if options.sheet_name is not None and book.tables:
        calls = " or ".join(ready(options, f"--sheet {in_quotes(table.name)}") for table in others)
        found = f'there is no sheet "{options.sheet_name}"'
        findings.refuse_input(
            book.file, found=found, mend=f"Give a sheet that is there: {calls}" if calls else "Leave it out"
        )
        return []
    return others


def _holds_contents_alone(table: SheetTable) -> bool:
    """Whether the headings are our own, of units and their contents; masses in other words are looked for."""
    row = header_row(table, BARE_UNITS)
    return row is not None and has_own_headings(table) and "mass_g" not in _attributes(row)


def _attributes(row: SheetRow) -> set[str]:
    return {field.attribute for field in known_fields(row, BARE_UNITS).values()}


def usual_mass(batch: LocatedTable | None, options: ReadOptions) -> Plausible:
    """Between which masses a unit weighs [g], by the dosage form that the call or the Batch sheet names."""
    cell = batch.entries[0].cell("dosage_form") if batch else None
    form = options.form or (cell.shown if cell else "")
    ends = options.unit_range(form) if options.unit_range and form else None
    return USUAL_MASS_G if ends is None else Plausible(floor=ends[0], ceiling=ends[1])


# What our own sheets say of how they are filled in.
_GUIDES = {one.guide for one in (*SHEETS.values(), BATCH)}


def _tell_of_lines(located: LocatedTable, notes: Sequence[SheetCell], used: Collection[str], findings: Noted) -> None:
    """Notices for texts in rows of their own, above or below a known table, that may say something of units."""
    rows = located.table.rows
    taken = {row.number for row in rows if any(cell.address in used for cell in row.cells.values())}
    # What a formula shows is our own, the number of the batch.
    titles: list[SheetCell] = []
    typed = (one for one in notes if one.kind is CellKind.TEXT and not one.formula and row_of(one) not in taken)
    for cell in typed:
        if cell.shown not in _GUIDES and may_tell(cell.shown):
            text = f"Not read: {in_full(cell.typed)}."
            findings.ignore(located.table, cell.address, text, cells=[cell], what="a text", said=in_full(cell.typed))
        elif cell.shown not in _GUIDES and plain(cell.shown) != plain(located.table.name):
            titles.append(cell)
    if titles:
        said = told_as_titles(located.table, titles).said
        findings.ignore(located.table, titles[0].address, f"Not read: {said}.", cells=titles, what=TITLES, said=said)
