"""The first sheet: every verdict and figure of the result document beside its formula, and whether they agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from msgspec import Struct, field

from qc.results import BatchVerdict, JudgedBatch, PlannedMass, Reconciliation, TestResult, Verdict
from qc.say.names import CAUTION
from qc.workbook.recheck.blocks import Recalculated
from qc.workbook.recheck.cells import Cell, Page, Reckoned, Span
from qc.workbook.recheck.data import HEADER_ROW
from qc.workbook.recheck.formulas import NO, YES, same_as
from qc.workbook.recheck.look import set_page
from qc.workbook.recheck.plan_sheet import PlanCells

DISAGREE = "NO"
NOT_RECKONED = "not reckoned here"
NOTHING = "none"
_TOLERANCE = 1e-9
_LEAST = 1e-12

NOTES = (
    "White cells hold what was entered, what a rule states, or what the result document says. Grey cells are formulas: "
    "every program that opens this workbook reckons them anew.",
    "A spreadsheet reckons in binary fractions, in which an exact 5 % can come out a little above or below 5 %. Before "
    "a figure is compared with a limit, the difference is therefore rounded to nine decimals: a unit at exactly the "
    "limit is inside, as the rules have it. The verdict of record was decided on exact decimals; a difference below "
    "half of 0.000000001 is the only one that the two could see differently.",
    "Figures agree when they differ by no more than 0.000000001 of their size (or 0.000000000001, near nought). "
    'Verdicts agree when their words are equal. "none" stands for a figure that the result document leaves empty.',
    "Sheets are locked without a password. Unlock one to try another figure: the sheets and the column By formula "
    "follow it, and the column Agree says which figures left the record.",
    f'"{NOT_RECKONED}" and a verdict in a white cell: checks typed in words, what the eye saw, the packing list, and '
    "limits of a house on what went in and came out stand as they were judged; the verdict of the batch counts them.",
    "Reckoned elsewhere, and therefore not in this workbook: trends along the pour, the dose seen through the balance, "
    "causes, and what the data assure. They are drawn at random or fitted, and no spreadsheet formula gives them.",
)


class SheetOfTest(Struct, frozen=True, kw_only=True):
    """A test with the sheet that reckons it anew; None where the result document has no figures for it."""

    test: TestResult
    sheet: str
    recalculated: Recalculated | None
    without: Recalculated | None = None
    """The same without the units left out, where there are any."""
    without_sheet: str = ""
    further: Mapping[str, Cell] = field(default_factory=dict)
    """Figures that are reckoned although the verdict stands as judged."""


class _Lines(Struct, kw_only=True):
    """The rows of the Summary as they are written one below the other."""

    page: Page
    row: int = HEADER_ROW + 1
    agreements: list[Cell] = field(default_factory=list)

    def heading(self, text: str) -> None:
        self.row += 1
        self.page.text(self.row, 0, text, self.page.look.heading)
        self.row += 1

    def compared(
        self, texts: Sequence[str], *, document: float | int | str | None, live: Reckoned, sheet: str, asked: str = ""
    ) -> None:
        """One row: what is compared, the two figures, whether they agree."""
        page, look = self.page, self.page.look
        self._words(texts, sheet=sheet, asked=asked)
        words = document is None or isinstance(document, str)
        stated = page.entry(self.row, 3, NOTHING if document is None else document, look.text if words else None)
        cell = page.reckon(self.row, 4, live, look.verdict if words else look.live)
        self.agreements.append(page.reckon(self.row, 5, _agree(stated, cell, none=document is None), look.agree))
        self.row += 1

    def stated(
        self, texts: Sequence[str], *, document: float | int | str | None, as_judged: bool, asked: str = ""
    ) -> None:
        """One row that no formula stands behind."""
        page = self.page
        self._words(texts, sheet="", asked=asked)
        shown = NOTHING if document is None else document
        page.entry(self.row, 3, shown)
        page.text(self.row, 4, str(shown) if as_judged else NOT_RECKONED)
        page.text(self.row, 5, "")
        self.row += 1

    def _words(self, texts: Sequence[str], *, sheet: str, asked: str) -> None:
        for column, text in enumerate(texts):
            self.page.text(self.row, column, text)
        self.page.text(self.row, 6, sheet)
        self.page.text(self.row, 7, asked)


def write_summary(
    page: Page,
    judged: JudgedBatch,
    *,
    tests: Sequence[SheetOfTest],
    plan: PlanCells | None,
    balance: Mapping[str, Cell] | None,
) -> None:
    """Write the Summary of a judged batch."""
    _write_head(page, judged)
    lines = _Lines(page=page, row=HEADER_ROW + 3)
    lines.heading("Verdict of each test")
    for one in tests:
        _verdict_line(lines, one)
    first, last = HEADER_ROW + 5, HEADER_ROW + 4 + len(tests)
    lines.heading("Figures of each test, by their names in the result document")
    for one in tests:
        if one.recalculated is not None:
            texts = (one.test.id, _about(one.test), "n")
            lines.compared(texts, document=one.test.n, live=same_as(one.recalculated.n), sheet=one.sheet)
        cells = one.further if one.recalculated is None else one.recalculated.figures
        _figures(lines, one.test, one.test.figures, cells=cells, sheet=one.sheet)
        _outside(lines, one)
    if judged.planned_mass is not None and plan is not None:
        _planned(lines, judged.planned_mass, plan=plan)
    if judged.reconciliation is not None and balance is not None:
        _balance(lines, judged.reconciliation, balance=balance)
    left_out = [one for one in tests if one.test.without_left_out is not None]
    if left_out:
        lines.heading("Without the units that carry a reason to be left out; never the verdict of record")
        for one in left_out:
            _without(lines, one)
    _write_box(page, judged, tests=tests, rows=(first, last), agreements=lines.agreements)
    lines.heading("How to read this workbook")
    for note in NOTES:
        page.sheet.merge_range(lines.row, 0, lines.row, 7, "", page.look.note)
        page.text(lines.row, 0, note, page.look.note)
        page.fit(lines.row, (note, 172))
        lines.row += 1
    page.sheet.conditional_format(
        HEADER_ROW + 1,
        5,
        lines.row,
        5,
        {"type": "cell", "criteria": "==", "value": f'"{DISAGREE}"', "format": page.look.bad},
    )
    set_page(page.sheet, landscape=True, header_row=HEADER_ROW)


def _write_head(page: Page, judged: JudgedBatch) -> None:
    batch, look = judged.batch, page.look
    for column, width in enumerate((30, 22, 36, 24, 24, 9, 18, 9)):
        page.sheet.set_column(column, column, width)
    page.text(0, 0, f"Batch {batch.number}: results" if batch.number else "Results of a batch", look.title)
    facts = [fact for fact in (batch.product, batch.dosage_form) if fact]
    if batch.source is not None:
        facts.append(f"read from {batch.source.name}, SHA-256 {batch.source.sha256}")
    page.text(1, 0, "; ".join(facts), look.small)
    page.text(2, 0, CAUTION, look.small)
    headers = (
        "Test",
        "Active or check",
        "Rule or figure",
        "Result document",
        "By formula",
        "Agree",
        "Sheet",
        "Asked for",
    )
    for column, header in enumerate(headers):
        page.text(HEADER_ROW, column, header, look.header)


def _write_box(
    page: Page,
    judged: JudgedBatch,
    *,
    tests: Sequence[SheetOfTest],
    rows: tuple[int, int],
    agreements: Sequence[Cell],
) -> None:
    """The two lines below the header: the verdict of the batch, and how many figures do not agree."""
    top = _Lines(page=page)
    overall = _overall(page, judged.verdict, rows=rows) if tests else None
    texts = ("The batch", "", f"rule set {judged.rule_set}")
    if overall is None:
        top.stated(texts, document=judged.verdict.value, as_judged=True)
    else:
        top.compared(texts, document=judged.verdict.value, live=overall, sheet="")
    every = [*agreements, *top.agreements]
    if not every:
        return
    page.text(top.row, 0, "Figures and verdicts that do not agree")
    page.text(top.row, 2, f"of {len(every)} compared")
    ends = (HEADER_ROW + 1, max(cell.row for cell in every))
    column = Span(cells=tuple(Cell(sheet=page.name, row=row, column=5, value=None) for row in ends))
    page.reckon(
        top.row,
        4,
        Reckoned(
            formula=f'COUNTIF({column.address},"{DISAGREE}")',
            value=sum(cell.value == DISAGREE for cell in every),
        ),
        page.look.verdict,
    )


def _overall(page: Page, verdict: BatchVerdict, *, rows: tuple[int, int]) -> Reckoned:
    """What the tests say together: a failure first, then whatever is undecided, then compliance."""
    said, asked = (
        Span(cells=tuple(Cell(sheet=page.name, row=row, column=column, value=None) for row in rows)).address
        for column in (4, 7)
    )

    def how_many(one: Verdict) -> str:
        return f'COUNTIF({said},"{one.value}")'

    waiting = (
        f"{how_many(Verdict.SECOND_STAGE)}+{how_many(Verdict.TOO_FEW_UNITS)}"
        f'+COUNTIFS({said},"{Verdict.NOT_ASSESSED.value}",{asked},"{YES}")'
    )
    return Reckoned(
        formula=(
            f'IF({how_many(Verdict.DOES_NOT_COMPLY)}>0,"{BatchVerdict.DOES_NOT_COMPLY.value}",'
            f'IF({waiting}>0,"{BatchVerdict.UNDECIDED.value}",'
            f'IF({how_many(Verdict.COMPLIES)}=0,"{BatchVerdict.UNDECIDED.value}","{BatchVerdict.COMPLIES.value}")))'
        ),
        value=verdict.value,
    )


def _verdict_line(lines: _Lines, one: SheetOfTest) -> None:
    test = one.test
    texts = (test.id, _about(test), test.rule)
    asked = YES if test.required else NO
    if one.recalculated is None:
        lines.stated(texts, document=test.verdict.value, as_judged=True, asked=asked)
        return
    live = same_as(one.recalculated.verdict)
    lines.compared(texts, document=test.verdict.value, live=live, sheet=one.sheet, asked=asked)


def _figures(
    lines: _Lines,
    test: TestResult,
    figures: Mapping[str, float | int | None],
    *,
    cells: Mapping[str, Cell],
    sheet: str,
) -> None:
    head = (test.id, _about(test))
    for name, figure in figures.items():
        if name in cells:
            lines.compared((*head, name), document=figure, live=same_as(cells[name]), sheet=sheet)
        else:
            lines.stated((*head, name), document=figure, as_judged=False)


def _outside(lines: _Lines, one: SheetOfTest) -> None:
    """The deviation of every unit outside the inner limit."""
    if one.recalculated is None:
        return
    for unit in one.test.outside:
        lines.compared(
            (one.test.id, _about(one.test), f"deviation_percent of unit {unit.unit}"),
            document=unit.deviation_percent,
            live=same_as(one.recalculated.deviations[unit.unit]),
            sheet=one.sheet,
        )


def _planned(lines: _Lines, planned: PlannedMass, *, plan: PlanCells) -> None:
    stated: dict[str, float | None] = {
        "planned_g": None if planned.planned_g is None else float(planned.planned_g),
        "mean_g": planned.mean_g,
        "difference_percent": planned.difference_percent,
        "limit_percent": None if planned.limit_percent is None else float(planned.limit_percent),
    }
    for name, cell in plan.figures.items():
        lines.compared(("planned mass", "", name), document=stated[name], live=same_as(cell), sheet="Plan")
    if plan.met is not None:
        met = None if planned.met is None else YES if planned.met else NO
        lines.compared(("planned mass", "", "met"), document=met, live=same_as(plan.met), sheet="Plan")


def _balance(lines: _Lines, found: Reconciliation, *, balance: Mapping[str, Cell]) -> None:
    stated: dict[str, Fraction | float | None] = {
        "units_g": found.units_g,
        "unaccounted_g": found.unaccounted_g,
        "unaccounted_percent": found.unaccounted_percent,
        "units_difference": found.units_difference,
        "theoretical_units": found.theoretical_units,
        "yield_percent": found.yield_percent,
    }
    for name, cell in balance.items():
        figure = stated[name]
        document = None if figure is None else float(figure)
        lines.compared(("reconciliation", "", name), document=document, live=same_as(cell), sheet="Balance")


def _without(lines: _Lines, one: SheetOfTest) -> None:
    test, without = one.test, one.test.without_left_out
    assert without is not None
    texts = (test.id, _about(test), f"{test.rule}: verdict")
    if one.without is None:
        lines.stated(texts, document=without.verdict.value, as_judged=True)
        return
    live = same_as(one.without.verdict)
    lines.compared(texts, document=without.verdict.value, live=live, sheet=one.without_sheet)
    _figures(lines, test, without.figures, cells=one.without.figures, sheet=one.without_sheet)


def _about(test: TestResult) -> str:
    return test.active or test.subject


def _agree(stated: Cell, live: Cell, *, none: bool) -> Reckoned:
    """Whether a stated figure and a live one are the same, to the tolerance of the notes."""
    if none:
        return Reckoned(
            formula=f'IF({live.address}="","{YES}","{DISAGREE}")', value=YES if live.value is None else DISAGREE
        )
    if isinstance(stated.value, str):
        return Reckoned(
            formula=f'IF(EXACT({stated.address},{live.address}),"{YES}","{DISAGREE}")',
            value=YES if stated.value == live.value else DISAGREE,
        )
    same = False
    if live.value is not None and not isinstance(live.value, str):
        size = abs(float(stated.exact))
        same = abs(float(live.exact) - float(stated.exact)) <= _TOLERANCE * size + _LEAST
    difference = f"ABS({live.address}-{stated.address})<={_TOLERANCE:.0E}*ABS({stated.address})+{_LEAST:.0E}"
    return Reckoned(
        formula=f'IF(ISNUMBER({live.address}),IF({difference},"{YES}","{DISAGREE}"),"{DISAGREE}")',
        value=YES if same else DISAGREE,
    )
