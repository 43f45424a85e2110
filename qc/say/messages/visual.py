"""The visual inspection: words that are not known, defects that may harm, and the counts beside the sampling plans."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc.results import Limit
from qc.say.limits import line
from qc.say.numbers import as_typed
from qc.say.sentences import MOST_UNITS
from qc.say.text import counted, units_named

SENTENCES = {
    "critical": "{defect:opening} on {units:units} is graded critical ({mark}): a batch with a critical defect does "
    "not comply.",
    "beside_appearance": "{name} was entered as complying, and a {grade} defect was seen on {units:units}: decide "
    "which holds",
    "none_critical": "No critical defect on {looked_at:count unit} looked at.",
    "no_aql": "{rules:cited} has no acceptable quality limit (AQL) of its own; a house rule sets them.",
    "known_words": "a known word for {quoted:listed}",
    "more_to_inspect": "the visual inspection of {more:count more unit}",
    "nothing_seen": "The column Seen is empty.",
    "working": "{grade}: {plan}",
}


def unknown_word(word: str, units: Sequence[str], nearest: Sequence[str], known: Sequence[str]) -> str:
    """A word that names no defect, with the nearest that does, or with all of them."""
    mend = f"Did you mean {' or '.join(nearest)}?" if nearest else f"The words are: {', '.join(known)}."
    return f'"{word}" ({units_named(units, most=MOST_UNITS)}) is no known defect and was not counted. {mend}'


def plan(
    sample_size: int, accepts: int | None, aql_percent: Decimal, level: int, letter: str, from_memory: bool
) -> str:
    """How many units to look at, and how many of them may be nonconforming."""
    if accepts is None:
        return f"every unit of {sample_size}; the share nonconforming at most {as_typed(aql_percent)} % [our reading]"
    mark = " [from memory]" if from_memory else ""
    which = f"level {'I' * level}, letter {letter}, AQL {as_typed(aql_percent)} %"
    return f"{which}: {sample_size} units, accepted with at most {accepts} nonconforming{mark}"


def count(limit: Limit, looked_at: int, more: int) -> str:
    """The units with a defect of one grade, beside their limit."""
    assert isinstance(limit.figure, int)
    found = f"{counted(limit.figure, 'unit')} of {looked_at} looked at with a {limit.values['grade']} defect"
    text = f"{found}; {line(limit).limit}"
    if limit.met is None:
        return f"{text}. {counted(more, 'more unit')} to be looked at."
    return f"{text}: {'accepted' if limit.met else 'not accepted'}."
