"""The packing and label checklist."""

from __future__ import annotations

from collections import Counter
from typing import Annotated

from msgspec import Struct

from qc.rules.kind import Kind
from qc.rules.records import Mark, Rule
from qc.rules.schema import About
from qc.rules.strict_records import Findings


class HousePackingItem(Struct, frozen=True, kw_only=True):
    """A `[[packing]]` table of a house file: a line of the checklist, with the other words that people write for it."""

    id: str
    text: str
    synonyms: tuple[str, ...] = ()


class PackingItem(HousePackingItem, frozen=True, kw_only=True):
    """One line of the packing and label checklist."""

    mark: Mark = Mark.COMMON_PRACTICE

    @property
    def holds(self) -> str:
        """Its id."""
        return self.id

    def said(self, rule: Rule) -> str:
        """Its words."""
        return self.text


class PackingRule(Rule, frozen=True, kw_only=True):
    """The packing and label checklist; a house adds lines to it."""

    items: Annotated[tuple[PackingItem, ...], About("lines of the list", fixed="Add a line with a [[packing]] table")]


class _Packing(Kind[PackingRule], frozen=True, kw_only=True):
    def note_misshapen(self, rule: PackingRule, findings: Findings) -> None:
        for id, times in Counter(item.id for item in rule.items).items():
            if times > 1:
                findings.add("items", f'the id "{id}" stands {times} times', "Give each line its own id")


KIND = _Packing(record=PackingRule, tests=("packing-checklist",), place=9, of_units=False)
