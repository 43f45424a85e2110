"""The known sheets and columns, and how a heading is recognised.

A heading is matched without regard to case, to the kind and number of spaces, to a space before or inside its bracket,
to square or round brackets, and to a closing colon: "MASS[g]:" is "Mass (g)". Nothing else is matched; a heading that
is merely near a known one is ignored with a notice that names the known one.
"""

from __future__ import annotations

import difflib
import functools
import re
from decimal import Decimal
from enum import StrEnum

from msgspec import Struct


class Holds(StrEnum):
    """What the cells of a column hold."""

    NAME = "a name"
    TEXT = "text"
    NUMBER = "a number"
    WHOLE = "a whole number"
    YES_NO = "yes or no"


class Least(StrEnum):
    """How small a number may be."""

    ABOVE_ZERO = "above zero"
    ZERO = "zero"


class Plausible(Struct, frozen=True, kw_only=True):
    """Between which two numbers, both included, a value other than 0 is no slip [unit of the column]."""

    floor: Decimal
    ceiling: Decimal

    def holds(self, value: Decimal) -> bool:
        """Whether a value lies between the two, or is 0."""
        return value == 0 or self.floor <= value <= self.ceiling


def _between(floor: str, ceiling: str) -> Plausible:
    return Plausible(floor=Decimal(floor), ceiling=Decimal(ceiling))


# Common practice, drawn wide on purpose: no limit of any pharmacopoeia, only what no moulded unit, balance or batch is.
MASS_G = _between("0.00001", "10000")
MASS_MG = _between("0.01", "10000000")
BULK_G = _between("0.000001", "1000000")
READABILITY_G = _between("0.0000001", "10")
ACTIVE_MG = _between("0.000001", "1000000")
DISH_MG = _between("0.000001", "1000000000")
OF_LABEL = _between("0.0001", "1000")
SPREAD = _between("0.0001", "100")
DISPLACEMENT = _between("0.01", "100")
COUNT = _between("1", "1000000")


class Column(Struct, frozen=True, kw_only=True):
    """A known column, or a known field of the Batch sheet.

    Parameters
    ----------
    field : str
        What it fills; two headings with one field are two ways to say the same thing, and only one may stand.
    heading : str
    holds : Holds
    noun : str
        What a message calls its value.
    unit : str
        Unit of measure of its numbers: "g", "mg", "%" or empty.
    least : Least
    example : str
        A value that would be accepted.
    plausible : Plausible or None
        Beyond which numbers a value is refused as a slip; None for a column that holds no numbers.
    """

    field: str
    heading: str
    holds: Holds
    noun: str = ""
    unit: str = ""
    least: Least = Least.ABOVE_ZERO
    example: str = ""
    plausible: Plausible | None = None

    @property
    def is_number(self) -> bool:
        """Whether its cells are read as numbers."""
        return self.holds in (Holds.NUMBER, Holds.WHOLE)


class KnownSheet(Struct, frozen=True, kw_only=True):
    """A known sheet: its name, and its columns by plain heading."""

    name: str
    columns: dict[str, Column]


# Every cell of a table is compared, and most hold what another one held.
@functools.lru_cache(maxsize=4096)
def plain(heading: str) -> str:
    """A heading in the form in which it is compared.

    Examples
    --------
    >>> plain("  MASS[g]: ")
    'mass (g)'
    """
    text = " ".join(heading.replace("[", "(").replace("]", ")").split()).casefold().rstrip(": ")
    return re.sub(r"\s*\(\s*(.*?)\s*\)", r" (\1)", text).strip()


def nearest(word: str, known: list[str]) -> str | None:
    """The known word that is nearest to a word, as it is written; None when none is near.

    Examples
    --------
    >>> nearest("Mas (g)", ["Unit", "Mass (g)"])
    'Mass (g)'
    """
    spelled = {plain(name): name for name in known}
    near = difflib.get_close_matches(plain(word), list(spelled), n=1, cutoff=0.7)
    return spelled[near[0]] if near else None


def _sheet(name: str, *columns: Column) -> KnownSheet:
    return KnownSheet(name=name, columns={plain(column.heading): column for column in columns})


def _name(heading: str, field: str) -> Column:
    return Column(field=field, heading=heading, holds=Holds.NAME, noun=heading.casefold())


def _text(heading: str, field: str) -> Column:
    return Column(field=field, heading=heading, holds=Holds.TEXT, noun=heading.casefold())


def _number(
    heading: str, field: str, noun: str, unit: str, example: str, plausible: Plausible, least: Least = Least.ABOVE_ZERO
) -> Column:
    return Column(
        field=field,
        heading=heading,
        holds=Holds.NUMBER,
        noun=noun,
        unit=unit,
        least=least,
        example=example,
        plausible=plausible,
    )


def _whole(heading: str, field: str, example: str, least: Least = Least.ABOVE_ZERO) -> Column:
    return Column(
        field=field,
        heading=heading,
        holds=Holds.WHOLE,
        noun=heading.casefold(),
        least=least,
        example=example,
        plausible=COUNT,
    )


_CONTENT = (
    _number("Content (mg)", "content_mg", "content", "mg", "125.3", ACTIVE_MG, Least.ZERO),
    _number("Content (% of label)", "content_percent", "content", "%", "99.7", OF_LABEL, Least.ZERO),
)

BATCH = _sheet("Batch", _text("Field", "field"), _text("Value", "value"))

BATCH_FIELDS: dict[str, Column] = {
    plain(column.heading): column
    for column in (
        _text("Batch number", "number"),
        _text("Product", "product"),
        _text("Dosage form", "dosage_form"),
        _text("Base", "base"),
        _whole("Units poured", "units_poured", "30"),
        _number("Nominal mass (g)", "nominal_mass_g", "nominal mass", "g", "2.0", MASS_G),
        _number("Planned mass (g)", "planned_mass_g", "planned mass", "g", "2.05", MASS_G),
        _number("Balance readability (g)", "balance_readability_g", "balance readability", "g", "0.001", READABILITY_G),
        _number(
            "Balance repeatability (g)",
            "balance_repeatability_g",
            "balance repeatability",
            "g",
            "0.001",
            READABILITY_G,
            Least.ZERO,
        ),
        _text("Rules", "rules"),
        _text("Made on", "made_on"),
        _text("Made by", "made_by"),
        _text("Weighed by", "weighed_by"),
        _text("Checked by", "checked_by"),
        _number("Melt prepared (g)", "melt_prepared_g", "melt prepared", "g", "64.5", BULK_G),
        _number("Melt left in dish (g)", "melt_left_g", "melt left in dish", "g", "2.1", BULK_G, Least.ZERO),
        _number("Trimmings (g)", "trimmings_g", "trimmings", "g", "1.3", BULK_G, Least.ZERO),
        _whole("Units obtained", "units_obtained", "30"),
        _whole("Units rejected", "units_rejected", "0", Least.ZERO),
        _whole("Units sampled", "units_sampled", "10", Least.ZERO),
        _whole("Units released", "units_released", "20", Least.ZERO),
        _number("Dish assay (mg)", "dish_assay_mg", "dish assay", "mg", "130", DISH_MG, Least.ZERO),
        _text("Note", "note"),
    )
}

ACTIVES = _sheet(
    "Actives",
    _name("Active", "active"),
    _number("Label claim (mg)", "label_claim_mg", "label claim", "mg", "125", ACTIVE_MG),
    _number("Displacement value", "displacement_value", "displacement value", "", "1.5", DISPLACEMENT),
    _number("Displacement factor", "displacement_factor", "displacement factor", "", "0.67", DISPLACEMENT),
    _text("State", "state"),
    _number("Amount weighed (g)", "amount_weighed_g", "amount weighed", "g", "3.75", BULK_G),
    _number("Target (% of label)", "target_percent", "target", "%", "100", OF_LABEL),
    _number("Batch assay (% of label)", "batch_assay_percent", "batch assay", "%", "99.7", OF_LABEL),
    _number(
        "Assay repeatability (% RSD)",
        "assay_repeatability_percent",
        "assay repeatability",
        "%",
        "1.0",
        SPREAD,
        Least.ZERO,
    ),
)

UNITS = _sheet(
    "Units",
    _name("Unit", "unit"),
    _whole("Pour order", "pour_order", "1"),
    _name("Mould", "mould"),
    _name("Cavity", "cavity"),
    _number("Mass (g)", "mass", "mass", "g", "2.013", MASS_G),
    _number("Mass (mg)", "mass", "mass", "mg", "2013", MASS_MG),
    Column(field="test_sample", heading="Test sample", holds=Holds.YES_NO, noun="test sample"),
    _text("Seen", "seen"),
    _text("Left out because", "left_out_because"),
    _text("Note", "note"),
)

BARE_UNITS = KnownSheet(name="Units", columns=UNITS.columns | {plain(column.heading): column for column in _CONTENT})

ASSAY = _sheet(
    "Assay",
    _name("Unit", "unit"),
    _name("Active", "active"),
    _text("Part", "part"),
    _whole("Stage", "stage", "1"),
    *_CONTENT,
    _number("Mass of part (g)", "part_mass_g", "mass of part", "g", "0.67", MASS_G),
)

CAVITIES = _sheet(
    "Cavities",
    _name("Mould", "mould"),
    _name("Cavity", "cavity"),
    _number("Base mass (g)", "base_mass_g", "base mass", "g", "1.985", MASS_G),
)

CHECKS = _sheet(
    "Checks",
    _text("Check", "check"),
    _text("Result", "result"),
    _text("Limit", "limit"),
    _text("Done by", "done_by"),
    _text("Note", "note"),
)

SHEETS: dict[str, KnownSheet] = {
    sheet.name.casefold(): sheet for sheet in (BATCH, ACTIVES, UNITS, ASSAY, CAVITIES, CHECKS)
}

INSTRUCTIONS_SHEET = "How to fill in"
DEVIATION_HEADING = "Deviation now (%)"
SIGN_HEADING = "Sign now"
ADDED_HEADING = "Adds to a unit now (g)"
SHARE_HEADING = "% of mean now"
HINT_HEADING = "How to fill it in"

# What the entry workbook shows beside the entries; nobody types there, so it is passed over without a notice.
SHOWN_ONLY = frozenset(
    plain(name)
    for name in (
        INSTRUCTIONS_SHEET,
        DEVIATION_HEADING,
        SIGN_HEADING,
        ADDED_HEADING,
        SHARE_HEADING,
        HINT_HEADING,
    )
)
