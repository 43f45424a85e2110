"""The rows of the Checks sheet: results beside their limits, and what has to be typed before one can be judged."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from qc.results import OF_THE_RECORD, Message
from qc.rules.kinds.check.typed_limits import Measure, Span
from qc.say.messages import all_words
from qc.say.numbers import fixed
from qc.say.spans import reach, span, spans
from qc.say.text import counted

SENTENCES = {
    "more_results": '{more:count more result} of "{name}"',
    "too_few": "The test asks for {asked} units and {entered} results were entered.",
    "stands_for_all": "The one {quantity} entered is read as that of the last of {units} units.",
    "unreadable": '"{name}": {why}. {mend}.',
    "no_row": "The Checks sheet has no row for {name}.",
    "base_unknown": '"{name}": the limit of {rules:cited} goes by the base, and the Batch sheet names none.',
    "wrong_base": "{title} is a test for a {base} base; the base of this batch is {other}.",
    "no_active": "The Actives sheet names no active to be assayed.",
    "two_assays": 'The Actives sheet has a batch assay of {percent:typed} % of label, and the Checks sheet "{result}". '
    "Keep the true one.",
    "decided_in_words": '"{name}" was entered as "{result}"« by {done_by}»; no figure was compared.',
    "left_to_person": '"{name}" was found: "{result}".« The limit is "{limit}".» Words are not compared here; the '
    "person who signs judges them.",
    "figure_wanted": '"{name}": the result "{result}" is in words and the limit is {limit:span}. Type the figures with '
    'their unit, or "complies" or "does not comply".',
    "not_entered": '"{name}": '
    "{due:either No result was entered; a check with a limit is due.|Neither a result nor a limit.}",
}


def within(name: str, limit: Span, asked_by: str, results: Sequence[Span]) -> str:
    """Every result meets a limit."""
    return f'"{name}": {reach(results)} {"meets" if len(results) == 1 else "all meet"} {_the(limit, asked_by)}.'


def beyond(name: str, limit: Span, asked_by: str, results: Sequence[Span], decimals: int | None) -> str:
    """Results that do not meet a limit; `decimals` are those to which they would, were they rounded."""
    verb = "does" if len(results) == 1 else "do"
    text = f'"{name}": {spans(results)} {verb} not meet {_the(limit, asked_by)}.'
    if decimals is None:
        return text
    places = counted(decimals, "decimal") if decimals else "whole numbers"
    return f"{text} Rounded to {places}, as the limit is written, it would; results are compared unrounded here."


def _the(limit: Span, asked_by: str) -> str:
    by = "" if asked_by == OF_THE_RECORD else f" of {asked_by}"
    return f"the limit{by}, {span(limit)}"


def working(results: Sequence[Span], converted: Sequence[Fraction | None], limit: Span, asked_by: str) -> str:
    """Results against a limit, each with its figure in the unit of the limit where it was typed in another."""
    unit = limit.measure.shown
    figures = [
        span(one) if figure is None else f"{span(one)} = {fixed(figure, decimals=4)} {unit}"
        for one, figure in zip(results, converted, strict=True)
    ]
    return f"{'; '.join(figures)} against {span(limit)} ({asked_by})."


def units_differ(name: str, found: Measure, wanted: Measure) -> str:
    """A result and a limit in units of measure that cannot be compared."""
    has = f'is in "{found.shown}"' if found.shown else "has no unit of measure"
    limit = f'the limit is in "{wanted.shown}"' if wanted.shown else "the limit has no unit of measure"
    example = f"Type the result in {wanted.shown}" if wanted.shown else "Type the unit of measure behind the limit"
    return f'"{name}": the result {has} and {limit}; they cannot be compared. {example}.'


def without_limit(name: str, result: str, limit: str | None) -> str:
    """A figure with no limit to compare it with."""
    lacks = "has no limit" if limit is None else f'has the limit "{limit}", which is in words'
    example = "For a comparison type one beside it, for example: at most 30 min."
    return f'"{name}" was found: {result}. It {lacks}. {example}'


def left_to_signer(reasons: Sequence[Message | str]) -> str:
    """A check that the person who signs has to judge."""
    return f"Left to the signer: {' '.join(all_words(reasons))}"


def which_active(name: str, active: str | None) -> str:
    """A row about an assay that names none of several actives."""
    example = f'"{name}, {active}"' if active else "the active on the Actives sheet"
    return f'"{name}" does not say which active it is about. Type {example}.'


def unclear(name: str, limit: Span, asked_by: str, results: Sequence[Span]) -> str:
    """Results that are ranges and lie partly inside a limit."""
    return f'"{name}": {spans(results)} does not say whether {_the(limit, asked_by)}, is met. Type the figure itself.'
