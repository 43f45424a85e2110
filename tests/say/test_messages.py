"""Every message that is sent has a function that words it, with the very values it carries."""

from __future__ import annotations

import ast
import inspect
from collections.abc import Iterator

import pytest
from parsed import PACKAGE, modules, parsed

from qc.results import message
from qc.say.messages import wording, words
from qc.say.sentences import named

pytestmark = pytest.mark.xdist_group("parsed")


def sent() -> Iterator[tuple[str, str, set[str] | None]]:
    """Where a message is made, its id, and the names of its values; None where they are handed on as a mapping."""
    for path in modules():
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "message":
                place = f"{path.relative_to(PACKAGE)}:{node.lineno}"
                assert isinstance(node.args[0], ast.Constant), f"{place}: the id of a message is written out"
                names = [word.arg for word in node.keywords]
                yield place, str(node.args[0].value), None if None in names else {name for name in names if name}


def test_every_message_has_words_that_take_its_values() -> None:
    found = list(sent())
    assert len(found) > 150
    for place, id, values in found:
        say = wording(id)
        if isinstance(say, str):
            assert values is None or values >= named(say), f"{place}: {id} lacks {named(say) - values}"
        elif values is not None:
            inspect.signature(say).bind(**dict.fromkeys(values))


def test_a_message_without_words_is_a_fault_that_names_it() -> None:
    with pytest.raises(LookupError, match=r"no words for the message mass\.of_the_moon"):
        words(message("mass.of_the_moon"))
