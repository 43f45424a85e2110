"""What is known of one column, and of one sheet; and when a typed heading or name is a known one.

A heading is matched without regard to case, to the kind and number of spaces, to a space before or inside its bracket,
to square or round brackets, and to a closing colon: "MASS[g]:" is "Mass (g)". Nothing else is matched; a heading that
is merely near a known one is ignored with a notice that names the known one.
"""

from __future__ import annotations

import difflib
import functools
from collections.abc import Callable, Iterable, Mapping
from decimal import Decimal
from enum import StrEnum

from msgspec import Struct

from qc.patterns import pattern

_BETWEEN, _ROUND = pattern(r"[^\w%]|_"), str.maketrans("[]", "()")


class Holds(StrEnum):
    """What the cells of a column hold."""

    NAME = "a name that others refer to"
    TEXT = "text"
    DAY = "a day of the calendar, as text"
    WORDS = "words, parted by semicolons"
    CHOICE = "one of a few words"
    YES_NO = "yes or no"
    NUMBER = "a number"
    WHOLE = "a whole number"


class Plausible(Struct, frozen=True, kw_only=True):
    """Between which two numbers, both included, a value other than 0 is no slip [unit of the column]."""

    floor: Decimal
    ceiling: Decimal

    @property
    def ends(self) -> tuple[str, str]:
        """The two numbers in digits."""
        return f"{self.floor.normalize():f}", f"{self.ceiling.normalize():f}"

    def __str__(self) -> str:
        return " to ".join(self.ends)

    def scaled(self, power: int) -> Plausible:
        """The same range in a unit that is a power of ten smaller."""
        return Plausible(floor=self.floor.scaleb(power), ceiling=self.ceiling.scaleb(power))


class Field(Struct, frozen=True):
    """A known column, or a known fact of the Batch sheet.

    Parameters
    ----------
    heading : str
        As it is written; a unit of measure stands in brackets at its end.
    attribute : str
        What it fills in the record of its sheet; two headings with one attribute are two ways to say the same thing,
        and only one may stand.
    hint : str
        Shown in the entry workbook when the cell is selected; one or two sentences.
    example : str
        A number that would be accepted.
    holds : Holds
    width : float
        Width of the column in the entry workbook [characters].
    plausible : Plausible or None
        Beyond which numbers a value is refused as a slip; None for a column that holds no numbers.
    zero : bool
        Whether a number may be 0.
    power : int
        Power of ten from the unit of the heading to that of the attribute: -3 for a mass in mg that is kept in g [-].
    shown : str
        How a spreadsheet shows the number; digits typed beyond it stay visible.
    choices : type of StrEnum or None
        The words of a choice.
    words : tuple of str
        Other words that the entry workbook offers; of a whole number, all that are accepted.
    offered : str
        Name of the list that the entry workbook offers instead: "forms", "rules", "units" or "actives".
    """

    heading: str
    attribute: str
    hint: str = ""
    example: str = ""
    holds: Holds = Holds.TEXT
    width: float = 12
    plausible: Plausible | None = None
    zero: bool = False
    power: int = 0
    shown: str = "General"
    choices: type[StrEnum] | None = None
    words: tuple[str, ...] = ()
    offered: str = ""

    @property
    def noun(self) -> str:
        """What a message calls its value: the heading without its unit of measure."""
        return self.heading.partition(" (")[0].casefold()

    @property
    def unit(self) -> str:
        """Unit of measure of its numbers: "g", "mg", "%" or empty."""
        return self.heading.partition(" (")[2].removesuffix(")").partition(" ")[0]

    @property
    def is_number(self) -> bool:
        """Whether its cells are read as numbers."""
        return self.holds in (Holds.NUMBER, Holds.WHOLE)

    @property
    def picked(self) -> tuple[str, ...]:
        """The words that its drop-down list offers, none where they stand elsewhere or anything may be typed."""
        return tuple(word.value for word in self.choices) if self.choices else self.words


class Sheet(Struct, frozen=True, kw_only=True):
    """A known sheet.

    Parameters
    ----------
    name : str
    columns : mapping
        Its fields by heading in the form in which headings are compared.
    guide : str
        One line over its table in the entry workbook.
    keys : tuple of str
        The attributes by which a row is found again in another entry of the same batch.
    """

    name: str
    columns: Mapping[str, Field]
    guide: str = ""
    keys: tuple[str, ...] = ()

    @property
    def fields(self) -> tuple[Field, ...]:
        """Every field, in the order of the sheet."""
        return tuple(self.columns.values())

    @property
    def entered(self) -> tuple[Field, ...]:
        """The fields that the entry workbook asks for: of two units of measure, that of the record."""
        return tuple(field for field in self.fields if field.power == 0)

    def field(self, attribute: str) -> Field:
        """The field that fills an attribute in its own unit of measure; StopIteration when there is none."""
        return next(field for field in self.entered if field.attribute == attribute)


# Every cell of a table is compared, and most hold what another one held.
@functools.lru_cache(maxsize=4096)
def plain(heading: str) -> str:
    """A heading in the form in which it is compared: case, blanks and punctuation make no difference.

    Examples
    --------
    >>> plain("  MASS[g]: ") == plain("M a s s _ (G)") == "massg"
    True
    """
    return _BETWEEN.sub("", heading.casefold())


def same_name(name: str) -> str:
    """The form in which two names are compared: case and spaces make no difference.

    Examples
    --------
    >>> same_name(" Unit  A1 ") == same_name("unit a1")
    True
    """
    return " ".join(name.split()).casefold()


def near_heading(text: str, known: Iterable[str]) -> str | None:
    """The known heading that is nearest to a text, as it is written; None when none is near.

    Examples
    --------
    >>> near_heading("Mas (g)", ["Unit", "Mass (g)"])
    'Mass (g)'
    """
    return _nearest(text, known, form=lambda one: same_name(one.translate(_ROUND)), cutoff=0.7)


def near_name(text: str, known: Iterable[str]) -> str | None:
    """The known name that is nearest to a text, as it is written; None when none is near."""
    return _nearest(text, known, form=same_name, cutoff=0.6)


def _nearest(text: str, known: Iterable[str], *, form: Callable[[str], str], cutoff: float) -> str | None:
    spelled = {form(one): one for one in known}
    near = difflib.get_close_matches(form(text), list(spelled), n=1, cutoff=cutoff)
    return spelled[near[0]] if near else None
