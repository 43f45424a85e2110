"""The sheet Units: entries, a live box over them, the deviation of each mass beside it, colours and signs by limit."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from msgspec import Struct

from qc import expr
from qc.expr import YES
from qc.expr.parts import CellRange, CellRef, Expression, Formula
from qc.fields.entries import Row
from qc.fields.sheets import DEVIATION_HEADING, SIGN_HEADING, UNITS
from qc.rules.forms import find_form
from qc.rules.kinds.mass.bands import band_for
from qc.rules.kinds.mass.record import MassBand, MassRule
from qc.workbook.entry import live
from qc.workbook.entry.cells import ENTRY, Lists, input_check, write_entries, write_live
from qc.workbook.entry.live import BEYOND_WORD, OUTER_WORD
from qc.workbook.page import BAD, BEYOND_LIMIT, GREY, Cells, Content, Page, Style, column_of

BOX_ROW, HEADER_ROW = 4, 6

_BOX_LABEL: Style = {**GREY, "text_wrap": True, "valign": "bottom", "font_size": 9}
_BOX: Style = {**GREY, "num_format": "0.000#", "bold": True, "align": "right"}
_COUNT: Style = {**_BOX, "num_format": "0"}
_SIGNED: Style = {**GREY, "num_format": "+0.00;-0.00;0.00;@", "align": "right"}
_MARK: Style = {**GREY, "indent": 1}


def rows_at_every_mass(rule: MassRule) -> dict[str, MassBand]:
    """The row of a mass table for each form whose limits hang on nothing else."""
    return {
        form: band
        for band in rule.bands
        if band.above_mg is band.from_mg is band.below_mg is band.up_to_mg is None
        for form in band.forms
    }


def planned_row(rule: MassRule, *, form: str | None, planned_mass_g: Fraction | None) -> MassBand | None:
    """The row of a mass table that form and planned mass [g] settle before anything is weighed."""
    if form is None or planned_mass_g is None:
        return rows_at_every_mass(rule).get(form or "")
    return band_for(rule, form=form, mean_mg=planned_mass_g * 1000)


def source_of(rule: MassRule) -> str:
    """The work, section and edition that a rule rests on."""
    return f"{rule.reference.work} {rule.reference.section} ({rule.reference.edition})"


def limits_shown(rule: MassRule, facts: Cells, *, forms: CellRange, limits: CellRange) -> Sequence[Content]:
    """The limit and the outer limit that form and plan settle [% of mean].

    Where they settle none, it is looked up beside the list of forms, and there is nothing where none stands there.
    """
    form, planned = facts["dosage_form"], facts["planned_mass_g"]
    known = find_form(str(form.value or ""))
    planned_g = planned.number if planned.numbers else None
    if row := planned_row(rule, form=None if known is None else known.name, planned_mass_g=planned_g):
        return row.limit_percent, row.outer_percent
    place = f"MATCH({form.text()},{forms.text()},0)"
    found = [Formula(written=f"INDEX({limits.text()},{place},{column})", value=None) for column in (1, 2)]
    return [expr.or_else(expr.when(one.equals(""), "", one), "") for one in found]


def write_units(
    page: Page,
    rows: Sequence[Row],
    *,
    count: int,
    lists: Lists,
    rule: MassRule,
    planned: CellRef,
    limits: Sequence[Content],
) -> list[dict[str, CellRef]]:
    """The whole sheet; answers the cells of its rows.

    Parameters
    ----------
    count : int
        Rows kept [-].
    rule : MassRule
        Where the limits come from.
    planned : CellRef
        The planned mass [g].
    limits : two of content
        The limit and the outer limit that stand in the box [% of mean].
    """
    beyond = f"at most {rule.most_beyond_limit} beyond the limit, {rule.most_beyond_outer or 'none'} beyond the outer"
    guide = (
        f"{rule.sample_size} units are tested: {beyond} limit. The box below is a guide while you weigh; "
        "qc check judges."
    )
    page.head(UNITS.name, f"Limits: {source_of(rule)}", guide)
    page.sheet.set_row(BOX_ROW - 1, 30)
    cells = write_entries(
        page,
        UNITS,
        rows,
        count=count,
        lists=lists,
        top=HEADER_ROW,
        free={"mass_g": 2},
        checks={"mass_g": mass_check()},
    )
    masses, sample = column_of(cells, "mass_g"), column_of(cells, "test_sample")
    box = _Box(page=page)
    box.put("Units weighed", expr.count(masses), _COUNT)
    box.put("In the test sample", expr.count_where((sample, YES)), _COUNT)
    mean = box.put("Mean (g)", live.mean_now(masses, sample=sample), _BOX)
    plan = box.put("Planned (g)", expr.when(expr.is_number(planned), planned), _BOX)
    box.put("Mean against plan (%)", live.deviation_now(mean, plan), _SIGNED)
    limit = box.put("Limit (% of mean)", limits[0], ENTRY)
    outer = box.put("Outer limit (% of mean)", limits[1], ENTRY)

    def deviation(unit: Cells) -> Expression:
        return live.deviation_now(unit["mass_g"], mean)

    def mark(unit: Cells) -> Expression:
        return live.mark_now(unit[DEVIATION_HEADING], limit=limit, outer=outer)

    write_live(page, cells, DEVIATION_HEADING, deviation, style=_SIGNED, behind="mass_g")
    write_live(page, cells, SIGN_HEADING, mark, style=_MARK)
    marks = column_of(cells, SIGN_HEADING)
    box.put("Units beyond limit", live.count_now(marks, BEYOND_WORD, OUTER_WORD, limit=limit, masses=masses), _COUNT)
    box.put("Of these beyond outer limit", live.count_now(marks, OUTER_WORD, limit=outer, masses=masses), _COUNT)
    first, last = masses.cells[0], marks.cells[-1]
    for word, style in ((OUTER_WORD, BAD), (BEYOND_WORD, BEYOND_LIMIT)):
        ends = f'=RIGHT(${marks.cells[0].loose.text()},{len(word)})="{word}"'
        page.highlight(first, last, style, type="formula", criteria=ends, stop_if_true=True)
    return cells


class _Box(Struct):
    """The live figures over the table, beside each other under their labels."""

    page: Page
    column: int = 0

    def put(self, label: str, content: Content, style: Style) -> CellRef:
        self.page.put(BOX_ROW - 1, self.column, label, _BOX_LABEL)
        self.column += 1
        return self.page.put(BOX_ROW, self.column - 1, content, style)


def mass_check() -> dict[str, Any]:
    """The input check of a mass: plausible, and at most twice the plan where there is one (a cavity holds no more)."""
    field, planned = UNITS.field("mass_g"), f"$D${BOX_ROW + 1}"
    assert field.plausible is not None
    floor, ceiling = field.plausible.ends
    return input_check(field, {}) | {
        "maximum": f"=IF(ISNUMBER({planned}),2*{planned},{ceiling})",
        "error_message": (
            f"Type the mass in g, in digits, without the unit. It must be at least {floor}, and at most twice the "
            f"planned mass (or {ceiling} g where none is planned). See whether the point stands right, and whether "
            "it was in g."
        ),
    }
