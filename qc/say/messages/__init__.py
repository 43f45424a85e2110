"""From a message to its sentence: `SENTENCES` of `mass.py` beside this, or a function there, words `mass.none_weighed`.

A sentence of `SENTENCES` names the values of its message; how each is written stands behind its colon:

| written | how |
|---|---|
| `{percent:.1f}`, `{percent:+.1f}` | a number with that many decimals, a change with its sign |
| `{units:units}`, `{rules:listed}` | units by name ("unit 7", "units 7 and 9"), a list with "and" |
| `{n:count unit}`, `{n:measured {series}}` | "1 unit", "3 units"; "3 assayed units" where they were not weighed |
| `{active:of}`, `{active:for}`, `{active:active}` | " of zinc oxide", " for zinc oxide", "zinc oxide" or "the active" |
| `{first:either first|last}` | the words before the bar where the value is true, else those behind it |
| `{series:heading of {active}}` | "Mass", "Content of zinc oxide" |
| `{chance:probability}`, `{p:p_value}`, `{limit:plain}`, `{claim:typed}` | as `qc.say.numbers` writes them |

What depends on its values for more than their writing is a function.
"""

from __future__ import annotations

import re
import string
from collections.abc import Callable, Iterable, Mapping
from importlib import import_module
from types import ModuleType
from typing import Any

from qc.results.messages import Message
from qc.say.changes import series_name
from qc.say.numbers import as_typed, at_most, fixed, grams, p_value, percent_short, plain_limit, probability, signed
from qc.say.text import counted, listed, units_named

MOST_UNITS = 8
# The value, and the words behind the name of the writer where there are any.
_WRITERS: Mapping[str, Callable[..., str]] = {
    "units": lambda names: units_named(names, most=MOST_UNITS),
    "listed": listed,
    "count": counted,
    "either": lambda yes, texts: texts.partition("|")[0 if yes else 2],
    "plural": lambda noun: f"{noun[:-1]}ies" if noun.endswith("y") else f"{noun}s",
    "of": lambda name: f" of {name}" if name else "",
    "for": lambda name: f" for {name}" if name else "",
    "active": lambda name: name or "the active",
    "heading": lambda series, of_active="": series_name(series, of_active.removeprefix("of").strip()),
    "measured": lambda n, series: f"{n} units" if series == "mass" else f"{n} assayed units",
    "probability": probability,
    "at_most": at_most,
    "p_value": p_value,
    "percent": percent_short,
    "plain": plain_limit,
    "typed": as_typed,
    "grams": grams,
}
_DECIMALS = re.compile(r"(\+?)\.(\d)f")


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


def wording(id: str) -> str | Callable[..., str]:
    """The sentence, or the function, that words a message of that id.

    Raises
    ------
    LookupError
        When there is none, which is a fault of the package.
    """
    room, _, name = id.partition(".")
    try:
        module: ModuleType = import_module(f"qc.say.messages.{room}")
        return getattr(module, "SENTENCES", {}).get(name) or getattr(module, name)  # type: ignore[no-any-return]
    except (ImportError, AttributeError):
        raise LookupError(f"no words for the message {id}") from None


def words(one: Message | str) -> str:
    """The sentence of a message; messages among its values are worded first.

    Raises
    ------
    LookupError
        When nothing words that id, which is a fault of the package.
    """
    if isinstance(one, str):
        return one
    say = wording(one.id)
    values = {name: words(value) if isinstance(value, Message) else value for name, value in one.values.items()}
    return _Sentences().vformat(say, (), values) if isinstance(say, str) else say(**values)


def paragraph(many: Iterable[Message | str]) -> str:
    """The sentences of several messages, one after the other."""
    return " ".join(all_words(many))


def all_words(many: Iterable[Message | str]) -> tuple[str, ...]:
    """The sentences of several messages, in their order."""
    return tuple(words(one) for one in many)
