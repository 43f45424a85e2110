"""The kinds of rules, one file or folder each: a file put here is a kind, and nothing else has to name it."""

from __future__ import annotations

import functools
import pkgutil
from collections.abc import Mapping
from importlib import import_module
from types import MappingProxyType
from typing import Any

from qc.rules.kind import Kind
from qc.rules.records import Rule


@functools.cache
def all_kinds() -> tuple[Kind[Any], ...]:
    """Every kind of rule, in the order of the list of rules."""
    found: list[Kind[Any]] = [
        import_module(f"{__name__}.{module.name}").KIND for module in pkgutil.iter_modules(__path__)
    ]
    return tuple(sorted(found, key=lambda kind: kind.place))


def kind_of(rule: Rule) -> Kind[Any]:
    """The kind of a rule."""
    return _by_record()[type(rule)]


@functools.cache
def kinds_of_tests() -> Mapping[str, Kind[Any]]:
    """Ids of tests, each with the kind of rule that serves it, in the order of the list of rules."""
    return MappingProxyType({test: kind for kind in all_kinds() for test in kind.tests})


@functools.cache
def _by_record() -> Mapping[type[Rule], Kind[Any]]:
    return MappingProxyType({kind.record: kind for kind in all_kinds()})
