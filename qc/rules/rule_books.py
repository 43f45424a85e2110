"""The rules a batch is judged by: a built-in set, a single rule, or the file of a hospital; and which record that was.

A digest is the SHA-256 of the file a record was read from: anybody can check it with a general program.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path
from types import MappingProxyType

from msgspec import Struct

from qc.rules.built_in import (
    RULES_FOLDER,
    SETS_FOLDER,
    RuleBook,
    RulesOnDemand,
    load_rule,
    load_set,
    rule_ids,
    set_ids,
    unknown_name,
)
from qc.rules.records import Asks, Rule, RuleSet
from qc.rules.strict_records import Findings, RuleProblem

DEFAULT_SET = "default"

__all__ = ["DEFAULT_SET", "RuleBook", "load_rule", "load_set", "rule_book", "rule_ids", "set_ids"]


def is_house_file(name: str | Path | None) -> bool:
    """Whether the name of a set of rules is the path of a house file."""
    return isinstance(name, Path) or (name is not None and name.casefold().endswith(".toml"))


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
    if name is not None and is_house_file(name):
        # Few batches come with a file of the house; the others need not wait for what reads it.
        from qc.rules.house_file import read_house_file

        return read_house_file(Path(name))
    id = DEFAULT_SET if name is None else str(name)
    if id in set_ids():
        rule_set = load_set(id)
        return RuleBook(set=rule_set, rules=RulesOnDemand((ask.rule for ask in rule_set.asks), of_the_house={}))
    if id not in rule_ids():
        raise unknown_name(id, known=(*set_ids(), *rule_ids()), thing="rule set, rule or .toml file")
    rule = load_rule(id)
    # One rule is asked of every form and every active.
    asks = (Asks(rule=id, forms=(), required=True),)
    return RuleBook(
        set=RuleSet(id=id, title=f"{rule.title}, no other rule", asks=asks), rules=MappingProxyType({id: rule})
    )


class SetDigest(Struct, frozen=True, kw_only=True):
    """The rules asked for, the file that says which they are, and its SHA-256 in hexadecimal digits."""

    id: str
    file: str
    sha256: str


class RuleDigest(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One rule as it stood: the edition that its record cites, the file that holds it, and its SHA-256.

    `builds_on` names, for a rule of the house, the built-in rule that it tightens, which has a digest of its own.
    """

    edition: str
    file: str
    sha256: str
    builds_on: str = ""


def rule_digests(ids: Iterable[str], *, rules: str | Path | None) -> dict[str, RuleDigest]:
    """The digests of some rules of a set, and of the built-in rules that those of a house build on.

    Parameters
    ----------
    ids : iterable of str
        Ids of rules.
    rules : str, Path or None
        The set they come from: its id, the id of one rule, the path of a house file, or None for the default set.

    Returns
    -------
    dict of RuleDigest
        By id, in the order of `ids`, each house rule before the one it builds on.

    Raises
    ------
    RuleProblem
        When no rule has one of the ids, or the house file is not sound.
    """
    wanted, built_in = list(dict.fromkeys(ids)), rule_ids()
    house = rule_book(rules).rules if is_house_file(rules) and not set(wanted) <= set(built_in) else {}
    found: dict[str, RuleDigest] = {}
    for id in wanted:
        if id in built_in:
            found[id] = _built_in(id)
        elif id in house:
            found[id] = _rule_digest(house[id], Path(str(rules)))
            found.setdefault(house[id].builds_on, _built_in(house[id].builds_on))
        else:
            findings = Findings("")
            findings.add(
                "rules", f'no rule of "{rules}" has the id "{id}"', "Give the house file that it was judged by"
            )
            raise RuleProblem(findings.problems)
    return found


def set_digest(rules: str | Path | None) -> SetDigest:
    """The digest of the file that says which rules are asked for.

    Raises
    ------
    RuleProblem
        When there is no such set, rule or file.
    """
    name = DEFAULT_SET if rules is None else rules
    book = rule_book(name)
    folder = SETS_FOLDER if name in set_ids() else RULES_FOLDER
    path = Path(name) if is_house_file(name) else folder / f"{name}.toml"
    return SetDigest(id=book.set.id, file=path.name, sha256=_sha256(path))


def _built_in(id: str) -> RuleDigest:
    return _rule_digest(load_rule(id), RULES_FOLDER / f"{id}.toml")


def _rule_digest(rule: Rule, path: Path) -> RuleDigest:
    edition = rule.reference.edition
    return RuleDigest(edition=edition, file=path.name, sha256=_sha256(path), builds_on=rule.builds_on)


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()
