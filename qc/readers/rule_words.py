"""The dosage form and the name of the rules, held against the words that the rules know."""

from __future__ import annotations

import difflib

from qc.problems import Problem
from qc.readers.entries import Entries, same_name
from qc.readers.facts import Facts
from qc.readers.options import KnownForms, ReadOptions
from qc.readers.tables import Book, Findings

HOUSE_FILE = ".toml"


def dosage_form(
    facts: Facts, options: ReadOptions, batch_facts: Entries | None, *, book: Book, findings: Findings
) -> str | None:
    """The dosage form of the batch; None when none is named.

    What the call says must not contradict what the workbook says, and either must be a form that rules exist for.
    """
    entered, said, known = facts.texts.get("dosage_form"), options.form, options.known_forms
    if entered is not None and batch_facts is not None:
        table, place = batch_facts.known.table, facts.places["dosage_form"]
        if said is not None and same_name(entered) != same_name(said):
            found = f'the dosage form is "{entered}" here, but the call says "{said}"'
            findings.refuse(table, place, found=found, mend="Leave out --form, or mend the workbook")
        elif known is not None and not known.is_known(entered):
            found = f'dosage form "{entered}" is none that a rule here names'
            findings.refuse(table, place, found=found, mend=_other_form(entered, known, lead="Type"))
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


def check_rules_named(facts: Facts, options: ReadOptions, batch_facts: Entries) -> None:
    """Refuse a name in the field Rules that no rule set, rule or house file bears."""
    named = facts.texts.get("rules")
    if named is None or options.known_rules is None or options.rules is not None:
        return
    if named in options.known_rules or named.casefold().endswith(HOUSE_FILE):
        return
    near = difflib.get_close_matches(named.casefold(), sorted(options.known_rules), n=1, cutoff=0.6)
    mend = f"Type {near[0]} if that is meant; qc rules lists them all" if near else "Type a name that qc rules lists"
    batch_facts.findings.refuse(
        batch_facts.known.table,
        facts.places["rules"],
        found=f'no rule set or rule has the name "{named}"',
        mend=f"{mend}, or the path of a house rule file that ends in {HOUSE_FILE}",
    )
