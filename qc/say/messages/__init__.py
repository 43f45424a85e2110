"""From a message to its sentence: the function `none_weighed` of `mass.py` beside this words `mass.none_weighed`."""

from __future__ import annotations

from collections.abc import Iterable
from importlib import import_module

from qc.results.messages import Message


def words(one: Message | str) -> str:
    """The sentence of a message; messages among its values are worded first.

    Raises
    ------
    LookupError
        When no function words that id, which is a fault of the package.
    """
    if isinstance(one, str):
        return one
    room, _, name = one.id.partition(".")
    try:
        say = getattr(import_module(f"qc.say.messages.{room}"), name)
    except (ImportError, AttributeError):
        raise LookupError(f"no words for the message {one.id}") from None
    sentence: str = say(
        **{name: words(value) if isinstance(value, Message) else value for name, value in one.values.items()}
    )
    return sentence


def paragraph(many: Iterable[Message | str]) -> str:
    """The sentences of several messages, one after the other."""
    return " ".join(all_words(many))


def all_words(many: Iterable[Message | str]) -> tuple[str, ...]:
    """The sentences of several messages, in their order."""
    return tuple(words(one) for one in many)
