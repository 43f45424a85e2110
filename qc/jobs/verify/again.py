"""Whether today's version judges the same input by the same rules the same, and draws the same pages from it.

Input and house rule file are first held against the digests of the seal.
"""

from __future__ import annotations

import math
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.json import decode, encode

from qc import __version__
from qc.batch import Source
from qc.document import as_text, result_document
from qc.history.kept import kept
from qc.jobs.check import check_batch
from qc.jobs.differences import result_differences, verdict_differences
from qc.jobs.seal import SEAL, Seal, unpacked
from qc.jobs.verify.files import FiledResult, Line, Status
from qc.jobs.verify.pages import letters_of
from qc.patterns import pattern
from qc.problems import InputProblems
from qc.readers.stored import stored_input
from qc.results import JudgedBatch
from qc.rules.rule_books import RuleDigest, is_house_file, rule_digests, set_digest
from qc.say.text import counted
from qc.show.filing import HTML, JSON, PDF
from qc.show.pages_pdf import Paper
from qc.show.write import render_report

# What is estimated by iteration may differ in its last digits from one machine to another; verdicts and figures do not.
ESTIMATES_AGREE = 1e-6
AGAIN = "judged again"
LONGEST_NAME = 255
_MEND = "See whether the name is right and you may read it"
_NOT_DRAWN = (SEAL, "input", "supersedes")
_NOT_JUDGED = ("qc_version", "schema", *_NOT_DRAWN)
_DRAWING = pattern(r"<svg\b.*?</svg>", re.DOTALL)
_PART = pattern(r"<([^\s/>!?]+)")


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
    source: Path | None = None
    house: str | Path | None = rules
    missing = ""
    lines = [Line(Status.UNCHECKED, "input", "the batch was not read from a file")]
    if sealed is not None:
        source, lines[0] = _at_hand("input", sealed, "file that was judged", filed=filed, given=input_path)
    if is_house_file(rules):
        of_house = Source(name=str(rules), sha256=filed.seal.rule_set.sha256)
        house, line = _at_hand("rules", of_house, "house rule file that judged", filed=filed, given=rules_path)
        lines.append(line)
        missing = "" if house else "the house rule file"
    elif rules_path is not None:
        found = "this report was judged without a house rule file"
        raise InputProblems.of_file(rules_path, found, "Leave --rules out")
    records = [] if missing else _records(filed, house)
    return Origin(input=source, rules=house, missing=missing if source else "the input"), [*lines, *records]


def _at_hand(
    what: str, sealed: Source, was: str, *, filed: FiledResult, given: Path | None
) -> tuple[Path | None, Line]:
    """A file by its digest: the one given, else one of its name; `was` says what it was for the report."""
    name = sealed.name
    if given is not None and not given.exists():
        raise InputProblems.of_file(given, "there is no such file", _MEND)
    candidates = _beside(name, folder=filed.folder.path) if given is None else [given]
    if not candidates:
        return None, Line(Status.UNCHECKED, what, f"{name} is not at hand; give it with --{what}")
    for path in candidates:
        if _digest(path) == sealed.sha256:
            renamed = "" if path.name == name else f", then named {name}"
            return path, Line(Status.HOLDS, what, f"{path.name} is the {was}{renamed}")
    first = candidates[0]
    shown = first.relative_to(Path.cwd()) if first.is_relative_to(Path.cwd()) else first
    return None, Line(Status.BROKEN, what, f"{shown} is not the {was}: it was changed, or is another one")


def _digest(path: Path) -> str:
    try:
        return stored_input(path).source.sha256
    except OSError as failure:
        raise InputProblems.of_file(path, f"it cannot be read ({failure.strerror or failure})", _MEND) from failure


def _beside(name: str, *, folder: Path) -> list[Path]:
    """Where a file of that name stands: in the working folder, in that of the report, and in the folders above it."""
    # A name out of a file could lead anywhere; only a plain one is looked for.
    if not name or Path(name).name != name or len(name.encode()) > LONGEST_NAME:
        return []
    here = folder.resolve()
    places = dict.fromkeys((Path.cwd(), here, here.parent, here.parent.parent))
    # The report of a folder may have its name, and stand where that is looked for.
    found = [place / name for place in places if (place / name).exists()]
    return [one for one in found if not (one / JSON).exists()]


def _records(filed: FiledResult, rules: str | Path | None) -> list[Line]:
    """One line a record that is not what it was; one for all of them where none changed."""
    seal = filed.seal
    # Within one version no record changes by itself; between versions it may, and the edition tells why.
    changed_is = Status.BROKEN if seal.qc_version == __version__ else Status.REMARK
    moved = {f"rule {id}": _moved(id, then, rules=rules) for id, then in seal.rules.items()}
    try:
        asked_for = set_digest(rules).sha256
        moved["rule set"] = "" if asked_for == seal.rule_set.sha256 else "what it asks for was changed since"
    except InputProblems:
        moved["rule set"] = f'there is no set "{rules}" today'
    lines = [Line(changed_is, what, told) for what, told in moved.items() if told]
    many = counted(len(seal.rules), "rule")
    return lines or [Line(Status.HOLDS, "rules", f"the records of {many} and their editions are what they were")]


def _moved(id: str, then: RuleDigest, *, rules: str | Path | None) -> str:
    """What became of a rule since; empty where it is what it was."""
    try:
        today = rule_digests([id], rules=rules)[id]
    except InputProblems:
        return "is not among the rules of today"
    if today.edition != then.edition:
        return f"edition then {then.edition}, today {today.edition}"
    changed = f"its record was changed since; the edition is the same ({today.edition})"
    return "" if today.sha256 == then.sha256 else changed


def judged_again(filed: FiledResult, origin: Origin, *, drawn: JudgedBatch | None) -> list[Line]:
    """Judge the input again as it was asked for, and compare.

    Parameters
    ----------
    filed : FiledResult
    origin : Origin
        With its input, and its rules where those were a house rule file.
    drawn : JudgedBatch or None
        What the pages were drawn from, where that is known.
    """
    document, seal = filed.document, filed.seal
    assert origin.input is not None
    assert seal.input is not None
    try:
        with _under_its_name(origin.input, name=seal.input.name) as path:
            asked, at = seal.asked.options(), _time(seal)
            checked = check_batch(
                path,
                options=asked,
                rules=origin.rules,
                seed=document["seed"],
                at=at,
                blind=seal.asked.blind,
                confirmed=seal.asked.confirmed,
                superseded=lambda _: seal.asked.superseded,
            )
    except InputProblems as problems:
        return [Line(Status.BROKEN, AGAIN, f"cannot be done: {problem}") for problem in problems.problems]
    lines = _same_result(document, _as_filed(checked.document), version=seal.qc_version)
    if any(line.state is Status.BROKEN for line in lines):
        return lines
    if seal.qc_version != __version__:
        return lines
    lines += _same_seal(document[SEAL], _as_filed(checked.sealed())[SEAL])
    if drawn is not None and not _agree(_stored(checked.to_draw()), _stored(drawn)):
        lines.append(Line(Status.BROKEN, "pages", "were drawn from another result than this version comes to"))
    return lines


def drawn_again(filed: FiledResult) -> tuple[JudgedBatch | None, list[Line]]:
    """What the pages were drawn from, as the seal holds it, and whether they are what this version draws of it.

    What a page says cannot be told from its digest.
    """
    document, seal = filed.document, filed.seal
    if seal.qc_version != __version__:
        told = f"were drawn by version {seal.qc_version}, and only that one can say whether they are as it drew them"
        return None, [Line(Status.UNCHECKED, "pages", told)]
    if not seal.drawn_from:
        return None, [Line(Status.UNCHECKED, "pages", "the seal does not hold what they were drawn from")]
    told = "what the pages were drawn from cannot be read"
    try:
        judged = unpacked(seal.drawn_from)
        if _as_filed(result_document(judged)) == {key: document[key] for key in document if key not in _NOT_DRAWN}:
            return judged, _same_pages(filed, judged)
        told = "what the pages were drawn from is not this result"
    except (ValueError, TypeError, AttributeError, LookupError, ArithmeticError, AssertionError, RuntimeError):
        # Whatever was written into the seal in place of a judged batch.
        pass
    return None, [Line(Status.BROKEN, SEAL, f"was changed: {told}")]


def _stored(judged: JudgedBatch) -> object:
    return decode(encode(kept(judged)))


def _time(seal: Seal) -> datetime | None:
    """When a report was judged, so that the same is said of it; None where its seal does not say it."""
    try:
        return datetime.fromisoformat(seal.judged_at)
    except ValueError:
        return None


def _same_seal(then: Mapping[str, Any], today: Mapping[str, Any]) -> list[Line]:
    """A line where this version would seal otherwise; the digest of the result was held against the result before."""
    apart = [name for name in dict.fromkeys((*then, *today)) if then.get(name) != today.get(name)]
    apart = [name.replace("_", " ") for name in apart if name not in ("result_sha256", "drawn_from")]
    return [Line(Status.BROKEN, SEAL, f"is not what this version writes: {', '.join(apart)}")] if apart else []


@contextmanager
def _under_its_name(origin: Path, *, name: str) -> Iterator[Path]:
    """The input under the name it was judged by: notices and the report name the file."""
    if origin.name == name or Path(name).name != name:
        yield origin
        return
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / name
        if origin.is_dir():
            shutil.copytree(origin, path)
        else:
            shutil.copyfile(origin, path)
        yield path


def _as_filed(document: Mapping[str, object]) -> dict[str, Any]:
    """A document as it reads once it was written, so that both are of one kind."""
    return decode(as_text(document), type=dict[str, Any])


def _same_result(then: Mapping[str, Any], today: Mapping[str, Any], *, version: str) -> list[Line]:
    by = f"version {__version__}" if version == __version__ else f"version {__version__} (then {version})"
    told = verdict_differences(then, today)
    parts = [key for key in dict.fromkeys((*then, *today)) if key not in _NOT_JUDGED]
    apart = [key for key in parts if not _agree(then.get(key), today.get(key))]
    if told:
        return [Line(Status.BROKEN, AGAIN, one) for one in (f"{by} judges differently:", *map(str, told))]
    if not apart:
        return [Line(Status.HOLDS, AGAIN, f"{by} comes to the same verdicts and figures")]
    state = Status.BROKEN if version == __version__ else Status.REMARK
    named = ", ".join(key.replace("_", " ") for key in apart)
    rest = f"other parts of the result differ (other numerical libraries, or changed): {named}"
    return [
        Line(Status.HOLDS, AGAIN, f"{by} comes to the same verdicts and figures of the tests"),
        *(Line(state, AGAIN, one) for one in (rest, *map(str, result_differences(then, today)))),
    ]


def _agree(then: object, today: object) -> bool:
    """Whether two parts of a result are the same, estimates within the last digits."""
    if isinstance(then, float | int) and isinstance(today, float | int):
        return math.isclose(then, today, rel_tol=ESTIMATES_AGREE, abs_tol=ESTIMATES_AGREE)
    if isinstance(then, dict) and isinstance(today, dict):
        return then.keys() == today.keys() and all(_agree(then[key], today[key]) for key in then)
    if isinstance(then, list) and isinstance(today, list):
        return len(then) == len(today) and all(map(_agree, then, today))
    return then == today


def _same_pages(filed: FiledResult, judged: JudgedBatch) -> list[Line]:
    """Whether the pages are those that this version draws."""
    files, lines = filed.folder.files, []
    drawn = render_report(judged, document=filed.document)
    for name, words in ((HTML, _without_drawings), (PDF, letters_of)):
        page, wanted = files.get(name), [drawn[name]]
        if name == PDF and page not in (None, drawn[PDF]):
            wanted.append(render_report(judged, document=filed.document, paper=Paper.LETTER)[PDF])
        if page is None:
            continue
        if page in wanted:
            lines.append(Line(Status.HOLDS, name, "is what this version draws, byte for byte"))
        elif name == HTML and (foreign := _parts_drawn(page) - _parts_drawn(drawn[name])):
            told = f"holds in its pictures what this version draws none with: {', '.join(sorted(foreign))}"
            lines.append(Line(Status.BROKEN, name, told))
        elif filed.folder.as_listed(name) and words(page) in map(words, wanted):
            told = "says what this version says, and is drawn otherwise: other libraries or fonts, or it was changed"
            lines.append(Line(Status.UNCHECKED, name, f"{told}; look at it beside the input"))
        else:
            told = "does not say what this version writes of this result: it was changed"
            lines.append(Line(Status.BROKEN, name, told))
    return lines


def _without_drawings(page: bytes) -> str:
    return _DRAWING.sub("<svg>", page.decode(errors="replace"))


def _parts_drawn(page: bytes) -> set[str]:
    """The names of what the pictures of a page are made of."""
    return {part.lower() for one in _DRAWING.findall(page.decode(errors="replace")) for part in _PART.findall(one)}
