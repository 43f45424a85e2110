"""The record of a rule on uniformity of mass: limits by form and mass, and how many units may lie beyond them."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum
from types import MappingProxyType
from typing import Annotated

from msgspec import Struct

from qc.rules.kind import shown
from qc.rules.records import FormRow, Rule
from qc.rules.schema import About


class MassBasis(StrEnum):
    """What a mass is compared with."""

    SAMPLE_MEAN = "sample mean"
    LABELLED_MASS = "labelled mass, or the sample mean where none is labelled"


_EVERY = "every mass"


class MassEnd(Struct, frozen=True, kw_only=True):
    """An end of the masses of a row: in words, whether it is the upper one, and whether the row ends just above it."""

    words: str
    upper: bool
    just_above: bool


MASS_ENDS: Mapping[str, MassEnd] = MappingProxyType(
    {
        "above_mg": MassEnd(words="more than", upper=False, just_above=True),
        "from_mg": MassEnd(words="from", upper=False, just_above=False),
        "below_mg": MassEnd(words="less than", upper=True, just_above=False),
        "up_to_mg": MassEnd(words="up to", upper=True, just_above=True),
    }
)


class MassBand(FormRow, frozen=True, kw_only=True):
    """A row of a mass table: which forms, which mean masses, which limits.

    `above_mg` and `below_mg` are exclusive ends, `from_mg` and `up_to_mg` inclusive ones; None is open.
    """

    limit_percent: Annotated[
        Decimal, About("limit on a single mass", "%", tighter="less", positive=True, below="outer_percent")
    ]
    outer_percent: Annotated[Decimal, About("outer limit on a single mass", "%", tighter="less")]
    above_mg: Decimal | None = None
    from_mg: Decimal | None = None
    below_mg: Decimal | None = None
    up_to_mg: Decimal | None = None

    @property
    def masses(self) -> str:
        """The masses that the row holds for, as the table writes them.

        Examples
        --------
        >>> from qc.rules.records import Mark
        >>> row = MassBand(forms=("capsules",), limit_percent=Decimal(10), outer_percent=Decimal(20), mark=Mark.SEEN)
        >>> row.masses
        'every mass'
        """
        ends = ((end.words, getattr(self, name)) for name, end in MASS_ENDS.items())
        words = [f"{word} {mass:f} mg" for word, mass in ends if mass is not None]
        return " and ".join(words).replace(" and up to", " up to") or _EVERY

    @property
    def holds_for(self) -> str:
        """The masses that the row holds for; empty for every mass."""
        return "" if self.masses == _EVERY else self.masses

    def said(self, rule: Rule) -> str:
        """Both limits."""
        return f"{shown(self.limit_percent, unit='%')}, outer {shown(self.outer_percent, unit='%')}"


class MassExemption(FormRow, frozen=True, kw_only=True):
    """Forms and mean masses that a mass rule leaves to another test, with the reason."""

    reason: str
    up_to_mg: Decimal | None = None

    @property
    def holds_for(self) -> str:
        """The masses that it holds for; empty for every mass."""
        return "" if self.up_to_mg is None else f"up to {shown(self.up_to_mg)} mg"

    def said(self, rule: Rule) -> str:
        """The reason."""
        return self.reason


class MassRule(Rule, frozen=True, kw_only=True):
    """Uniformity of mass: a sample, a limit by form and mean mass, how many units may lie beyond it."""

    # With a larger sample the mean is that of more units, so the promise there is on the counts: as many units as
    # before may lie beyond, among more.
    sample_size: Annotated[int, About("units the rule asks for", tighter="more", sample=True)]
    basis: Annotated[MassBasis, About("compared with", fixed="Another basis is another test")]
    most_beyond_limit: Annotated[int, About("beyond the limit, at most", tighter="less")]
    most_beyond_outer: Annotated[
        int, About("beyond the outer limit, at most", tighter="less", not_above="most_beyond_limit")
    ]
    bands: Annotated[
        tuple[MassBand, ...],
        About(
            "limits, by form and mass",
            fixed='Set limit_percent for "forms"; a form without a row is added under adds_form',
        ),
    ]
    exemptions: Annotated[
        tuple[MassExemption, ...],
        About("left to another test", fixed="What the book leaves to another stays there"),
    ] = ()
