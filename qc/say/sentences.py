"""Sentences with gaps: each names the values that go into it, and how a value is written stands behind its colon.

| written | how |
|---|---|
| `{percent:.1f}`, `{percent:+.1f}` | a number with that many decimals, a change with its sign |
| `{units:units}`, `{names:listed}` | units by name ("unit 7", "units 7 and 9"), a list with "and" |
| `{rules:cited}` | where rules stand, work and section, by their ids |
| `{n:count unit}` | "1 unit", "3 units" |
| `{n:one it|them}`, `{first:either first|last}` | the words before the bar for one, or for true; else the others |
| `{series:if_mass as weighed|as assayed}` | the words before the bar for the masses, else the others |
| `{series:heading of {active}}`, `{active:active}` | "Mass", "Content of zinc oxide"; "zinc oxide" or "the active" |
| `{interval:changes}`, `{interval:interval 3}` | the ends of an interval, with signs or with three decimals |
| `{causes:any_of}` | causes that cannot be told apart, joined by "or" |
| `{low:down}`, `{high:up}`, `{bound:between %}` | to one decimal and outward; "85 to 115 %", "at least 85 %" |
| `{chance:probability}`, `{p:p_value}`, `{limit:plain}`, `{claim:typed}` | as `qc.say.numbers` writes them |
| `« of {active}»` | left out where the value in it is missing: None, or empty |

No text of the user goes into the words about a bar.
"""

from __future__ import annotations

import math
import re
import string
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from qc.patterns import pattern
from qc.say.changes import series_name
from qc.say.names import CAUSE, any_of, in_words, rules_cited
from qc.say.numbers import (
    Number,
    as_typed,
    at_least,
    at_most,
    fixed,
    grams,
    interval,
    moved,
    p_value,
    percent_short,
    plain_limit,
    probability,
    signed,
    weighed_twice,
)
from qc.say.spans import span
from qc.say.text import counted, listed, units_named

MOST_UNITS = 8
_SCALES = {"label": "of label", "mean": "of the mean", "plan": "of the labelled mass"}
# The value, and the words behind the name of the writer where there are any.
_WRITERS: Mapping[str, Callable[..., str]] = {
    "units": lambda names: units_named(names, most=MOST_UNITS),
    "listed": listed,
    "cited": rules_cited,
    "row": ", ".join,
    "with_reasons": lambda pairs: ", ".join(f"{one} ({why})" for one, why in pairs),
    "count": counted,
    "one": lambda n, texts: _chosen(texts, first=n == 1),
    "either": lambda yes, texts: _chosen(texts, first=bool(yes)),
    "if_mass": lambda series, texts: _chosen(texts, first=series == "mass"),
    "cause": lambda id: in_words(id, CAUSE),
    "any_of": any_of,
    "plural": lambda noun: f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s",
    "active": lambda name: name or "the active",
    "heading": lambda series, of_active="": series_name(series, of_active.removeprefix("of").strip()),
    "opening": lambda text: text[0].upper() + text[1:],
    "ending": lambda text: text.rstrip(","),
    "changes": lambda ends: interval(*ends, decimals=1, sign=True),
    "interval": lambda ends, decimals: interval(*ends, decimals=int(decimals)),
    "between": lambda ends, unit: _between(ends, unit),
    "at_most_units": lambda count: f"not more than {count}" if count else "none",
    "counts": lambda ends: _counts(*ends),
    "down": lambda value: f"{math.floor(value * 10.0) / 10.0:.1f}",
    "up": lambda value: f"{math.ceil(value * 10.0) / 10.0:.1f}",
    "moved": moved,
    "share": lambda share: f"{share * 100:g}",
    "scale": _SCALES.__getitem__,
    "span": span,
    "probability": probability,
    "in_100": lambda chance: f"{100 * chance:.0f} times in 100" if chance <= 0.99 else "more than 99 times in 100",
    "at_least": at_least,
    "at_most": at_most,
    "p_value": p_value,
    "percent": percent_short,
    "plain": plain_limit,
    "typed": as_typed,
    "grams": grams,
}
UNITS_WITH_MASSES = 4
_DECIMALS = pattern(r"(\+?)\.(\d)f")
_LEFT_OUT_WITHOUT = pattern("«([^»]*)»")


def both_masses(masses: Sequence[tuple[str, Decimal | None, Decimal]]) -> str:
    """Units that were weighed twice, each with both masses [g]."""
    both = [weighed_twice(*one) for one in masses]
    return f"{'unit' if len(both) == 1 else 'units'} {listed(both, most=UNITS_WITH_MASSES)}"


def filled(sentence: str, values: Mapping[str, Any]) -> str:
    """A sentence with its values.

    Examples
    --------
    >>> filled("{n:count unit}« of {mould}» lie {percent:+.1f} % off", {"n": 2, "mould": "", "percent": -1.26})
    '2 units lie −1.3 % off'
    """
    there = _LEFT_OUT_WITHOUT.sub(lambda part: part[1] if _all_known(part[1], values) else "", sentence)
    return _Sentences().vformat(there, (), values)


def named(sentence: str) -> set[str]:
    """The values that a sentence names, those within the words for how a value is written too."""
    parts = [(field, spec) for _, field, spec, _ in string.Formatter().parse(sentence) if field is not None]
    return {re.split(r"[.\[]", field)[0] for field, _ in parts}.union(*(named(spec or "") for _, spec in parts))


class _Sentences(string.Formatter):
    """Fills the values of a message into its sentence."""

    def format_field(self, value: Any, format_spec: str) -> str:
        if decimals := _DECIMALS.fullmatch(format_spec):
            write = signed if decimals[1] else fixed
            return write(value, decimals=int(decimals[2]))
        writer, _, argument = format_spec.partition(" ")
        if writer not in _WRITERS:
            return format(value, format_spec)
        return _WRITERS[writer](value, argument) if argument else _WRITERS[writer](value)


def _all_known(words: str, values: Mapping[str, Any]) -> bool:
    return not any(values[name] in (None, "", ()) for name in named(words))


def _between(ends: tuple[Number | None, Number | None] | None, unit: str) -> str:
    """Limits as the rule writes them, of one side or both; or that there are none."""
    if ends is None:
        return "no limit given"
    low, high = ends
    if low is not None and high is not None:
        return f"{low:f} to {high:f} {unit}"
    return f"at least {low:f} {unit}" if low is not None else f"at most {high or Decimal(0):f} {unit}"


def _counts(low: int, high: int | None) -> str:
    """What a count cannot be less or more than."""
    if low == high:
        return str(low)
    return f"at least {low}" if high is None else f"{low} to {high}" if low else f"at most {high}"


def _chosen(texts: str, *, first: bool) -> str:
    return texts.partition("|")[0 if first else 2]
