"""The right-hand side of a test sheet: limits with their sources, figures, and what the sheet hands to the Summary."""

from __future__ import annotations

from collections.abc import Mapping

from msgspec import Struct

from qc.rules.records import Mark, Rule
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Value
from qc.workbook.recheck.data import HEADER_ROW


class Recalculated(Struct, frozen=True, kw_only=True):
    """What a test sheet hands to the Summary.

    Parameters
    ----------
    figures : mapping
        Cells by the names that the result document has for the figures.
    verdict, n : Cell
    deviations : mapping
        Deviation cells by unit, of the stage that decides.
    """

    figures: Mapping[str, Cell]
    verdict: Cell
    n: Cell
    deviations: Mapping[str, Cell]


class Block(Struct, kw_only=True):
    """Lines below each other: a label, one or two values, a remark. It grows while a sheet is written."""

    page: Page
    column: int
    row: int = HEADER_ROW
    _lines: int = 0

    def head(self, *texts: str) -> None:
        """A header line, with an empty line above all but the first."""
        self.row += 1 if self._lines else 0
        for offset, text in enumerate(texts):
            self.page.text(self.row, self.column + offset, text, self.page.look.header)
        self._next()

    def stated(self, label: str, value: Value, *, source: str) -> Cell:
        """A figure that a rule states, with its source beside it."""
        self.page.text(self.row, self.column, label)
        cell = self.page.entry(self.row, self.column + 1, value)
        self.page.text(self.row, self.column + 2, source)
        self._next()
        return cell

    def reckoned(self, label: str, *reckoned: Reckoned | None, remark: str = "") -> list[Cell]:
        """A line of formulas, one or one for each stage; answers their cells."""
        self.page.text(self.row, self.column, label)
        cells = []
        for offset, one in enumerate(reckoned, start=1):
            if one is None:
                continue
            words = isinstance(one.value, str)
            shown = self.page.look.verdict if words else self.page.look.live
            cells.append(self.page.reckon(self.row, self.column + offset, one, shown))
        if remark:
            self.page.text(self.row, self.column + 1 + len(reckoned), remark, self.page.look.remark)
        self._next()
        return cells

    def one(self, label: str, reckoned: Reckoned, *, remark: str = "") -> Cell:
        """A line with one formula."""
        return self.reckoned(label, reckoned, remark=remark)[0]

    def _next(self) -> None:
        self.row += 1
        self._lines += 1


def source_of(rule: Rule, *, mark: Mark | None = None) -> str:
    """The source of a limit in a few words; the sheet Rules gives the work, the edition and every clause."""
    return f"{rule.id}; {(mark or rule.reference.mark).value}"


def write_title(page: Page, *, rule: Rule, title: str, remark: str) -> None:
    """Title, source and remark of a test sheet, above the frozen header."""
    reference = rule.reference
    page.text(0, 0, title, page.look.title)
    source = (
        f"{rule.id}: {rule.title}. {reference.work} {reference.section} ({reference.edition}); {reference.mark.value}"
    )
    if rule.builds_on:
        source += ". A rule of the house: sheet Rules says what it sets"
    page.text(1, 0, f"{source}.", page.look.small)
    page.text(2, 0, remark, page.look.small)
    page.sheet.set_row(HEADER_ROW, 30)
