"""What was found, before it has words: messages (an id and its values) and limits (a figure beside its bound).

Rooms below `qc.say` hand these upward and form no sentence; `qc.say` turns them into words, in one place.
"""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec import Struct, field


class Message(Struct, frozen=True, kw_only=True):
    """A finding: which sentence says it, and the values that go into the sentence.

    Parameters
    ----------
    id : str
        `ROOM.NAME`: the function `NAME` in `qc/say/messages/ROOM.py` words it.
    values : mapping
        Its arguments by name: numbers at full precision, names of units, ids, other messages.
    """

    id: str
    values: Mapping[str, Any] = field(default_factory=dict)


def message(id: str, /, **values: Any) -> Message:
    """A message with its values.

    Examples
    --------
    >>> message("mass.none_weighed").id
    'mass.none_weighed'
    """
    return Message(id=id, values=values)


Figure = Decimal | Fraction | float | int
"""A number at full precision."""


OF_THE_RECORD = "the record"
"""The clause of a limit that somebody entered beside the result."""


class Limit(Struct, frozen=True, kw_only=True):
    """One figure beside its bound, decided once: a line of page one and of `tests[].limits[]`.

    Parameters
    ----------
    what : str
        Id of what is compared; the function of that name in `qc/say/limits.py` words the line.
    figure : number or None
        What was found, full precision.
    bound : number, tuple of two of these, or None
        What the rule allows; None for a figure that no limit decides on.
    met : bool or None
        None where it cannot be said yet, or where no limit decides.
    unit : str
        Unit of measure of figure and bound: "units", "%", "g", "" for a plain number.
    clause : str
        Number of the clause of the rule that asks for it.
    values : mapping
        What else the words need, such as the centre a deviation counts from.
    """

    what: str
    figure: Figure | None
    bound: Figure | tuple[Figure | None, Figure | None] | None = None
    met: bool | None = None
    unit: str = ""
    clause: str = ""
    values: Mapping[str, Any] = field(default_factory=dict)


class Remark(Struct, frozen=True, kw_only=True):
    """A remark of the judge that the reader of a result should see; it decides nothing.

    Parameters
    ----------
    where : str
        The place it is about: a sheet and cell, a unit, a test.
    text : Message
    """

    where: str
    text: Message
