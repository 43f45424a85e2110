"""The sheet Units: entries, a live box over them, the deviation of each mass beside it, colours and signs by limit."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from typing import TYPE_CHECKING, Any

from qc.fields.entries import Row
from qc.fields.field import Field
from qc.fields.sheets import BATCH, DEVIATION_HEADING, SIGN_HEADING, UNITS
from qc.quantities import deviation_percent
from qc.workbook.entry.cells import Lists, input_check, write_column
from qc.workbook.entry.limits import ShownLimits
from qc.workbook.entry.live import (
    BEYOND_WORD,
    OUTER_WORD,
    Live,
    UnitsPlaces,
    against_plan_now,
    count_now,
    deviation_now,
    mark_now,
    mean_now,
    sample_mean_g,
)
from qc.workbook.entry.look import Look, protect, set_page
from qc.workbook.entry.tables import ROW_HEIGHT, batch_address

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.worksheet import Worksheet

TITLE_ROW, RULE_ROW, GUIDE_ROW, BOX_LABEL_ROW, BOX_ROW, HEADER_ROW = 0, 1, 2, 3, 4, 6
FIRST_ROW = HEADER_ROW + 1
MASS = UNITS.field("mass_g")
MASS_COLUMN = UNITS.entered.index(MASS)
# The live columns stand beside the mass, and whatever follows it stands behind them.
DEVIATION_COLUMN, MARK_COLUMN = MASS_COLUMN + 1, MASS_COLUMN + 2
COLUMNS = {field: place if place <= MASS_COLUMN else place + 2 for place, field in enumerate(UNITS.entered)}
SAMPLE = UNITS.field("test_sample")

_BOX = ("Units weighed", "In the test sample", "Mean (g)", "Planned (g)", "Mean against plan (%)")
_LIMIT_BOX = ("Limit (% of mean)", "Outer limit (% of mean)", "Units beyond limit", "Of these beyond outer limit")


def write_units(
    sheet: Worksheet,
    *,
    look: Look,
    rows: Sequence[Row],
    batch: Row,
    limits: ShownLimits,
    lists: Lists,
    limit_list: str,
    last_row: int,
) -> None:
    """The whole sheet.

    `limit_list` is the range that holds, beside the dosage forms of the lists, the two limits of those forms whose
    limits hang on nothing else.
    """
    places = _places(last_row)
    centre = sample_mean_g(rows)
    sheet.write_string(TITLE_ROW, 0, UNITS.name, look.title)
    sheet.set_row(TITLE_ROW, 22)
    sheet.set_default_row(ROW_HEIGHT)
    sheet.write_string(RULE_ROW, 0, f"Limits: {limits.source}", look.small)
    sheet.write_string(
        GUIDE_ROW,
        0,
        f"{limits.sample_size} units are tested: at most {limits.most_beyond_limit} beyond the limit, "
        f"{limits.most_beyond_outer or 'none'} beyond the outer limit. The box below is a guide while you weigh; "
        "qc check judges.",
        look.small,
    )
    sheet.set_row(BOX_LABEL_ROW, 30)
    _write_entries(sheet, look=look, rows=rows, last_row=last_row, lists=lists)
    marks = _write_live(sheet, look=look, rows=rows, centre=centre, places=places, limits=limits, last_row=last_row)
    _write_box(
        sheet,
        look=look,
        rows=rows,
        batch=batch,
        limits=limits,
        places=places,
        centre=centre,
        marks=marks,
        form_list=str(lists["forms"]).removeprefix("="),
        limit_list=limit_list,
    )
    sheet.ignore_errors({"number_stored_as_text": f"A1:Z{last_row + 1}"})
    sheet.freeze_panes(FIRST_ROW, 1)
    set_page(sheet, landscape=True, header_row=HEADER_ROW)
    protect(sheet)


def _places(last_row: int) -> UnitsPlaces:
    def span(column: int) -> str:
        letter = "ABCDEFGHIJK"[column]
        return f"${letter}${FIRST_ROW + 1}:${letter}${last_row + 1}"

    box = BOX_ROW + 1
    return UnitsPlaces(
        mass=span(MASS_COLUMN),
        sample=span(COLUMNS[SAMPLE]),
        mark=span(MARK_COLUMN),
        mean=f"$C${box}",
        planned=f"$D${box}",
        limit=f"$F${box}",
        outer=f"$G${box}",
    )


def _write_entries(sheet: Worksheet, *, look: Look, rows: Sequence[Row], last_row: int, lists: Lists) -> None:
    sheet.set_row(HEADER_ROW, 34)
    for field, column in COLUMNS.items():
        sheet.set_column(column, column, field.width)
        sheet.write_string(HEADER_ROW, column, field.heading, look.header)
        write_column(
            sheet,
            look=look,
            field=field,
            column=column,
            first_row=FIRST_ROW,
            last_row=last_row,
            rows=rows,
            check=mass_check(field) if field is MASS else input_check(field, lists),
        )


def mass_check(field: Field) -> dict[str, Any]:
    """The input check of a mass: plausible, and at most twice the plan where there is one (a cavity holds no more)."""
    assert field.plausible is not None
    planned, (floor, ceiling) = f"$D${BOX_ROW + 1}", field.plausible.ends
    return input_check(field, {}) | {
        "maximum": f"=IF(ISNUMBER({planned}),2*{planned},{ceiling})",
        "error_message": (
            f"Type the mass in g, in digits, without the unit. It must be at least {floor}, and at most twice the "
            f"planned mass (or {ceiling} g where none is planned). See whether the point stands right, and whether "
            "it was in g."
        ),
    }


def _write_live(
    sheet: Worksheet,
    *,
    look: Look,
    rows: Sequence[Row],
    centre: Fraction | None,
    places: UnitsPlaces,
    limits: ShownLimits,
    last_row: int,
) -> list[str]:
    """The deviation and the sign beside each mass; answers the signs that stand there now."""
    sheet.set_column(DEVIATION_COLUMN, DEVIATION_COLUMN, 11)
    sheet.set_column(MARK_COLUMN, MARK_COLUMN, 12)
    sheet.write_string(HEADER_ROW, DEVIATION_COLUMN, DEVIATION_HEADING, look.live_header)
    sheet.write_string(HEADER_ROW, MARK_COLUMN, SIGN_HEADING, look.live_header)
    marks = []
    for row in range(FIRST_ROW, last_row + 1):
        place = row - FIRST_ROW
        typed = rows[place].get(MASS.heading) if place < len(rows) else None
        mass_g = typed if isinstance(typed, Decimal) else None
        deviation = None if mass_g is None or centre is None else deviation_percent(mass_g, centre=centre)
        shown = deviation_now(f"E{row + 1}", places, mass_g=mass_g, centre=centre)
        mark = mark_now(
            f"F{row + 1}", places, deviation=deviation, limit=limits.limit_percent, outer=limits.outer_percent
        )
        _write_live_cell(sheet, row, DEVIATION_COLUMN, shown, look.live_number)
        _write_live_cell(sheet, row, MARK_COLUMN, mark, look.live_text)
        marks.append(str(mark.value))
    for word, shown_as in ((OUTER_WORD, look.outer), (BEYOND_WORD, look.beyond)):
        sheet.conditional_format(
            FIRST_ROW,
            MASS_COLUMN,
            last_row,
            MARK_COLUMN,
            {
                "type": "formula",
                "criteria": f'=RIGHT($G{FIRST_ROW + 1},{len(word)})="{word}"',
                "format": shown_as,
                "stop_if_true": True,
            },
        )
    return marks


def _write_box(
    sheet: Worksheet,
    *,
    look: Look,
    rows: Sequence[Row],
    batch: Row,
    limits: ShownLimits,
    places: UnitsPlaces,
    centre: Fraction | None,
    marks: Sequence[str],
    form_list: str,
    limit_list: str,
) -> None:
    for column, label in enumerate((*_BOX, *_LIMIT_BOX)):
        sheet.write_string(BOX_LABEL_ROW, column, label, look.box_label)
    planned = batch.get(BATCH.field("planned_mass_g").heading)
    planned_g = planned if isinstance(planned, Decimal) else None
    planned_cell = batch_address("planned_mass_g")
    weighed = sum(isinstance(row.get(MASS.heading), Decimal) for row in rows)
    sample = sum(row.get(SAMPLE.heading) == "yes" for row in rows)
    known = limits.limit_percent is not None and weighed > 0
    lives: list[tuple[Live, Format]] = [
        (Live(formula=f"=COUNT({places.mass})", value=weighed), look.box_count),
        (Live(formula=f'=COUNTIF({places.sample},"yes")', value=sample), look.box_count),
        (mean_now(places, rows=rows), look.box_number),
        (
            Live(
                formula=f'=IF(ISNUMBER({planned_cell}),{planned_cell},"")',
                value="" if planned_g is None else float(planned_g),
            ),
            look.box_number,
        ),
        (against_plan_now(places, centre=centre, planned_g=planned_g), look.live_number),
    ]
    for column, (live, shown) in enumerate(lives):
        _write_live_cell(sheet, BOX_ROW, column, live, shown)
    limit_entry = look.entry(number_format="General")
    for place, number in enumerate((limits.limit_percent, limits.outer_percent)):
        column = len(_BOX) + place
        if number is not None:
            sheet.write_number(BOX_ROW, column, float(number), limit_entry)
        else:
            form = batch_address("dosage_form")
            found = f"INDEX({limit_list},MATCH({form},{form_list},0),{place + 1})"
            sheet.write_formula(BOX_ROW, column, f'=IFERROR(IF({found}="","",{found}),"")', limit_entry, "")
    counts = (
        count_now(places, marks=marks, outer_only=False, known=known),
        count_now(places, marks=marks, outer_only=True, known=known),
    )
    for column, live in enumerate(counts, start=len(_BOX) + 2):
        _write_live_cell(sheet, BOX_ROW, column, live, look.box_count)


def _write_live_cell(sheet: Worksheet, row: int, column: int, live: Live, shown: Format) -> None:
    sheet.write_formula(row, column, live.formula, shown, live.value)
