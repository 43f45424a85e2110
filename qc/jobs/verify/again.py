"""Whether today's version judges the same input the same, and draws the same pages from it."""

from __future__ import annotations

import json
import math
import re
import shutil
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any

from qc import __version__
from qc.document import as_text
from qc.jobs.check import Checked, check_batch
from qc.jobs.differences import Difference, result_differences, verdict_differences
from qc.jobs.seal import SEAL
from qc.jobs.verify.files import ReportFolder
from qc.jobs.verify.lines import Line, Status
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.show.paper import Paper
from qc.show.write import HTML, PDF, render_report

# What is estimated by iteration may differ in its last digits from one machine to another; verdicts and figures do not.
ESTIMATES_AGREE = 1e-6
_NOT_JUDGED = ("qc_version", SEAL, "input", "supersedes", "schema")
_DRAWING = re.compile(r"<svg\b.*?</svg>", re.DOTALL)


def judged_again(
    folder: ReportFolder, document: Mapping[str, Any], *, origin: Path, house_file: Path | None
) -> list[Line]:
    """Judge the input again as it was asked for, and compare.

    Parameters
    ----------
    folder : ReportFolder
    document : mapping
        The result as filed, with its seal.
    origin : Path
        The input that was judged.
    house_file : Path or None
        The house rule file that judged, if there was one.
    """
    seal = document[SEAL]
    try:
        options = _options(seal["asked"])
        asked = seal["asked"].get("rules") if house_file is None else house_file
        with _under_its_name(origin, name=str(seal["input"]["name"])) as path:
            number = document.get("seed")
            checked = check_batch(path, options=options, rules=asked, seed=number)
    except (InvalidOperation, TypeError) as error:
        return [_line(Status.BROKEN, f"cannot be done: the seal does not say how it was asked for ({error})")]
    except InputProblems as problems:
        return [_line(Status.BROKEN, f"cannot be done: {problem}") for problem in problems.problems]
    lines = _same_result(document, _as_filed(checked.document), version=str(seal["qc_version"]))
    if seal["qc_version"] == __version__ and all(line.state is Status.HOLDS for line in lines):
        lines += _same_seal(seal, checked)
        lines += _same_pages(folder, document, checked)
    return lines


def _same_seal(seal: Mapping[str, Any], checked: Checked) -> list[Line]:
    """A line where this version would seal otherwise; the digest of the result was held against the result before."""
    today = _as_filed(checked.sealed())[SEAL]
    apart = [name for name in dict.fromkeys((*seal, *today)) if seal.get(name) != today.get(name)]
    apart = [name.replace("_", " ") for name in apart if name != "result_sha256"]
    told = f"is not what this version writes: {', '.join(apart)}"
    return [Line(state=Status.BROKEN, what=SEAL, told=told)] if apart else []


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


def _options(asked: Mapping[str, Any]) -> ReadOptions:
    numbers = {
        name: None if asked.get(name) is None else Decimal(str(asked[name])) for name in ("label_mg", "displacement")
    }
    return ReadOptions(
        form=asked.get("form"),
        label_mg=numbers["label_mg"],
        displacement=numbers["displacement"],
        decimal=asked.get("decimal"),
        separator=asked.get("separator"),
    )


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
        lines = [_line(Status.BROKEN, f"{by} judges otherwise:")]
        return lines + [_line(Status.BROKEN, str(one)) for one in told]
    if not apart:
        return [_line(Status.HOLDS, f"{by} comes to the same verdicts and figures")]
    state = Status.BROKEN if version == __version__ else Status.REMARK
    same = _line(Status.HOLDS, f"{by} comes to the same verdicts and figures of the tests")
    rest: list[Difference] = list(result_differences(then, today))
    named = ", ".join(key.replace("_", " ") for key in apart)
    return [
        same,
        _line(state, f"other parts of the result differ (other numerical libraries, or changed): {named}"),
        *(_line(state, str(one)) for one in rest),
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


def _same_pages(folder: ReportFolder, document: Mapping[str, Any], checked: Checked) -> list[Line]:
    """Whether the pages are those that this version draws: what a page says cannot be told from its digest alone."""
    filed_page, filed_pdf = folder.files.get(HTML), folder.files.get(PDF)
    lines = []
    judged = checked.to_draw()
    drawn = render_report(judged, document=document)
    if filed_page is not None:
        if filed_page == drawn[HTML]:
            lines.append(Line(state=Status.HOLDS, what=HTML, told="is the page that this version draws, byte for byte"))
        elif _without_drawings(filed_page) == _without_drawings(drawn[HTML]):
            told = "says what this version says; its drawings differ (other drawing libraries, or changed)"
            lines.append(Line(state=Status.REMARK, what=HTML, told=told))
        else:
            told = "does not say what this version writes of this result: it was changed"
            lines.append(Line(state=Status.BROKEN, what=HTML, told=told))
    if filed_pdf is not None:
        same = filed_pdf == drawn[PDF]
        if not same:
            same = filed_pdf == render_report(judged, document=document, paper=Paper.LETTER)[PDF]
        told = (
            "holds the pages that this version draws, byte for byte"
            if same
            else "is not byte for byte what this version draws here (other libraries or fonts, or changed): read it "
            f"beside {HTML}"
        )
        lines.append(Line(state=Status.HOLDS if same else Status.REMARK, what=PDF, told=told))
    return lines


def _without_drawings(page: bytes) -> str:
    return _DRAWING.sub("", page.decode(errors="replace"))


def _line(state: Status, told: str) -> Line:
    return Line(state=state, what="judged again", told=told)
