"""The first sheet: every verdict and figure of the result document beside its formula, and whether they agree."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

from msgspec import Struct, field

from qc import expr
from qc.expr import NO, YES
from qc.expr.parts import CellRange, CellRef, Expression
from qc.results import BatchVerdict, JudgedBatch, TestResult, Verdict
from qc.say.names import CAUTION
from qc.workbook.page import BAD, GREY, HEADER_ROW, HEADING, VERDICT, Page, Style
from qc.workbook.recheck.unit_sheet import Recalculated

DISAGREE = "NO"
NOT_CALCULATED = "not calculated here"
NOTHING = "none"
_TOLERANCE = Decimal("1E-9")
_LEAST = Decimal("1E-12")
_HEADERS = {
    "Test": 30,
    "Active or check": 22,
    "Rule or figure": 36,
    "Result document": 24,
    "By formula": 24,
    "Agree": 9,
    "Sheet": 18,
    "Asked for": 9,
}
_AGREED: Style = {**GREY, "align": "center"}
_STATED, _LIVE, _AGREE, _SHEET, _ASKED = range(3, 8)

# One paragraph a line.
NOTES = Path(__file__).with_name("how_to_read.txt")

Stated = Decimal | Fraction | float | bool | str | None


class SheetOfTest(Struct, frozen=True, kw_only=True):
    """A test with the sheet that calculates it again, and the one without the units left out, where there are any."""

    test: TestResult
    sheet: Recalculated
    without: Recalculated = Recalculated()

    @property
    def head(self) -> tuple[str, str]:
        """The test, and the active or the check that it is about."""
        return self.test.id, self.test.active or self.test.subject


class _Lines(Struct, kw_only=True):
    """The rows of the Summary as they are written one below the other."""

    page: Page
    row: int = HEADER_ROW + 1
    agreements: list[CellRef] = field(default_factory=list)

    def heading(self, text: str) -> None:
        self.row += 1
        self.page.put(self.row, 0, text, HEADING)
        self.row += 1

    def line(
        self,
        texts: Sequence[str],
        document: Stated,
        live: Expression | None,
        *,
        asked: str = "",
        otherwise: str = NOT_CALCULATED,
    ) -> tuple[CellRef, CellRef]:
        """One row: what is compared, the two figures, whether they agree; `otherwise` where no formula stands behind.

        Answers the cells of the live figure and of what was asked for.
        """
        page, row = self.page, self.row
        for column, text in enumerate(texts):
            page.put(row, column, text)
        stated = page.put(row, _STATED, _shown(document))
        found = page.put(row, _LIVE, otherwise if live is None else live)
        if live is not None:
            agree = _agree(stated, found, none=document is None)
            self.agreements.append(page.put(row, _AGREE, agree, _AGREED))
        page.put(row, _SHEET, live.sheet if isinstance(live, CellRef) else None)
        self.row += 1
        return found, page.put(row, _ASKED, asked)

    def figures(
        self, head: tuple[str, str], stated: Mapping[str, Stated], cells: Mapping[str, CellRef], *, called: str = ""
    ) -> None:
        """A row for each figure of the result document; `called` stands before the names."""
        for name, figure in stated.items():
            self.line((*head, f"{called}{name}"), figure, cells.get(name))

    def verdict(
        self, head: tuple[str, str], what: str, verdict: Verdict, live: Recalculated, *, asked: str = ""
    ) -> tuple[CellRef, CellRef]:
        """The row of a verdict; one that no formula gives stands as it was judged."""
        return self.line((*head, what), verdict.value, live.verdict, asked=asked, otherwise=verdict.value)


def write_summary(
    page: Page,
    judged: JudgedBatch,
    *,
    tests: Sequence[SheetOfTest],
    of_set: int,
    plan: Recalculated,
    balance: Recalculated,
) -> None:
    """Write the Summary of a judged batch; the first tests are those that the rule set asks for."""
    _write_head(page, judged)
    lines = _Lines(page=page, row=HEADER_ROW + 3)
    lines.heading("Verdict of each test")
    verdicts = [
        lines.verdict(one.head, one.test.rule, one.test.verdict, one.sheet, asked=YES if one.test.required else NO)
        for one in tests
    ]
    lines.heading("Figures of each test, by their names in the result document")
    for one in tests:
        if one.sheet.n is not None:
            lines.line((*one.head, "n"), one.test.n, one.sheet.n)
        lines.figures(one.head, one.test.figures, one.sheet.figures)
        outside = {unit.unit: unit.deviation_percent for unit in one.test.outside}
        lines.figures(one.head, outside, one.sheet.deviations, called="deviation_percent of unit ")
    for name, found, sheet in (
        ("planned mass", judged.planned_mass, plan),
        ("reconciliation", judged.reconciliation, balance),
    ):
        lines.figures((name, ""), {figure: getattr(found, figure) for figure in sheet.figures}, sheet.figures)
    if any(one.test.without_left_out for one in tests):
        lines.heading("Without the units that carry a reason to be left out; never the verdict of record")
    for one in tests:
        if without := one.test.without_left_out:
            lines.verdict(one.head, f"{one.test.rule}: verdict", without.verdict, one.without)
            lines.figures(one.head, without.figures, one.without.figures)
    _write_box(page, judged, verdicts=verdicts, of_set=of_set, agreements=lines.agreements)
    lines.heading("How to read this workbook")
    for row, note in enumerate(NOTES.read_text(encoding="utf-8").splitlines(), start=lines.row):
        page.spread(row, note, columns=len(_HEADERS))


def _write_head(page: Page, judged: JudgedBatch) -> None:
    batch = judged.batch
    facts = [fact for fact in (batch.product, batch.dosage_form) if fact]
    if batch.source is not None:
        facts.append(f"read from {batch.source.name}, SHA-256 {batch.source.sha256}")
    title = f"Batch {batch.number}: results" if batch.number else "Results of a batch"
    page.head(title, "; ".join(facts), CAUTION)
    page.set_widths(*_HEADERS.values())
    page.headers(HEADER_ROW, 0, _HEADERS)


def _write_box(
    page: Page,
    judged: JudgedBatch,
    *,
    verdicts: Sequence[tuple[CellRef, CellRef]],
    of_set: int,
    agreements: Sequence[CellRef],
) -> None:
    """The two lines below the header: the verdict of the batch, and how many figures do not agree."""
    top, said = _Lines(page=page), judged.verdict.value
    overall = _overall(verdicts, of_set=of_set) if verdicts else None
    top.line(("The batch", "", f"rule set {judged.rule_set}"), said, overall, otherwise=said)
    if every := [*top.agreements, *agreements]:
        page.highlight(every[0], every[-1], BAD, type="cell", criteria="==", value=f'"{DISAGREE}"')
        page.put(top.row, 0, "Figures and verdicts that do not agree")
        page.put(top.row, 2, f"of {len(every)} compared")
        page.put(top.row, _LIVE, expr.count_where((CellRange(cells=tuple(every)), DISAGREE)), VERDICT)


def _overall(verdicts: Iterable[tuple[CellRef, CellRef]], *, of_set: int) -> Expression:
    """What the tests say together: a failure first, then what is undecided, then a test of the set that complies."""
    said, asked = (CellRange(cells=cells) for cells in zip(*verdicts, strict=True))

    def how_many(verdict: Verdict) -> Expression:
        return expr.count_where((said, verdict.value))

    not_assessed = expr.count_where((said, Verdict.NOT_ASSESSED.value), (asked, YES))
    waiting = how_many(Verdict.SECOND_STAGE) + how_many(Verdict.TOO_FEW_UNITS) + not_assessed
    of_the_set = CellRange(cells=said.cells[:of_set])
    complies = expr.count_where((of_the_set, Verdict.COMPLIES.value)) if of_set else expr.expression(0)
    return expr.first_of(
        (how_many(Verdict.DOES_NOT_COMPLY) > 0, BatchVerdict.DOES_NOT_COMPLY.value),
        (waiting > 0, BatchVerdict.UNDECIDED.value),
        (complies.equals(0), BatchVerdict.UNDECIDED.value),
        otherwise=BatchVerdict.COMPLIES.value,
    )


def _shown(stated: Stated) -> Decimal | Fraction | float | str:
    if stated is None:
        return NOTHING
    return (YES if stated else NO) if isinstance(stated, bool) else stated


def _agree(stated: CellRef, live: CellRef, *, none: bool) -> Expression:
    """Whether a stated figure and a live one are the same, to the tolerance of the notes."""
    if none:
        return expr.when(live.equals(""), YES, DISAGREE)
    if isinstance(stated.value, str):
        return expr.when(expr.exactly(stated, live), YES, DISAGREE)
    close = abs(live - stated) <= expr.expression(_TOLERANCE) * abs(stated) + _LEAST
    return expr.when(expr.is_number(live), expr.when(close, YES, DISAGREE), DISAGREE)
