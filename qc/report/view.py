"""What a page shows, before it is laid out: the same pieces feed the HTML page and the PDF."""

from __future__ import annotations

from dataclasses import dataclass, fields, is_dataclass
from typing import Any

from qc.report.words import shown_text


@dataclass(frozen=True, slots=True, kw_only=True)
class Prose:
    """A paragraph."""

    text: str
    kind: str = "prose"


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Short lines in order, each on its own: steps, reasons, a calculation."""

    items: tuple[str, ...]
    title: str = ""
    calculation: bool = False
    """True for the working, set in digits of equal width."""
    kind: str = "lines"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """The head of a column; numbers stand to the right."""

    head: str
    number: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Table:
    """A table with its caption. `strong` holds the places of rows to be marked, counted from 0."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]
    strong: tuple[int, ...] = ()
    kind: str = "table"


@dataclass(frozen=True, slots=True, kw_only=True)
class Picture:
    """A drawing as SVG text with its title, what to see in it in this batch, and its alternative text."""

    id: str
    title: str
    svg: str
    caption: str
    alternative: str
    kind: str = "picture"


Piece = Prose | Lines | Table | Picture


@dataclass(frozen=True, slots=True, kw_only=True)
class Section:
    """A numbered part of the later pages."""

    id: str
    title: str
    pieces: tuple[Piece, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """A titled group of sentences on page one."""

    title: str
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FrontLine:
    """One line of the table on page one. `first` is True on the first line of a test, `span` then counts its lines."""

    test: str
    verdict: str
    source: str
    what: str
    figure: str
    limit: str
    met: str
    first: bool
    span: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Signature:
    """A place to sign, with the name that was entered, if any."""

    role: str
    name: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PageOne:
    """Everything on page one, in reading order."""

    product: str
    number: str
    facts: tuple[tuple[str, str], ...]
    verdict: str
    verdict_kind: str
    sign: str
    basis: str
    lines: tuple[FrontLine, ...]
    left: tuple[Block, ...]
    right: tuple[Block, ...]
    signatures: tuple[Signature, ...]
    decision: str
    choices: tuple[str, ...]
    caution: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Report:
    """A whole report."""

    title: str
    id: str
    front: PageOne
    sections: tuple[Section, ...]
    result_sha256: str = ""
    """Digest of the sealed result, for the head of the page and the keywords of the PDF; empty without a seal."""


def as_plain(value: Any) -> Any:
    """A view as dicts, lists and strings, every string made safe to show; drawings are left as they are.

    Returns
    -------
    dict, list, str, int, bool or None
        What the templates read.
    """
    if isinstance(value, str):
        return shown_text(value)
    if is_dataclass(value) and not isinstance(value, type):
        return {
            field.name: getattr(value, field.name) if field.name == "svg" else as_plain(getattr(value, field.name))
            for field in fields(value)
        }
    if isinstance(value, tuple | list):
        return [as_plain(item) for item in value]
    return value
