"""The sheets of a workbook as its container stores them: every sheet, row, cell and text that the file declares.

A library passes over what it does not find. Here each part is read once, by expat alone, and whatever contradicts
itself or is missing refuses the file: a part that is missing is never a sheet on which nothing was entered.

References
----------
ECMA-376, part 1, sections 18.2 (workbook), 18.4 (shared texts) and 18.7 (comments).
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Mapping
from posixpath import dirname, join, normpath

from msgspec import Struct

from qc.problems import quoted
from qc.readers.parts import Begins, gather, is_on, look, refused, walk, white
from qc.readers.sheet_part import StoredSheet, stored_sheet

_WORKSHEET, _STRINGS, _STYLES, _COMMENTS = "/worksheet", "/sharedStrings", "/styles", "/comments"
_OF_A_SHEET = (_WORKSHEET, "/chartsheet", "/dialogsheet", "/xlMacrosheet")
_WORKSHEET_TYPE = "spreadsheetml.worksheet+xml"
_ROOT, _TYPES = "_rels/.rels", "[Content_Types].xml"
# Signs that no spreadsheet program takes into the name of a sheet.
_NO_NAME = re.compile(r"[\\*?:/\[\]]")


class StoredBook(Struct, frozen=True, kw_only=True):
    """The worksheets of a workbook in its order, the part that holds its styles, and whether it counts from 1904."""

    sheets: tuple[StoredSheet, ...]
    styles: str
    from_1904: bool


def stored_book(archive: zipfile.ZipFile) -> StoredBook:
    """The worksheets that a workbook declares, each with what its part holds.

    Raises
    ------
    UnusableFileError
        When a part that is declared is missing, is listed by no sheet, or contradicts itself.
    """
    workbook = next(
        (target for kind, target in _relations(archive, "").values() if kind.endswith("/officeDocument")), ""
    )
    sheets: list[Mapping[str, str]] = []
    properties: dict[str, str] = {}
    walk(archive, workbook, {"sheet": lambda given: sheets.append(dict(given)), "workbookPr": properties.update})
    if not sheets:
        raise refused("the file lists no worksheet")
    relations = _relations(archive, workbook)
    strings = [target for kind, target in relations.values() if kind.endswith(_STRINGS)]
    texts, looks = _texts(archive, strings[0]) if strings else ((), {})
    found: list[StoredSheet] = []
    names: set[str] = set()
    for listed in sheets:
        name = listed.get("name", "")
        if not name or _NO_NAME.search(name) or name.casefold() in names:
            raise refused(f"the file names a sheet {quoted(name)}, which is no name or stands twice")
        names.add(name.casefold())
        kind, target = relations.get(_id_of(listed), ("", ""))
        if not kind.endswith(_OF_A_SHEET) or target not in archive.namelist():
            raise refused(f"the sheet {quoted(name)} is listed, but its part is missing in the file")
        if kind.endswith(_WORKSHEET):
            held = sum(len(sheet.filled) for sheet in found)
            hidden = listed.get("state", "visible") != "visible"
            told = _comments(archive, target)
            found.append(
                stored_sheet(archive, target, name, texts, looks=looks, held=held, hidden=hidden, comments=told)
            )
    parts = {target for kind, target in relations.values() if kind.endswith(_WORKSHEET)}

    def typed(given: Mapping[str, str]) -> None:
        if given.get("ContentType", "").endswith(_WORKSHEET_TYPE):
            parts.add(given.get("PartName", "").lstrip("/"))

    walk(archive, _TYPES, {"Override": typed})
    named = {relations.get(_id_of(listed), ("", ""))[1] for listed in sheets}
    if lost := sorted(parts & set(archive.namelist()) - named):
        raise refused(f"the part {lost[0]} is a worksheet, but no sheet of the workbook lists it")
    styles = next((target for kind, target in relations.values() if kind.endswith(_STYLES)), "")
    if not styles and any(name.endswith("/styles.xml") for name in archive.namelist()):
        raise refused("the number formats of the cells are in the file, but the workbook does not name their part")
    return StoredBook(sheets=tuple(found), styles=styles, from_1904=is_on(properties.get("date1904", "0")))


def _id_of(given: Mapping[str, str]) -> str:
    """The relation that an element names; its prefix is the writer's own choice."""
    return next((value for name, value in given.items() if name.endswith(" id")), "")


def _relations(archive: zipfile.ZipFile, part: str, *, needed: bool = True) -> dict[str, tuple[str, str]]:
    """Kind and target of each relation of a part, of the whole file where it is empty."""
    folder = dirname(part)
    place = join(folder, "_rels", f"{part.rpartition('/')[2]}.rels") if part else _ROOT
    found: dict[str, tuple[str, str]] = {}
    if not needed and place not in archive.namelist():
        return found

    def relation(given: Mapping[str, str]) -> None:
        target = given.get("Target", "")
        whole = target.lstrip("/") if target.startswith("/") else normpath(join(folder, target))
        if given.get("TargetMode") != "External":
            found[given.get("Id", "")] = (given.get("Type", ""), whole)

    walk(archive, place, {"Relationship": relation})
    return found


def _texts(archive: zipfile.ZipFile, part: str) -> tuple[tuple[str, ...], dict[str, str]]:
    """The shared texts, as many as the part says that it holds.

    Beside them, by their number, what the type of a part does to them.
    """
    found: list[str] = []
    looks: dict[str, str] = {}
    head: dict[str, str] = {}
    # Of the text that is being read: it comes behind those that were found.
    looking: Begins = {
        "sst": head.update,
        "strike": lambda given: look(looks, str(len(found)), given),
        "vertAlign": lambda given: look(looks, str(len(found)), given),
        "color": lambda given: white(looks, str(len(found)), given),
    }
    # An underscore before a sign by its number is written as such a sign itself.
    gather(archive, part, "si", lambda _, text: found.append(text.replace("x005F_", "")), begins=looking)
    declared = head.get("uniqueCount", "")
    if declared.isdecimal() and int(declared) > len(found):
        raise refused(f"the file says that it holds {declared} texts and holds {len(found)}")
    return tuple(found), looks


def _comments(archive: zipfile.ZipFile, sheet: str) -> dict[str, str]:
    """What the comments of a sheet say, by the address of their cell."""
    found: dict[str, str] = {}
    for kind, target in _relations(archive, sheet, needed=False).values():
        if kind.endswith(_COMMENTS):
            gather(archive, target, "comment", lambda given, text: found.update({given.get("ref", ""): text}))
    return found
