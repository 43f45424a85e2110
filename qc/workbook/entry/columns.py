"""What stands in each column of the entry workbook: header, kind of entry, width, and the hint shown there."""

from __future__ import annotations

from decimal import Decimal
from enum import Enum

from msgspec import Struct

from qc.batch import Base, Part, State


class Kind(Enum):
    """What a person may type into a cell."""

    TEXT = "text"
    AMOUNT = "a number above nought"
    FINDING = "a number, nought allowed"
    WHOLE = "a whole number"
    CHOICE = "one of the words of a list"
    SUGGESTION = "free text, with a list of words to pick from"


class Entry(Struct, frozen=True, kw_only=True):
    """One thing to be typed: a column of a table, or a field of the Batch sheet.

    Parameters
    ----------
    header : str
        The header or field name, as the reader knows it.
    kind : Kind
        What may be typed.
    hint : str
        Shown when the cell is selected, and in the instructions; one or two sentences.
    width : float
        Width of the column [characters].
    words : tuple of str
        The words of the drop-down list, for a choice or a suggestion.
    most : Decimal
        The greatest number accepted [unit of the header].
    number_format : str
        How a number is shown; digits typed beyond it stay visible.
    """

    header: str
    kind: Kind
    hint: str
    width: float = 12
    words: tuple[str, ...] = ()
    most: Decimal = Decimal(1_000_000)
    number_format: str = "General"


MASS_FORMAT = "0.000###"
MOST_MASS_G = Decimal(100)
MOST_PERCENT = Decimal(1000)

# The words a defect is called by in the trade; several may stand in a cell, parted by semicolons.
DEFECTS = (
    "air bubble",
    "bloom",
    "chipped",
    "contraction hollow",
    "cracked",
    "enriched tip",
    "flash",
    "gritty",
    "mottled",
    "short fill",
    "sticking",
)

BATCH_FIELDS: tuple[Entry, ...] = (
    Entry(header="Batch number", kind=Kind.TEXT, hint="As it stands on the label and in the batch record."),
    Entry(header="Product", kind=Kind.TEXT, hint="Name and strength, for example: paracetamol suppositories 250 mg."),
    Entry(header="Dosage form", kind=Kind.SUGGESTION, hint="Pick it from the list: the limits hang on it."),
    Entry(header="Base", kind=Kind.CHOICE, hint="What the units are cast in.", words=tuple(Base)),
    Entry(header="Units poured", kind=Kind.WHOLE, hint="How many came out of the moulds, the rejected ones too."),
    Entry(
        header="Nominal mass (g)",
        kind=Kind.AMOUNT,
        hint="What a cavity is said to hold, in plain base.",
        most=MOST_MASS_G,
        number_format=MASS_FORMAT,
    ),
    Entry(
        header="Planned mass (g)",
        kind=Kind.AMOUNT,
        hint="What a finished unit should weigh. May stay empty when the sheet Actives has displacement numbers.",
        most=MOST_MASS_G,
        number_format=MASS_FORMAT,
    ),
    Entry(
        header="Balance readability (g)",
        kind=Kind.AMOUNT,
        hint="The last digit the balance shows, for example 0.001.",
        most=Decimal(1),
        number_format="0.0####",
    ),
    Entry(
        header="Balance repeatability (g)",
        kind=Kind.AMOUNT,
        hint="Its standard deviation, from the last check of the balance.",
        most=Decimal(1),
        number_format="0.0####",
    ),
    Entry(
        header="Rules", kind=Kind.SUGGESTION, hint="The set of rules to judge by; empty: every test that has its data."
    ),
    Entry(header="Made on", kind=Kind.TEXT, hint="Year, month, day, for example 2026-03-14."),
    Entry(header="Made by", kind=Kind.TEXT, hint="Initials or role."),
    Entry(header="Weighed by", kind=Kind.TEXT, hint="Initials or role."),
    Entry(header="Checked by", kind=Kind.TEXT, hint="A second person, not the one who weighed."),
    Entry(header="Note", kind=Kind.TEXT, hint="Anything out of the ordinary."),
    Entry(header="Melt prepared (g)", kind=Kind.AMOUNT, hint="Base and actives together, excess included."),
    Entry(header="Melt left in dish (g)", kind=Kind.FINDING, hint="What stayed in the vessel after pouring."),
    Entry(header="Trimmings (g)", kind=Kind.FINDING, hint="What was cut off the units."),
    Entry(header="Units obtained", kind=Kind.WHOLE, hint="Out of the moulds, the rejected ones too."),
    Entry(header="Units rejected", kind=Kind.FINDING, hint="By eye or by mass."),
    Entry(header="Units sampled", kind=Kind.FINDING, hint="Used up by tests, or kept as samples."),
    Entry(header="Units released", kind=Kind.FINDING, hint="Packed to be given out."),
    Entry(header="Dish assay (mg)", kind=Kind.FINDING, hint="Active found in all of the melt that stayed in the dish."),
)

ACTIVES: tuple[Entry, ...] = (
    Entry(header="Active", kind=Kind.TEXT, hint="One row an active ingredient.", width=24),
    Entry(header="Label claim (mg)", kind=Kind.AMOUNT, hint="How much of it one unit should hold.", width=13),
    Entry(
        header="Displacement value",
        kind=Kind.AMOUNT,
        hint="g of active that takes the place of 1 g of base. Give this one or the factor, not both.",
        width=16,
        most=Decimal(25),
    ),
    Entry(
        header="Displacement factor",
        kind=Kind.AMOUNT,
        hint="g of base displaced by 1 g of active: the inverse of the displacement value. Give one of the two.",
        width=16,
        most=Decimal(25),
    ),
    Entry(header="State", kind=Kind.CHOICE, hint="How it is held in the base.", width=12, words=tuple(State)),
    Entry(
        header="Amount weighed (g)",
        kind=Kind.AMOUNT,
        hint="For the whole melt, excess included.",
        width=11,
        number_format="0.0#####",
    ),
    Entry(
        header="Target (% of label)",
        kind=Kind.AMOUNT,
        hint="T of the dosage-unit test. Leave it empty for 100.",
        width=11,
        most=MOST_PERCENT,
    ),
    Entry(
        header="Batch assay (% of label)",
        kind=Kind.FINDING,
        hint="One assay of a pooled sample, if there was one.",
        width=13,
        most=MOST_PERCENT,
    ),
    Entry(
        header="Assay repeatability (% RSD)",
        kind=Kind.AMOUNT,
        hint="Of the assay method, from its validation.",
        width=14,
        most=Decimal(100),
    ),
)

UNITS_BEFORE_LIVE: tuple[Entry, ...] = (
    Entry(header="Unit", kind=Kind.TEXT, hint="Any name, each once.", width=11),
    Entry(
        header="Pour order",
        kind=Kind.WHOLE,
        hint="1 for the first poured. Units poured together share a number.",
        width=11,
        most=Decimal(100_000),
    ),
    Entry(header="Mould", kind=Kind.TEXT, hint="Which mould it came from.", width=11),
    Entry(header="Cavity", kind=Kind.TEXT, hint="Which cavity of that mould.", width=11),
    Entry(
        header="Mass (g)",
        kind=Kind.AMOUNT,
        hint="One unit at a time, in grams, as the balance shows it.",
        width=12,
        most=MOST_MASS_G,
        number_format=MASS_FORMAT,
    ),
)

UNITS_AFTER_LIVE: tuple[Entry, ...] = (
    Entry(
        header="Test sample",
        kind=Kind.CHOICE,
        hint="yes for the units that were drawn at random before weighing; see the first sheet.",
        width=11,
        words=("yes", "no"),
    ),
    Entry(
        header="Seen",
        kind=Kind.SUGGESTION,
        hint="What the eye saw. Several words are parted by a semicolon: chipped; air bubble.",
        width=20,
        words=DEFECTS,
    ),
    Entry(
        header="Left out because",
        kind=Kind.TEXT,
        hint="A reason. The unit stays in the record and is still judged; the verdict without it is shown beside.",
        width=20,
    ),
    Entry(header="Note", kind=Kind.TEXT, hint="Anything else about this unit.", width=20),
)

ASSAY: tuple[Entry, ...] = (
    Entry(header="Unit", kind=Kind.SUGGESTION, hint="Its name on the sheet Units.", width=11),
    Entry(header="Active", kind=Kind.SUGGESTION, hint="May stay empty when there is one.", width=22),
    Entry(
        header="Part",
        kind=Kind.CHOICE,
        hint="Empty for the whole unit. tip, middle and end when a unit was cut.",
        width=11,
        words=tuple(Part),
    ),
    Entry(
        header="Stage",
        kind=Kind.CHOICE,
        hint="1 or 2. When all stay empty, the rows count in the order in which they are typed.",
        width=8,
        words=("1", "2"),
    ),
    Entry(
        header="Content (mg)",
        kind=Kind.FINDING,
        hint="What was found, in mg. Give this or the percentage.",
        width=12,
        number_format="0.0####",
    ),
    Entry(
        header="Content (% of label)",
        kind=Kind.FINDING,
        hint="What was found in % of the label claim: 99.7, not 0.997. Give this or the mg.",
        width=16,
        most=MOST_PERCENT,
        number_format="0.0####",
    ),
    Entry(
        header="Mass of part (g)",
        kind=Kind.AMOUNT,
        hint="Only for a unit that was cut.",
        width=14,
        most=MOST_MASS_G,
        number_format=MASS_FORMAT,
    ),
)

CAVITIES: tuple[Entry, ...] = (
    Entry(header="Mould", kind=Kind.TEXT, hint="As on the sheet Units.", width=12),
    Entry(header="Cavity", kind=Kind.TEXT, hint="As on the sheet Units. Several rows are replicates.", width=12),
    Entry(
        header="Base mass (g)",
        kind=Kind.AMOUNT,
        hint="One calibration pour of plain base, trimmed as the units are.",
        width=16,
        most=MOST_MASS_G,
        number_format=MASS_FORMAT,
    ),
)

CHECKS: tuple[Entry, ...] = (
    Entry(
        header="Check",
        kind=Kind.SUGGESTION,
        hint="Another test of the finished units, or a release check.",
        width=30,
        words=(
            "disintegration",
            "softening time",
            "resistance to rupture",
            "appearance",
            "each unit wrapped",
            "container closed and protected from light",
            "count agrees with the record",
            "label: name, strength, form, quantity",
            "label: batch, use-by date, storage",
            "label: route of use, cautions",
        ),
    ),
    Entry(header="Result", kind=Kind.TEXT, hint="What was found, with its unit.", width=22),
    Entry(header="Limit", kind=Kind.TEXT, hint="What it must meet, with its unit.", width=22),
    Entry(header="Done by", kind=Kind.TEXT, hint="Initials or role.", width=16),
    Entry(header="Note", kind=Kind.TEXT, hint="Anything else.", width=26),
)
