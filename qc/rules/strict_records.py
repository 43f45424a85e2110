"""From a table of a rule file to a frozen record: every key is known, every value has its type, or it is a problem.

A misspelt limit that is quietly ignored is the worst fault a rule file can have, so nothing is ignored. The fields of
the records are the schema. A general validation library would do the same; importing the one we tried takes
78 ms, while the rules that a batch of suppositories needs are read here in about 4 ms.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from enum import Enum
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from msgspec import Struct

from qc.problems import InputProblems, Problem
from qc.rules.schema import Shape, schema_of

Record = TypeVar("Record", bound=Struct)


class RuleProblem(InputProblems):
    """Everything that is wrong with a rule file or with the name of a rule: file, key, what stands there, the mend.

    Each problem's `cell` holds the key, for example "rules[1].limit_percent".
    """


class Findings:
    """The problems of one file, gathered while it is read."""

    def __init__(self, file: str) -> None:
        self.file = file
        self.problems: list[Problem] = []

    def add(self, key: str, found: str, mend: str) -> None:
        """Note one problem at a key of the file."""
        self.problems.append(Problem(file=self.file, sheet="", cell=key, found=found, mend=mend))

    def stop_if_any(self) -> None:
        """End the reading with all problems noted so far.

        Raises
        ------
        RuleProblem
            When there is at least one.
        """
        if self.problems:
            raise RuleProblem(self.problems)


class _Unusable(Exception):
    """A value that has been noted as a problem and has no record."""


def read_toml(path: Path) -> dict[str, Any]:
    """The tables of a TOML file, its numbers exact decimals.

    Raises
    ------
    RuleProblem
        When the file cannot be opened or is not TOML.
    """
    findings = Findings(path.name)
    try:
        with path.open("rb") as stream:
            return tomllib.load(stream, parse_float=Decimal)
    except OSError as error:
        findings.add("", f"the file cannot be opened ({error.strerror})", "Check the name and that you may read it")
    except UnicodeDecodeError as error:
        findings.add("", f"byte {error.start} is not UTF-8 text", "Save the file as UTF-8")
    except tomllib.TOMLDecodeError as error:
        findings.add("", f"the file is not TOML: {error}", "Mend that line; text stands in quotes, numbers do not")
    raise RuleProblem(findings.problems)


def record_from(kind: type[Record], table: Mapping[str, Any], *, at: str, findings: Findings) -> Record | None:
    """One record out of one table.

    Parameters
    ----------
    kind : type
        The record whose fields are the schema.
    table : mapping
        The table as it was read.
    at : str
        Key of the table in its file; empty for the file itself.
    findings : Findings
        Takes the problems.

    Returns
    -------
    record or None
        None when a problem was noted.
    """
    try:
        return _record(kind, table, at=at, findings=findings)
    except _Unusable:
        return None


def values_from(
    schema: Mapping[str, Shape], table: Mapping[str, Any], *, at: str, findings: Findings
) -> dict[str, Any]:
    """The values of a table that are sound, by key; every other key of it, and every key that is missing, is noted.

    Parameters
    ----------
    schema : mapping
        Each key that is known, and what it may hold.
    table, at, findings
        As for `record_from`.
    """
    note_unknown_keys(table, known=schema, at=at, findings=findings)
    values: dict[str, Any] = {}
    for name, shape in schema.items():
        if name in table:
            try:
                values[name] = _value(shape, table[name], at=_inside(at, name), findings=findings)
            except _Unusable:
                continue
        elif not shape.may_be_left_out:
            findings.add(_inside(at, name), f'the key "{name}" is missing', f"Add {name}")
    return values


def did_you_mean(word: str, known: Iterable[str], *, every: str) -> str:
    """The mend for a word that is not known: the nearest known word, several when they are equally near, or the list.

    Examples
    --------
    >>> did_you_mean("limit_percnt", ["limit_percent", "mark"], every="Known keys")
    'Did you mean limit_percent?'
    >>> did_you_mean("test", ["test-a", "test-b", "test-c"], every="There are")
    'Did you mean test-a, test-b or test-c?'
    >>> did_you_mean("xyz", ["limit_percent", "mark"], every="Known keys")
    'Known keys: limit_percent, mark'
    """
    import difflib

    likeness = {each: difflib.SequenceMatcher(None, word, each).ratio() for each in known}
    best = max(likeness.values(), default=0.0)
    if best < _ALIKE:
        return f"{every}: {', '.join(likeness)}"
    *others, last = (each for each, ratio in likeness.items() if ratio == best)
    return f"Did you mean {', '.join(others)} or {last}?" if others else f"Did you mean {last}?"


# Below this likeness a suggestion misleads more often than it helps (common practice of spelling checkers).
_ALIKE = 0.6


def note_unknown_keys(table: Mapping[str, Any], *, known: Iterable[str], at: str, findings: Findings) -> None:
    """Note every key of a table that is not known, each with the nearest known key."""
    words = tuple(known)
    for key in table:
        if key not in words:
            findings.add(
                _inside(at, key), f'the key "{key}" is not known', did_you_mean(key, words, every="Known keys")
            )


def _record(kind: type[Record], table: Mapping[str, Any], *, at: str, findings: Findings) -> Record:
    before = len(findings.problems)
    values = values_from(schema_of(kind), table, at=at, findings=findings)
    if len(findings.problems) > before:
        raise _Unusable
    return kind(**values)


def _value(shape: Shape, value: Any, *, at: str, findings: Findings) -> Any:
    if not shape.several:
        return _single(shape.kind, value, at=at, findings=findings)
    if not isinstance(value, list):
        raise _noted(findings, at, value, "a list", "Write a list in square brackets")
    found: list[Any] = []
    for number, item in enumerate(value, start=1):
        try:
            found.append(_single(shape.kind, item, at=f"{at}[{number}]", findings=findings))
        except _Unusable:
            continue
    if len(found) < len(value):
        raise _Unusable
    return tuple(found)


def _single(kind: type[Any], value: Any, *, at: str, findings: Findings) -> Any:
    if kind is str and isinstance(value, str) and value.strip():
        return value
    if issubclass(kind, Struct) and isinstance(value, dict):
        return _record(kind, value, at=at, findings=findings)
    if issubclass(kind, Enum) and isinstance(value, str):
        return _word(kind, value, at=at, findings=findings)
    if isinstance(value, bool):
        # In Python a bool is an int; in a rule file "true" is no number.
        if kind is bool:
            return value
    elif (kind is int and isinstance(value, int)) or (kind is Decimal and isinstance(value, int | Decimal)):
        number = Decimal(value)
        if number.is_finite() and number >= 0:
            return kind(value)
    if issubclass(kind, Struct):
        raise _noted(findings, at, value, "a table", "Write its keys under a heading in square brackets")
    asked, mend = _ASKED_FOR.get(kind, ("a word", "Write it in quotes"))
    raise _noted(findings, at, value, asked, mend)


def _word(kind: type[Enum], value: str, *, at: str, findings: Findings) -> Enum:
    try:
        return kind(value)
    except ValueError:
        every = [str(member.value) for member in kind]
        mend = did_you_mean(value, every, every="Write one of")
        findings.add(at, f'"{value}" is not one of the accepted words', mend)
        raise _Unusable from None


_ASKED_FOR: Mapping[type[Any], tuple[str, str]] = MappingProxyType(
    {
        bool: ("true or false", "Write true or false, without quotes"),
        int: ("a whole number", "Write a whole number, zero or more, without quotes"),
        Decimal: ("a number", "Write a number, zero or more, without quotes and with a decimal point"),
        str: ("text", "Write some text in quotes"),
    }
)


def _noted(findings: Findings, at: str, value: Any, asked: str, mend: str) -> _Unusable:
    match value:
        case str():
            standing = f'"{value}"'
        case bool():
            standing = str(value).lower()
        case list() | dict():
            standing = f"a {'list' if isinstance(value, list) else 'table'}"
        case _:
            standing = str(value)
    findings.add(at, f"{standing} stands where {asked} is asked for", mend)
    return _Unusable()


def _inside(at: str, key: str) -> str:
    return f"{at}.{key}" if at else key
