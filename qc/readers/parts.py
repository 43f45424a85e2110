"""The parts of a workbook's container beside its sheets: which part names which, the shared texts, the text boxes.

Each is read by expat alone, and whatever is missing or damaged refuses the file.
"""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Mapping
from posixpath import dirname, join, normpath
from typing import Any
from xml.parsers import expat

from qc.readers.cells import RAISED, STRUCK, WHITE
from qc.readers.guards import UnusableFileError

_DRAWING, _CHART = "/drawing", "/chart"
_ROOT = "_rels/.rels"
_MEND = "Open it in the spreadsheet program, see whether every sheet is whole, and save it again as .xlsx"


def refused(found: str) -> UnusableFileError:
    """The error that says what of the container is amiss, and how to mend it."""
    return UnusableFileError(found, mend=_MEND)


def _place_of_relations(part: str) -> str:
    return join(dirname(part), "_rels", f"{part.rpartition('/')[2]}.rels") if part else _ROOT


def relations_of(archive: zipfile.ZipFile, part: str) -> dict[str, tuple[str, str]]:
    """Kind and target of each relation of a part, of the whole file where it is empty."""
    folder = dirname(part)
    place = _place_of_relations(part)
    found: dict[str, tuple[str, str]] = {}

    def relation(given: Mapping[str, str]) -> None:
        target = given.get("Target", "")
        whole = target.lstrip("/") if target.startswith("/") else normpath(join(folder, target))
        if given.get("TargetMode") != "External":
            found[given.get("Id", "")] = (given.get("Type", ""), whole)

    walk(archive, place, {"Relationship": relation})
    return found


def walk(
    archive: zipfile.ZipFile,
    part: str,
    begins: Mapping[str, Callable[[Mapping[str, str]], None]],
    *,
    ends: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Read a part from end to end; elements are known by their names without a prefix."""
    if part not in archive.namelist():
        raise refused(f"the part {part or 'of the workbook'} is missing in the file")

    def begin(name: str, given: dict[str, str]) -> None:
        if (action := begins.get(name.rpartition(":")[2])) is not None:
            action(given)

    parser = expat.ParserCreate()
    parser.buffer_text = True
    parser.StartElementHandler = begin
    if ends is not None:
        parser.EndElementHandler = lambda name: ends(name.rpartition(":")[2])
    if text is not None:
        parser.CharacterDataHandler = text
    try:
        with archive.open(part) as stream:
            parser.ParseFile(stream)
    except expat.ExpatError as error:
        raise refused(f"the part {part} is damaged ({error})") from error


def shared_texts(archive: zipfile.ZipFile, part: str) -> tuple[tuple[str, ...], dict[str, str]]:
    """The shared texts, those of phonetic guides left out, as many as the part says that it holds.

    Beside them, by their number, what the type of a part does to them.
    """
    found: list[list[str]] = []
    looks: dict[str, str] = {}
    state: dict[str, Any] = {"declared": None, "phonetic": False, "in": False}

    def head(given: Mapping[str, str]) -> None:
        state["declared"] = given.get("uniqueCount")

    def ended(name: str) -> None:
        if name == "rPh":
            state["phonetic"] = False
        if name == "t":
            state["in"] = False

    def text(part: str) -> None:
        if state["in"] and not state["phonetic"] and found:
            found[-1].append(part)

    begins: dict[str, Callable[[Mapping[str, str]], None]] = {
        "sst": head,
        "si": lambda _: found.append([]),
        "rPh": lambda _: state.update(phonetic=True),
        "t": lambda _: state.update({"in": True}),
        "strike": lambda given: note_look(looks, str(len(found) - 1), given),
        "vertAlign": lambda given: note_look(looks, str(len(found) - 1), given),
        "color": lambda given: note_white(looks, str(len(found) - 1), given),
    }
    walk(archive, part, begins, ends=ended, text=text)
    if state["declared"] is not None and str(state["declared"]).isdecimal() and int(state["declared"]) > len(found):
        raise refused(f"the file says that it holds {state['declared']} texts and holds {len(found)}")
    return tuple("".join(parts) for parts in found), looks


def text_boxes(archive: zipfile.ZipFile, part: str) -> tuple[str, ...]:
    """The texts of the text boxes and pictures that are drawn on a sheet, and the titles of its charts."""
    drawings = _related(archive, part, _DRAWING)
    drawn = [*drawings, *(chart for drawing in drawings for chart in _related(archive, drawing, _CHART))]
    found: list[list[str]] = []
    inside: list[str] = []

    def text(told: str) -> None:
        if found and inside:
            found[-1].append(told)

    begins: dict[str, Callable[[Mapping[str, str]], None]] = {
        **dict.fromkeys(("txBody", "rich"), lambda _: found.append([])),
        "p": lambda _: found[-1].append(" ") if found else None,
        "t": lambda _: inside.append("t"),
        # What is said of a picture, a box or a chart to who cannot see it.
        "cNvPr": lambda given: found.append([given.get("descr", "")]),
    }
    for target in drawn:
        walk(archive, target, begins, ends=lambda name: inside.clear() if name == "t" else None, text=text)
    return tuple(filter(None, ("".join(parts).strip() for parts in found)))


def _related(archive: zipfile.ZipFile, part: str, kind: str) -> list[str]:
    """The parts of a kind that a part names and that are there."""
    relations = relations_of(archive, part) if _place_of_relations(part) in archive.namelist() else {}
    return [target for named, target in relations.values() if named.endswith(kind) and target in archive.namelist()]


def note_white(looks: dict[str, str], place: str, given: Mapping[str, str]) -> None:
    """Note a part of a text in the colour of the paper."""
    if given.get("rgb", "").upper().endswith("FFFFFF") or given.get("theme") == "0":
        looks.setdefault(place, WHITE)


def note_look(looks: dict[str, str], place: str, given: Mapping[str, str]) -> None:
    """Note a line through a text, which is there where nothing else is said, or a part of it that is raised."""
    said = given.get("val", "1")
    if said not in ("0", "false", "baseline"):
        looks.setdefault(place, RAISED if said.endswith("script") else STRUCK)
