"""From raw tables to a batch: every sheet understood, every number read, everything checked against everything else."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct, field

from qc.batch import Active, Assay, Batch, Displacement, DisplacementConvention, Source
from qc.problems import InputProblems, Problem
from qc.readers.actives import ActiveRows, read_actives
from qc.readers.assays import ONLY_ACTIVE, read_assays, read_whole_unit_contents
from qc.readers.calibration import read_cavity_pours, read_checks
from qc.readers.columns import ACTIVES, BARE_UNITS, SHEETS, SHOWN_ONLY, Column, KnownSheet, nearest, plain
from qc.readers.displaced_base import check_displaced_base
from qc.readers.entries import Entries, number_columns, same_name
from qc.readers.facts import Facts, fact_columns, filled_fields, read_facts
from qc.readers.known_tables import KnownTable, known_table
from qc.readers.number_columns import Numbers, read_numbers
from qc.readers.options import ReadOptions
from qc.readers.plausible import Measured, check_against_plan
from qc.readers.rule_words import check_rules_named, dosage_form
from qc.readers.tables import Book, Cell, Findings, Table
from qc.readers.units import UnitRows, read_units, remark_on_unmeasured


class _Understood(Struct, frozen=True, kw_only=True):
    """The known tables of a book by sheet, and the filled fields of its Batch sheet."""

    tables: dict[str, KnownTable] = field(default_factory=dict)
    filled: dict[str, tuple[Column, Cell]] = field(default_factory=dict)


def batch_from_book(book: Book, *, options: ReadOptions, findings: Findings, source: Source | None) -> Batch:
    """The batch that a book holds.

    Raises
    ------
    InputProblems
        With every problem of the book, in the order of its sheets and cells.
    """
    understood = _understood(book, findings)
    numbers = _numbers(understood, options, findings)

    def entries(name: str) -> Entries | None:
        known = understood.tables.get(name)
        return None if known is None else Entries(known=known, numbers=numbers, findings=findings)

    units, batch_facts = entries("units"), entries("batch")
    facts = read_facts(batch_facts, understood.filled) if batch_facts else Facts()
    actives_sheet, assay_sheet = entries("actives"), entries("assay")
    active_rows = read_actives(actives_sheet) if actives_sheet else ActiveRows(actives=(), rows=())
    actives = active_rows.actives
    unit_rows = read_units(units) if units else UnitRows(units=(), rows=(), names={})
    assays: tuple[Assay, ...] = ()
    if book.bare and units:
        actives, assays = _bare_content(units, unit_rows, options)
    elif assay_sheet:
        assays = read_assays(assay_sheet, unit_rows, actives)
    if units:
        _check_measured(units, unit_rows, assays, findings, has_assays=assay_sheet is not None or bool(assays))
        if batch_facts:
            _check_facts(units, unit_rows, facts, batch_facts)
    nominal_g = facts.numbers.get("nominal_mass_g")
    if actives_sheet and batch_facts and nominal_g is not None:
        place = f"{batch_facts.known.table.sheet}!{facts.places['nominal_mass_g']}"
        check_displaced_base(actives_sheet, active_rows, nominal_g=nominal_g, place=place)
    if not actives:
        actives = tuple(Active(name=name) for name in dict.fromkeys(assay.active for assay in assays))
    cavities, checks = entries("cavities"), entries("checks")
    pours = read_cavity_pours(cavities) if cavities else ()
    other_checks = read_checks(checks) if checks else ()
    form = dosage_form(facts, options, batch_facts, book=book, findings=findings)
    if batch_facts:
        check_rules_named(facts, options, batch_facts)
    _refuse_bare_options(book, options, findings)
    if findings.problems:
        raise InputProblems(in_order(findings.problems, book))
    return Batch(
        units=unit_rows.units,
        assays=assays,
        actives=actives,
        cavity_pours=pours,
        checks=other_checks,
        number=facts.texts.get("number"),
        product=facts.texts.get("product"),
        dosage_form=form,
        base=facts.base,
        units_poured=_whole(facts, "units_poured"),
        nominal_mass_g=facts.numbers.get("nominal_mass_g"),
        planned_mass_g=facts.numbers.get("planned_mass_g"),
        balance_readability_g=facts.numbers.get("balance_readability_g"),
        balance_repeatability_g=facts.numbers.get("balance_repeatability_g"),
        rules=options.rules or facts.texts.get("rules"),
        made_on=facts.texts.get("made_on"),
        made_by=facts.texts.get("made_by"),
        weighed_by=facts.texts.get("weighed_by"),
        checked_by=facts.texts.get("checked_by"),
        note=facts.texts.get("note"),
        melt_prepared_g=facts.numbers.get("melt_prepared_g"),
        melt_left_g=facts.numbers.get("melt_left_g"),
        trimmings_g=facts.numbers.get("trimmings_g"),
        units_obtained=_whole(facts, "units_obtained"),
        units_rejected=_whole(facts, "units_rejected"),
        units_sampled=_whole(facts, "units_sampled"),
        units_released=_whole(facts, "units_released"),
        dish_assay_mg=facts.numbers.get("dish_assay_mg"),
        source=source,
        notices=tuple(findings.notices),
    )


def _understood(book: Book, findings: Findings) -> _Understood:
    """The known sheets of a book; an unknown one gives a notice, one that stands twice a problem."""
    tables: dict[str, KnownTable] = {}
    filled: dict[str, tuple[Column, Cell]] = {}
    first: dict[str, Table] = {}
    for table in book.tables:
        name = plain(table.name)
        sheet: KnownSheet | None = BARE_UNITS if book.bare else SHEETS.get(name)
        if sheet is None and name in SHOWN_ONLY:
            continue
        if sheet is None:
            near = nearest(table.name, [known.name for known in SHEETS.values()])
            hint = f'; did you mean "{near}"?' if near else "."
            findings.remark(table, "", f'Ignored the sheet "{table.name}"{hint}')
        elif name in first:
            earlier = first[name].sheet or first[name].file
            findings.refuse(
                table,
                "",
                found=f'the {sheet.name} sheet stands again, after "{earlier}" of {first[name].file}',
                mend="Keep one of the two",
            )
        else:
            first[name] = table
            known = known_table(table, sheet, findings)
            if known is not None:
                tables[sheet.name.casefold()] = known
    if "batch" in tables:
        filled = filled_fields(tables["batch"], findings)
    if "units" not in tables and not any(plain(name) == "units" and table.rows for name, table in first.items()):
        _no_units(book, first, findings)
    return _Understood(tables=tables, filled=filled)


def _no_units(book: Book, first: dict[str, Table], findings: Findings) -> None:
    if "units" in first:
        empty = first["units"]
        findings.refuse(
            empty, "", found="the sheet is empty", mend="Write one row a unit under the headings Unit and Mass (g)"
        )
        return
    names = ", ".join(table.name for table in book.tables)
    findings.problems.append(
        Problem(
            file=book.file,
            sheet="",
            cell="",
            found=f'there is no sheet "Units" (the sheets are: {names})' if names else "there is no sheet at all",
            mend='Name the sheet with the masses "Units"',
        )
    )


def _numbers(understood: _Understood, options: ReadOptions, findings: Findings) -> Numbers:
    columns = [column for known in understood.tables.values() for column in number_columns(known)]
    if "batch" in understood.tables:
        columns += fact_columns(understood.tables["batch"], understood.filled)
    return read_numbers(columns, options.decimal, findings)


def _bare_content(
    units: Entries, unit_rows: UnitRows, options: ReadOptions
) -> tuple[tuple[Active, ...], tuple[Assay, ...]]:
    """The one active of a bare table and the contents that stand beside the masses."""
    displacement = None
    if options.displacement is not None:
        displacement = Displacement(given=options.displacement, convention=DisplacementConvention.VALUE)
    active = Active(name=ONLY_ACTIVE, label_claim_mg=options.label_mg, displacement=displacement)
    assays = read_whole_unit_contents(units, unit_rows, active)
    has_active = bool(assays) or options.label_mg is not None or displacement is not None
    return ((active,) if has_active else ()), assays


def _check_measured(
    units: Entries, unit_rows: UnitRows, assays: Sequence[Assay], findings: Findings, *, has_assays: bool
) -> None:
    """Refuse a batch without units or without anything measured; name the units that have nothing."""
    table, columns = units.known.table, units.known.columns
    if not unit_rows.units:
        if "unit" in columns and not units.rows:
            mend = "Write one row a unit under the headings"
            findings.refuse(table, "", found="there is no unit under the headings", mend=mend)
        return
    measured = {"mass", "content_mg", "content_percent"}
    if not has_assays and not any(entry.cell(name) for entry in units.rows for name in measured):
        found, mend = "no unit has a mass or a content", "Enter the masses of the units"
        if "mass" not in columns:
            doubt = units.known.doubt
            found += f'; there is no column "Mass (g)"{units.known.unknown.all()}{doubt.found}'
            mend += doubt.mend
        findings.refuse(table, "", found=found, mend=mend)
        return
    assayed = {same_name(assay.unit) for assay in assays}
    without = [
        (unit.name, entry)
        for unit, entry in zip(unit_rows.units, unit_rows.rows, strict=True)
        if same_name(unit.name) not in assayed and not any(entry.cell(name) for name in measured)
    ]
    remark_on_unmeasured(units, without)
    if "mass" not in columns:
        units.remark("", f"The table has no column of masses{units.known.unknown.for_column()}.")


def _check_facts(units: Entries, unit_rows: UnitRows, facts: Facts, batch_facts: Entries) -> None:
    """Hold the units against what the Batch sheet says of them."""
    sheet = batch_facts.known.table.sheet
    poured = facts.numbers.get("units_poured")
    if poured is not None and poured < len(unit_rows.units):
        batch_facts.remark(
            facts.places["units_poured"],
            f"Units poured is {poured:f}, but {len(unit_rows.units)} units are entered.",
        )
    masses = [
        Measured(name=unit.name, entry=entry, value=_as_headed(unit.mass_g, units))
        for unit, entry in zip(unit_rows.units, unit_rows.rows, strict=True)
        if unit.mass_g is not None
    ]
    for name, noun in (("planned_mass_g", "planned mass"), ("nominal_mass_g", "nominal mass")):
        plan = facts.numbers.get(name)
        if plan is not None and masses:
            check_against_plan(units, masses, plan, noun=noun, place=f"{sheet}!{facts.places[name]}")
            return


def _whole(facts: Facts, name: str) -> int | None:
    return int(facts.numbers[name]) if name in facts.numbers else None


def _as_headed(mass_g: Decimal, units: Entries) -> Decimal:
    return mass_g if units.known.columns["mass"].unit == "g" else mass_g.scaleb(3)


def _refuse_bare_options(book: Book, options: ReadOptions, findings: Findings) -> None:
    """Facts of an active belong in the Actives sheet of a workbook; a call is never ignored in silence."""
    given = (
        ("--label-mg", options.label_mg, ACTIVES.columns["label claim (mg)"]),
        ("--displacement", options.displacement, ACTIVES.columns["displacement value"]),
    )
    for name, value, column in given:
        if value is None:
            continue
        plausible = column.plausible
        unit = f" {column.unit}" if column.unit else ""
        if not value.is_finite() or value <= 0:
            _refuse_call(book, findings, f"{name} {value} is not above zero", "Give a number above zero")
        elif not book.bare:
            _refuse_call(
                book, findings, f"{name} is for a bare table", "Enter it in the Actives sheet and leave it out"
            )
        elif plausible is not None and not plausible.holds(value):
            bounds = f"{plausible.floor:f} to {plausible.ceiling:f}{unit}"
            _refuse_call(
                book,
                findings,
                f"{name} {value}{unit} is not plausible: {bounds} is",
                f"Give it again, for example {name} {column.example}",
            )


def _refuse_call(book: Book, findings: Findings, found: str, mend: str) -> None:
    findings.problems.append(Problem(file=book.file, sheet="", cell="", found=found, mend=mend))


def in_order(problems: Sequence[Problem], book: Book) -> list[Problem]:
    """Problems in the order of the sheets of a book and of the cells in them."""
    places = {(table.file, table.sheet): spot for spot, table in enumerate(book.tables)}

    def key(problem: Problem) -> tuple[int, int, int, str]:
        match = re.match(r"([A-Z]*)(\d+)", problem.cell.removeprefix("row "))
        letters, row = match.groups() if match else ("", "0")
        return places.get((problem.file, problem.sheet), -1), int(row), len(letters), letters

    return sorted(problems, key=key)
