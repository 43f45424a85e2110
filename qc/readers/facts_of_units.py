"""What the sheets Batch and Actives say of the units, held against what was weighed and assayed."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from statistics import median

from msgspec.structs import replace

from qc.batch import Active
from qc.fields.field import Holds, Plausible, plain
from qc.fields.remarks import may_tell, names_a_unit, other_masses, says_of_some
from qc.fields.sheets import ACTIVES
from qc.fields.words import plain_words, summary_of, words_known
from qc.problems import in_full
from qc.readers.cells import CellKind
from qc.readers.finding.lines import NEAR
from qc.readers.finding.masses_told import masses_told
from qc.readers.located import LocatedTable
from qc.readers.plausible import MeasuredColumn, check_against, implausible
from qc.readers.units import masses_of
from qc.readers.words_of_units import UnitRows

# What is read by the rules may hold any number: the limit and the result of a check, the number of a batch.
_JUDGED = ("limit", "result", "number")
# Of how much of its mass a unit of a bare table can be active at most: the rest is base (common practice) [-]. What is
# found to hold more is a list of contents.
MOST_ACTIVE = Decimal("0.9")


def tell_of_facts(masses: MeasuredColumn, contents: Sequence[Decimal], facts: LocatedTable) -> None:
    """Notices where a fact of a batch, or a check, tells of masses, contents or of what was wrong beside what it is."""
    middles = [*([masses.median] if masses.rows else []), *([median(contents)] if contents else [])]
    for name, said in (one for entry in facts.entries for one in entry.cells.items()):
        field = facts.columns[name]
        if field.holds not in (Holds.NAME, Holds.TEXT, Holds.DAY) or field.offered:
            continue
        for clause in said.shown.split("; "):
            text = replace(said, kind=CellKind.TEXT, text=clause)
            told = [masses_told(text, middle / NEAR, NEAR * middle, decimals=1) for middle in middles]
            # A product and its formula are named with what a unit holds.
            numbers = name not in ("product", "formula") and any(one != [] for one in told)
            somebody = name.endswith("_by") and any(map(str.isdigit, clause))
            # What was done otherwise than planned is told in words; the number of a report is no more than that.
            deviates = (name == "deviation" or field.holds is Holds.DAY) and may_tell(clause)
            words = [word for word in plain_words(clause) if word.isalpha()]
            # A note is told in its words; the number of a deviation, or one word, says no more than that there is one.
            deviates = deviates or (name in ("note", "deviation") and len(words) > 1)
            if name == "formula":
                plainly = other_masses(clause, count=0) or any(map(summary_of, clause.split(",")))
                deviates = bool(plainly) or not words_known().remark.without.isdisjoint(words)
            tells = numbers or somebody or deviates or says_of_some(clause)
            if names_a_unit(clause) or (tells and name not in _JUDGED):
                what = f"The {field.noun} tells of masses, contents or units, {in_full(clause)}"
                remark, kind = f"{what}; it changes no verdict.", field.noun
                facts.findings.ignore(facts.table, said.address, remark, cells=[said], what=kind, said=in_full(clause))


def check_facts(units: LocatedTable, unit_rows: UnitRows, batch: LocatedTable, usual: Plausible) -> None:
    """Hold the units against what the Batch sheet says of them; a unit of the form weighs between `usual` [g]."""
    (facts,) = batch.entries
    poured, entered = facts.value("units_poured"), len(unit_rows)
    if poured is not None and poured < entered:
        batch.remark_on("units_poured", [facts], f"Units poured is {poured}, but {entered} units are entered.")
    masses, held = masses_of(units, unit_rows), False
    for name in ("planned_mass_g", "nominal_mass_g"):
        plan = facts.value(name)
        if plan is None:
            continue
        field = batch.columns[name]
        typed = plan.scaleb(-field.power)
        if outside := implausible(typed, usual.scaled(-field.power), field.unit):
            other = batch.sheet.columns[plain(f"{field.noun} ({'mg' if field.unit == 'g' else 'g'})")].heading
            mend = f"Type what one unit weighs; in the other unit of mass the field is called {other}"
            batch.refuse(facts, name, f"{field.noun} {facts.as_typed(name, typed)}{outside}", mend)
        elif masses.rows and not held:
            held, place = True, f"{batch.table.sheet}!{batch.place(name, facts)}"
            check_against(masses, plan, what=f"the {field.noun} of {typed:f} {field.unit} in {place}")


def check_claims(
    units: LocatedTable,
    unit_rows: UnitRows,
    actives: Sequence[Active],
    table: LocatedTable | None,
) -> bool:
    """Whether a unit would hold more of its actives than can be poured; refused then.

    A claim is in g, a mass in mg, or contents were given for masses.
    """
    masses, plausible = masses_of(units, unit_rows), ACTIVES.field("label_claim_mg").plausible
    said = {active.name: active.label_claim_mg for active in actives if active.label_claim_mg is not None}
    # What the call gives may be no number; that is refused elsewhere.
    claims = {name: one for name, one in said.items() if one.is_finite() and not implausible(one, plausible, "")}
    median_mg, every = masses.median.scaleb(masses.field.power + 3) if masses.rows else Decimal(0), sum(claims.values())
    if not masses.rows or not claims or every <= (MOST_ACTIVE if table is None else 1) * median_mg:
        return False
    most = max(claims, key=lambda name: claims[name])
    adds_up = f" (all claims together {sum(claims.values()):f} mg)" if len(claims) > 1 else ""
    share = "" if every > median_mg else "nine tenths of what "
    found = f"{claims[most]:f} mg{adds_up} is more than {share}a unit weighs: the median mass is {masses.median:f} "
    found += masses.field.unit
    mend = "See in which unit of mass the label claim is given, and in which the units were weighed"
    mend += "; contents stand under Content (mg)" if share else ""
    if table is None:
        units.findings.refuse_input(units.table.file, found=f"--label-mg {found}", mend=mend)
    else:
        row = next(entry for entry in table.entries if entry.value("name") == most)
        table.refuse(row, "label_claim_mg", f"label claim {found}", mend)
    return True
