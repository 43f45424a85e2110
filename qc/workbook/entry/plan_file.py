"""A plan kept in a file, read as strictly as a workbook: every problem at once, no misspelt key left out in silence."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

from qc.batch import Batch
from qc.fields.field import Field, Holds
from qc.fields.sheets import ACTIVES, BATCH
from qc.problems import InputProblems
from qc.readers.actives import read_actives
from qc.readers.cells import CellKind, Noted, SheetCell, SheetTable
from qc.readers.located import Entry, LocatedTable
from qc.readers.values import read_values
from qc.rules.strict_records import read_toml
from qc.workbook.entry.plan import FillingOrder, Plan

_OF_BATCH = ("product", "dosage_form", "base", "nominal_mass_g", "balance_readability_g", "balance_repeatability_g")
_OF_ACTIVE = ("name", "label_claim_mg", "displacement_value", "displacement_factor", "state")
_OF_PLAN = {
    "moulds": Field("Moulds", "moulds", holds=Holds.WORDS, example='["A", "B"]'),
    "cavities": Field("Cavities", "cavities", holds=Holds.WHOLE, example="12"),
    "units": Field("Units", "units", holds=Holds.WHOLE, example="24"),
    "filling_order": Field("Filling order", "filling_order", holds=Holds.CHOICE, choices=FillingOrder),
}
_FACTS = (
    _OF_PLAN | {"batch_number": BATCH.field("number")} | {name: BATCH.field(name) for name in (*_OF_BATCH, "rules")}
)
_ACTIVE = {name: ACTIVES.field(name) for name in _OF_ACTIVE}
_REQUIRED = ("moulds", "cavities", "label_claim_mg")


def read_plan(path: Path) -> Plan:
    """Read a plan from a TOML file.

    The keys are `batch_number`, `product`, `dosage_form`, `base`, `moulds` (a list of names), `cavities` (of each
    mould), `units`, `filling_order`, `nominal_mass_g`, `balance_readability_g`, `balance_repeatability_g`, `rules`, and
    for each active a table `[[active]]` with `name`, `label_claim_mg`, `displacement_value` or `displacement_factor`,
    and `state`. Only `moulds` and `cavities` are required. What a value may be is what the workbook accepts.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    InputProblems
        With every problem of the file, each naming its key and the mend.
    """
    return plan_of(read_toml(path), path=path)


def plan_of(content: dict[str, Any], *, path: Path) -> Plan:
    """The plan that the tables of a file say, or a call that says the same; the path names it in its problems.

    Raises
    ------
    InputProblems
        With every problem of the tables.
    """
    table, findings = SheetTable(file=path.name, sheet="", name="", rows=()), Noted()
    actives = content.pop("active", [])
    if not isinstance(actives, list) or not all(isinstance(one, dict) for one in actives):
        mend = "Begin each with a line [[active]]"
        findings.refuse(table, "active", found="the actives are not a list of tables", mend=mend)
        actives = []
    known = {
        "Batch": _known(table, [content], _FACTS, findings),
        "Actives": _known(table, actives, _ACTIVE, findings, of=" of active "),
    }
    read_values(known.values(), None)
    given = tuple(active for active, _ in read_actives(known["Actives"]))
    if findings.problems:
        raise InputProblems(findings.problems)
    facts = known["Batch"].entries[0].values
    own = {name: facts.pop(name) for name in _OF_PLAN if name in facts}
    try:
        return Plan(batch=Batch(units=(), actives=given, **facts), **own)
    except ValueError as error:
        found, _, mend = str(error).rpartition(": ")
        raise InputProblems.of_file(path, found, mend[:1].upper() + mend[1:]) from None


def _known(
    table: SheetTable, contents: Sequence[dict[str, Any]], fields: Mapping[str, Field], findings: Noted, *, of: str = ""
) -> LocatedTable:
    """Tables of the file as rows of a located table; the address of a cell is its key, with `of` and its number."""
    entries = []
    for number, content in enumerate(contents, start=1):
        cells = {}
        for key, value in content.items():
            address = f"{key}{of}{number}" if of else key
            text = "; ".join(map(str, value)) if isinstance(value, list) else str(value).strip()
            if key not in fields:
                near = difflib.get_close_matches(key, fields, n=1)
                known = ", ".join(fields if of else (*fields, "active"))
                mend = f"Did you mean {near[0]}?" if near else f"Known are {known}"
                findings.refuse(table, address, found="this key is not known", mend=mend)
            elif isinstance(value, bool | dict) or (isinstance(value, list) and key != "moulds"):
                mend = "Write one of the two"
                findings.refuse(table, address, found=f"{value} is neither text nor a number", mend=mend)
            elif text:
                is_number = isinstance(value, int) or (isinstance(value, Decimal) and value.is_finite())
                kind, stored = (CellKind.NUMBER, Decimal(text)) if is_number else (CellKind.TEXT, None)
                cells[fields[key].attribute] = SheetCell(1, address, kind, text, stored)
        for key in (key for key in _REQUIRED if key in fields and content.get(key) in (None, "", [])):
            mend = f"Add a line, for example {key} = {fields[key].example}"
            findings.refuse(table, f"{key}{of}{number}" if of else key, found="this is missing", mend=mend)
        entries.append(Entry(number=number, cells=cells, values={}))
    return LocatedTable(
        table=table,
        sheet=ACTIVES if of else BATCH,
        columns={field.attribute: field for field in fields.values()},
        letters={field.attribute: f"{key}{of}" for key, field in fields.items()},
        entries=tuple(entries),
        findings=findings,
    )
