"""From a message to its sentence: `SENTENCES` of `mass.py` beside this, or a function there, words `mass.none_weighed`.

A sentence of `SENTENCES` names the values of its message, as `qc.say.sentences` fills them in.
What depends on its values for more than their writing is a function.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from importlib import import_module
from types import ModuleType

from qc.results.messages import Message
from qc.say.sentences import filled


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
    return filled(say, values) if isinstance(say, str) else say(**values)


def paragraph(many: Iterable[Message | str]) -> str:
    """The sentences of several messages, one after the other."""
    return " ".join(all_words(many))


def all_words(many: Iterable[Message | str]) -> tuple[str, ...]:
    """The sentences of several messages, in their order."""
    return tuple(words(one) for one in many)
