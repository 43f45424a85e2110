"""One row a batch that a sweep found, and the tables that are made from the rows: CSV, parquet, a frame, a page."""

from __future__ import annotations

import csv
import os
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from importlib import import_module
from io import BytesIO, StringIO
from itertools import chain, count
from typing import Any
from urllib.parse import quote

from msgspec import Struct
from msgspec.structs import replace

from qc.jobs.check import Checked
from qc.problems import Problem, told
from qc.results import JudgedBatch, Limit, TestResult, TrendFlag, Verdict
from qc.rules.rule_books import is_house_file, set_digest
from qc.say.in_short import CALLED_FIRST, OF_UNITS, not_met
from qc.say.limits import deciding
from qc.say.names import TEST, TREND, any_of
from qc.say.numbers import probability
from qc.say.text import counted, listed, shortened
from qc.show.filing import HTML
from qc.show.headline import headline, sign
from qc.show.pages_html import index_page
from qc.show.pieces import Marked, Prose, column, section, table
from qc.show.sections.answers import likeliest
from qc.show.series import content_series, mass_series, series_in_order
from qc.show.spark import MOST_POINTS, spark_line
from qc.show.units import places_in_pour

RESULTS = "results"
# Between the ids of causes that cannot be told apart.
OR = " or "
MOST_ON_PAGE = 5000
"""A browser sorts so many rows in a second or two; the tables hold all."""
LONGEST = 72
GRAVEST_FIRST = ("", "does-not-comply", "undecided", "complies")
"""Verdicts of a row, that of an input that was not judged before all."""
_TESTS = (
    *(Verdict.DOES_NOT_COMPLY, Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS, Verdict.NOT_ASSESSED, Verdict.COMPLIES),
)
# With these a spreadsheet program begins a formula (OWASP, "CSV Injection"); a number may begin with a sign.
_BEGINS_A_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_FIRST = ("file", "sheet", "batch", "product", "verdict", "basis")
_LAST = ("cause", "cause_probability", "trend", "problem", "document", "report")
Cell = str | float | None


class SweptBatch(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One row: a batch that was judged, or an input that could not be.

    Parameters
    ----------
    file, sheet, batch : str
        The input as it was found; which sheet and which batch of it.
    verdict : str
        Empty where it was not judged.
    said : str
        The verdict in words, and what it rests on; `sign` stands before it.
    tests : dict
        The verdict of each test and the figure that decides on it, by the column that it stands in.
    problems : tuple of Problem
        Why it was not; or what could not be made beside the verdict.
    decided_by : str
        In words, the figure that lies worst beside its limit.
    pour : tuple of float
        What was measured, in pour order, of the series that the report draws first.
    document, sha256 : str
        The name of its result document, and its digest.
    report : str
        The folder of its report, from where the index lies.
    house : tuple of str
        The file of the house rules that it was judged by, and its digest; empty where it was judged by none.
    reason_at : str
        Where the reason of a correction is to be typed, while it is missing.
    gone : bool
        Whether the input was taken away after it was judged.
    """

    file: str
    sheet: str = ""
    batch: str = ""
    product: str = ""
    verdict: str = ""
    basis: str = ""
    sign: str = ""
    said: str = ""
    tests: dict[str, tuple[str, float | None]] = {}
    decided_by: str = ""
    cause: str = ""
    cause_probability: float | None = None
    trend: str = ""
    pour: tuple[float, ...] = ()
    problems: tuple[Problem, ...] = ()
    document: str = ""
    sha256: str = ""
    report: str = ""
    house: tuple[str, ...] = ()
    reason_at: str = ""
    gone: bool = False

    def with_problem(self, found: str, mend: str) -> SweptBatch:
        """The row with what is wrong with its file as a whole."""
        problem = Problem(file=os.path.basename(self.file), sheet="", cell="", found=found, mend=mend)
        return replace(self, problems=(*self.problems, problem))

    @property
    def problem(self) -> str:
        """What is wrong, in a line."""
        return " ".join(told(self.problems))


def row_of(checked: Checked, *, file: str) -> SweptBatch:
    """The row of a judged batch."""
    judged, rules = checked.judged, checked.asked.rules
    read, cause = judged.batch.read, next(iter(likeliest(judged)), None)
    return SweptBatch(
        file=file,
        sheet=(read.sheet or "") if read else "",
        batch=judged.batch.number or checked.asked.options.batch or "",
        product=judged.batch.product or "",
        verdict=judged.verdict.value,
        basis=judged.basis.value,
        sign=sign(judged),
        said=headline(judged),
        tests=_tests(judged),
        decided_by=_decided_by(judged),
        cause="" if cause is None else OR.join(cause.ids),
        cause_probability=None if cause is None else cause.probability,
        trend=_trend(judged),
        pour=_pour(judged),
        house=(str(rules), set_digest(rules).sha256) if is_house_file(rules) else (),
    )


def _tests(judged: JudgedBatch) -> dict[str, tuple[str, float | None]]:
    """The tests; several of one kind are told apart by their active, by the check that they are about, by a number."""
    ids, found = [test.id for test in judged.tests], dict[str, tuple[str, float | None]]()
    for test in judged.tests:
        about = test.subject if test.subject.casefold() != test.id else ""
        about = about or (test.active or "" if ids.count(test.id) > 1 else "")
        name = f"{test.id} {about}".strip()
        figure = next((float(one.figure) for one in deciding(test.criteria) if one.figure is not None), None)
        numbered = chain([name], (f"{name} ({number})" for number in count(2)))
        found[next(one for one in numbered if one not in found)] = test.verdict.value, figure
    return found


def _decided_by(judged: JudgedBatch) -> str:
    """The gravest test with its figure beside its limit; of those met, the one that lies nearest to its limit."""

    def near(test: TestResult) -> float:
        limits = deciding(test.criteria) if test.id in OF_UNITS else ()
        return max(map(_share, limits), default=0.0)

    asked = [test for test in judged.tests if test.required or test.verdict is not Verdict.NOT_ASSESSED]
    worst = min(asked, key=lambda test: (_TESTS.index(test.verdict), -near(test)), default=None)
    return "" if worst is None else not_met(worst, most=LONGEST)


def _share(limit: Limit) -> float:
    """How much of what a limit allows was found; 0 where that is no number."""
    if limit.figure is None or not limit.bound or isinstance(limit.bound, tuple):
        return 0.0
    return float(limit.figure) / float(limit.bound)


def _trend(judged: JudgedBatch) -> str:
    trend = judged.pour_trend
    flags = [] if trend is None else [one.flag for one in (trend.mass, *trend.content.values())]
    return min(flags, key=CALLED_FIRST.index).value if flags else ""


def _pour(judged: JudgedBatch) -> tuple[float, ...]:
    """A series in pour order, its neighbours taken together where there are more than a line has room for."""
    name = series_in_order(judged)[0]
    series = content_series(judged, name) if name else mass_series(judged)
    places, _ = places_in_pour(series.rows)
    if not any(point.row.pour_order is not None for point in series.points):
        return ()
    values = [point.y for point in sorted(series.points, key=lambda point: places[point.row.unit])]
    step = -(-len(values) // MOST_POINTS)
    groups = [values[at : at + step] for at in range(0, len(values), step)]
    return tuple(sum(group) / len(group) for group in groups)


def columns_of(rows: Sequence[SweptBatch]) -> Mapping[str, list[Cell]]:
    """The table of some rows, column by column; each test has a column for its verdict and one for its figure."""
    known = list(TEST)
    kinds = {column: column.partition(" ")[0] for row in rows for column in row.tests}
    named = sorted(kinds, key=lambda name: (known.index(kinds[name]) if kinds[name] in known else len(known), name))
    found: dict[str, list[Cell]] = {name: [getattr(row, name) for row in rows] for name in _FIRST}
    for name in named:
        for place, head in enumerate((name, f"{name} figure")):
            found[head] = [row.tests[name][place] if name in row.tests else None for row in rows]
    return found | {name: [getattr(row, name) for row in rows] for name in _LAST}


def csv_of(columns: Mapping[str, Sequence[Cell]]) -> bytes:
    """A table as CSV; a text that a spreadsheet program would take for a formula has an apostrophe before it.

    Examples
    --------
    >>> csv_of({"batch": ["=1+1", "-7"], "figure": [-0.5, None]})
    b"batch,figure\\r\\n'=1+1,-0.5\\r\\n'-7,\\r\\n"
    """
    text = StringIO()
    writer = csv.writer(text)
    writer.writerow(columns)
    writer.writerows([_safe(cell) for cell in line] for line in zip(*columns.values(), strict=True))
    return text.getvalue().encode(errors="replace")


def _safe(cell: Cell) -> Cell:
    return f"'{cell}" if isinstance(cell, str) and cell.startswith(_BEGINS_A_FORMULA) else cell


def parquet_of(columns: Mapping[str, Sequence[Cell]]) -> bytes | None:
    """The same as parquet; None where the library that writes it is not installed."""
    try:
        pyarrow: Any = import_module("pyarrow")
        parquet: Any = import_module("pyarrow.parquet")
    except ImportError:
        return None
    content = BytesIO()
    parquet.write_table(pyarrow.table({name: pyarrow.array(cells) for name, cells in columns.items()}), content)
    return content.getvalue()


def page_of(rows: Sequence[SweptBatch], *, title: str, caption: str, documents: bool, refresh_s: int = 0) -> bytes:
    """The index: a table that can be sorted, with a link to each result.

    Parameters
    ----------
    rows : sequence of SweptBatch
        In the order in which they are shown.
    title, caption : str
    documents : bool
        Whether the result documents lie in a folder beside it.
    refresh_s : int
        After how many seconds the page loads itself anew; 0 for a page that stays.
    """
    rest = len(rows) - MOST_ON_PAGE
    more = Prose(text=f"And {counted(rest, 'batch', 'batches')} more, {LEFT_OUT}") if rest > 0 else None
    root = _common(rows)
    batches = table(
        caption,
        rows[:MOST_ON_PAGE],
        column("File", lambda row: os.path.relpath(row.file, root) if root else row.file),
        column("Sheet", lambda row: row.sheet),
        column("Batch", lambda row: shortened(row.batch, most=LONGEST)),
        column("Product", lambda row: shortened(row.product, most=LONGEST)),
        column("Verdict", lambda row: _link(_verdict(row), RESULTS, row.document if documents else "")),
        column("Worst figure", lambda row: row.decided_by),
        column("Pour order", lambda row: spark_line(row.pour, _called(row)) if row.pour else _called(row)),
        column("Likeliest cause", cause_of),
        column("To do", to_do_of),
        column("Report", lambda row: _link("report", row.report, HTML) if row.report else ""),
        strong=lambda row: row.verdict != "complies",
        filled_alone=True,
    )
    parts = section("batches", f"Batches in {root}" if root else "Batches", batches, more)
    return index_page(title=title, sections=parts, refresh_s=refresh_s).encode(errors="replace")


def _common(rows: Sequence[SweptBatch]) -> str:
    """The folder that all inputs lie below; empty where they have none in common, as on two drives."""
    try:
        return os.path.commonpath([os.path.dirname(row.file) for row in rows])
    except ValueError:
        return ""


def counts_of(rows: Iterable[SweptBatch]) -> str:
    """How many batches there are of each verdict, in words."""
    counts = Counter(row.verdict for row in rows)
    told = listed([f"{counts[verdict]} {said}" for verdict, said in _COUNTED.items()])
    return f"{counted(counts.total(), 'batch', 'batches')}: {told}"


_COUNTED = {
    "complies": "complying",
    "does-not-comply": "not complying",
    "undecided": "undecided",
    "": "that could not be judged",
}
TAKEN_AWAY = "The file was taken away; its report stays."
LEFT_OUT = "which a page has no room for."


def _verdict(row: SweptBatch) -> str:
    return f"{row.sign} {row.said}" if row.verdict else "Not judged"


def _called(row: SweptBatch) -> str:
    return TREND[TrendFlag(row.trend)] if row.trend else ""


def cause_of(row: SweptBatch) -> str:
    """The likeliest cause in words, with its probability."""
    together = "together " if OR in row.cause else ""
    return f"{any_of(row.cause.split(OR))}, {together}{probability(row.cause_probability)}" if row.cause else ""


def to_do_of(row: SweptBatch) -> str:
    """What is to be mended or typed, the first of it where there is more."""
    if row.gone:
        return TAKEN_AWAY
    if row.reason_at:
        return f"Corrected. Type the reason into {row.reason_at} and save."
    rest = len(row.problems) - 1
    more = f" And {counted(rest, 'more problem')}." if rest > 0 else ""
    return "".join(map(str, row.problems[:1])) + more


def _link(text: str, folder: str, file: str) -> str:
    return Marked(text, to=quote(f"{folder}/{file}")) if file else text
