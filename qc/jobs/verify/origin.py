"""What a report was made from: its input and the records of its rules, held against the digests of the seal."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from msgspec import Struct

from qc import __version__
from qc.jobs.seal import SEAL
from qc.jobs.verify.lines import Line, Status
from qc.problems import InputProblems, Problem
from qc.readers.read import source_of
from qc.rules.rule_books import RuleDigest, is_house_file, rule_digests, set_digest


class Rules(Struct, frozen=True, kw_only=True):
    """Whether the rules that a batch was judged by are at hand; `house_file` where they come from one."""

    usable: bool
    house_file: Path | None = None


def input_line(document: Mapping[str, Any], *, folder: Path, given: Path | None) -> tuple[Path | None, Line]:
    """The input, when it is at hand and the one that was judged.

    Raises
    ------
    InputProblems
        When the file named in the call is not there or cannot be read.
    """
    recorded = document[SEAL].get("input")
    if not recorded:
        return None, Line(state=Status.UNCHECKED, what="input", told="the batch was not read from a file")
    name, digest = str(recorded["name"]), recorded["sha256"]
    candidates = _beside(name, folder=folder) if given is None else [given]
    if given is not None and not given.exists():
        raise _unreadable(given, "there is no such file")
    if not candidates:
        told = f"{name} is not at hand; give it with --input"
        return None, Line(state=Status.UNCHECKED, what="input", told=told)
    found = {path: _digest(path) for path in candidates}
    same = [path for path, sha256 in found.items() if sha256 == digest]
    if same:
        renamed = "" if same[0].name == name else f", then named {name}"
        return same[0], Line(
            state=Status.HOLDS, what="input", told=f"{same[0].name} is the file that was judged{renamed}"
        )
    told = f"{_from_here(candidates[0])} is not the file that was judged: it was changed, or is another one"
    return None, Line(state=Status.BROKEN, what="input", told=told)


def _from_here(path: Path) -> Path:
    return path.relative_to(Path.cwd()) if path.is_relative_to(Path.cwd()) else path


def _digest(path: Path) -> str:
    try:
        return source_of(path).sha256
    except OSError as failure:
        raise _unreadable(path, f"it cannot be read ({failure.strerror or failure})") from failure


def _unreadable(path: Path, found: str) -> InputProblems:
    mend = "See whether the name is right and you may read it"
    return InputProblems([Problem(file=path.name, sheet="", cell="", found=found, mend=mend)])


def _beside(name: str, *, folder: Path) -> list[Path]:
    """Where a file of that name stands: in the working folder, in that of the report, and in the folders above it."""
    # A name out of a file could lead anywhere; only a plain one is looked for.
    if not name or Path(name).name != name:
        return []
    here = folder.resolve()
    places = dict.fromkeys((Path.cwd(), here, here.parent, here.parent.parent))
    return [place / name for place in places if (place / name).exists()]


def rules_lines(document: Mapping[str, Any], *, folder: Path, given: Path | None) -> tuple[Rules, list[Line]]:
    """The records of the rules as they stand today, against those that judged.

    Raises
    ------
    InputProblems
        When the house rule file named in the call is not there, or none was used.
    """
    seal = document[SEAL]
    asked = seal["asked"].get("rules")
    name = str(asked) if asked is not None else None
    house_file: Path | None = None
    if is_house_file(name):
        assert name is not None
        house_file, line = _house_file(name, sha256=seal["rule_set"]["sha256"], folder=folder, given=given)
        if house_file is None:
            return Rules(usable=False), [line]
        lines = [line]
    elif given is not None:
        found = "this report was judged without a house rule file"
        raise InputProblems([Problem(file=given.name, sheet="", cell="", found=found, mend="Leave --rules out")])
    else:
        lines = []
    lines += _records(seal, rules=name if house_file is None else house_file, version=str(seal["qc_version"]))
    return Rules(usable=True, house_file=house_file), lines


def _house_file(name: str, *, sha256: str, folder: Path, given: Path | None) -> tuple[Path | None, Line]:
    candidates = [given] if given is not None else _beside(name, folder=folder)
    if given is not None and not given.is_file():
        raise _unreadable(given, "there is no such file")
    if not candidates:
        told = f"the house rule file {name} is not at hand; give it with --rules"
        return None, Line(state=Status.UNCHECKED, what="rules", told=told)
    for path in candidates:
        if _digest(path) == sha256:
            return path, Line(state=Status.HOLDS, what="rules", told=f"{path.name} is the house rule file that judged")
    told = f"{_from_here(candidates[0])} is not the house rule file that judged: it was changed, or is another one"
    return None, Line(state=Status.BROKEN, what="rules", told=told)


def _records(seal: Mapping[str, Any], *, rules: str | Path | None, version: str) -> list[Line]:
    """One line a record that is not what it was; one for all of them where none changed."""
    # Within one version no record changes by itself; between versions it may, and the edition tells why.
    changed_is = Status.BROKEN if version == __version__ else Status.REMARK
    lines = []
    for id, then in seal["rules"].items():
        today = _today(id, rules=rules)
        if today is None:
            lines.append(Line(state=changed_is, what=f"rule {id}", told="is not among the rules of today"))
        elif today.edition != then.get("edition"):
            told = f"edition then {then.get('edition')}, today {today.edition}"
            lines.append(Line(state=changed_is, what=f"rule {id}", told=told))
        elif today.sha256 != then["sha256"]:
            told = f"its record was changed since; the edition is the same ({today.edition})"
            lines.append(Line(state=changed_is, what=f"rule {id}", told=told))
    try:
        if set_digest(rules).sha256 != seal["rule_set"]["sha256"]:
            lines.append(Line(state=changed_is, what="rule set", told="what it asks for was changed since"))
    except InputProblems:
        lines.append(Line(state=changed_is, what="rule set", told=f'there is no set "{rules}" today'))
    count = len(seal["rules"])
    return lines or [
        Line(
            state=Status.HOLDS,
            what="rules",
            told=f"the records of {count} rule{'' if count == 1 else 's'} and their editions are what they were",
        )
    ]


def _today(id: str, *, rules: str | Path | None) -> RuleDigest | None:
    try:
        return rule_digests([id], rules=rules)[0]
    except InputProblems:
        return None
