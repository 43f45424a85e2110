"""The sheets of tests that are no test of single units: results beside their limits, and the packing list."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import chain, islice

from msgspec import Struct

from qc import expr
from qc.expr import NO, YES
from qc.expr.parts import CellRange, CellRef, Expression, Value, known
from qc.judging.assay_limits import CONFIDENCE
from qc.results import Limit, PackingChecklist, TestResult, Verdict
from qc.stats.student import two_sided_quantile
from qc.workbook.page import Block, Content, FromRow, Page, column_of
from qc.workbook.recheck.data import DataCells
from qc.workbook.recheck.unit_sheet import Recalculated

_RESULTS = ("Test", "About", "From", "To", "Lowest allowed", "Highest allowed", "Inside")
_FROM, _TO, _LOWEST, _HIGHEST, _INSIDE = _RESULTS[2:]
ASSAY = "batch-assay"
_DECIDED = (Verdict.COMPLIES, Verdict.DOES_NOT_COMPLY)
_OPEN = ("not entered", "not readable")


class _Ends(Struct, frozen=True):
    """Both ends of a result or of a limit, in one unit of measure, and whether each belongs to it."""

    low: Decimal | Fraction | float | None
    high: Decimal | Fraction | float | None
    low_included: bool = True
    high_included: bool = True


def write_results(
    page: Page, tests: Sequence[TestResult], *, data: DataCells, single: Mapping[str, Recalculated]
) -> list[Recalculated]:
    """Write every result of some tests beside every limit it must meet; answers what each test comes to.

    Parameters
    ----------
    tests : sequence of TestResult
        Tests of which each limit has a lowest or a highest figure.
    data : DataCells
        Where the pooled assays stand.
    single : mapping
        The sheet of single contents in % of label, by active.
    """
    page.head("Results beside their limits", "As entered, in the unit of measure of the limit.")
    page.set_widths(26, 30, 13, 13, 15, 15, 10, 3, 34, 18, 30)
    pooled = {name: cells["batch_assay_percent"] for name, cells in data.actives.items()}
    block = Block(page=page, column=len(_RESULTS) + 1)
    assays = [test for test in tests if test.id == ASSAY]
    of_units = {
        id(test): _of_units(test, block=block, data=data, units=single.get(test.active or "")) for test in assays
    }
    lines = [_lines(test, pooled=pooled.get(test.active or ""), of_units=of_units.get(id(test))) for test in tests]
    cells = iter(page.table(_RESULTS, chain.from_iterable(lines)))
    return [
        _answer(test, list(islice(cells, len(of))), block=block, data=data, of_units=of_units.get(id(test)))
        for test, of in zip(tests, lines, strict=True)
    ]


def has_results(test: TestResult) -> bool:
    """Whether a test is decided by results of which each lies inside or outside of limits, or is an assay."""
    if (test.id == ASSAY and test.figures) or _said(test) is not None:
        return True
    ends = [one for found, _ in _laid(test) for one in (found.low, found.high)]
    return bool(ends) and None not in ends and all(isinstance(line.bound, tuple) for line in test.criteria)


def _laid(test: TestResult) -> list[tuple[_Ends, _Ends]]:
    """Each result beside each limit, in the unit of measure of the first."""
    laid: list[tuple[_Ends, _Ends]] = []
    measure = next((line.values["span"].measure for line in test.criteria if "span" in line.values), None)
    for line in test.criteria:
        span = line.values.get("span")
        if span is None:
            figure, bound = line.figure, line.bound
            if isinstance(bound, tuple) and not isinstance(figure, str):
                laid.append((_Ends(figure, figure), _Ends(*bound)))
            continue
        included = [end is None or end.included for end in (span.low, span.high)]
        limit = _Ends(*span.exact(measure), *included)
        laid += [(_Ends(*result.exact(measure)), limit) for result in line.values["results"]]
    return laid


def _said(test: TestResult) -> Limit | None:
    """The line of a check whose result says in words whether it complies."""
    return next((line for line in test.criteria if line.what == "check_in_words" and line.met is not None), None)


class _OfUnits(Struct, frozen=True, kw_only=True):
    """How many units were assayed for a test, with the mean and the standard deviation of their contents."""

    n: Expression
    mean: Expression
    sd: Expression


def _of_units(test: TestResult, *, block: Block, data: DataCells, units: Recalculated | None) -> _OfUnits | None:
    """By the sheet of single contents where it has them, else by lines of their own."""
    if not test.sample or not test.figures:
        return None
    if units is not None and units.n is not None:
        return _OfUnits(n=units.n, mean=units.figures["mean_percent"], sd=units.figures["sd_percent"])
    active = test.active or ""
    block.head(f"Contents of {active or test.id}", "% of label")
    found = [expr.average(data.contents["% of label", active, name]) for name in test.sample]
    every = CellRange(cells=tuple(block.one(f"unit {name}", one) for name, one in zip(test.sample, found, strict=True)))
    return _OfUnits(n=expr.count(every), mean=expr.average(every), sd=expr.spread(every))


def _lines(
    test: TestResult, *, pooled: CellRef | None, of_units: _OfUnits | None
) -> list[dict[str, Content | FromRow]]:
    """A row for each result beside each limit; words stand as they were entered and as they were read."""
    if (said := _said(test)) is None:
        rows = [_row(test, *pair, pooled=pooled) for pair in _laid(test)]
        for row, line in zip(rows, test.criteria, strict=False):
            if line.what == "mean_of_units" and of_units is not None and isinstance(line.figure, Decimal):
                row[_FROM] = row[_TO] = expr.round_once(of_units.mean, -int(line.figure.as_tuple().exponent))
        return rows
    entered = str(said.values["result"])
    return [
        dict.fromkeys(_RESULTS, None)
        | {"Test": test.id, "About": test.subject, _FROM: entered, _INSIDE: YES if said.met else NO}
    ]


def _row(test: TestResult, found: _Ends, limit: _Ends, *, pooled: CellRef | None) -> dict[str, Content | FromRow]:
    def inside(cells: Mapping[str, CellRef]) -> Expression:
        above = expr.compared(cells[_FROM], ">=" if limit.low_included else ">", cells[_LOWEST])
        below = expr.compared(cells[_TO], "<=" if limit.high_included else "<", cells[_HIGHEST])
        ends = [one for one, end in ((above, limit.low), (below, limit.high)) if end is not None]
        return expr.when(expr.all_of(*ends), YES, NO)

    low, high = found.low, found.high
    # A pooled assay stands beside its active; a result that says the same follows it.
    same = pooled is not None and pooled.value is not None and low == high == pooled.number
    return {
        "Test": test.id,
        "About": test.subject or test.active or "",
        _FROM: pooled if same else low,
        _TO: pooled if same else high,
        _LOWEST: limit.low,
        _HIGHEST: limit.high,
        _INSIDE: inside,
    }


def _answer(
    test: TestResult,
    rows: Sequence[Mapping[str, CellRef]],
    *,
    block: Block,
    data: DataCells,
    of_units: _OfUnits | None,
) -> Recalculated:
    """The figures of one test, by the beginnings of their names, and its verdict where its results give one."""
    block.head(test.subject or test.id, "Value")
    if test.id == ASSAY and test.figures:
        figures = _of_assay(test, block=block, data=data, of_units=of_units)
        return Recalculated(figures=figures, verdict=_verdict(test, rows, block=block), n=None)
    worked_out = {
        "least": lambda: expr.least(column_of(rows, _FROM)),
        "greatest": lambda: expr.greatest(column_of(rows, _TO)),
        "at_least": lambda: expr.greatest(column_of(rows, _LOWEST)),
        "at_most": lambda: expr.least(column_of(rows, _HIGHEST)),
    }
    figures = {}
    for name, figure in test.figures.items():
        # The unit of measure stands behind the name.
        work = worked_out.get(name) or worked_out.get(name.rpartition("_")[0])
        if work is not None:
            figures[name] = block.one(name, expr.expression("") if figure is None else work())
    return Recalculated(figures=figures, verdict=_verdict(test, rows, block=block))


def _verdict(test: TestResult, rows: Sequence[Mapping[str, CellRef]], *, block: Block) -> CellRef | None:
    if test.verdict not in _DECIDED or not rows:
        return None
    outside = expr.count_where((column_of(rows, _INSIDE), NO))
    return block.one("Verdict", expr.when(outside > 0, Verdict.DOES_NOT_COMPLY.value, Verdict.COMPLIES.value))


def _of_assay(test: TestResult, *, block: Block, data: DataCells, of_units: _OfUnits | None) -> dict[str, CellRef]:
    """The pooled assay, and the mean content of the units of the sample with its 95 % interval."""
    active, pooled = test.active or "", test.figures["pooled_percent"]
    entered = data.actives[active]["batch_assay_percent"]
    nothing = expr.expression("")
    mean = low = high = nothing
    if of_units is not None:
        mean = of_units.mean
    if of_units is not None and test.figures["mean_low_percent"] is not None:
        t = expr.call("TINV", 1 - Decimal(str(CONFIDENCE)), of_units.n - 1, meaning=_quantile)
        spread = t * of_units.sd / expr.call("SQRT", of_units.n, meaning=_root)
        reach = block.one("t SD / √n", expr.when(of_units.n > 1, spread))
        low, high = (expr.when(expr.is_number(reach), mean + sign * reach) for sign in (-1, 1))
    typed = entered if entered.value == pooled or pooled is None else expr.expression(Decimal(repr(pooled)))
    worked_out = {"pooled_percent": typed if pooled is not None else nothing, "mean_percent": mean}
    worked_out |= {"mean_low_percent": low, "mean_high_percent": high}
    return {name: block.one(name, work) for name, work in worked_out.items()}


def _quantile(_: Expression, df: Expression) -> Value:
    return known(two_sided_quantile(CONFIDENCE, df=int(df.number)))


def _root(n: Expression) -> Value:
    return known(float(n.number) ** 0.5)


def write_packing(page: Page, checklist: PackingChecklist) -> Recalculated:
    """Write the packing list, its counts and its verdict."""
    page.head("Packing and label list", "Each line with its answer as it was read of the sheet Checks.")
    page.set_widths(60, 18, 30, 3, 34, 18)
    lines = [{"Line": one.text, "Answer": one.answer, "Entered": one.entered} for one in checklist.lines]
    answers = column_of(page.table(("Line", "Answer", "Entered"), lines), "Answer")
    block = Block(page=page, column=4)
    block.head("Figures", "Value")
    total = block.one("lines", expr.expression(len(lines)))
    refused = block.one("refused", expr.count_where((answers, "no")))
    first, second = (expr.count_where((answers, word)) for word in _OPEN)
    left = block.one("without an answer", first + second)
    verdict = expr.first_of(
        (refused > 0, Verdict.DOES_NOT_COMPLY.value),
        (left > 0, Verdict.NOT_ASSESSED.value),
        otherwise=Verdict.COMPLIES.value,
    )
    figures = {"lines": total, "ticked": block.one("ticked", total - left - refused), "refused": refused}
    return Recalculated(figures=figures, verdict=block.one("Verdict", verdict))
