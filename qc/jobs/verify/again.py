"""Whether today's version judges the same input the same, and draws the same pages from it."""

from __future__ import annotations

import json
import math
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from qc import __version__
from qc.document import as_text
from qc.jobs.check import Checked, check_batch
from qc.jobs.differences import result_differences, verdict_differences
from qc.jobs.seal import SEAL
from qc.jobs.verify.files import FiledResult, Line, Status
from qc.jobs.verify.origin import Origin
from qc.problems import InputProblems
from qc.show.pages_pdf import Paper
from qc.show.write import HTML, PDF, render_report

# What is estimated by iteration may differ in its last digits from one machine to another; verdicts and figures do not.
ESTIMATES_AGREE = 1e-6
AGAIN = "judged again"
_NOT_JUDGED = ("qc_version", SEAL, "input", "supersedes", "schema")
_DRAWING = re.compile(r"<svg\b.*?</svg>", re.DOTALL)


def judged_again(filed: FiledResult, origin: Origin) -> list[Line]:
    """Judge the input again as it was asked for, and compare.

    Parameters
    ----------
    filed : FiledResult
    origin : Origin
        With its input, and its rules where those were a house rule file.
    """
    document, seal = filed.document, filed.seal
    assert origin.input is not None
    assert seal.input is not None
    try:
        with _under_its_name(origin.input, name=seal.input.name) as path:
            checked = check_batch(path, options=seal.asked.options(), rules=origin.rules, seed=document["seed"])
    except InputProblems as problems:
        return [Line(Status.BROKEN, AGAIN, f"cannot be done: {problem}") for problem in problems.problems]
    lines = _same_result(document, _as_filed(checked.document), version=seal.qc_version)
    if seal.qc_version == __version__ and all(line.state is Status.HOLDS for line in lines):
        lines += _same_seal(document[SEAL], _as_filed(checked.sealed())[SEAL])
        lines += _same_pages(filed, checked)
    return lines


def _same_seal(then: Mapping[str, Any], today: Mapping[str, Any]) -> list[Line]:
    """A line where this version would seal otherwise; the digest of the result was held against the result before."""
    apart = [name for name in dict.fromkeys((*then, *today)) if then.get(name) != today.get(name)]
    apart = [name.replace("_", " ") for name in apart if name != "result_sha256"]
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
    filed: dict[str, Any] = json.loads(as_text(document))
    return filed


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
    if isinstance(then, float | int) and isinstance(today, float | int) and not isinstance(then, bool):
        return math.isclose(then, today, rel_tol=ESTIMATES_AGREE, abs_tol=ESTIMATES_AGREE)
    if isinstance(then, dict) and isinstance(today, dict):
        return then.keys() == today.keys() and all(_agree(then[key], today[key]) for key in then)
    if isinstance(then, list) and isinstance(today, list):
        return len(then) == len(today) and all(map(_agree, then, today))
    return then == today


def _same_pages(filed: FiledResult, checked: Checked) -> list[Line]:
    """Whether the pages are those that this version draws: what a page says cannot be told from its digest."""
    page, pdf = filed.folder.files.get(HTML), filed.folder.files.get(PDF)
    lines = []
    judged = checked.to_draw()
    drawn = render_report(judged, document=filed.document)
    if page is not None:
        if page == drawn[HTML]:
            lines.append(Line(Status.HOLDS, HTML, "is the page that this version draws, byte for byte"))
        elif _without_drawings(page) == _without_drawings(drawn[HTML]):
            told = "says what this version says; its drawings differ (other drawing libraries, or changed)"
            lines.append(Line(Status.REMARK, HTML, told))
        else:
            told = "does not say what this version writes of this result: it was changed"
            lines.append(Line(Status.BROKEN, HTML, told))
    if pdf is not None:
        if pdf == drawn[PDF] or pdf == render_report(judged, document=filed.document, paper=Paper.LETTER)[PDF]:
            lines.append(Line(Status.HOLDS, PDF, "holds the pages that this version draws, byte for byte"))
        else:
            told = "is not byte for byte what this version draws here (other libraries or fonts, or changed): read it"
            lines.append(Line(Status.REMARK, PDF, f"{told} beside {HTML}"))
    return lines


def _without_drawings(page: bytes) -> str:
    return _DRAWING.sub("", page.decode(errors="replace"))
