"""What a sweep finds in folders: every input that could be a batch, once, and what qc made itself left out."""

from __future__ import annotations

import glob
import os
import re
import zipfile
from collections.abc import Iterable, Iterator
from pathlib import Path

from msgspec import Struct, field

from qc.jobs.check import TO_ASSAY
from qc.readers.guards import BROKEN_ZIP
from qc.readers.read import OLD_SUFFIX, WORKBOOK_SUFFIXES
from qc.readers.stored import TABLE_SUFFIXES, TEXT_SUFFIX, is_folder_of_tables, is_sheet_of_folder
from qc.show.filing import JSON, SUMS
from qc.workbook.page import MADE, RESULTS_WORKBOOK

JOURNAL = ".qc-journal.jsonl"
"""What was judged, beside the tables that a sweep or a watch writes."""
TABLES = ("batches.csv", "refused.csv")
# The last one is no file that is read: its row says so, where a batch would be passed over in silence.
SUFFIXES = frozenset((*WORKBOOK_SUFFIXES, OLD_SUFFIX, ".ods", *TABLE_SUFFIXES, TEXT_SUFFIX, ".xlsb"))
_RESULTS_TITLE = f"<dc:title>{RESULTS_WORKBOOK}</dc:title>"
# Of what a workbook says of itself so much is read, however much there is.
_PROPERTIES_BYTES = 4096
# Hidden files, and what spreadsheet programs put beside a workbook that is open.
_PASSING = (".", "~$")


class FoundInputs(Struct, kw_only=True):
    """The inputs of a sweep, in the order of their paths, each once; how many files of qc's own were passed over."""

    inputs: list[Path] = field(default_factory=list)
    own: int = 0


def find_inputs(paths: Iterable[str | Path]) -> FoundInputs:
    """Search files, folders and patterns for inputs.

    Parameters
    ----------
    paths : iterable
        A folder is searched with all below it; one with a units.csv is an input itself. A file that is named is an
        input whatever its ending, and so is a name that does not exist: its row says so. Of a pattern, every match.

    Returns
    -------
    FoundInputs
    """
    found, seen = FoundInputs(), set[str]()
    for path in sorted({one for given in paths for one in _meant(str(given))}):
        for one in _below(path, seen):
            real = os.path.realpath(one)
            if real in seen:
                continue
            seen.add(real)
            if made_by_qc(one):
                found.own += 1
            else:
                found.inputs.append(one)
    found.inputs.sort()
    return found


def _meant(given: str) -> list[Path]:
    """A path itself, or all that match a pattern; a pattern that nothing matches stays as it is.

    As in a shell, stars match no name that begins with a point, and two of them lead through folders, not through links
    to folders, which may go round in a circle.
    """
    if os.path.lexists(given) or not glob.has_magic(given):
        return [Path(given)]
    pattern = Path(*(part if part == "**" else re.sub(r"\*+", "*", part) for part in Path(given).parts))
    root, named = Path(pattern.anchor), set(pattern.parts)
    found = [
        one
        for one in root.glob(str(pattern.relative_to(root)))
        if not any(part.startswith(".") and part not in named for part in one.parts)
        and (pattern.name != "**" or one.is_dir())
    ]
    return found or [Path(given)]


def _below(folder: Path, seen: set[str]) -> Iterator[Path]:
    """The inputs in a folder and below it; a file is one, and so is a folder that cannot be opened: its row says so."""
    real = f"{os.path.realpath(folder)}{os.sep}"
    if real in seen:
        return
    seen.add(real)
    try:
        entries = sorted(folder.iterdir())
    except OSError:
        yield folder
        return
    tables = is_folder_of_tables(entries)
    if tables:
        yield folder
    for entry in entries:
        if entry.name.startswith(_PASSING) or (tables and is_sheet_of_folder(entry)):
            continue
        if os.path.isdir(entry):
            yield from _below(entry, seen)
        elif entry.suffix.casefold() in SUFFIXES and not _is_no_file(entry):
            yield entry


def input_of(path: Path, *, within: Path) -> Path | None:
    """The input that a file below a folder belongs to, or is; None where it is none."""
    if any(part.startswith(_PASSING) for part in path.relative_to(within).parts):
        return None
    if is_sheet_of_folder(path) and is_folder_of_tables(path.parent.iterdir()):
        return path.parent
    return path if path.suffix.casefold() in SUFFIXES and not _is_no_file(path) else None


def _is_no_file(path: Path) -> bool:
    """Whether it is there and can't be read to its end, such as a pipe; a link to nowhere is told in its row."""
    return os.path.exists(path) and not os.path.isfile(path)


def made_by_qc(path: Path) -> bool:
    """Whether a file is one that qc wrote beside a result: no batch of its own.

    A list of units to assay is a batch again once somebody typed into it.
    """
    beside = path.parent
    if path.name in TABLES and (beside / JOURNAL).exists():
        return True
    if path.suffix.casefold() not in WORKBOOK_SUFFIXES or not os.path.isfile(path):
        return False
    properties = _properties(path)
    if path.name == TO_ASSAY and (beside / SUMS).exists() and (beside / JSON).exists():
        # A spreadsheet program writes there when it saved the file.
        return re.search(rf"modified[^>]*>{MADE.isoformat()}Z<", properties) is not None
    return _RESULTS_TITLE in properties


def is_results_workbook(path: Path) -> bool:
    """Whether a file is a workbook that calculates a result anew, as qc wrote it or a spreadsheet program saved it."""
    return _RESULTS_TITLE in _properties(path)


def _properties(path: Path) -> str:
    """What a workbook says of itself; empty where it is none."""
    try:
        with zipfile.ZipFile(path) as archive, archive.open("docProps/core.xml") as part:
            return part.read(_PROPERTIES_BYTES).decode(errors="replace")
    except BROKEN_ZIP:
        return ""
