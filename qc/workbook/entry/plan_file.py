"""A plan kept in a file: read strictly, every problem at once, so that no misspelt field is quietly left out."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Sequence
from decimal import Decimal
from enum import StrEnum
from pathlib import Path
from typing import Any, TypeVar

from qc.batch import Base, Displacement, DisplacementConvention, State
from qc.problems import InputProblems, Problem
from qc.workbook.entry.plan import FillingOrder, Plan, PlannedActive

_Word = TypeVar("_Word", bound=StrEnum)

PLAN_KEYS = (
    "batch_number",
    "product",
    "dosage_form",
    "base",
    "moulds",
    "cavities",
    "units",
    "filling_order",
    "nominal_mass_g",
    "balance_readability_g",
    "balance_repeatability_g",
    "rules",
    "active",
)
ACTIVE_KEYS = ("name", "label_claim_mg", "displacement_value", "displacement_factor", "state")


def read_plan(path: Path) -> Plan:
    """Read a plan from a TOML file.

    The keys are `batch_number`, `product`, `dosage_form`, `base`, `moulds` (a list of names), `cavities` (of each
    mould), `units`, `filling_order`, `nominal_mass_g`, `balance_readability_g`, `balance_repeatability_g`, `rules`, and
    for each active a table `[[active]]` with `name`, `label_claim_mg`, `displacement_value` or `displacement_factor`,
    and `state`. Only `moulds` and `cavities` are required.

    Parameters
    ----------
    path : Path
        The file.

    Raises
    ------
    InputProblems
        With every problem of the file, each naming its key and the mend.
    """
    reading = _Reading(path.name)
    try:
        with path.open("rb") as file:
            content = tomllib.load(file, parse_float=Decimal)
    except FileNotFoundError:
        raise InputProblems([reading.problem("", "there is no such file", "Look for a slip in its name")]) from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        raise InputProblems(
            [reading.problem("", f"the file is not sound TOML: {error}", "Mend the line it names")]
        ) from None
    reading.unknown_keys(content, known=PLAN_KEYS, at="")
    actives = reading.actives(content.get("active", []))
    moulds = reading.names(content, "moulds")
    cavities = reading.whole(content, "cavities", required=True)
    units = reading.whole(content, "units")
    parts: dict[str, Any] = {
        "base": reading.word(content, "base", Base),
        "filling_order": reading.word(content, "filling_order", FillingOrder) or FillingOrder.MOULD_BY_MOULD,
        **{key: reading.text(content, key) for key in ("batch_number", "product", "dosage_form", "rules")},
        **{
            key: reading.amount(content, key)
            for key in ("nominal_mass_g", "balance_readability_g", "balance_repeatability_g")
        },
    }
    reading.stop_if_any()
    assert cavities is not None
    try:
        return Plan(moulds=moulds, cavities=cavities, units=units, actives=actives, **parts)
    except ValueError as error:
        found, _, mend = str(error).rpartition(": ")
        raise InputProblems([reading.problem("", found, mend[:1].upper() + mend[1:])]) from None


class _Reading:
    """The problems found so far in one file, and the checks that find them."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def problem(self, key: str, found: str, mend: str) -> Problem:
        return Problem(file=self.file, sheet="", cell=key, found=found, mend=mend)

    def refuse(self, key: str, found: str, mend: str) -> None:
        self.problems.append(self.problem(key, found, mend))

    def stop_if_any(self) -> None:
        if self.problems:
            raise InputProblems(self.problems)

    def unknown_keys(self, table: dict[str, Any], *, known: Sequence[str], at: str) -> None:
        for key in table:
            if key not in known:
                near = difflib.get_close_matches(key, known, n=1)
                mend = f"Did you mean {near[0]}?" if near else f"Known are {', '.join(known)}"
                self.refuse(f"{at}{key}", "this key is not known", mend)

    def text(self, table: dict[str, Any], key: str, *, at: str = "") -> str:
        value = table.get(key, "")
        if not isinstance(value, str):
            self.refuse(f"{at}{key}", f"{value} is not text", f'Put it in quotation marks: "{value}"')
            return ""
        return value.strip()

    def whole(self, table: dict[str, Any], key: str, *, required: bool = False) -> int | None:
        value = table.get(key)
        if value is None:
            if required:
                self.refuse(key, "the plan does not say how many", f"Add a line, for example {key} = 12")
            return None
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            self.refuse(
                key, f"{value} is not a whole number above nought", f"Type it in digits, for example {key} = 12"
            )
            return None
        return value

    def amount(self, table: dict[str, Any], key: str, *, at: str = "") -> Decimal | None:
        value = table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int | Decimal):
            self.refuse(f"{at}{key}", f'"{value}" is not a number', "Type it in digits without quotation marks or unit")
            return None
        number = Decimal(value)
        if not number.is_finite() or number <= 0:
            self.refuse(f"{at}{key}", f"{value} is not above nought", "Give the amount, or take the line out")
            return None
        return number

    def names(self, table: dict[str, Any], key: str) -> tuple[str, ...]:
        value = table.get(key)
        if (
            not isinstance(value, list)
            or not value
            or not all(isinstance(name, str) and name.strip() for name in value)
        ):
            found = "the plan names no mould" if value is None else f"{value} is not a list of names"
            self.refuse(key, found, f'Name each mould, for example {key} = ["A", "B"]')
            return ()
        return tuple(name.strip() for name in value)

    def word(self, table: dict[str, Any], key: str, words: type[_Word], *, at: str = "") -> _Word | None:
        value = table.get(key)
        if value is None:
            return None
        try:
            return words(value)
        except ValueError:
            self.refuse(f"{at}{key}", f'"{value}" is not known', f"Write {' or '.join(words)}")
            return None

    def actives(self, tables: object) -> tuple[PlannedActive, ...]:
        if not isinstance(tables, list) or not all(isinstance(table, dict) for table in tables):
            self.refuse("active", "the actives are not a list of tables", "Begin each with a line [[active]]")
            return ()
        return tuple(
            active
            for number, table in enumerate(tables, start=1)
            if (active := self._active(table, at=f"active {number}, ")) is not None
        )

    def _active(self, table: dict[str, Any], *, at: str) -> PlannedActive | None:
        self.unknown_keys(table, known=ACTIVE_KEYS, at=at)
        name = self.text(table, "name", at=at)
        claim = self.amount(table, "label_claim_mg", at=at)
        value = self.amount(table, "displacement_value", at=at)
        factor = self.amount(table, "displacement_factor", at=at)
        state = self.word(table, "state", State, at=at)
        if not name:
            self.refuse(f"{at}name", "the active has no name", 'Add a line, for example name = "paracetamol"')
        if claim is None:
            if "label_claim_mg" not in table:
                self.refuse(
                    f"{at}label_claim_mg", "the label claim is missing", "Add a line, for example label_claim_mg = 250"
                )
            return None
        if value is not None and factor is not None:
            self.refuse(
                f"{at}displacement_factor",
                "displacement value and displacement factor are both given",
                "Keep the one that your source gives; they are each other's inverse",
            )
        displacement = None
        if value is not None:
            displacement = Displacement(given=value, convention=DisplacementConvention.VALUE)
        elif factor is not None:
            displacement = Displacement(given=factor, convention=DisplacementConvention.FACTOR)
        return PlannedActive(name=name, label_claim_mg=claim, displacement=displacement, state=state)
