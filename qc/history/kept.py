"""Records as JSON that is read back equal: every value that JSON does not know carries the name of its kind.

A record stands as `["qc.results.judged.TestResult", {field: value}]`, without the fields that hold their default. So
what was stored before a field came is read with its default, and of what was stored before a field went the rest is
read; the store itself keeps all of it, and a general program reads it too.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from enum import Enum
from fractions import Fraction
from importlib import import_module
from math import isfinite
from typing import Any

from msgspec import Struct
from msgspec.structs import fields

OURS = "qc."
_PLAIN = frozenset({str, int, bool, type(None)})
_SIMPLE: Mapping[str, Callable[[str], object]] = {"Decimal": Decimal, "Fraction": Fraction, "float": float}
_GROUPS: Mapping[str, Callable[[list[object]], object]] = {"tuple": tuple, "list": list, "frozenset": frozenset}
_NAMES: dict[type, str] = {}
_DEFAULTS: dict[type, tuple[tuple[str, object], ...]] = {}


def kept(value: Any) -> Any:
    """A value as JSON can hold it.

    Examples
    --------
    >>> kept((Decimal("2.100"), 1.5))
    ['tuple', [['Decimal', '2.100'], 1.5]]
    """
    kind = type(value)
    if kind in _PLAIN or (kind is float and isfinite(value)):
        return value
    if kind in _DEFAULTS or isinstance(value, Struct):
        stands = {}
        for name, default in _DEFAULTS.get(kind) or _read_defaults(kind):
            held = getattr(value, name)
            if held is not default:
                stands[name] = kept(held)
        return [_NAMES[kind], stands]
    if kind.__name__ in _GROUPS:
        return [kind.__name__, [kept(held) for held in value]]
    if kind.__name__ in _SIMPLE:
        return [kind.__name__, str(value)]
    if isinstance(value, Enum):
        return [f"{kind.__module__}.{kind.__qualname__}", value.value]
    return {name: kept(held) for name, held in value.items()}


def _read_defaults(kind: type[Struct]) -> tuple[tuple[str, object], ...]:
    """The fields of a record with their defaults; a default that is made anew each time is never the same."""
    _NAMES[kind] = f"{kind.__module__}.{kind.__qualname__}"
    _DEFAULTS[kind] = tuple((one.name, one.default) for one in fields(kind))
    return _DEFAULTS[kind]


def read_back(stored: Any) -> Any:
    """The value that `kept` made into JSON.

    Raises
    ------
    ValueError, TypeError
        When it is no such JSON, or names a record that this version does not know.

    Examples
    --------
    >>> read_back(kept({"a": (Fraction(1, 3), None)}))
    {'a': (Fraction(1, 3), None)}
    """
    if isinstance(stored, Mapping):
        return {name: read_back(held) for name, held in stored.items()}
    if not isinstance(stored, list):
        return stored
    name, held = stored
    if name in _SIMPLE:
        return _SIMPLE[name](held)
    if name in _GROUPS:
        return _GROUPS[name]([read_back(one) for one in held])
    kind = _known(name)
    if not issubclass(kind, Struct):
        return kind(held)
    return kind(**{field: read_back(one) for field, one in held.items() if field in kind.__struct_fields__})


def _known(name: str) -> type[Any]:
    """A record or enumeration of this package by its name; nothing else is ever made from a store."""
    module, _, own = str(name).rpartition(".")
    found = getattr(import_module(module), own, None) if module.startswith(OURS) else None
    if not (isinstance(found, type) and issubclass(found, Struct | Enum)):
        raise ValueError(f'"{name}" is no record of this version')
    return found
