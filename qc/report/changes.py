"""What a correction changed: the report that is superseded, why, and each difference."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qc.report.view import Block, Column, Lines, Piece, Prose, Section, Table
from qc.report.words import counted, sentence, shortened
from qc.results import BatchVerdict, Verdict

DIGITS_OF_DIGEST = 12
LONGEST_REASON = 200
_VERDICTS = frozenset(verdict.value for verdict in (*BatchVerdict, *Verdict))
_UNITS_OF_MEASURE = (("_percent", " [%]"), ("_mg", " [mg]"), (" mg", " [mg]"), ("_g", " [g]"))


def spelt(what: str) -> str:
    """A name of the result document in words, its unit of measure in brackets.

    Examples
    --------
    >>> spelt("rsd_percent"), spelt("mean_g"), spelt("weighed_by")
    ('rsd [%]', 'mean [g]', 'weighed by')
    """
    for ending, unit in _UNITS_OF_MEASURE:
        if what.endswith(ending):
            return f"{what.removesuffix(ending).replace('_', ' ')}{unit}"
    return what.replace("_", " ")


def shown(value: object, *, beside: object) -> str:
    """A value of the result document as a person reads it; figures that differ far behind the point in full.

    Examples
    --------
    >>> shown(2.0123456789, beside=2.5), shown(2.0123456789, beside=2.0123456788), shown(None, beside=2.5)
    ('2.01235', '2.0123456789', 'nothing')
    """
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        short = f"{value:.6g}"
        return repr(value) if isinstance(beside, float) and short == f"{beside:.6g}" else short
    text = str(value)
    return text.replace("-", " ") if text in _VERDICTS else text


def superseded_block(document: Mapping[str, Any]) -> Block | None:
    """The lines of page one on what this report supersedes; None where it supersedes nothing."""
    record = document.get("supersedes")
    if not isinstance(record, Mapping):
        return None
    count = len(record["differences"])
    told = f"{counted(count, 'difference')}, listed on the next pages" if count else "No difference was found"
    return Block(
        title="This report supersedes",
        lines=(_which(record), sentence(f"Why: {shortened(record['because'], most=LONGEST_REASON)}"), f"{told}."),
    )


def changes(document: Mapping[str, Any]) -> tuple[Section, ...]:
    """The part of the later pages that lists every difference to the superseded report."""
    record = document.get("supersedes")
    if not isinstance(record, Mapping):
        return ()
    pieces: list[Piece] = [Lines(items=(_which(record), sentence(f"Why: {record['because']}")))]
    if record["differences"]:
        pieces.append(
            Table(
                caption=f"{counted(len(record['differences']), 'difference')} to the superseded report",
                columns=tuple(Column(head=head) for head in ("Where", "What", "Before", "Now")),
                rows=tuple(
                    (
                        one["where"],
                        spelt(one["what"]),
                        shown(one["before"], beside=one["after"]),
                        shown(one["after"], beside=one["before"]),
                    )
                    for one in record["differences"]
                ),
            )
        )
    else:
        pieces.append(Prose(text="No verdict, figure, fact or unit differs."))
    return (Section(id="changes", title="What the correction changed", pieces=tuple(pieces)),)


def _which(record: Mapping[str, Any]) -> str:
    verdict = shown(record["verdict"], beside=None)
    return f"The result {record['result_sha256'][:DIGITS_OF_DIGEST]}, whose verdict was: {verdict}."
