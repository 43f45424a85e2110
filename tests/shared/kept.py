"""Answers of the package to their full figures, kept in a file beside the test: every place where one differs is told.

They are our own answers: they guard against change and prove nothing. What proves a figure stands in the tests beside
them. After a change that is meant they are written anew by running the test's file, and the difference is read.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Mapping
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from pathlib import Path
from typing import Any

import msgspec
import numpy as np

CLOSE = 5e-9
DIGITS = 10
LINE = 150

Answers = Mapping[str, Callable[[], Any]]


def plain(value: Any) -> Any:
    """An answer as JSON has it: records by their fields, none of which is left at nothing; figures to ten digits."""
    match value:
        case msgspec.Struct():
            fields = {name: getattr(value, name) for name in value.__struct_fields__}
            return plain({name: one for name, one in fields.items() if not _left_open(one)})
        case bool() | None:
            return value
        case Enum():
            return str(value.value)
        case float() | np.floating():
            return float(f"{value:.{DIGITS}g}") if math.isfinite(value) else str(value)
        case int() | str() | np.integer():
            return value if isinstance(value, str) else int(value)
        case list() | tuple():
            return [plain(one) for one in value]
        case np.ndarray():
            return plain(value.tolist())
        case Decimal() | Fraction():
            return str(value)
        case Mapping():
            return {str(key): plain(one) for key, one in value.items()}
        case set() | frozenset():
            return sorted(map(str, value))
    raise TypeError(f"{type(value)} cannot be kept")


def _left_open(one: Any) -> bool:
    return one is None or (isinstance(one, tuple | str) and not one)


def differences(now: Any, kept: Any, *, at: str = "", close: float = CLOSE) -> Iterator[str]:
    """Where two answers differ, and by what; figures by more than a share of themselves."""
    if isinstance(now, dict) and isinstance(kept, dict):
        for key in [*kept, *(key for key in now if key not in kept)]:
            yield from differences(now.get(key), kept.get(key), at=f"{at}.{key}", close=close)
    elif isinstance(now, list) and isinstance(kept, list) and len(now) == len(kept):
        for place, (one, other) in enumerate(zip(now, kept, strict=True)):
            yield from differences(one, other, at=f"{at}[{place}]", close=close)
    elif isinstance(now, float) and isinstance(kept, float | int):
        if not math.isclose(now, kept, rel_tol=close, abs_tol=1e-14):
            yield f"{at}: {kept} -> {now}"
    elif now != kept or isinstance(now, bool) is not isinstance(kept, bool):
        yield f"{at}: {kept} -> {now}"


def kept_in(file: Path) -> dict[str, Any]:
    """The answers by name, as they were written last; none where there is no file."""
    found: dict[str, Any] = json.loads(file.read_text(encoding="utf-8")) if file.exists() else {}
    return found


def write_anew(file: Path, answers: Answers) -> None:
    """Ask for every answer and write them all."""
    lines = [f"{json.dumps(name)}: {_laid_out(plain(answer()))}" for name, answer in answers.items()]
    file.write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


def _laid_out(value: Any, *, indent: str = " ") -> str:
    """On one line where it is short, else a line an entry."""
    short = json.dumps(value, ensure_ascii=False)
    if len(short) + len(indent) <= LINE or not isinstance(value, dict | list):
        return short
    if isinstance(value, list):
        return "[\n" + ",\n".join(indent + _laid_out(one, indent=indent + " ") for one in value) + "]"
    entries = (f"{json.dumps(key)}: {_laid_out(one, indent=indent + ' ')}" for key, one in value.items())
    return "{\n" + ",\n".join(indent + one for one in entries) + "}"
