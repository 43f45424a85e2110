"""How the entry workbook looks: formats, page set-up and protection, the same on every sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from msgspec import Struct

if TYPE_CHECKING:
    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

# Arial has a free twin of equal widths on every system, so that nothing is cut where the font is missing.
_FONT = {"font_name": "Arial", "font_size": 10}
_INK = "#1F2A37"
_LINE = "#9AA5B1"
_HEAD = "#DCE6EF"
_LIVE = "#F1F3F5"
_ENTRY = "#FFFDF0"
# Orange and dark blue are told apart by every common colour blindness, and in grey print by their lightness.
_BEYOND = {"bg_color": "#FFD59E", "font_color": "#5A3300", "bold": True}
_OUTER = {"bg_color": "#1F3A5F", "font_color": "#FFFFFF", "bold": True}

A4 = 9


class Look(Struct, frozen=True, kw_only=True):
    """The formats of one workbook."""

    workbook: Workbook
    title: Format
    heading: Format
    plain: Format
    strong: Format
    small: Format
    header: Format
    live_header: Format
    hint: Format
    label: Format
    live_number: Format
    live_text: Format
    share_number: Format
    added_number: Format
    box_label: Format
    box_number: Format
    box_count: Format
    dated: Format
    beyond: Format
    outer: Format

    def entry(self, *, number_format: str = "General") -> Format:
        """An unlocked cell in which something is typed."""
        return _made(
            self.workbook, border=1, border_color=_LINE, bg_color=_ENTRY, locked=False, num_format=number_format
        )

    def wrapped_entry(self) -> Format:
        """An unlocked cell for words, which wrap."""
        return _made(
            self.workbook,
            border=1,
            border_color=_LINE,
            bg_color=_ENTRY,
            locked=False,
            num_format="@",
            text_wrap=True,
            align="left",
            indent=1,
        )


def look_of(workbook: Workbook) -> Look:
    """The formats of a new workbook."""
    boxed: dict[str, Any] = {"border": 1, "border_color": _LINE}
    return Look(
        workbook=workbook,
        title=_made(workbook, bold=True, font_size=15),
        heading=_made(workbook, bold=True, font_size=12, bottom=1, bottom_color=_LINE),
        plain=_made(workbook, text_wrap=True, valign="top"),
        strong=_made(workbook, text_wrap=True, bold=True),
        small=_made(workbook, italic=True, font_color="#4A5563"),
        header=_made(workbook, bold=True, text_wrap=True, valign="vcenter", bg_color=_HEAD, **boxed),
        live_header=_made(workbook, italic=True, text_wrap=True, bg_color=_LIVE, **boxed),
        hint=_made(workbook, italic=True, bg_color=_LIVE, indent=1, **boxed),
        label=_made(workbook, bold=True, bg_color=_HEAD, **boxed),
        live_number=_made(workbook, num_format="+0.00;-0.00;0.00;@", bg_color=_LIVE, align="right", **boxed),
        live_text=_made(workbook, bg_color=_LIVE, indent=1, **boxed),
        added_number=_made(workbook, num_format="+0.0000;-0.0000;0.0000;@", bg_color=_LIVE, align="right", **boxed),
        share_number=_made(workbook, num_format="0.00", bg_color=_LIVE, align="right", **boxed),
        box_label=_made(workbook, text_wrap=True, valign="bottom", font_size=9, bg_color=_LIVE, **boxed),
        box_number=_made(workbook, num_format="0.000#", bold=True, align="right", bg_color=_LIVE, **boxed),
        box_count=_made(workbook, num_format="0", bold=True, align="right", bg_color=_LIVE, **boxed),
        dated=_made(workbook, bg_color=_ENTRY, locked=False, num_format="yyyy-mm-dd", **boxed),
        beyond=workbook.add_format(_BEYOND),
        outer=workbook.add_format(_OUTER),
    )


def set_page(sheet: Worksheet, *, landscape: bool, header_row: int | None) -> None:
    """A4, as wide as the paper, the header row on every printed page, sheet and page number at the foot."""
    sheet.set_paper(A4)
    if landscape:
        sheet.set_landscape()
    sheet.set_margins(left=0.5, right=0.5, top=0.6, bottom=0.7)
    sheet.fit_to_pages(1, 0)
    sheet.set_footer("&L&A&RPage &P of &N")
    sheet.hide_gridlines(2)
    if header_row is not None:
        sheet.repeat_rows(header_row)


def protect(sheet: Worksheet) -> None:
    """Lock every cell that is not an entry; no password, so that a house can adapt the sheet."""
    sheet.protect("", {"format_columns": True, "format_rows": True, "select_locked_cells": True})


def _made(workbook: Workbook, **properties: Any) -> Format:
    made: Format = workbook.add_format({**_FONT, "font_color": _INK, "valign": "vcenter", **properties})
    return made
