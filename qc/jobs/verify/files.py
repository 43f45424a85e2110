"""The files of a report: against their list of digests, against the seal of the result, and against each other."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NoReturn

from msgspec import Struct

from qc.document import SCHEMA, as_text
from qc.jobs.seal import SEAL, result_sha256
from qc.jobs.sealed_form import is_sealed_result
from qc.jobs.verify.lines import Line, Status
from qc.problems import InputProblems, Problem
from qc.show.sums import SUMS, read_sums, sums_text
from qc.show.write import HTML, JSON, PDF

_IN_PDF = re.compile(rb"result-sha256:([0-9a-f]{64})")
_IN_HEAD = re.compile(r'<meta name="result-sha256" content="([^"]*)">')
_TAG = re.compile(r"<[^>]*>")
_DIGEST = re.compile(r"[0-9a-f]{64}")


class ReportFolder(Struct, frozen=True, kw_only=True):
    """A report as it lies on the disk: bytes by name, of every file that is there."""

    path: Path
    files: Mapping[str, bytes]


def report_folder(report: Path) -> ReportFolder:
    """The report in a folder, or beside a file of it.

    Raises
    ------
    InputProblems
        When there is no report, or it cannot be read.
    """
    folder = report.parent if report.is_file() else report
    if not folder.is_dir():
        _refuse(report, "there is no such folder", "Give the folder of a report, or a file in it")
    try:
        files = _read(folder, {HTML, PDF, JSON, SUMS})
        files |= _read(folder, _listed(files.get(SUMS, b"")) - set(files))
    except OSError as failure:
        _refuse(report, f"the report cannot be read ({failure.strerror or failure})", "See whether you may read it")
    if SUMS not in files and JSON not in files:
        _refuse(
            report,
            f"this is not the folder of a report: it holds neither {SUMS} nor {JSON}",
            "Give the folder that qc check wrote",
        )
    return ReportFolder(path=folder, files=files)


def _read(folder: Path, names: set[str]) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in sorted(names) if (folder / name).is_file()}


def _listed(sums: bytes) -> set[str]:
    """The names in a list of digests; none where it cannot be read, which is told when the files are checked."""
    try:
        return set(read_sums(sums.decode()))
    except ValueError:
        return set()


def _refuse(report: Path, found: str, mend: str) -> NoReturn:
    raise InputProblems([Problem(file=report.name or str(report), sheet="", cell="", found=found, mend=mend)])


def filed_together(folder: ReportFolder) -> list[Line]:
    """Every file against the digest it was filed with, one line a file."""
    if SUMS not in folder.files:
        return [_broken(SUMS, "is missing, so the files cannot be held against the digests they were filed with")]
    try:
        listed = read_sums(folder.files[SUMS].decode())
    except ValueError as error:
        told = "is not text" if isinstance(error, UnicodeDecodeError) else str(error)
        return [_broken(SUMS, f"was changed: {told}")]
    lines = []
    for name in sorted({HTML, PDF, JSON, *listed}):
        if name not in listed:
            lines.append(_broken(name, f"is not listed in {SUMS}"))
        elif name not in folder.files:
            lines.append(_broken(name, f"is listed in {SUMS} and is not in the folder"))
        elif hashlib.sha256(folder.files[name]).hexdigest() != listed[name]:
            lines.append(_broken(name, f"is not the file that {SUMS} lists: one of the two was changed"))
        else:
            lines.append(_holds(name, f"is the file that {SUMS} lists"))
    if all(line.state is Status.HOLDS for line in lines):
        written = sums_text({name: folder.files[name] for name in listed})
        if written.encode() != folder.files[SUMS]:
            lines.append(_broken(SUMS, "is not in the form in which it is written: it was changed"))
    return lines


def result_and_seal(folder: ReportFolder) -> tuple[Mapping[str, Any] | None, list[Line]]:
    """The result document, when it and its seal can be read, and whether it is the one that was sealed."""
    content = folder.files.get(JSON)
    if content is None:
        # Its absence is told with the other files.
        return None, []
    document = _document(content)
    if document is None:
        return None, [_broken(JSON, "is not a result document any more")]
    if document.get("schema") != SCHEMA:
        return None, [_broken(JSON, f'is of the schema "{document.get("schema")}"; this version reads {SCHEMA}')]
    if not is_sealed_result(document):
        return None, [_broken(JSON, "carries no seal, or one that was damaged")]
    lines = []
    if as_text(document).encode() != content:
        lines.append(_broken(JSON, "is not in the form in which it was written: it was changed"))
    seal = document[SEAL]
    if result_sha256(document) != seal["result_sha256"]:
        lines.append(_broken("result", "is not the one that was sealed: its digest is another one"))
    else:
        lines.append(_holds("result", f"is the one that was sealed ({seal['result_sha256'][:12]}...)"))
    apart = _said_otherwise(document)
    if apart:
        lines.append(_broken("seal", f"says otherwise than the result about {', '.join(apart)}"))
    else:
        lines.append(_holds("seal", "says the same as the result about input, rules, version and names"))
    return document, lines


def _document(content: bytes) -> dict[str, Any] | None:
    try:
        document = json.loads(content.decode(), parse_constant=_no_number)
    except (ValueError, RecursionError):
        return None
    return document if isinstance(document, dict) else None


def _no_number(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


def _said_otherwise(document: Mapping[str, Any]) -> list[str]:
    seal = document[SEAL]
    names = {role: document["batch"].get(role) for role in ("made_by", "weighed_by", "checked_by")}
    used = {test["rule"] for test in document["tests"] if test.get("verdict") != "not-assessed"}
    same = {
        "the input": seal.get("input") == document.get("input"),
        "the version": seal["qc_version"] == document.get("qc_version"),
        "the rule set": seal["rule_set"].get("id") == document.get("rule_set"),
        "the rules": used <= set(seal["rules"]),
        "who entered it": seal["entered_by"] == names,
    }
    return [what for what, agrees in same.items() if not agrees]


def pages_of_this_result(folder: ReportFolder, document: Mapping[str, Any]) -> list[Line]:
    """Whether the digests printed on the pages are those of this result."""
    seal = document[SEAL]
    lines = []
    if HTML in folder.files:
        page = folder.files[HTML].decode(errors="replace")
        printed = set(_DIGEST.findall(_TAG.sub(" ", page)))
        wanted = {
            "the result": seal["result_sha256"],
            JSON: hashlib.sha256(folder.files[JSON]).hexdigest(),
            "the rules asked for": seal["rule_set"]["sha256"],
            **({"the input": seal["input"]["sha256"]} if seal.get("input") else {}),
            **{f"rule {id}": rule["sha256"] for id, rule in seal["rules"].items()},
        }
        missing = [what for what, digest in wanted.items() if digest not in printed]
        if missing or _IN_HEAD.findall(page) != [seal["result_sha256"]]:
            lines.append(_broken(HTML, f"does not print the digest of {', '.join(missing or ['the result'])}"))
        else:
            lines.append(_holds(HTML, "prints the digests of this result, its input and its rules"))
    if PDF in folder.files:
        found = set(_IN_PDF.findall(folder.files[PDF]))
        if found == {seal["result_sha256"].encode()}:
            lines.append(_holds(PDF, "carries the digest of this result"))
        else:
            lines.append(_broken(PDF, "does not carry the digest of this result"))
    return lines


def _holds(what: str, told: str) -> Line:
    return Line(state=Status.HOLDS, what=what, told=told)


def _broken(what: str, told: str) -> Line:
    return Line(state=Status.BROKEN, what=what, told=told)
