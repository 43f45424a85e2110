"""What is wrong with an input: what stands there, where, and how to mend it; and what is worth a remark."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import groupby
from pathlib import Path

from msgspec import Struct
from msgspec.structs import asdict

from qc.patterns import pattern

# A wholly broken file fills one screen, not twenty; a message names as many runs of cells as a person looks up.
MOST_SHOWN, MOST_RUNS = 20, 6
# Fewer cells of one fault are told one by one, each with what was typed there.
FEWEST_ALIKE = 4
# What may differ between two messages of one fault: what is quoted, and whatever word holds a digit.
_OWN = pattern(r'"[^"]*"|\S*\d\S*')
_CELL = pattern(r"([A-Z]{1,3})([1-9]\d*)")

# A cell may hold a page of text; a message shows what tells it from others, the result nearly all of it [characters].
MOST_QUOTED, MOST_KEPT, MOST_TEXTS = 60, 1000, 50


def quoted(text: str) -> str:
    """A text that somebody typed, as a message quotes it: on one line, cut where it is long.

    Examples
    --------
    >>> quoted("two\\nlines"), len(quoted("long " * 60))
    ('"two lines"', 62)
    """
    line = " ".join(text.splitlines())
    return f'"{line}"' if len(line) <= MOST_QUOTED else f'"{line[: MOST_QUOTED - 1]}\N{HORIZONTAL ELLIPSIS}"'


def in_full(text: str) -> str:
    """A text that somebody typed, whole and on one line; of more than `MOST_KEPT` characters the rest is counted.

    Examples
    --------
    >>> in_full("two\\nlines"), in_full("ab" * 501)[-24:]
    ('"two lines"', 'ab…" (2 more characters)')
    """
    line = " ".join(text.splitlines())
    more = f'\N{HORIZONTAL ELLIPSIS}" ({len(line) - MOST_KEPT:,} more characters)' if len(line) > MOST_KEPT else '"'
    return f'"{line[:MOST_KEPT]}{more}'


def all_in_full(texts: Iterable[str], *, between: str = ", ") -> str:
    """Different texts that somebody typed, each whole; past `MOST_TEXTS` of them the rest is counted."""
    said = [*dict.fromkeys(map(in_full, texts))]
    more = f" and {len(said) - MOST_TEXTS} more" if len(said) > MOST_TEXTS else ""
    return between.join(said[:MOST_TEXTS]) + more


class Problem(Struct, frozen=True, kw_only=True):
    """One thing in the input that cannot be used. Readable by attribute and, for other programs, by key.

    Examples
    --------
    >>> slip = Problem(
    ...     file="batch.xlsx", sheet="Units", cell="E14", found='mass "2.1O" is not a number', mend="Type 2.10"
    ... )
    >>> str(slip)
    'batch.xlsx, Units!E14: mass "2.1O" is not a number. Type 2.10.'
    >>> slip["cell"]
    'E14'
    """

    file: str
    sheet: str
    cell: str
    found: str
    mend: str

    def __getitem__(self, name: str) -> str:
        value: str = asdict(self)[name]
        return value

    def keys(self) -> list[str]:
        """The names of the parts, in the order of the result document."""
        return list(self.__struct_fields__)

    def __iter__(self) -> Iterator[str]:
        return iter(self.keys())

    def __str__(self) -> str:
        return self.told()

    def told(self, *, cells: str = "", alike: str = "") -> str:
        """The message; for several cells of one fault it takes all of them and what is said of the rest."""
        cell = cells or self.cell
        place = f"{self.sheet}!{cell}" if self.sheet and cell else self.sheet or cell
        address = ", ".join(part for part in (self.file, place) if part)
        told = f"{_sentence(self.found)}{alike} {_sentence(self.mend)}"
        return f"{address}: {told}" if address else told


def _sentence(text: str) -> str:
    return text if text.endswith((".", "?", "!")) else f"{text}."


class InputProblems(ValueError):
    """Everything that is wrong with an input, gathered in one run; nothing was written.

    Examples
    --------
    >>> empty = Problem(file="a.csv", sheet="", cell="", found="the file is empty", mend="Enter the units")
    >>> raise InputProblems([empty])
    Traceback (most recent call last):
    qc.problems.InputProblems: a.csv: the file is empty. Enter the units.
    """

    choices: tuple[tuple[str, str], ...] = ()
    """Where an input holds several batches: for each the fact of the call that picks it, and its value."""

    noticed: tuple[str, ...] = ()
    """What is no problem of the input, and would be told beside its units: no unit 10 between 1 and 20."""

    def __init__(
        self, problems: Iterable[Problem], *, choices: Iterable[tuple[str, str]] = (), noticed: Iterable[str] = ()
    ) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        self.choices = tuple(choices)
        self.noticed = tuple(noticed)
        super().__init__("\n".join(told(self.problems)))

    @classmethod
    def of_file(cls, path: Path, found: str, mend: str) -> InputProblems:
        """The one problem of a file as a whole."""
        return cls([Problem(file=path.name or str(path), sheet="", cell="", found=found, mend=mend)])


def told(problems: Sequence[Problem]) -> list[str]:
    """Problems as a person reads them: one fault of many cells of a column in one line, and no more lines than fit.

    Examples
    --------
    >>> slips = [
    ...     Problem(file="a.csv", sheet="", cell=f"B{row}", found=f'mass "2,{row} g" is in g', mend="Type it in mg")
    ...     for row in (4, 5, 6, 9)
    ... ]
    >>> told(slips)
    ['a.csv, B4:B6, B9: mass "2,4 g" is in g. The same in 4 cells, of which the first is quoted. Type it in mg.']
    """
    faults: dict[tuple[str, ...], list[Problem]] = {}
    for one in problems:
        faults.setdefault(_fault(one), []).append(one)
    groups = []
    for one in problems:
        alike = faults[_fault(one)]
        if len(alike) < FEWEST_ALIKE:
            groups.append([one])
        elif one is alike[0]:
            groups.append(alike)
    lines = [_of_one_fault(group) for group in groups[:MOST_SHOWN]]
    rest = sum(map(len, groups[MOST_SHOWN:]))
    more = f"And {rest} more {'problem' if rest == 1 else 'problems'}: mend these first."
    return [*lines, *([more] if rest else [])]


def _fault(problem: Problem) -> tuple[str, ...]:
    """What two problems of one fault have in common: their place down to the column, and their words."""
    if (cell := _CELL.fullmatch(problem.cell)) is None:
        return problem.file, problem.sheet, problem.cell, problem.found
    return problem.file, problem.sheet, cell.group(1), _OWN.sub("", problem.found), _OWN.sub("", problem.mend)


def _of_one_fault(alike: Sequence[Problem]) -> str:
    if len(alike) == 1:
        return str(alike[0])
    letters = alike[0].cell.rstrip("0123456789")
    rows = sorted({int(one.cell.removeprefix(letters)) for one in alike})
    runs = [[row for _, row in run] for _, run in groupby(enumerate(rows), key=lambda one: one[1] - one[0])]
    ends = [f"{letters}{run[0]}" + (f":{letters}{run[-1]}" if len(run) > 1 else "") for run in runs]
    more = f" and {len(ends) - MOST_RUNS} more places" if len(ends) > MOST_RUNS else ""
    cells = ", ".join(ends[:MOST_RUNS]) + more
    return alike[0].told(cells=cells, alike=f" The same in {len(rows)} cells, of which the first is quoted.")


BY_CALL = "cells named by --ignore"
"""What cells are called that the call left out of account."""

TITLES, COLUMNS, TOLD, TEXT = "titles", "columns", "read", "text"
"""What texts and columns beside the table are called that nothing else is said of; what they hold is told all the same.
What was read, and is told beside it, is called `TOLD`, and what is in the words of a record `TEXT`."""


class IgnoredCells(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Cells of an input that were left out of account, and what they are: a column, a sheet, text beside the table.

    `said` is what is written there, where it is said of units.
    """

    cells: str
    what: str
    said: str = ""


class RefusedCall(InputProblems):
    """The one thing that is wrong with an option."""

    def __init__(self, found: str, mend: str) -> None:
        super().__init__([Problem(file="", sheet="", cell="", found=found, mend=mend)])


@contextmanager
def gathering(problems: list[Problem], noticed: list[str] | None = None) -> Iterator[None]:
    """Go on after an input that cannot be used, with what is wrong with it and what was noticed, to tell all in one go.

    Examples
    --------
    >>> wrong = []
    >>> with gathering(wrong):
    ...     raise RefusedCall("--mass-unit is not known", "Give g or mg")
    >>> [str(one) for one in wrong]
    ['--mass-unit is not known. Give g or mg.']
    """
    try:
        yield
    except InputProblems as unusable:
        problems += unusable.problems
        if noticed is not None:
            noticed += unusable.noticed


def tell_together(problems: Sequence[Problem], refused: Sequence[Problem], noticed: Sequence[str] = ()) -> None:
    """Raise all that was found wrong in one go; what is wrong with the call alone as such."""
    if len(problems) == 1 and refused:
        raise RefusedCall(refused[0].found, refused[0].mend)
    if problems:
        raise InputProblems(problems, noticed=noticed)


class Notice(Struct, frozen=True, kw_only=True):
    """A remark that the reader of a result should see; it stops nothing.

    Parameters
    ----------
    where : str
        The place it is about: a sheet and cell, a unit, a test, or "batch".
    text : str
        The remark, a full sentence.
    ignored : IgnoredCells or None
        What was left out of account, where that is what it says.
    """

    where: str
    text: str
    ignored: IgnoredCells | None = None
