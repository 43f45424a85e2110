"""From raw tables to a batch: every sheet understood, every number read, everything checked against everything else."""

from __future__ import annotations

import re
from collections.abc import Sequence

from qc.batch import Active, Assay, Batch, Displacement, DisplacementConvention, Source
from qc.fields.headings import plain
from qc.fields.sheets import ACTIVES
from qc.problems import InputProblems, Problem
from qc.readers.actives import ActiveRows, read_actives
from qc.readers.assays import ONLY_ACTIVE, read_assays, read_whole_unit_contents
from qc.readers.calibration import read_cavity_pours, read_checks
from qc.readers.displaced_base import check_displaced_base
from qc.readers.names import same_name
from qc.readers.options import ReadOptions
from qc.readers.plausible import check_against_plan
from qc.readers.read_tables import ReadTable
from qc.readers.rule_words import check_rules_named, dosage_form
from qc.readers.tables import Book, Noted
from qc.readers.understood import known_tables, read_tables
from qc.readers.units import UnitRows, masses_as_headed, read_units, remark_on_unmeasured


def batch_from_book(book: Book, *, options: ReadOptions, findings: Noted, source: Source | None) -> Batch:
    """The batch that a book holds.

    Raises
    ------
    InputProblems
        With every problem of the book, in the order of its sheets and cells.
    """
    tables = known_tables(book, findings)
    _check_units_sheet(book, findings)
    sheets = read_tables(tables, options.decimal, findings, findings)
    batch, units, assay = sheets.get("Batch"), sheets.get("Units"), sheets.get("Assay")
    facts = dict(batch.rows[0].values) if batch else {}
    active_rows: ActiveRows = read_actives(sheets["Actives"]) if "Actives" in sheets else ()
    actives = tuple(active for active, _ in active_rows)
    unit_rows = read_units(units) if units else UnitRows(rows=(), names={})
    assays: tuple[Assay, ...] = ()
    if book.bare and units:
        actives, assays = _bare_content(units, unit_rows, options)
    elif assay:
        assays = read_assays(assay, unit_rows, actives)
    if units:
        _check_measured(units, unit_rows, assays, has_assays=assay is not None or bool(assays))
    if units and batch:
        _check_facts(units, unit_rows, batch)
    if batch and "Actives" in sheets:
        check_displaced_base(sheets["Actives"], active_rows, batch)
    if not actives:
        actives = tuple(Active(name=name) for name in dict.fromkeys(assay.active for assay in assays))
    facts |= {
        "units": unit_rows.units,
        "assays": assays,
        "actives": actives,
        "cavity_pours": read_cavity_pours(sheets["Cavities"]) if "Cavities" in sheets else (),
        "checks": read_checks(sheets["Checks"]) if "Checks" in sheets else (),
        "dosage_form": dosage_form(batch, options, book=book, findings=findings),
        "rules": options.rules or facts.get("rules"),
        "source": source,
    }
    if batch:
        check_rules_named(batch, options)
    _refuse_bare_options(book, options, findings)
    if findings.problems:
        raise InputProblems(in_order(findings.problems, book))
    return Batch(**facts, notices=tuple(findings.notices))


def _check_units_sheet(book: Book, findings: Noted) -> None:
    """Refuse a book without a Units sheet, or with an empty one."""
    units = [table for table in book.tables if book.bare or plain(table.name) == "units"]
    if units and not units[0].rows:
        mend = "Write one row a unit under the headings Unit and Mass (g)"
        findings.refuse(units[0], "", found="the sheet is empty", mend=mend)
    elif not units:
        names = ", ".join(table.name for table in book.tables)
        found = f'there is no sheet "Units" (the sheets are: {names})' if names else "there is no sheet at all"
        _refuse_book(book, findings, found, 'Name the sheet with the masses "Units"')


def _bare_content(
    units: ReadTable, unit_rows: UnitRows, options: ReadOptions
) -> tuple[tuple[Active, ...], tuple[Assay, ...]]:
    """The one active of a bare table and the contents that stand beside the masses."""
    displacement = None
    if options.displacement is not None:
        displacement = Displacement(given=options.displacement, convention=DisplacementConvention.VALUE)
    active = Active(name=ONLY_ACTIVE, label_claim_mg=options.label_mg, displacement=displacement)
    assays = read_whole_unit_contents(units, unit_rows, active)
    has_active = bool(assays) or options.label_mg is not None or displacement is not None
    return ((active,) if has_active else ()), assays


def _check_measured(units: ReadTable, unit_rows: UnitRows, assays: Sequence[Assay], *, has_assays: bool) -> None:
    """Refuse a batch without units or without anything measured; name the units that have nothing."""
    if not unit_rows.rows:
        if units.has("name") and not units.rows:
            units.refuse_table("there is no unit under the headings", "Write one row a unit under the headings")
        return
    measured = {"mass_g", "content_mg", "content_percent"}
    unknown, doubt = units.known.unknown, units.known.doubt
    if not has_assays and not any(measured & entry.cells.keys() for entry in units.rows):
        found, mend = "no unit has a mass or a content", "Enter the masses of the units"
        if not units.has("mass_g"):
            found += f'; there is no column "Mass (g)"{unknown.all()}{doubt.found}'
            mend += doubt.mend
        units.refuse_table(found, mend)
        return
    assayed = {same_name(assay.unit) for assay in assays}
    without = [
        (unit.name, entry)
        for unit, entry in unit_rows.rows
        if same_name(unit.name) not in assayed and not measured & entry.cells.keys()
    ]
    remark_on_unmeasured(units, without)
    if not units.has("mass_g"):
        units.remark("", f"The table has no column of masses{unknown.for_column()}.")


def _check_facts(units: ReadTable, unit_rows: UnitRows, batch: ReadTable) -> None:
    """Hold the units against what the Batch sheet says of them."""
    facts = batch.rows[0]
    poured, entered = facts.value("units_poured"), len(unit_rows.rows)
    if poured is not None and poured < entered:
        text = f"Units poured is {poured}, but {entered} units are entered."
        batch.remark(batch.place("units_poured", facts), text)
    masses = masses_as_headed(units, unit_rows.rows)
    for name in ("planned_mass_g", "nominal_mass_g"):
        plan = facts.value(name)
        if plan is not None and masses:
            place = f"{batch.known.table.sheet}!{batch.place(name, facts)}"
            check_against_plan(units, masses, plan, noun=batch.known.columns[name].noun, place=place)
            return


def _refuse_bare_options(book: Book, options: ReadOptions, findings: Noted) -> None:
    """Facts of an active belong in the Actives sheet of a workbook; a call is never ignored in silence."""
    given = (
        ("--label-mg", options.label_mg, ACTIVES.field("label_claim_mg")),
        ("--displacement", options.displacement, ACTIVES.field("displacement_value")),
    )
    for name, value, field in given:
        if value is None:
            continue
        unit = f" {field.unit}" if field.unit else ""
        if not value.is_finite() or value <= 0:
            _refuse_book(book, findings, f"{name} {value} is not above zero", "Give a number above zero")
        elif not book.bare:
            mend = "Enter it in the Actives sheet and leave it out"
            _refuse_book(book, findings, f"{name} is for a bare table", mend)
        elif field.plausible is not None and not field.plausible.holds(value):
            found = f"{name} {value}{unit} is not plausible: {field.plausible}{unit} is"
            _refuse_book(book, findings, found, f"Give it again, for example {name} {field.example}")


def _refuse_book(book: Book, findings: Noted, found: str, mend: str) -> None:
    findings.problems.append(Problem(file=book.file, sheet="", cell="", found=found, mend=mend))


def in_order(problems: Sequence[Problem], book: Book) -> list[Problem]:
    """Problems in the order of the sheets of a book and of the cells in them."""
    places = {(table.file, table.sheet): spot for spot, table in enumerate(book.tables)}

    def key(problem: Problem) -> tuple[int, int, int, str]:
        match = re.match(r"([A-Z]*)(\d+)", problem.cell.removeprefix("row "))
        letters, row = match.groups() if match else ("", "0")
        return places.get((problem.file, problem.sheet), -1), int(row), len(letters), letters

    return sorted(problems, key=key)
