"""Texts with all that some functions say of each, a line a text, kept in a file beside the test.

They are our own answers: they guard against change and prove nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct, structs

ARROW = " -> "

Asked = Mapping[str, Callable[[str], Any]]


def said_of(text: str, asked: Asked) -> str:
    """All that is said of a text, as one line; what says nothing is left out."""
    found = ((name, _plain(ask(text))) for name, ask in asked.items())
    told = {name: one for name, one in found if one not in (None, "", False, [], ())}
    return json.dumps(text, ensure_ascii=False) + ARROW + json.dumps(told, ensure_ascii=False)


def _plain(one: Any) -> Any:
    if isinstance(one, Struct):
        return [_plain(value) for value in structs.astuple(one)]
    if isinstance(one, tuple | list):
        return [_plain(value) for value in one]
    if isinstance(one, set | frozenset):
        return sorted(map(str, one))
    return one if isinstance(one, str | int | None) else str(one)


def texts_in(file: Path) -> dict[str, str]:
    """The line of each text."""
    decoder = json.JSONDecoder()
    return {decoder.raw_decode(line)[0]: line for line in file.read_text(encoding="utf-8").splitlines()}


def write_anew(file: Path, asked: Asked) -> None:
    """Ask of every text in a file again; of one without an answer for the first time."""
    file.write_text("".join(f"{said_of(text, asked)}\n" for text in sorted(texts_in(file))), encoding="utf-8")


def changed_lines(file: Path, asked: Asked) -> list[str]:
    """The lines of which something else is said now."""
    kept = texts_in(file)
    assert kept
    return [line for text, line in kept.items() if said_of(text, asked) != line]
