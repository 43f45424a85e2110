"""From a table of a rule file to a frozen record: every key is known, every value has its type, or it is a problem.

A misspelt limit that is quietly ignored is the worst fault a rule file can have, so nothing is ignored. The fields of
the records are the schema. A general validation library would do the same; importing the one we tried takes
78 ms, while the rules that a batch of suppositories needs are read here in about 4 ms.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable, Mapping
from decimal import Decimal
from enum import Enum
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from msgspec import Struct, field

from qc.problems import InputProblems, Problem
from qc.rules.schema import Shape, schema_of

Record = TypeVar("Record", bound=Struct)
# No rule that is published asks for more units than this, or states a limit to more places (common practice).
MOST_FIGURE, MOST_PLACES, MOST_DIGITS = 100_000, 12, 20
# The largest built-in rule file has 7,285 bytes, its longest line 328 signs.
MOST_BYTES, LONGEST_LINE = 100_000, 4000


class RuleProblem(InputProblems):
    """Everything that is wrong with a rule file or with the name of a rule: file, key, what stands there, the mend.

    Each problem's `cell` holds the key, for example "rules[1].limit_percent".

    Examples
    --------
    >>> from qc.rules.rule_books import rule_book
    >>> try:
    ...     rule_book("ph-europe")
    ... except RuleProblem as found:
    ...     print(len(found.problems))
    1
    """


class Findings(Struct, frozen=True):
    """The problems of one file, gathered while it is read; `at` is the key of the table that is read just now.

    Examples
    --------
    >>> of_file = Findings("house.toml")
    >>> of_file.within("rule").within("[2]").add("id", "the id is taken", "Give another")
    >>> of_file.problems[0].cell
    'rule[2].id'
    """

    file: str
    at: str = ""
    problems: list[Problem] = field(default_factory=list)

    def within(self, key: str) -> Findings:
        """The same problems, for what stands at a key of the table."""
        return Findings(self.file, self._place(key), self.problems)

    def add(self, key: str, found: str, mend: str) -> None:
        """Note one problem at a key of the table; empty for the table itself."""
        self.problems.append(Problem(file=self.file, sheet="", cell=self._place(key), found=found, mend=mend))

    def _place(self, key: str) -> str:
        return self.at + ("." if self.at and key and not key.startswith("[") else "") + key

    def add_unknown(self, key: str, name: str, *, known: Iterable[str], thing: str) -> None:
        """Note a name that no rule or set has, with the nearest."""
        self.add(key, f'no {thing} has the name "{name}"', did_you_mean(name, known, every="There are"))

    def sound(self, record: Record | None) -> Record:
        """The record that was read, where nothing was found.

        Raises
        ------
        RuleProblem
            All problems noted so far, when there is at least one.
        """
        if self.problems or record is None:
            raise RuleProblem(self.problems)
        return record


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
            data = stream.read(MOST_BYTES + 1)
        if len(data) <= MOST_BYTES and max(map(len, data.splitlines()), default=0) <= LONGEST_LINE:
            return tomllib.loads(data.decode(), parse_float=Decimal)
        found = f"the file has more than {MOST_BYTES:,} bytes, or a line of more than {LONGEST_LINE:,}"
        findings.add("", found, "Keep in it what the house sets, each text in lines of its own")
    except OSError as error:
        findings.add("", f"the file cannot be opened ({error.strerror})", "Check the name and that you may read it")
    except UnicodeDecodeError as error:
        findings.add("", f"byte {error.start} is not UTF-8 text", "Save the file as UTF-8")
    except tomllib.TOMLDecodeError as error:
        findings.add("", f"the file is not TOML: {error}", "Mend that line; text stands in quotes, numbers do not")
    except (RecursionError, ValueError):
        findings.add("", "the file nests lists in lists without end, or holds a number without end", "Mend that line")
    raise RuleProblem(findings.problems)


def read_record(kind: type[Record], path: Path) -> Record:
    """The one record that a whole TOML file holds.

    Raises
    ------
    RuleProblem
        When the file is not sound: every problem at once.
    """
    findings = Findings(path.name)
    return findings.sound(record_from(kind, read_toml(path), findings))


def record_from(kind: type[Record], table: Mapping[str, Any], findings: Findings) -> Record | None:
    """One record out of one table.

    Parameters
    ----------
    kind : type
        The record whose fields are the schema.
    table : mapping
        The table as it was read.
    findings : Findings
        Takes the problems, within the table.

    Returns
    -------
    record or None
        None when a problem was noted.
    """
    before = len(findings.problems)
    values = values_from(schema_of(kind), table, findings)
    return kind(**values) if len(findings.problems) == before else None


def values_from(schema: Mapping[str, Shape], table: Mapping[str, Any], findings: Findings) -> dict[str, Any]:
    """The values of a table that are sound, by key; every other key of it, and every key that is missing, is noted.

    Parameters
    ----------
    schema : mapping
        Each key that is known, and what it may hold.
    table, findings
        As for `record_from`.
    """
    for key in (key for key in table if key not in schema):
        findings.add(key, f'the key "{key}" is not known', did_you_mean(key, schema, every="Known keys"))
    values: dict[str, Any] = {}
    for name, shape in schema.items():
        if name in table:
            value = _value(shape, table[name], findings.within(name))
            if value is not None:
                values[name] = value
        elif not shape.may_be_left_out:
            findings.add(name, f'the key "{name}" is missing', f"Add {name}")
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
    words = tuple(known)
    near = nearest_words(word, words)
    if not near:
        return f"{every}: {', '.join(words)}"
    others = f"{', '.join(near[:-1])} or " if near[1:] else ""
    return f"Did you mean {others}{near[-1]}?"


def nearest_words(word: str, known: Iterable[str]) -> tuple[str, ...]:
    """The known words that a word is most like, all of them when they are equally near; empty where none is alike."""
    import difflib

    matchers = {each: difflib.SequenceMatcher(None, word, each) for each in known}
    likeness = {each: one.ratio() for each, one in matchers.items() if one.real_quick_ratio() >= _ALIKE}
    best = max(likeness.values(), default=0.0)
    return () if best < _ALIKE else tuple(each for each, ratio in likeness.items() if ratio == best)


# Below this likeness a suggestion misleads more often than it helps (common practice of spelling checkers).
_ALIKE = 0.6


def _value(shape: Shape, value: Any, findings: Findings) -> Any:
    """What stands at a key, as its kind; None where that is noted as a problem."""
    if not shape.several:
        return _single(shape.kind, value, findings)
    tables = issubclass(shape.kind, Struct | dict)
    if not isinstance(value, list) or (tables and not all(isinstance(item, dict) for item in value)):
        if tables:
            return _refuse(value, "a list of tables", f"Begin each with the line [[{_heading(findings.at)}]]", findings)
        return _refuse(value, "a list", "Write a list in square brackets", findings)
    found = [_single(shape.kind, item, findings.within(f"[{number}]")) for number, item in enumerate(value, start=1)]
    return None if any(one is None for one in found) else tuple(found)


def _single(kind: type[Any], value: Any, findings: Findings) -> Any:
    if issubclass(kind, Struct | dict):
        if isinstance(value, dict):
            return value if kind is dict else record_from(kind, value, findings)
        return _refuse(value, "a table", f"Write its keys under the line [{_heading(findings.at)}]", findings)
    if issubclass(kind, Enum) and isinstance(value, str):
        words = {str(member.value): member for member in kind}
        if value not in words:
            mend = did_you_mean(value, words, every="Write one of")
            findings.add("", f'"{value}" is not one of the accepted words', mend)
        return words.get(value)
    match value:
        case bool():  # In Python a bool is an int; in a rule file "true" is no number.
            sound = kind is bool
        case int() | Decimal():
            numbers = (Decimal, int) if isinstance(value, int) else (Decimal,)
            sound = kind in numbers and Decimal(value).is_finite() and value >= 0
            if sound and not _within_reach(Decimal(value)):
                mend = f"Write 0, or a number between {Decimal(10) ** -MOST_PLACES:f} and {MOST_FIGURE:,} that is exact"
                findings.add("", f"{Decimal(value):.3g} is no figure of a rule", mend)
                return None
        case _:
            sound = kind is str and isinstance(value, str) and bool(value.strip())
    if sound:
        return kind(value)
    asked, how = _ASKED_FOR.get(kind, ("a word", "in quotes"))
    return _refuse(value, asked, f"Write {asked}, {how}", findings)


def _within_reach(value: Decimal) -> bool:
    """Whether a figure can be one of a rule, and be worked with in exact decimals at once."""
    digits, exponent = value.as_tuple().digits, value.as_tuple().exponent
    return (
        value <= MOST_FIGURE and isinstance(exponent, int) and exponent >= -MOST_PLACES and len(digits) <= MOST_DIGITS
    )


_ASKED_FOR: Mapping[type[Any], tuple[str, str]] = MappingProxyType(
    {
        bool: ("true or false", "without quotes"),
        int: ("a whole number", "zero or more, without quotes"),
        Decimal: ("a number", "zero or more, without quotes and with a decimal point"),
        str: ("text", "in quotes"),
    }
)


def _refuse(value: Any, asked: str, mend: str, findings: Findings) -> None:
    """Note that a value is not what is asked for at its key."""
    match value:
        case str():
            standing = f'"{value}"'
        case bool():
            standing = str(value).lower()
        case list() | dict():
            standing = f"a {'list' if isinstance(value, list) else 'table'}"
        case _:
            standing = str(value)
    findings.add("", f"{standing} stands where {asked} is asked for", mend)


def _heading(at: str) -> str:
    """The heading of a table in its file: its key without the numbers of the tables around it."""
    return re.sub(r"\[\d+\]", "", at)
