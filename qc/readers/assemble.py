"""From the tables of a book to a batch: located, read by their fields, made records, held against each other."""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date

from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, CavityPour, Check, Displacement, DisplacementConvention, Source
from qc.contents import typed
from qc.fields.field import plain, same_name
from qc.fields.remarks import SHORTEST_NAME, names_a_unit, same_batch, says_of_some
from qc.fields.sheets import ASSAY, BARE_UNITS, INSTRUCTIONS_SHEET
from qc.fields.words import plain_words, words_known
from qc.problems import TOLD, InputProblems, Problem, quoted
from qc.readers.actives import ActiveRows, check_displaced_base, read_actives
from qc.readers.apart import check_apart, tell_of_colours
from qc.readers.assays import CONTENTS, ONLY_ACTIVE, read_assays, read_whole_unit_contents
from qc.readers.cells import FILLED, IN_BOX, STRUCK, Book, Noted
from qc.readers.facts_of_units import check_claims, check_facts, tell_of_facts
from qc.readers.finding.follows import refuse_what_does_not_follow
from qc.readers.finding.told_apart import refuse_said_of_some
from qc.readers.finding.unaccounted import refuse_unaccounted
from qc.readers.finding.view import number_in, view_of
from qc.readers.ignored import refuse_ignored_units
from qc.readers.located import Entry, LocatedTable, in_runs, names_in_short
from qc.readers.options import ReadOptions, check_bare_options, check_days, check_rules_named, dosage_form
from qc.readers.read_back import read_back
from qc.readers.sheets import located_sheets, usual_mass
from qc.readers.units import masses_of, read_units, remark_on_unmeasured
from qc.readers.values import read_values
from qc.readers.words_of_units import UnitRows


def batch_from_book(book: Book, *, options: ReadOptions, findings: Noted, source: Source | None) -> Batch:
    """The batch that a book holds.

    Raises
    ------
    InputProblems
        With every problem of the book, in the order of its sheets and cells.
    """
    sheets, found = located_sheets(book, options, findings)
    # Where nothing stands on the sheets Actives and Assay, contents beside the masses are those of one active.
    bare = not any(sheets[name].entries for name in ("Actives", "Assay") if name in sheets)
    _check_units_sheet(book, findings)
    if "Units" in sheets and book.ignored:
        refuse_ignored_units(sheets["Units"], book.ignored)
    for table in sheets.values():
        _check_looks(table)
        check_apart(table)
    if "Units" in sheets:
        _refuse_dosage_forms(sheets["Units"])
        tell_of_colours(sheets["Units"])
        # What is drawn on another sheet may be said of the units as well, where the call does not name theirs.
        known = [located.table.name for located in sheets.values()]
        for other in (one for one in book.tables if options.sheet is None and one.name not in known):
            drawn = tuple(one for one in other.apart if one[0] == IN_BOX)
            check_apart(replace(sheets["Units"], table=replace(other, rows=(), apart=drawn)))
    if "Assay" in sheets:
        _refuse_beside_contents(sheets["Assay"], options)
    read_values(sheets.values(), options.decimal or (found.weighed.decimal if found else None))
    batch, units, assay = sheets.get("Batch"), sheets.get("Units"), sheets.get("Assay")
    facts = dict(batch.entries[0].values) if batch else {}
    active_rows: ActiveRows = read_actives(sheets["Actives"]) if "Actives" in sheets else ()
    actives = tuple(active for active, _ in active_rows)
    if units and any(plain(table.name) == plain(INSTRUCTIONS_SHEET) for table in book.tables):
        units = _without_spare_rows(units, assay, poured=facts.get("units_poured") or 0)
    unit_rows = read_units(units, usual_mass(batch, options), order=options.order) if units else []
    assays: tuple[Assay, ...] = ()
    if bare and units:
        actives, assays = _bare_content(units, unit_rows, options)
    elif assay:
        assays = read_assays(assay, unit_rows, actives, _only_active(options))
    if units and not bare:
        assays += _contents_beside(units, unit_rows, actives, has_assays=bool(assays))
    contents = [value for assay in assays if (value := typed(assay)) is not None]
    for name, table in sheets.items():
        if units and name not in (BARE_UNITS.name, ASSAY.name):
            tell_of_facts(masses_of(units, unit_rows), contents if table is batch else [], table)
    if units:
        _check_measured(units, unit_rows, assays, has_assays=assay is not None or bool(assays))
    read = read_back(units, unit_rows, assay, found, findings) if units else None
    if units and batch:
        check_facts(units, unit_rows, batch, usual_mass(batch, options))
    over = units is not None and check_claims(units, unit_rows, actives, sheets.get("Actives"))
    if batch and "Actives" in sheets and not over:
        check_displaced_base(sheets["Actives"], active_rows, batch)
    if not actives:
        actives = tuple(_only_active(options, name) for name in dict.fromkeys(assay.active for assay in assays))
    facts |= {
        "units": tuple(unit for unit, _ in unit_rows),
        "assays": assays,
        "actives": actives,
        "cavity_pours": _cavity_pours(sheets["Cavities"]) if "Cavities" in sheets else (),
        "checks": _checks(sheets["Checks"]) if "Checks" in sheets else (),
        "dosage_form": dosage_form(batch, options, book=book, findings=findings),
        "source": source,
        "read": read,
    }
    if found is not None and found.batch:
        number = facts.setdefault("number", found.batch)
        if batch and not same_batch(number, found.batch):
            said = f"the batch is {quoted(number)} here, and {quoted(found.batch)} beside the masses"
            batch.refuse(batch.entries[0], "number", said, "Keep the number that is right")
    if batch:
        check_rules_named(batch, options)
        check_days(batch, options.today or date.max)
    check_bare_options(options, book=book, bare=not active_rows and len(actives) <= 1, findings=findings)
    if findings.problems:
        seen = (one.ignored for one in findings.notices if one.ignored and one.ignored.what == TOLD)
        noticed = [f"{one.cells} {one.said}" for one in seen]
        raise InputProblems(in_order(findings.problems, book), choices=findings.choices, noticed=noticed)
    return Batch(**facts, notices=tuple(findings.notices))


def _refuse_dosage_forms(units: LocatedTable) -> None:
    """Refuse the names of two dosage forms as those of moulds: a column Form may be either."""
    moulds = [cell for entry in units.entries if (cell := entry.cell("mould")) is not None]
    named = {word for word in words_known().heading.unit if len(word) > SHORTEST_NAME}
    forms = {same_name(one.shown): one for one in moulds if named >= {*plain_words(one.shown)}}
    if len(forms) > 1:
        one, other = [*forms.values()][:2]
        found = f"{one.quoted} and {other.quoted} stand where moulds are named, and are dosage forms"
        units.refuse_at(other.address, found, "Judge each dosage form by itself, or name the moulds otherwise")


def _without_spare_rows(units: LocatedTable, assay: LocatedTable | None, *, poured: int) -> LocatedTable:
    """The units of an entry workbook less the numbers at its end beside which nothing stands.

    They were written there for whoever needs them; as many as were poured stay, and all where nothing was entered.
    """
    assayed = {same_name(entry.value("unit") or "") for entry in assay.entries} if assay else set()
    filled = [
        place
        for place, entry in enumerate(units.entries, start=1)
        if entry.cells.keys() != {"name"} or same_name(entry.value("name") or "") in assayed or _says_more(entry)
    ]
    kept = max(poured, *filled) if filled else len(units.entries)
    if spare := units.entries[kept:]:
        names = names_in_short([str(entry.value("name")) for entry in spare])
        units.remark_on("name", spare, f"Nothing stands beside {names}, below the last mass; taken for spare rows.")
    return replace(units, entries=units.entries[:kept])


def _says_more(entry: Entry) -> bool:
    """Whether the name of a unit says something of one."""
    name = str(entry.value("name") or "")
    return says_of_some(name) or names_a_unit(name)


def _check_looks(table: LocatedTable) -> None:
    """Refuse what was read and is struck through.

    A correction on paper is a line through what does not count, and a raised digit is the mark of a footnote.
    """
    for name, cell in (one for entry in table.entries for one in entry.cells.items()):
        exact = name in ("name", "unit") or table.columns[name].is_number
        if cell.look == STRUCK or (cell.look not in ("", FILLED) and exact):
            found = f"{cell.quoted} is {cell.look}, the whole of it or a part"
            mend = (
                "Type it plainly where it counts; a unit that does not is told under Left out because, a mass that was "
            )
            table.refuse_at(cell.address, found, mend + "put right under Weighed again (g)")


def _refuse_beside_contents(assay: LocatedTable, options: ReadOptions) -> None:
    """Refuse what stands beside the contents and nothing took: a repeat, a corrected result, "invalid"."""
    contents = [cell for entry in assay.entries for name in CONTENTS if (cell := entry.cell(name)) is not None]
    rows = {entry.number for entry in assay.entries}
    taken = {cell.address for entry in assay.entries for cell in entry.cells.values()}
    cells = [cell for row in assay.table.rows if row.number in rows for cell in row.cells.values()]
    rest = [cell for cell in cells if cell.address not in taken and number_in(cell) is not None]
    words = [cell for cell in cells if cell.address not in taken and number_in(cell) is None]
    view, findings, call = view_of(assay.table), assay.findings, options.command
    if contents and not findings.problems:
        refuse_unaccounted(view, masses=contents, rest=rest, call=call, findings=findings, what="contents")
        refuse_what_does_not_follow(view, measured=contents, rest=rest, findings=findings, what="content")
        refuse_said_of_some(view, masses=contents, notes=words, call=call, findings=findings)


def _cavity_pours(table: LocatedTable) -> tuple[CavityPour, ...]:
    """The calibration pours in the order in which they stand."""
    pours: list[CavityPour] = []
    empty: list[Entry] = []
    for entry in table.entries:
        if entry.cell("base_mass_g") is None:
            empty.append(entry)
        elif table.name_in(entry, "cavity") is not None and entry.value("base_mass_g") is not None:
            pours.append(CavityPour(**{"mould": None, **entry.values}))
    if empty:
        rows = ("row " if len(empty) == 1 else "rows ") + in_runs([entry.number for entry in empty])
        table.remark_on("base_mass_g", empty, f"Cavities without a base mass were not used: {rows}.")
    return tuple(pours)


def _checks(table: LocatedTable) -> tuple[Check, ...]:
    """The other checks in the order in which they stand."""
    return tuple(Check(**entry.values) for entry in table.entries if table.name_in(entry, "name") is not None)


def _check_units_sheet(book: Book, findings: Noted) -> None:
    """Refuse a book without a Units sheet, or with an empty one."""
    units = [table for table in book.tables if book.bare or plain(table.name) == "units"]
    if units and not units[0].rows:
        mend = "Write one row a unit under the headings Unit and Mass (g)"
        findings.refuse(units[0], "", found="the table is empty", mend=mend)
    elif not book.tables:
        findings.refuse_input(book.file, found="there is no sheet at all", mend="Enter the masses of the units")


def _only_active(options: ReadOptions, name: str = ONLY_ACTIVE) -> Active:
    """The one active of a batch whose sheet Actives names none, with what the call says of it."""
    given = options.displacement and Displacement(given=options.displacement, convention=DisplacementConvention.VALUE)
    return Active(name=name, label_claim_mg=options.label_mg, displacement=given or None)


def _bare_content(
    units: LocatedTable, unit_rows: UnitRows, options: ReadOptions
) -> tuple[tuple[Active, ...], tuple[Assay, ...]]:
    """The one active of a bare table and the contents that stand beside the masses."""
    active = _only_active(options)
    assays = read_whole_unit_contents(units, unit_rows, active)
    return ((active,) if assays or active != Active(name=ONLY_ACTIVE) else ()), assays


def _contents_beside(
    units: LocatedTable, unit_rows: UnitRows, actives: Sequence[Active], *, has_assays: bool
) -> tuple[Assay, ...]:
    """The contents of whole units that stand beside their masses in a workbook, the same as rows of the sheet Assay."""
    held = [name for name in CONTENTS if any(entry.cell(name) for entry in units.entries)]
    if held and (has_assays or len(actives) > 1):
        why = "more stand on the sheet Assay" if has_assays else f"which of the {len(actives)} actives is not said"
        units.refuse_column(
            held[0], f"contents stand beside the masses, and {why}", "Enter all of them on the sheet Assay"
        )
        return ()
    active = actives[0] if actives else Active(name=ONLY_ACTIVE)
    return read_whole_unit_contents(units, unit_rows, active) if held else ()


def _check_measured(units: LocatedTable, unit_rows: UnitRows, assays: Sequence[Assay], *, has_assays: bool) -> None:
    """Refuse a batch without units or without anything measured; name the units that have nothing."""
    if not unit_rows:
        if units.has("name") and not units.entries:
            units.refuse_at("", "there is no unit under the headings", "Write one row a unit under the headings")
        return
    measured = {"mass_g", *CONTENTS}
    if not has_assays and not any(measured & entry.cells.keys() for entry in units.entries):
        found, mend = "no unit has a mass or a content", "Enter the masses of the units"
        if units.has("mass_g"):
            units.refuse_at("", found, mend)
        else:
            units.refuse_missing(f'{found}; there is no column "Mass (g)"', mend)
        return
    assayed = {assay.unit for assay in assays}
    remark_on_unmeasured(
        units,
        [row for row in unit_rows if row[0].name not in assayed and not measured & row[1].cells.keys()],
    )
    if not units.has("mass_g"):
        units.remark("", "The table has no column of masses.")


def in_order(problems: Sequence[Problem], book: Book) -> list[Problem]:
    """Problems in the order of the sheets of a book and of the cells in them."""
    places = {(table.file, table.sheet): spot for spot, table in enumerate(book.tables)}

    def key(problem: Problem) -> tuple[int, int, int, str]:
        match = re.match(r"([A-Z]*)(\d+)", problem.cell.removeprefix("row "))
        letters, row = match.groups() if match else ("", "0")
        return places.get((problem.file, problem.sheet), -1), int(row), len(letters), letters

    return sorted(problems, key=key)
