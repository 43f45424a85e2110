"""The sheets of a batch and every column of them: the one place where a column is written down."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from functools import partial

from msgspec.structs import replace

from qc.batch import Base, Part, State
from qc.fields.field import Field, Holds, Plausible, Sheet, plain


def _between(floor: str, ceiling: str) -> Plausible:
    return Plausible(floor=Decimal(floor), ceiling=Decimal(ceiling))


# Beyond which the masses of a batch, taken together, were weighed in another unit than their heading says: the widest
# range, where the rules hold none for the form. Less than a thousand between its ends, so that g and mg never both fit.
USUAL_MASS_G = _between("0.03", "25")
# Below which a percentage is a fraction of one [% of label].
LEAST_PERCENT = Decimal(3)

# Plausible ranges are common practice, drawn wide on purpose: no limit of any pharmacopoeia, only what no moulded unit,
# balance or batch is.
_named = partial(Field, holds=Holds.NAME, width=11)
_text = partial(Field, holds=Holds.TEXT, width=20)
_choice = partial(Field, holds=Holds.CHOICE, width=11)
_whole = partial(Field, holds=Holds.WHOLE, width=11, plausible=_between("1", "1000000"))
_number = partial(Field, holds=Holds.NUMBER, width=14)
_mass = partial(_number, plausible=_between("0.00001", "10000"), shown="0.000###")
_bulk = partial(_number, plausible=_between("0.000001", "1000000"), shown="0.0#####")
_readability = partial(_number, plausible=_between("0.0000001", "10"), example="0.001", shown="0.0####")
_milligrams = partial(_number, plausible=_between("0.000001", "1000000"))
_of_label = partial(_number, plausible=_between("0.0001", "1000"))
_displacement = partial(_number, plausible=_between("0.01", "100"), width=16)

# The words a defect is called by in the trade; several may stand in a cell, parted by semicolons.
DEFECTS = (
    *("air bubble", "bloom", "chipped", "contraction hollow", "cracked", "enriched tip", "flash", "gritty"),
    *("mottled", "short fill", "sticking"),
)
CHECKLIST = (
    *("disintegration", "softening time", "resistance to rupture", "appearance", "each unit wrapped"),
    *("container closed and protected from light", "count agrees with the record"),
    *("label: name, strength, form, quantity", "label: batch, use-by date, storage"),
    "label: route of use, cautions",
)
_DONE_BY = "Initials or role."


def _sheet(name: str, *fields: Field, guide: str = "", keys: tuple[str, ...] = ()) -> Sheet:
    every = (one for field in fields for one in (field, *_in_the_other_unit(field)))
    return Sheet(name=name, columns={plain(field.heading): field for field in every}, guide=guide, keys=keys)


def _in_the_other_unit(field: Field) -> Iterator[Field]:
    """A mass in g under a heading in mg, and the other way round; contents stand in mg, beside masses in g."""
    unit, power = {"g": ("mg", 3), "mg": ("g", -3)}.get(field.unit, ("", 0))
    if unit and field.plausible is not None and field.attribute != "content_mg":
        yield replace(
            field,
            heading=field.heading.replace(f"({field.unit})", f"({unit})"),
            example=f"{Decimal(field.example).scaleb(power).normalize():f}" if field.example else "",
            plausible=field.plausible.scaled(power),
            power=-power,
        )


BATCH = _sheet(
    "Batch",
    _named("Batch number", "number", "As it stands on the label and in the batch record."),
    _text("Product", "product", "Name and strength, for example: paracetamol suppositories 250 mg."),
    _text("Dosage form", "dosage_form", "Pick it from the list: the limits hang on it.", offered="forms"),
    _choice("Base", "base", "What the units are cast in.", choices=Base),
    _whole("Units poured", "units_poured", "How many came out of the moulds, the rejected ones too.", "30"),
    _mass("Nominal mass (g)", "nominal_mass_g", "What a cavity is said to hold, in plain base.", "2.0"),
    _mass(
        "Planned mass (g)",
        "planned_mass_g",
        "What a finished unit should weigh. May stay empty when the sheet Actives has displacement numbers.",
        "2.05",
    ),
    _readability(
        "Balance readability (g)", "balance_readability_g", "The last digit the balance shows, for example 0.001."
    ),
    _readability(
        "Balance repeatability (g)",
        "balance_repeatability_g",
        "Its standard deviation, from the last check of the balance.",
        zero=True,
    ),
    _text("Rules", "rules", "The set of rules to judge by; empty: every test that has its data.", offered="rules"),
    _text("Made on", "made_on", "Year, month, day, for example 2026-03-14.", holds=Holds.DAY),
    _text("Made by", "made_by", _DONE_BY),
    _text("Weighed by", "weighed_by", _DONE_BY),
    _text("Checked by", "checked_by", "A second person, not the one who weighed."),
    _text("Note", "note", "Anything out of the ordinary."),
    _text("Expiry", "expiry", "Use-by date, as on the label.", holds=Holds.DAY),
    _text("Storage", "storage", "As on the label, for example: at 2 to 8 °C, protected from light."),
    _text("Quantity released", "quantity_released", "What was released, for example: 20 suppositories."),
    _text("Formula", "formula", "Number and version of the master formula."),
    _text("Base lot", "base_lot", "Lot number of the base."),
    _text("Balance", "balance", "Which balance, by its number."),
    _text("Balance calibrated on", "balance_calibrated_on", "Of its last calibration.", holds=Holds.DAY),
    _text("Balance calibration due", "balance_calibration_due", "The day until which it holds.", holds=Holds.DAY),
    _text("Weighed on", "weighed_on", "Year, month, day.", holds=Holds.DAY),
    _text("Assayed on", "assayed_on", "Year, month, day.", holds=Holds.DAY),
    _text("Assayed by", "assayed_by", _DONE_BY),
    _text("Deviation", "deviation", "Number of the deviation report, or what was done otherwise than planned."),
    _bulk("Melt prepared (g)", "melt_prepared_g", "Base and actives together, excess included.", "64.5"),
    _bulk("Melt left in dish (g)", "melt_left_g", "What stayed in the vessel after pouring.", "2.1", zero=True),
    _bulk("Trimmings (g)", "trimmings_g", "What was cut off the units.", "1.3", zero=True),
    _whole("Units obtained", "units_obtained", "Out of the moulds, the rejected ones too.", "30"),
    _whole("Units rejected", "units_rejected", "By eye or by mass.", "0", zero=True),
    _whole("Units sampled", "units_sampled", "Used up by tests, or kept as samples.", "10", zero=True),
    _whole("Units released", "units_released", "Packed to be given out.", "20", zero=True),
    _number(
        "Dish assay (mg)",
        "dish_assay_mg",
        "Active found in all of the melt that stayed in the dish.",
        "130",
        plausible=_between("0.000001", "1000000000"),
        zero=True,
    ),
    guide="One fact a row. What is not known stays empty.",
)

# The days on which something was done, so that they lie in the past.
DONE_ON = ("made_on", "balance_calibrated_on", "weighed_on", "assayed_on")

# The two columns under which the facts of the Batch sheet stand, one a row.
FACTS = _sheet("Batch", _text("Field", "field"), _text("Value", "value"))

ACTIVES = _sheet(
    "Actives",
    _named("Active", "name", "One row an active ingredient.", width=24),
    _named("Lot", "lot", "Lot number of the active.", width=14),
    _milligrams("Label claim (mg)", "label_claim_mg", "How much of it one unit should hold.", "125"),
    _displacement(
        "Displacement value",
        "displacement_value",
        "g of active that takes the place of 1 g of base. Give this one or the factor, not both.",
        "1.5",
    ),
    _displacement(
        "Displacement factor",
        "displacement_factor",
        "g of base displaced by 1 g of active: the inverse of the displacement value. Give one of the two.",
        "0.67",
    ),
    _choice("State", "state", "How it is held in the base.", choices=State),
    _bulk("Amount weighed (g)", "amount_weighed_g", "For the whole melt, excess included.", "3.75"),
    _of_label("Target (% of label)", "target_percent", "T of the dosage-unit test. Leave it empty for 100.", "100"),
    _of_label(
        "Batch assay (% of label)", "batch_assay_percent", "One assay of a pooled sample, if there was one.", "99.7"
    ),
    _text(
        "Assay limits (% of label)",
        "assay_limits_percent",
        "For the batch assay, as the monograph sets them: 90.0 to 110.0.",
        width=16,
    ),
    _number(
        "Assay repeatability (% RSD)",
        "assay_repeatability_percent",
        "Of the assay method, from its validation.",
        "1.0",
        plausible=_between("0.0001", "100"),
        zero=True,
    ),
    guide="One row an active ingredient.",
    keys=("name",),
)

UNITS = _sheet(
    "Units",
    _named("Unit", "name", "Any name, each once."),
    _whole("Pour order", "pour_order", "1 for the first poured. Units poured together share a number.", "1"),
    _named("Mould", "mould", "Which mould it came from."),
    _named("Cavity", "cavity", "Which cavity of that mould."),
    _mass("Mass (g)", "mass_g", "One unit at a time, in grams, as the balance shows it.", "2.013"),
    _choice(
        "Test sample",
        "test_sample",
        "yes for the units that were drawn at random before weighing; see the first sheet.",
        holds=Holds.YES_NO,
        words=("yes", "no"),
    ),
    _text(
        "Seen",
        "seen",
        "Defects found by visual inspection. Several words are parted by a semicolon: chipped; air bubble.",
        holds=Holds.WORDS,
        words=DEFECTS,
    ),
    _mass(
        "Weighed again (g)",
        "weighed_again_g",
        "Only where a unit was put on the balance a second time. The first mass stays where it stands.",
        "2.013",
    ),
    _text(
        "Weighed again because",
        "weighed_again_because",
        "Why. The second mass counts once the reason stands here and Checked by on the sheet Batch.",
    ),
    _text(
        "Left out because",
        "left_out_because",
        "A reason. The unit stays in the record and is still judged; the verdict without it is shown beside.",
    ),
    _text("Note", "note", "Anything else about this unit."),
    _whole("Weighing order", "weighing_order", "1 for the first weighed, where that is known.", "1"),
    keys=("name",),
)

_CONTENT = (
    _milligrams(
        "Content (mg)",
        "content_mg",
        "What was found, in mg. Give this or the percentage.",
        "125.3",
        zero=True,
    ),
    _of_label(
        "Content (% of label)",
        "content_percent",
        "What was found in % of the label claim: 99.7, not 0.997. Give this or the mg.",
        "99.7",
        zero=True,
        width=16,
    ),
)

_STAGE = _whole(
    "Stage",
    "stage",
    "In every row or in none: 1 or 2, or 0 for a unit assayed beside the test. Ten units or fewer need none.",
    "1",
    words=("1", "2", "0"),
    zero=True,
)

# A table without a workbook around it: the units, and the contents of whole units, with the stage, beside their masses.
BARE_UNITS = _sheet("Units", *UNITS.entered, *_CONTENT, _STAGE, keys=UNITS.keys)

ASSAY = _sheet(
    "Assay",
    _named("Unit", "unit", "Its name on the sheet Units.", offered="units"),
    _named("Active", "active", "May stay empty when there is one.", width=22, offered="actives"),
    _choice("Part", "part", "Empty for the whole unit. tip, middle and end when a unit was cut.", choices=Part),
    _STAGE,
    *_CONTENT,
    _mass("Mass of part (g)", "part_mass_g", "Only for a unit that was cut.", "0.67"),
    guide="One row a determination: of a whole unit, or of a part.",
    keys=("unit", "active", "part"),
)

CAVITIES = _sheet(
    "Cavities",
    _named("Mould", "mould", "As on the sheet Units."),
    _named("Cavity", "cavity", "As on the sheet Units. Several rows are replicates."),
    _mass("Base mass (g)", "base_mass_g", "One calibration pour of plain base, trimmed as the units are.", "1.985"),
    guide="Calibration pours of plain base.",
    keys=("mould", "cavity"),
)

CHECKS = _sheet(
    "Checks",
    _text("Check", "name", "Another test of the finished units, or a release check.", width=30, words=CHECKLIST),
    _text("Result", "result", "What was found, with its unit.", width=22),
    _text("Limit", "limit", "What it must meet, with its unit.", width=22),
    _text("Done by", "done_by", _DONE_BY, width=16),
    _text("Note", "note", "Anything else.", width=26),
    guide="Other tests of the finished units, and release checks.",
    keys=("name",),
)

# The sheets by the headings that stand on them.
SHEETS: dict[str, Sheet] = {sheet.name.casefold(): sheet for sheet in (FACTS, ACTIVES, UNITS, ASSAY, CAVITIES, CHECKS)}

# What the entry workbook shows beside the entries; nobody types there, so it is passed over without a notice.
INSTRUCTIONS_SHEET = "How to fill in"
DEVIATION_HEADING = "Deviation now (%)"
SIGN_HEADING = "Sign now"
ADDED_HEADING = "Adds to a unit now (g)"
SHARE_HEADING = "% of mean now"
HINT_HEADING = "How to fill it in"
SHOWN_ONLY = frozenset(
    map(plain, (INSTRUCTIONS_SHEET, DEVIATION_HEADING, SIGN_HEADING, ADDED_HEADING, SHARE_HEADING, HINT_HEADING))
)
