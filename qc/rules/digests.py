"""Which record of which rule judged a batch: the SHA-256 of the file each record was read from.

A digest of a file can be checked by anybody with a general program; one of a record in memory could not.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from pathlib import Path

from msgspec import Struct

from qc.rules.built_in import RULES_FOLDER, SETS_FOLDER, load_rule, rule_ids, set_ids
from qc.rules.rule_books import DEFAULT_SET, rule_book
from qc.rules.strict_records import Findings, RuleProblem


class RuleDigest(Struct, frozen=True, kw_only=True):
    """One rule as it stood.

    Parameters
    ----------
    id : str
    edition : str
        The edition that its record cites.
    file : str
        Name of the file that holds the record.
    sha256 : str
        SHA-256 of that file, in hexadecimal digits.
    builds_on : str
        For a rule of the house, the built-in rule that it tightens, which has a digest of its own; else empty.
    """

    id: str
    edition: str
    file: str
    sha256: str
    builds_on: str = ""


class FileDigest(Struct, frozen=True, kw_only=True):
    """The file that says which rules are asked for, by name."""

    file: str
    sha256: str


def is_house_file(name: str | Path | None) -> bool:
    """Whether the name of a set of rules is the path of a house file."""
    return isinstance(name, Path) or (name is not None and name.casefold().endswith(".toml"))


def rule_digests(ids: Iterable[str], *, rules: str | Path | None) -> tuple[RuleDigest, ...]:
    """The digests of some rules of a set, and of the built-in rules that those of a house build on.

    Parameters
    ----------
    ids : iterable of str
        Ids of rules.
    rules : str, Path or None
        The set they come from: its id, the id of one rule, the path of a house file, or None for the default set.

    Returns
    -------
    tuple of RuleDigest
        In the order of `ids`, each house rule before the one it builds on.

    Raises
    ------
    RuleProblem
        When no rule has one of the ids, or the house file is not sound.
    """
    wanted = list(dict.fromkeys(ids))
    found: dict[str, RuleDigest] = {}
    of_the_house = [id for id in wanted if id not in rule_ids()]
    book = rule_book(rules) if of_the_house else None
    for id in wanted:
        if book is None or id not in of_the_house:
            found[id] = _built_in(id)
            continue
        if id not in book.rules or not is_house_file(rules):
            raise _no_such_rule(id, rules=rules)
        record, path = book.rules[id], Path(str(rules))
        found[id] = RuleDigest(
            id=id,
            edition=record.reference.edition,
            file=path.name,
            sha256=_sha256(path),
            builds_on=record.builds_on,
        )
        if record.builds_on and record.builds_on not in found:
            found[record.builds_on] = _built_in(record.builds_on)
    return tuple(found.values())


def set_digest(rules: str | Path | None) -> FileDigest:
    """The digest of the file that says which rules are asked for.

    Raises
    ------
    RuleProblem
        When there is no such set, rule or file.
    """
    name = DEFAULT_SET if rules is None else rules
    if is_house_file(name):
        rule_book(name)
        path = Path(name)
    elif name in set_ids():
        path = SETS_FOLDER / f"{name}.toml"
    else:
        rule_book(name)
        path = RULES_FOLDER / f"{name}.toml"
    return FileDigest(file=path.name, sha256=_sha256(path))


def _built_in(id: str) -> RuleDigest:
    rule = load_rule(id)
    path = RULES_FOLDER / f"{id}.toml"
    return RuleDigest(id=id, edition=rule.reference.edition, file=path.name, sha256=_sha256(path))


def _sha256(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def _no_such_rule(id: str, *, rules: str | Path | None) -> RuleProblem:
    findings = Findings("")
    findings.add("rules", f'no rule of "{rules}" has the id "{id}"', "Give the house file that it was judged by")
    return RuleProblem(findings.problems)
