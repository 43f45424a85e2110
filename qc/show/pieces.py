"""What a page shows, before it is laid out: the same pieces feed the terminal, the HTML page and the PDF."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, Generic, TypeVar

from msgspec import Struct

from qc.patterns import pattern
from qc.results.messages import Message
from qc.say.messages import words
from qc.say.names import CAUTION
from qc.say.numbers import NOTHING, SPACE, Number, interval
from qc.say.text import sentence, shown_text


class Prose(Struct, frozen=True, kw_only=True):
    """A paragraph."""

    text: str


class Lines(Struct, frozen=True, kw_only=True):
    """Short lines in order, each on its own: steps, reasons, a calculation."""

    items: tuple[str, ...]
    title: str = ""
    calculation: bool = False
    """True for the working, set in digits of equal width."""
    to_initial: bool = False
    """True for acts: numbered, each with a box and room for the initials of who did it."""
    note: str = ""
    """Beside the title, of all of them."""


def lines(*items: Message | str, title: str = "", calculation: bool = False) -> tuple[Lines, ...]:
    """Sentences as one piece, each ended and with true minus signs; no piece where none has anything to say."""
    kept = tuple(words(item) for item in items if item)
    said_so = kept if calculation else tuple(sentence(item) for item in kept)
    return (Lines(items=said_so, title=title, calculation=calculation),) if kept else ()


class Column(Struct, frozen=True, kw_only=True):
    """The head of a column; numbers stand to the right."""

    head: str
    number: bool = False


class Marked(str):
    """The text of a cell that leads to another page, by its encoded address, or has a drawing before it, as SVG."""

    to: str
    svg: str

    def __new__(cls, text: str, *, to: str = "", svg: str = "") -> Marked:
        """The text with what goes with it."""
        marked = super().__new__(cls, text)
        marked.to, marked.svg = to, svg
        return marked


class Table(Struct, frozen=True, kw_only=True):
    """A table with its caption. `strong` holds the places of rows to be marked, counted from 0."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    strong: tuple[int, ...] = ()


FEWEST_ALIKE = 3
"""Lines of a table from which on what a column says in each of them stands in the caption."""
Row = TypeVar("Row")
Shown = Callable[[Row], str | int | None]


class ColumnOf(Struct, Generic[Row], frozen=True, kw_only=True):
    """One column of a table: what stands over it, and what of a row stands in it; None is shown as a dash."""

    column: Column
    show: Shown[Row]


def column(head: str, show: Shown[Row]) -> ColumnOf[Row]:
    """A column of words, on the left."""
    return ColumnOf(column=Column(head=head), show=show)


def number(head: str, show: Shown[Row]) -> ColumnOf[Row]:
    """A column of numbers, on the right; the head states their unit."""
    return ColumnOf(column=Column(head=head, number=True), show=show)


Ends = tuple[Number | None, Number | None]
"""Of an interval."""


def between(head: str, ends: Callable[[Row], Ends], *, decimals: int, sign: bool = False) -> ColumnOf[Row]:
    """A column of intervals; a dash where an end is not known."""
    return number(head, lambda row: interval(*ends(row), decimals=decimals, sign=sign))


def table(
    caption: str,
    rows: Iterable[Row],
    *columns: ColumnOf[Row],
    strong: Callable[[Row], bool] | None = None,
    filled_alone: bool = False,
) -> Table:
    """A table of records, a line each.

    Parameters
    ----------
    caption : str
        What the table shows.
    rows : iterable
        The records.
    *columns : ColumnOf
        From left to right.
    strong : function of a record, optional
        Whether its line is marked.
    filled_alone : bool
        Leave out columns that are empty throughout; words that a column says in every line, of three or more, stand
        in the caption once.

    Returns
    -------
    Table
        Before it is laid out.

    Examples
    --------
    >>> table("Masses", [("1", None), ("2", "2.1")], column("Unit", lambda row: row[0]),
    ...       number("[g]", lambda row: row[1])).rows
    (('1', '–'), ('2', '2.1'))
    """
    kept = tuple(rows)
    cells = [tuple(_cell(one.show(row)) for one in columns) for row in kept]
    said = [{line[place] for line in cells} for place in range(len(columns))]
    nothing, alike = ({NOTHING}, {""}), filled_alone and len(kept) >= FEWEST_ALIKE
    once = [alike and len(said[place]) == 1 and not one.column.number for place, one in enumerate(columns)]
    places = [
        place for place in range(len(columns)) if not once[place] and not (filled_alone and said[place] in nothing)
    ]
    told = [
        f"; {one.column.head} {min(words)} throughout"
        for one, words, same in zip(columns, said, once, strict=True)
        if same and words not in nothing
    ]
    return Table(
        caption=caption + "".join(told),
        columns=tuple(columns[place].column for place in places),
        rows=tuple(tuple(line[place] for place in places) for line in cells),
        strong=() if strong is None else tuple(place for place, row in enumerate(kept) if strong(row)),
    )


def facts(caption: str, known: Iterable[tuple[str, str]], *, what: str = "What", value: str = "Value") -> Table:
    """A table of facts: what each is, and its value."""
    return table(caption, known, column(what, lambda one: one[0]), column(value, lambda one: one[1]))


def _cell(shown: str | int | None) -> str:
    return NOTHING if shown is None else shown if isinstance(shown, str) else str(shown)


class Picture(Struct, frozen=True, kw_only=True):
    """A drawing as SVG text with its title, what to see in it in this batch, and its alternative text."""

    id: str
    title: str
    svg: str
    caption: str
    alternative: str


Piece = Prose | Lines | Table | Picture


class Section(Struct, frozen=True, kw_only=True):
    """A numbered part of the later pages; the annex is printed after all others, and folded on a screen."""

    id: str
    title: str
    pieces: tuple[Piece, ...]
    annex: bool = False


def section(id: str, title: str, *pieces: Piece | None, annex: bool = False) -> tuple[Section, ...]:
    """A part of the later pages: a table without a line is not there, nor a part that would hold nothing."""
    there = tuple(piece for piece in pieces if piece is not None and not (isinstance(piece, Table) and not piece.rows))
    return (Section(id=id, title=title, pieces=there, annex=annex),) if there else ()


class Compared(Struct, frozen=True, kw_only=True):
    """A figure beside its limit, and whether it was met; words without a limit take its place too."""

    what: str
    figure: str
    limit: str
    met: str


class Tested(Struct, frozen=True, kw_only=True):
    """A test in the table of page one: its verdict, where its rule stands, and figures beside limits.

    `of` is how many tests of one rule, an active each, share the row.
    """

    title: str
    verdict: str
    source: str
    lines: tuple[Compared, ...]
    of: int = 1


class PageOne(Struct, frozen=True, kw_only=True):
    """Everything on page one, in reading order."""

    product: str
    number: str
    facts: tuple[tuple[str, str], ...]
    verdict: str
    verdict_kind: str
    sign: str
    not_covered: str
    """What the verdict does not reach; empty where that is nothing."""
    basis: str
    tests: tuple[Tested, ...]
    marks: str
    """What the marks beside the sources mean."""
    findings: tuple[Lines, ...]
    """What bears on release, what to do now first."""
    signatures: tuple[tuple[str, str], ...]
    """The roles that sign, each with the name that was entered, if any."""
    assay: tuple[tuple[str, str], ...] = ()
    """What has to be known of the assay, with what was entered; the rest is filled in by hand."""
    quantity: str = ""
    """How many units are to be released, as entered."""
    releasable: str = ""
    """How many can be; empty where that is not known."""
    used: str = ""
    """Which blank is for the units that other tests used; empty where none is needed."""
    pictures: tuple[Picture | Prose, ...] = ()
    """The tray and the pour order."""
    decision: str = "Decision of the responsible pharmacist"
    choices: tuple[str, ...] = ()
    caution: str = CAUTION


class Report(Struct, frozen=True, kw_only=True):
    """A whole report."""

    title: str
    id: str
    front: PageOne
    sections: tuple[Section, ...]
    judged_at: str = ""
    """When it was judged, to the minute, with the zone; empty without a seal."""
    result_sha256: str = ""
    """Digest of the sealed result, for the head of the page and the keywords of the PDF; empty without a seal."""


_HEBREW_OR_ARABIC = "[\u0590-\u08ff\ufb1d-\ufdff\ufe70-\ufefc]++"
_FROM_THE_RIGHT = pattern(rf"{_HEBREW_OR_ARABIC}(?: +{_HEBREW_OR_ARABIC})*+(?!\u200e)")
"""Words of a script that runs from right to left; a mark behind them keeps figures that follow in their order."""
_INSIDE_A_FIGURE = pattern(
    r"(?<=\d) (?=(?:%|[kmµ]?g|mg/g|mm|min)(?!\w)|of \d)|(?:(?<=\bp)|(?<=SD)|(?<=AV)|(?<=\bunit)|(?<=\d of)) (?=\d)"
)


def shown(text: str) -> str:
    """Text made safe to show, in which no line ends between a number and its unit, or between p and its value.

    Examples
    --------
    >>> shown("2.1 g of 5 groups, 3 % (p 0.28)")
    '2.1\\xa0g of 5 groups, 3\\xa0% (p\\xa00.28)'
    """
    text = _INSIDE_A_FIGURE.sub(SPACE, shown_text(text))
    return text if text.isascii() else _FROM_THE_RIGHT.sub("\\g<0>\N{LEFT-TO-RIGHT MARK}", text)


def as_plain(value: Any) -> Any:
    """A view as dicts, lists and strings, every string made safe to show; drawings are left as they are.

    Each dict says under `kind` what it was made from, for example `table`.

    Returns
    -------
    dict, list, str, int, bool or None
        What the templates read.
    """
    if isinstance(value, Marked):
        return {"kind": "marked", "text": shown(value), "to": value.to, "svg": value.svg}
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, Struct):
        named = ((name, getattr(value, name)) for name in value.__struct_fields__)
        plain = {name: one if name == "svg" else as_plain(one) for name, one in named}
        return {"kind": type(value).__name__.lower(), **plain}
    if isinstance(value, tuple | list):
        return [as_plain(item) for item in value]
    return value
