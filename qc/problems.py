"""What is wrong with an input: what stands there, where, and how to mend it; and what is worth a remark."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from pathlib import Path

from msgspec import Struct
from msgspec.structs import asdict

# A cell may hold a page of text; a message shows as much of it as tells it from others [characters].
MOST_QUOTED = 60


def quoted(text: str) -> str:
    """A text that somebody typed, as a message quotes it: on one line, cut where it is long.

    Examples
    --------
    >>> quoted("two\\nlines"), len(quoted("long " * 60))
    ('"two lines"', 62)
    """
    line = " ".join(text.splitlines())
    return f'"{line}"' if len(line) <= MOST_QUOTED else f'"{line[: MOST_QUOTED - 1]}\N{HORIZONTAL ELLIPSIS}"'


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
        place = f"{self.sheet}!{self.cell}" if self.sheet and self.cell else self.sheet or self.cell
        address = ", ".join(part for part in (self.file, place) if part)
        return f"{address}: {_sentence(self.found)} {_sentence(self.mend)}"


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

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems: tuple[Problem, ...] = tuple(problems)
        super().__init__("\n".join(str(problem) for problem in self.problems))

    @classmethod
    def of_file(cls, path: Path, found: str, mend: str) -> InputProblems:
        """The one problem of a file as a whole."""
        return cls([Problem(file=path.name or str(path), sheet="", cell="", found=found, mend=mend)])


class Notice(Struct, frozen=True, kw_only=True):
    """A remark that the reader of a result should see; it stops nothing.

    Parameters
    ----------
    where : str
        The place it is about: a sheet and cell, a unit, a test, or "batch".
    text : str
        The remark, a full sentence.
    """

    where: str
    text: str
