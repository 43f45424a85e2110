"""How causes are told apart: the signature of each, its look-alikes, the steps of a decision."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path

from msgspec import Struct, convert

from qc.say.numbers import plain_limit

RECORDS = Path(__file__).parent / "data" / "telling_apart.toml"
TRACES = ("mass", "content", "concentration", "order", "cavity", "parts")


class LookAlike(Struct, frozen=True, forbid_unknown_fields=True):
    """A cause that another is taken for, and the one measurement that separates the two."""

    cause: str
    measure: str


class Signature(Struct, frozen=True, forbid_unknown_fields=True):
    """What a cause leaves in each measurement, and its look-alikes."""

    mass: str
    content: str
    concentration: str
    order: str
    cavity: str
    parts: str
    alike: tuple[LookAlike, ...] = ()


class Threshold(Struct, frozen=True, forbid_unknown_fields=True):
    """A figure beside the least or the most that it may be, in the unit of the figure."""

    figure: str
    at_least: float | None = None
    at_most: float | None = None

    def in_words(self) -> str:
        """The threshold as it is compared with."""
        return (
            f"at most {plain_limit(self.at_most)}"
            if self.at_least is None
            else f"at least {plain_limit(self.at_least)}"
        )

    def holds(self, figures: Mapping[str, float]) -> bool:
        """Whether the figure is known and on the right side."""
        value = figures.get(self.figure)
        low, high = self.at_least, self.at_most
        return value is not None and (low is None or value >= low) and (high is None or value <= high)


class Step(Struct, frozen=True, forbid_unknown_fields=True):
    """A question and the cause that a yes names: yes where all its figures hold."""

    cause: str
    ask: str
    when: tuple[Threshold, ...]

    def says_yes(self, figures: Mapping[str, float]) -> bool:
        """Whether all its figures hold."""
        return all(one.holds(figures) for one in self.when)


class TellingApart(Struct, frozen=True, forbid_unknown_fields=True):
    """All of it: what each figure is, the steps in their order, the signature of each cause."""

    figures: Mapping[str, str]
    steps: tuple[Step, ...]
    causes: Mapping[str, Signature]

    def decide(self, figures: Mapping[str, float]) -> str:
        """The cause of the first step whose figures all hold; `sound` where there is none."""
        return next((step.cause for step in self.steps if step.says_yes(figures)), "sound")


@cache
def telling_apart() -> TellingApart:
    """The records, read once.

    Examples
    --------
    >>> records = telling_apart()
    >>> records.decide({"tip_over_end": 20.0}), records.decide({})
    ('settling-in-unit', 'sound')
    """
    return convert(tomllib.loads(RECORDS.read_text(encoding="utf-8")), TellingApart)
