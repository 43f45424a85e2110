"""What a call may say about an input that the input does not say itself, held against what it does say."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import date
from decimal import Decimal
from typing import Literal

from msgspec import Struct

from qc.fields.days import days_meant
from qc.fields.field import near_name, same_name
from qc.fields.sheets import ACTIVES, DONE_ON
from qc.fields.words import MassUnit
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import Book, Noted
from qc.readers.located import LocatedTable
from qc.readers.plausible import implausible
from qc.readers.typed_number import DecimalMark as DecimalMark

HOUSE_FILE = ".toml"
_CELLS = pattern(r"(?:.*!)?([A-Z]{1,3}\d{1,7}:[A-Z]{1,3}\d{1,7})")
_WORD = r"""(?:"[^"]*"|'[^']*'|[^\s"'])+"""
RowOrder = Literal["pour", "weighing", "both"]


class ReadOptions(Struct, frozen=True, kw_only=True):
    """Facts that come from the call.

    Parameters
    ----------
    form : str or None
        Dosage form, where the input names none.
    label_mg : Decimal or None
        Label claim of the one active of a bare table [mg].
    displacement : Decimal or None
        Displacement value of the one active of a bare table [g of active that displaces 1 g of base].
    decimal : "comma", "point" or None
        The decimal mark of numbers typed as text, where the file leaves it open.
    sheet : str or None
        The sheet that holds the units, where several could; "Week 3!B2:B11" where the sheet holds several tables.
    order : "pour", "weighing", "both" or None
        As what the rows of the units stand: by itself the place of a row is no order.
    mass_unit : "g", "mg" or None
        The unit of mass, where the input states none.
    batch : str or None
        The batch to be judged, where a column or the titles of several tables name batches.
    ignore : tuple of str
        Ranges of cells that are left out of account: "Week 3!D2:D21".
    unit_range : callable or None
        Between which two masses a unit of a form can weigh [g], of a text that names a form; None of a form for which
        nothing is said. The widest range stands where it is not given.
    command : str
        The call as it was typed, to be given again with one option more; empty where a program makes the call.
    separator : str or None
        What separates the fields of a delimited file, where it cannot be recognised: "," or ";" or a tab.
    known_rules : frozenset of str or None
        Names that the field Rules may hold besides the path of a .toml file; not checked when None.
    form_meant : callable or None
        What a dosage form is held against, since the readers know no rule: of a text that names no form the name that
        looks most like it, or "" when none does; None of a form that rules exist for. Not checked when None.
    form_within : callable
        The moulded form that a longer text names, as `form_name` names it; "" where it names none.
    """

    form: str | None = None
    label_mg: Decimal | None = None
    displacement: Decimal | None = None
    decimal: DecimalMark | None = None
    sheet: str | None = None
    order: RowOrder | None = None
    mass_unit: MassUnit | None = None
    batch: str | None = None
    ignore: tuple[str, ...] = ()
    unit_range: Callable[[str], tuple[Decimal, Decimal] | None] | None = None
    command: str = ""
    separator: str | None = None
    known_rules: frozenset[str] | None = None
    form_meant: Callable[[str], str | None] | None = None
    form_name: Callable[[str], str] = same_name
    form_within: Callable[[str], str] = lambda _: ""
    today: date | None = None

    @property
    def sheet_name(self) -> str | None:
        """The name of the sheet that the call says, without the cells behind it."""
        name = self.sheet.removesuffix(self.cells).removesuffix("!") if self.sheet is not None else None
        return name or None

    @property
    def cells(self) -> str:
        """The range of cells that the call says, "B2:B11" of "Week 3!B2:B11"; empty where it says none."""
        match = _CELLS.fullmatch(self.sheet or "")
        return match.group(1) if match else ""


def ready(options: ReadOptions, more: str) -> str:
    """A call to be copied: the one that was made, with an option more; the option alone where it came from a program.

    Examples
    --------
    >>> ready(ReadOptions(command="qc check week.xlsx"), "--sheet B2"), ready(ReadOptions(), "--sheet B2")
    ('qc check week.xlsx --sheet B2', '--sheet B2')
    >>> ready(ReadOptions(command="qc check week.xlsx --sheet \'A 1\' --order pour"), "--sheet B2")
    'qc check week.xlsx --order pour --sheet B2'
    """
    # An option that the call gives already is given once.
    call = re.sub(rf" {more.partition(' ')[0]} {_WORD}", "", options.command)
    return f"{call} {more}".strip()


def dosage_form(batch: LocatedTable | None, options: ReadOptions, *, book: Book, findings: Noted) -> str | None:
    """The dosage form of the batch; None when none is named.

    What the call says must not contradict what the workbook says, and either must be a form that rules exist for.
    """
    said = options.form
    entered: str | None = batch.entries[0].value("dosage_form") if batch else None
    if batch and entered is not None:
        if said is not None and options.form_name(entered) != options.form_name(said):
            found = f'the dosage form is {quoted(entered)} here, but the call says "{said}"'
            batch.refuse(batch.entries[0], "dosage_form", found, "Leave out --form, or mend the workbook")
        elif mend := _other_form(entered, options):
            found = f"dosage form {quoted(entered)} is none that a rule here names"
            batch.refuse(batch.entries[0], "dosage_form", found, f"Type {mend}")
        return entered
    if said is not None and (mend := _other_form(said, options)):
        found = f'--form "{said}" is no dosage form that a rule here names'
        findings.refuse_input(book.file, found=found, mend=f"Give {mend}")
    return said


def _other_form(text: str, options: ReadOptions) -> str:
    """Which form to name in place of a text that names none; empty where it names one."""
    meant = options.form_meant(text) if options.form_meant else None
    if meant is None:
        return ""
    return f"{meant} if that is meant" if meant else "the form by its name, for example suppositories"


def check_rules_named(batch: LocatedTable, options: ReadOptions) -> None:
    """Refuse a name in the field Rules that no rule set, rule or house file bears."""
    named: str | None = batch.entries[0].value("rules")
    if named is None or options.known_rules is None:
        return
    if named in options.known_rules or named.casefold().endswith(HOUSE_FILE):
        return
    near = near_name(named, sorted(options.known_rules))
    mend = f"Type {near} if that is meant; qc rules lists them all" if near else "Type a name that qc rules lists"
    mend += f", or the path of a house rule file that ends in {HOUSE_FILE}"
    batch.refuse(batch.entries[0], "rules", f"no rule set or rule has the name {quoted(named)}", mend)


def check_days(batch: LocatedTable, today: date) -> None:
    """Refuse a day of the record on which nothing can have been done yet."""
    (facts,) = batch.entries
    for name in DONE_ON:
        typed, days = facts.value(name), days_meant(facts.value(name))
        if days is not None and days[0] > today:
            found = f"{batch.columns[name].noun} {quoted(typed)} lies in the future: today is {today.isoformat()}"
            batch.refuse(facts, name, found, "Type the day on which it was done, or set the clock of this machine")


def check_bare_options(options: ReadOptions, *, book: Book, bare: bool, findings: Noted) -> None:
    """Facts of an active belong in the Actives sheet of a workbook; a call is never ignored in silence."""
    given = (
        ("--label-mg", options.label_mg, ACTIVES.field("label_claim_mg")),
        ("--displacement", options.displacement, ACTIVES.field("displacement_value")),
    )
    for name, value, field in given:
        if value is None:
            continue
        if not value.is_finite() or value <= 0:
            found, mend = f"{name} {value} is not above zero", "Give a number above zero"
        elif not bare:
            found, mend = f"{name} is for one active without a row in Actives", "Enter it there and leave it out"
        elif outside := implausible(value, field.plausible, field.unit):
            found, mend = f"{name} {value}{outside}", f"Give it again, for example {name} {field.example}"
        else:
            continue
        findings.refuse_input(book.file, found=found, mend=mend)
