"""What a sheet says of strength and dosage form against the call, and the name of the sheet against its masses."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal

from qc.fields.field import same_name
from qc.fields.remarks import other_masses
from qc.fields.words import measure_of, plain_words, says_mass, words_known
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import CellKind, Noted, SheetCell
from qc.readers.command import in_quotes, to_ignore
from qc.readers.finding.view import SheetView, measure_in, number_in
from qc.readers.options import ReadOptions

# At how many characters spreadsheet programs cut the name of a sheet (ECMA-376 leaves it open; common practice).
_LONGEST_NAME, _VERSION = 30, pattern(r"v\d+", re.ASCII)
_STRENGTH = pattern(r"(?<![\d.,/-])(\d{1,5}(?:[.,]\d{1,3})?)\s*mg\b(?!\s*/)", re.IGNORECASE | re.ASCII)


def refuse_other_facts(
    view: SheetView,
    notes: Sequence[SheetCell],
    *,
    masses: int,
    form: str | None,
    options: ReadOptions,
    findings: Noted,
) -> None:
    """Refuse a label claim or a form that differs from that of the call, and a sheet whose name makes other masses.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    notes : sequence of SheetCell
        Its texts that are no part of the table.
    masses : int
        How many masses were read.
    form : str or None
        The dosage form of the batch.
    options : ReadOptions
    findings : Noted
    """
    table = view.table
    if options.sheet is None and table.sheet and (other := other_masses(_whole_words(table.sheet), count=masses)):
        found = f"the sheet is called {quoted(table.sheet)}, and what {quoted(other)} says is not understood"
        call = f"{options.command} --sheet {in_quotes(table.sheet)}".strip()
        findings.refuse(table, "", found=found, mend=f"Give it another name, or say that it is meant: {call}")
    said = [(cell, strength) for cell in notes for strength in strengths_said(view, cell)]
    if options.label_mg is not None and said and options.label_mg not in {strength for _, strength in said}:
        cell, strength = said[0]
        found = f"{cell.quoted} says {strength:f} mg, and the call says that the label claim is {options.label_mg:f} mg"
        mend = "Give the label claim of this batch; or, if that is of something else, "
        mend += to_ignore(options.command, table, [cell])
        findings.refuse(table, cell.address, found=found, mend=mend)
    for cell in notes:
        value = view.next_to(cell)
        names_form = " ".join(plain_words(cell.typed)) in words_known().form
        if options.form and names_form and value is not None and _is_other_form(value.shown, options):
            found = f"the dosage form is {quoted(value.shown)} here, but the call says {quoted(options.form)}"
            findings.refuse(table, value.address, found=found, mend="Give --form as it is, or mend the file")
    _refuse_other_form(view, notes, form=form, options=options, findings=findings)


def _refuse_other_form(
    view: SheetView, notes: Sequence[SheetCell], *, form: str | None, options: ReadOptions, findings: Noted
) -> None:
    """Refuse texts that name a moulded form, and none of them that of the batch."""
    named = [(cell, other) for cell in notes if (other := options.form_within(cell.shown))]
    refused = {problem.cell for problem in findings.problems}
    if form is None or not named or options.form_name(form) in {other for _, other in named}:
        return
    cell, other = named[0]
    if cell.address not in refused:
        found = f"{cell.quoted} names {other}, and the batch is judged as {form}"
        mend = "Give the form of this batch; or, if the text is about something else, "
        mend += to_ignore(options.command, view.table, [cell])
        findings.refuse(view.table, cell.address, found=found, mend=mend)


def _whole_words(name: str) -> str:
    """The name of a sheet without a version at its end, and without a word of units that was cut there."""
    words = plain_words(name)
    units = words_known().heading.unit | words_known().heading.filler
    cut = len(name) >= _LONGEST_NAME and any(unit.startswith(words[-1]) for unit in units)
    return " ".join(words[:-1]) if words and (cut or _VERSION.fullmatch(words[-1])) else name


def strengths_said(view: SheetView, cell: SheetCell) -> Iterator[Decimal]:
    """What a text says that a unit holds [mg], in itself or in the number beside it."""
    if cell.kind is not CellKind.TEXT:
        return
    for one in _STRENGTH.findall(cell.typed):
        yield Decimal(one.replace(",", "."))
    value, words = view.next_to(cell), plain_words(cell.typed)
    # What a unit should weigh is claimed too.
    claims = not words_known().claimed.isdisjoint(words) and not says_mass(cell.typed)
    if value is None or not claims or (number := number_in(value)) is None:
        return
    if "mg" in (measure_of(words[-1]), measure_in(value)):
        yield number


def _is_other_form(text: str, options: ReadOptions) -> bool:
    """Whether a text names a form that rules exist for, and not that of the call."""
    known = options.form_meant is not None and options.form_meant(text) is None
    return known and options.form_name(text) != options.form_name(options.form or "") and bool(same_name(text))
