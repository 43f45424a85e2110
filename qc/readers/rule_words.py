"""The dosage form and the name of the rules, held against the words that the rules know."""

from __future__ import annotations

import difflib

from qc.problems import Problem
from qc.readers.names import same_name
from qc.readers.options import KnownForms, ReadOptions
from qc.readers.read_tables import ReadTable
from qc.readers.tables import Book, Noted

HOUSE_FILE = ".toml"


def dosage_form(batch: ReadTable | None, options: ReadOptions, *, book: Book, findings: Noted) -> str | None:
    """The dosage form of the batch; None when none is named.

    What the call says must not contradict what the workbook says, and either must be a form that rules exist for.
    """
    said, known = options.form, options.known_forms
    entered: str | None = batch.rows[0].value("dosage_form") if batch else None
    if batch and entered is not None:
        if said is not None and same_name(entered) != same_name(said):
            found = f'the dosage form is "{entered}" here, but the call says "{said}"'
            batch.refuse(batch.rows[0], "dosage_form", found, "Leave out --form, or mend the workbook")
        elif known is not None and not known.is_known(entered):
            found = f'dosage form "{entered}" is none that a rule here names'
            batch.refuse(batch.rows[0], "dosage_form", found, _other_form(entered, known, lead="Type"))
        return entered
    if said is not None and known is not None and not known.is_known(said):
        mend = _other_form(said, known, lead="Give")
        found = f'--form "{said}" is no dosage form that a rule here names'
        findings.problems.append(Problem(file=book.file, sheet="", cell="", found=found, mend=mend))
    return said


def _other_form(text: str, known: KnownForms, *, lead: str) -> str:
    near = known.nearest(text)
    if near is None:
        return f"{lead} the form by its name, for example suppositories"
    return f"{lead} {near} if that is meant"


def check_rules_named(batch: ReadTable, options: ReadOptions) -> None:
    """Refuse a name in the field Rules that no rule set, rule or house file bears."""
    named: str | None = batch.rows[0].value("rules")
    if named is None or options.known_rules is None or options.rules is not None:
        return
    if named in options.known_rules or named.casefold().endswith(HOUSE_FILE):
        return
    near = difflib.get_close_matches(named.casefold(), sorted(options.known_rules), n=1, cutoff=0.6)
    mend = f"Type {near[0]} if that is meant; qc rules lists them all" if near else "Type a name that qc rules lists"
    found = f'no rule set or rule has the name "{named}"'
    batch.refuse(batch.rows[0], "rules", found, f"{mend}, or the path of a house rule file that ends in {HOUSE_FILE}")
