"""The fields of a record: what a key of a rule file may hold, and what the package knows about each figure."""

from __future__ import annotations

import functools
import types
from collections.abc import Hashable, Mapping
from types import MappingProxyType
from typing import Annotated, Any, Literal, Union, cast, get_args, get_origin

from msgspec import Struct
from msgspec.structs import fields


class About(Struct, frozen=True):
    """What the package knows about one figure of a rule, beside its field: `Annotated[Decimal, About("limit", "%")]`.

    Parameters
    ----------
    name : str
        What it is called on the page of the rule, in a clause of the house and in a workbook; empty where the page does
        not show it.
    unit : str
        Unit of measure behind the figure.
    none : str
        What stands in place of a figure that is not set, or is zero.
    tighter : str
        The way in which fewer samples comply, "less" or "more"; a house can set no other figure.
    fixed : str
        Why a house cannot set it.
    positive : bool
        Whether it must be above zero.
    sample : bool
        Whether it counts units of a sample, which has a spread from two on.
    below, not_above : str
        The field that must be greater; the field that must be no smaller.
    """

    name: str = ""
    unit: str = ""
    none: str = "none"
    tighter: Literal["", "less", "more"] = ""
    fixed: str = ""
    positive: bool = False
    sample: bool = False
    below: str = ""
    not_above: str = ""


NOTHING_KNOWN = About()


class Shape(Struct, frozen=True, kw_only=True):
    """What a key of a table may hold: one value of a kind or a list of them."""

    kind: type[Any]
    several: bool = False
    may_be_left_out: bool = False
    about: About = NOTHING_KNOWN

    @property
    def of_rows(self) -> bool:
        """Whether it holds the rows of a table."""
        return self.several and issubclass(self.kind, Struct)


def schema_of(record: type[Struct]) -> Mapping[str, Shape]:
    """What each field of a record may hold, read from its annotations.

    The annotations are few and plain: `Kind`, `Kind | None`, `tuple[Kind, ...]`, each alone or with an `About`; a kind
    `dict` stands for a table that is read elsewhere.
    """
    return _read_schema(cast("Hashable", record))


@functools.cache
def _read_schema(record: type[Struct]) -> Mapping[str, Shape]:
    return MappingProxyType(
        {field.name: _shape(field.type, may_be_left_out=not field.required) for field in fields(record)}
    )


def _shape(hint: Any, *, may_be_left_out: bool) -> Shape:
    about = NOTHING_KNOWN
    if get_origin(hint) is Annotated:
        hint, about = get_args(hint)
    if get_origin(hint) in (Union, types.UnionType):
        hint = get_args(hint)[0]
    several = get_origin(hint) is tuple
    kind = get_args(hint)[0] if several else hint
    return Shape(kind=get_origin(kind) or kind, several=several, may_be_left_out=may_be_left_out, about=about)
