"""The files of a report: against their list of digests, against the seal of the result, and against each other."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from enum import StrEnum
from pathlib import Path
from typing import Any

from msgspec import Struct
from msgspec.json import decode
from msgspec.structs import asdict

from qc.document import SCHEMA, as_text
from qc.jobs.check import TO_ASSAY
from qc.jobs.seal import SEAL, Seal, result_sha256, seal_of
from qc.jobs.superseded import MARK
from qc.jobs.verify.pages import never_drawn, not_said
from qc.patterns import pattern
from qc.problems import InputProblems, Problem
from qc.say.text import listed
from qc.show.filing import HTML, JSON, PDF, SUMS, finish, sums_text

_IN_PDF = pattern(rb"result-sha256:([0-9a-f]{64})")
_IN_HEAD = pattern(r'<meta name="result-sha256" content="([^"]*)">')
_TAG = pattern(r"<[^>]*>")
_LINE = pattern(r"([0-9a-f]{64})  ([^\s/\\]+)")
MOST_NAMED = 4
_DIGEST = pattern(r"[0-9a-f]{64}")


class Status(StrEnum):
    """What was found at one point."""

    HOLDS = "holds"
    BROKEN = "broken"
    UNCHECKED = "not checked"
    REMARK = "remark"


class Line(Struct, frozen=True):
    """One point: what was looked at, and what was found there."""

    state: Status
    what: str
    told: str


class ReportFolder(Struct, frozen=True, kw_only=True):
    """A report as it lies on the disk.

    Parameters
    ----------
    path : Path
    files : mapping
        Bytes by name, of every file that is there.
    listed : mapping
        The digests by name that its list gives.
    fault : str
        What is wrong with that list as a whole; empty where it could be read.
    besides : tuple of str
        What else lies in the folder, hidden names apart.
    """

    path: Path
    files: Mapping[str, bytes]
    listed: Mapping[str, str]
    fault: str
    besides: tuple[str, ...] = ()

    def as_listed(self, name: str) -> bool:
        """Whether a file is there and is the one that the list gives."""
        return name in self.files and hashlib.sha256(self.files[name]).hexdigest() == self.listed.get(name)


class FiledResult(Struct, frozen=True, kw_only=True):
    """A report whose result document and seal could be read."""

    folder: ReportFolder
    document: Mapping[str, Any]
    seal: Seal


def held(what: str, holds: bool, told: str, otherwise: str) -> Line:
    """A point that either holds or is broken, with what is told in either case."""
    return Line(Status.HOLDS, what, told) if holds else Line(Status.BROKEN, what, otherwise)


def report_folder(report: Path) -> ReportFolder:
    """The report in a folder, or beside a file of it.

    Raises
    ------
    InputProblems
        When there is no report, or it cannot be read.
    """
    folder = report.parent if report.is_file() else report
    if not folder.is_dir():
        raise InputProblems.of_file(report, "there is no such folder", "Give the folder of a report, or a file in it")
    try:
        finish(folder)
        files = _read(folder, {HTML, PDF, JSON, SUMS})
        listed, fault = _listed(files.get(SUMS))
        files |= _read(folder, set(listed) - set(files))
        besides = {one.name for one in folder.iterdir() if one.name[0] != "."} - {*files, *listed, MARK}
    except OSError as failure:
        found = f"the report cannot be read ({failure.strerror or failure})"
        raise InputProblems.of_file(report, found, "See whether you may read it") from failure
    if SUMS not in files and JSON not in files:
        found = f"this is not the folder of a report: it holds neither {SUMS} nor {JSON}"
        raise InputProblems.of_file(report, found, "Give the folder that qc check wrote")
    return ReportFolder(path=folder, files=files, listed=listed, fault=fault, besides=tuple(sorted(besides)))


def _read(folder: Path, names: set[str]) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in sorted(names) if (folder / name).is_file()}


def _listed(sums: bytes | None) -> tuple[dict[str, str], str]:
    """The digests of a list by name, and what is wrong with the list where it cannot be read."""
    if sums is None:
        return {}, "is missing, so the files cannot be compared with the digests they were filed with"
    try:
        return read_sums(sums.decode()), ""
    except ValueError as error:
        return {}, f"was changed: {'is not text' if isinstance(error, UnicodeDecodeError) else error}"


def read_sums(text: str) -> dict[str, str]:
    """The digest of each file of a list, by name.

    Raises
    ------
    ValueError
        When a line is not in the format, or a file stands twice; the message names the line.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise ValueError(f"line {number} is not a digest, two spaces and a file name")
        digest, name = match.groups()
        if name in found:
            raise ValueError(f"line {number} names {name} again")
        found[name] = digest
    return found


def filed_together(folder: ReportFolder) -> list[Line]:
    """Every file against the digest it was filed with, one line a file."""
    files = folder.files
    if folder.fault:
        return [Line(Status.BROKEN, SUMS, folder.fault)]
    lines = [_as_listed(name, folder) for name in sorted({HTML, PDF, JSON, *folder.listed})]
    written = sums_text({name: files[name] for name in folder.listed if name in files}).encode()
    if all(line.state is Status.HOLDS for line in lines) and written != files[SUMS]:
        lines.append(Line(Status.BROKEN, SUMS, "is not in the form in which it is written: it was changed"))
    if folder.besides:
        told = f"{listed(folder.besides, most=MOST_NAMED)}: not in {SUMS}, so no part of the report"
        lines.append(Line(Status.REMARK, "also there", told))
    return lines


def _as_listed(name: str, folder: ReportFolder) -> Line:
    if name not in folder.listed:
        return Line(Status.BROKEN, name, f"is not listed in {SUMS}")
    if name == TO_ASSAY and not folder.as_listed(name):
        # Contents are typed into it, or it is taken along to do so: no break of the report, and not what was filed.
        typed = "was changed since it was filed, as typing contents into it does; sha256sum -c names it for that alone"
        found = typed if name in folder.files else ""
        return Line(Status.UNCHECKED, name, found or f"is listed in {SUMS} and is not in the folder")
    if name not in folder.files:
        return Line(Status.BROKEN, name, f"is listed in {SUMS} and is not in the folder")
    changed = f"is not the file that {SUMS} lists: one of the two was changed"
    return held(name, folder.as_listed(name), f"is the file that {SUMS} lists", changed)


def result_and_seal(folder: ReportFolder) -> tuple[FiledResult | None, list[Line]]:
    """The result document, when it and its seal can be read, and whether it is the one that was sealed."""
    content = folder.files.get(JSON)
    if content is None:
        # Its absence is told with the other files.
        return None, []
    try:
        document = decode(content, type=dict[str, Any])
    except (ValueError, RecursionError):
        return None, [Line(Status.BROKEN, JSON, "is not a result document any more")]
    if document.get("schema") != SCHEMA:
        told = f'is of the schema "{document.get("schema")}"; this version reads {SCHEMA}'
        return None, [Line(Status.BROKEN, JSON, told)]
    seal = seal_of(document)
    if seal is None:
        return None, [Line(Status.BROKEN, JSON, "carries no seal, or one that was damaged")]
    digest, apart = seal.result_sha256, _said_otherwise(document, seal)
    sealed = f"is the one that was sealed ({digest[:12]}...)"
    other = "is not the one that was sealed: its digest is another one"
    same = "says the same as the result about input, rules, version and names"
    lines = [
        held("result", result_sha256(document) == digest, sealed, other),
        held(SEAL, not apart, same, f"differs from the result in {', '.join(apart)}"),
    ]
    if as_text(document).encode() != content:
        changed = "is not in the form in which it was written: it was changed"
        lines.insert(0, Line(Status.BROKEN, JSON, changed))
    return FiledResult(folder=folder, document=document, seal=seal), lines


def whole_report(report: Path) -> FiledResult:
    """The result of a report whose files and seal hold, to go on with.

    Raises
    ------
    InputProblems
        When there is no report, or its files do not belong together any more.
    """
    folder = report_folder(report)
    filed, lines = result_and_seal(folder)
    broken = [line for line in (*filed_together(folder), *lines) if line.state is Status.BROKEN]
    if filed is None or broken:
        mend = f"Look into it with: qc verify {report}"
        raise InputProblems(
            Problem(file=report.name, sheet="", cell="", found=f"{line.what} {line.told}", mend=mend) for line in broken
        )
    return filed


def _said_otherwise(document: Mapping[str, Any], seal: Seal) -> list[str]:
    used = {test["rule"] for test in document["tests"] if test.get("verdict") != "not-assessed"}
    names = asdict(seal.entered_by)
    same = {
        "the input": (None if seal.input is None else asdict(seal.input)) == document.get("input"),
        "the version": seal.qc_version == document["qc_version"],
        "the rule set": seal.rule_set.id == document["rule_set"],
        "the rules": used <= set(seal.rules),
        "who entered it": names == {role: document["batch"].get(role) for role in names},
    }
    return [what for what, agrees in same.items() if not agrees]


def pages_of_this_result(filed: FiledResult) -> list[Line]:
    """Whether the digests printed on the pages are those of this result."""
    files, seal = filed.folder.files, filed.seal
    lines = []
    if HTML in files:
        page = files[HTML].decode(errors="replace")
        printed = set(_DIGEST.findall(_TAG.sub(" ", page)))
        wanted = {
            "the result": seal.result_sha256,
            JSON: hashlib.sha256(files[JSON]).hexdigest(),
            "the rules asked for": seal.rule_set.sha256,
            **({} if seal.input is None else {"the input": seal.input.sha256}),
            **{f"rule {id}": rule.sha256 for id, rule in seal.rules.items()},
        }
        missing = [what for what, digest in wanted.items() if digest not in printed]
        holds = not missing and _IN_HEAD.findall(page) == [seal.result_sha256]
        told = "prints the digests of this result, its input and its rules"
        lines.append(held(HTML, holds, told, f"does not print the digest of {', '.join(missing or ['the result'])}"))
    if PDF in files:
        holds = set(_IN_PDF.findall(files[PDF])) == {seal.result_sha256.encode()}
        told = "carries the digest of this result"
        lines.append(held(PDF, holds, told, "does not carry the digest of this result"))
    for name in (HTML, PDF):
        # Of a file that is not the one that was filed, that is told already.
        if filed.folder.as_listed(name):
            lacking, foreign = not_said(filed.document, files[name]), never_drawn(files[name])
            told = "says the batch, its verdicts and what was measured of its units, as the result does"
            lines.append(held(name, not lacking, told, f"is of another result: it does not say {listed(lacking)}"))
            if foreign:
                lines.append(Line(Status.BROKEN, name, f"holds what no report is drawn with: {listed(foreign)}"))
    return lines
