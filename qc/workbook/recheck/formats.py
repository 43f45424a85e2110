"""How the results workbook looks: formats, page set-up, protection, the same on every sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

# Arial has a free twin of equal widths on every system, so that nothing is cut where the font is missing.
_FONT = {"font_name": "Arial", "font_size": 10, "font_color": "#1F2A37", "valign": "vcenter"}
_BOX: dict[str, Any] = {"border": 1, "border_color": "#9AA5B1"}
_HEAD = "#DCE6EF"
_LIVE = "#F1F3F5"

# A flag of 1 or 0 is shown as a word or a dot; the arrow is for eyes that see no colour.
_BEYOND = '[=1]"▲ yes";[=0]"·";General'
_HOLDS = '[=1]"yes";[=0]"no";General'


class Formats(Struct, frozen=True, kw_only=True):
    """The formats of one workbook. Formula cells are grey, what was typed and what a rule states is white."""

    title: Format
    note: Format
    small: Format
    remark: Format
    heading: Format
    header: Format
    text: Format
    wrapped: Format
    number: Format
    live: Format
    deviation: Format
    beyond: Format
    holds: Format
    agree: Format
    verdict: Format
    bad: Format
    by_decimals: tuple[Format, ...]
    """A number as typed with 0, 1, 2 ... decimals."""
    live_by_decimals: tuple[Format, ...]
    """The same for a formula that repeats one."""


MOST_DECIMALS = 6


def formats_of(workbook: Workbook) -> Formats:
    """The formats of a new workbook."""

    def made(**properties: Any) -> Format:
        made_format: Format = workbook.add_format({**_FONT, **properties})
        return made_format

    return Formats(
        title=made(bold=True, font_size=15),
        note=made(text_wrap=True, valign="top"),
        small=made(italic=True, font_color="#4A5563"),
        remark=made(italic=True, font_color="#4A5563", indent=1),
        heading=made(bold=True, font_size=11, bottom=1, bottom_color="#9AA5B1"),
        header=made(bold=True, text_wrap=True, align="left", indent=1, bg_color=_HEAD, **_BOX),
        text=made(align="left", indent=1, **_BOX),
        wrapped=made(text_wrap=True, valign="top", align="left", indent=1, **_BOX),
        number=made(align="right", **_BOX),
        live=made(align="right", bg_color=_LIVE, **_BOX),
        deviation=made(align="right", bg_color=_LIVE, num_format="+0.000;-0.000;0.000;@", **_BOX),
        beyond=made(align="center", bg_color=_LIVE, num_format=_BEYOND, **_BOX),
        holds=made(align="center", bg_color=_LIVE, num_format=_HOLDS, **_BOX),
        agree=made(align="center", bg_color=_LIVE, **_BOX),
        verdict=made(bold=True, align="left", indent=1, bg_color=_LIVE, **_BOX),
        bad=workbook.add_format({"bg_color": "#1F3A5F", "font_color": "#FFFFFF", "bold": True}),
        by_decimals=tuple(made(align="right", num_format=shown, **_BOX) for shown in _by_decimals()),
        live_by_decimals=tuple(
            made(align="right", bg_color=_LIVE, num_format=shown, **_BOX) for shown in _by_decimals()
        ),
    )


def _by_decimals() -> list[str]:
    return [f"0.{'0' * decimals}" if decimals else "0" for decimals in range(MOST_DECIMALS + 1)]


def set_page(sheet: Worksheet, *, header_row: int) -> None:
    """A4, as wide as the paper, the header row on every printed page, sheet and page number at the foot."""
    sheet.set_paper(9)
    sheet.set_landscape()
    sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&L&A&RPage &P of &N")
    sheet.hide_gridlines(2)
    sheet.repeat_rows(header_row)
    sheet.freeze_panes(header_row + 1, 1)
    # Units are mostly named by numbers, which are words here; a program need not remark on each of them.
    sheet.ignore_errors({"number_stored_as_text": "A1:XFD1048576"})
    # No password: whoever wants to try another figure can open the sheet; the Summary then says what no longer agrees.
    sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})
