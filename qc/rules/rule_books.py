"""The rules a batch is judged by: a built-in set, a single rule, or the file of a hospital."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from qc.rules.built_in import load_rule, load_set, rule_ids, set_ids, unknown_name
from qc.rules.kinds.packing import PackingItem
from qc.rules.pour_settings import PourSettings
from qc.rules.records import Asks, Rule, RuleSet

if TYPE_CHECKING:
    from qc.rules.kinds.visual.defects import HouseDefect

DEFAULT_SET = "default"

__all__ = ["DEFAULT_SET", "RuleBook", "load_rule", "load_set", "rule_book", "rule_ids", "set_ids"]


class _OnDemand(Mapping[str, Rule]):
    """The rules of a set by id; the file of a built-in one is read when somebody asks for that rule.

    A batch of suppositories has no use for the rules of tablets and patches, and reading them all takes longer than
    judging the batch.
    """

    def __init__(self, ids: Iterable[str], *, of_the_house: Mapping[str, Rule]) -> None:
        self._ids = tuple(dict.fromkeys(ids))
        self._of_the_house = of_the_house

    def __getitem__(self, id: str) -> Rule:
        if id not in self._ids:
            raise KeyError(id)
        return self._of_the_house[id] if id in self._of_the_house else load_rule(id)

    def __iter__(self) -> Iterator[str]:
        return iter(self._ids)

    def __len__(self) -> int:
        return len(self._ids)


class RuleBook(Struct, frozen=True, kw_only=True):
    """A rule set with the record of every rule it asks for, by id."""

    set: RuleSet
    rules: Mapping[str, Rule]
    house_defects: tuple[HouseDefect, ...] = ()
    """Grades and words for defects that a house file sets."""
    house_packing: tuple[PackingItem, ...] = ()
    """Lines that a house file adds to the packing checklist."""
    pour: PourSettings | None = None
    """Which change along the pour matters, and which way it can only go, where a house file says so."""
    house_causes: Mapping[str, Any] | None = None
    """What a house file takes to be true of the causes beforehand, as typed."""
    house_file: str = ""
    """Name of the house file, for messages."""


def rule_book(name: str | Path | None = None) -> RuleBook:
    """The rules of a name.

    Parameters
    ----------
    name : str, Path or None
        Id of a rule set; id of one rule, which makes a set of that rule alone; path of a house rule file (a Path, or
        text that ends in .toml); None for the default set.

    Returns
    -------
    RuleBook
        The set and its rules. Only the files that the set asks for are read.

    Raises
    ------
    RuleProblem
        When nothing has that name, or when a file is not sound.
    """
    if name is None:
        return _book(load_set(DEFAULT_SET))
    if isinstance(name, Path) or name.casefold().endswith(".toml"):
        # Few batches come with a file of the house; the others need not wait for what reads it.
        from qc.rules.house_file import read_house_file

        house = read_house_file(Path(name))
        book = _book(house.set, of_the_house=house.rules)
        return replace(
            book,
            house_defects=house.defects,
            house_packing=house.packing,
            pour=house.pour,
            house_causes=house.causes,
            house_file=Path(name).name,
        )
    if name in set_ids():
        return _book(load_set(name))
    if name in rule_ids():
        return _one_rule_book(load_rule(name))
    raise unknown_name(name, known=(*set_ids(), *rule_ids()), thing="rule set, rule or .toml file")


def _one_rule_book(rule: Rule) -> RuleBook:
    """A set that asks for one rule, of every form and every active."""
    asks = (Asks(rule=rule.id, forms=(), required=True),)
    return RuleBook(
        set=RuleSet(id=rule.id, title=f"{rule.title} alone", asks=asks), rules=MappingProxyType({rule.id: rule})
    )


def _book(rule_set: RuleSet, *, of_the_house: Mapping[str, Rule] | None = None) -> RuleBook:
    rules = _OnDemand((ask.rule for ask in rule_set.asks), of_the_house=of_the_house or {})
    return RuleBook(set=rule_set, rules=rules)
