"""What a report was made from: its input and the records of its rules, held against the digests of the seal."""

from __future__ import annotations

from pathlib import Path

from msgspec import Struct

from qc import __version__
from qc.jobs.verify.files import FiledResult, Line, Status
from qc.problems import InputProblems, Problem
from qc.readers.read import source_of
from qc.rules.rule_books import RuleDigest, is_house_file, rule_digests, set_digest
from qc.say.text import counted


class Origin(Struct, frozen=True, kw_only=True):
    """What a second judging needs.

    Parameters
    ----------
    input : Path or None
        The input, where it is at hand and the one that was judged.
    rules : str, Path or None
        The rules that were asked for; the path of a house rule file that is at hand.
    missing : str
        What is not at hand, in words; "" where nothing is missing.
    """

    input: Path | None
    rules: str | Path | None
    missing: str


def origin_of(filed: FiledResult, *, input_path: Path | None, rules_path: Path | None) -> tuple[Origin, list[Line]]:
    """Input and rules, as far as they are at hand, and what was found of each.

    Raises
    ------
    InputProblems
        When a file named in the call is not there or cannot be read, or a house rule file is named and none was used.
    """
    sealed, rules = filed.seal.input, filed.seal.asked.rules
    lines = []
    source = None
    if sealed is None:
        lines.append(Line(Status.UNCHECKED, "input", "the batch was not read from a file"))
    else:
        source, line = _at_hand(
            "input", sealed.name, sealed.sha256, was="file that was judged", filed=filed, given=input_path
        )
        lines.append(line)
    missing = "the input" if source is None else ""
    if not is_house_file(rules):
        if rules_path is not None:
            raise _unusable(rules_path, "this report was judged without a house rule file", "Leave --rules out")
        return Origin(input=source, rules=rules, missing=missing), [*lines, *_records(filed, rules)]
    digest = filed.seal.rule_set.sha256
    house, line = _at_hand(
        "rules", str(rules), digest, was="house rule file that judged", filed=filed, given=rules_path
    )
    if house is None:
        missing = missing or "the house rule file"
        return Origin(input=source, rules=None, missing=missing), [*lines, line]
    return Origin(input=source, rules=house, missing=missing), [*lines, line, *_records(filed, house)]


def _at_hand(
    what: str, name: str, sha256: str, *, was: str, filed: FiledResult, given: Path | None
) -> tuple[Path | None, Line]:
    """A file by its digest: the one given, else one of its name; `was` says what it was for the report."""
    if given is not None and not given.exists():
        raise _unusable(given, "there is no such file")
    candidates = _beside(name, folder=filed.folder.path) if given is None else [given]
    if not candidates:
        return None, Line(Status.UNCHECKED, what, f"{name} is not at hand; give it with --{what}")
    for path in candidates:
        if _digest(path) == sha256:
            renamed = "" if path.name == name else f", then named {name}"
            return path, Line(Status.HOLDS, what, f"{path.name} is the {was}{renamed}")
    first = candidates[0]
    shown = first.relative_to(Path.cwd()) if first.is_relative_to(Path.cwd()) else first
    return None, Line(Status.BROKEN, what, f"{shown} is not the {was}: it was changed, or is another one")


def _digest(path: Path) -> str:
    try:
        return source_of(path).sha256
    except OSError as failure:
        raise _unusable(path, f"it cannot be read ({failure.strerror or failure})") from failure


def _unusable(path: Path, found: str, mend: str = "See whether the name is right and you may read it") -> InputProblems:
    return InputProblems([Problem(file=path.name, sheet="", cell="", found=found, mend=mend)])


def _beside(name: str, *, folder: Path) -> list[Path]:
    """Where a file of that name stands: in the working folder, in that of the report, and in the folders above it."""
    # A name out of a file could lead anywhere; only a plain one is looked for.
    if not name or Path(name).name != name:
        return []
    here = folder.resolve()
    places = dict.fromkeys((Path.cwd(), here, here.parent, here.parent.parent))
    return [place / name for place in places if (place / name).exists()]


def _records(filed: FiledResult, rules: str | Path | None) -> list[Line]:
    """One line a record that is not what it was; one for all of them where none changed."""
    seal = filed.seal
    # Within one version no record changes by itself; between versions it may, and the edition tells why.
    changed_is = Status.BROKEN if seal.qc_version == __version__ else Status.REMARK
    lines = []
    for id, then in seal.rules.items():
        today = _today(id, rules=rules)
        if today is None:
            lines.append(Line(changed_is, f"rule {id}", "is not among the rules of today"))
        elif today.edition != then.edition:
            lines.append(Line(changed_is, f"rule {id}", f"edition then {then.edition}, today {today.edition}"))
        elif today.sha256 != then.sha256:
            told = f"its record was changed since; the edition is the same ({today.edition})"
            lines.append(Line(changed_is, f"rule {id}", told))
    try:
        if set_digest(rules).sha256 != seal.rule_set.sha256:
            lines.append(Line(changed_is, "rule set", "what it asks for was changed since"))
    except InputProblems:
        lines.append(Line(changed_is, "rule set", f'there is no set "{rules}" today'))
    many = counted(len(seal.rules), "rule")
    return lines or [Line(Status.HOLDS, "rules", f"the records of {many} and their editions are what they were")]


def _today(id: str, *, rules: str | Path | None) -> RuleDigest | None:
    try:
        return rule_digests([id], rules=rules)[0]
    except InputProblems:
        return None
