"""One part of a workbook read from end to end, by expat alone; the texts that stand in it, and how they look."""

from __future__ import annotations

import zipfile
from collections.abc import Callable, Mapping
from xml.parsers import expat

from msgspec import Struct, field

from qc.readers.cells import RAISED, STRUCK, WHITE
from qc.readers.guards import UnusableFileError

_MEND = "Open it in the spreadsheet program, see whether every sheet is whole, and save it again as .xlsx"
Begins = Mapping[str, Callable[[Mapping[str, str]], None]]
"""What is done when an element begins, by its name."""


def refused(found: str) -> UnusableFileError:
    """What contradicts itself in a workbook, with how to mend it."""
    return UnusableFileError(found, mend=_MEND)


def is_on(said: str) -> bool:
    """Whether an attribute of yes or no says yes."""
    return said not in ("0", "false", "f", "")


def walk(
    archive: zipfile.ZipFile,
    part: str,
    begins: Begins,
    *,
    other: Callable[[], None] | None = None,
    ends: Callable[[str], None] | None = None,
    text: Callable[[str], None] | None = None,
) -> None:
    """Read a part from end to end; elements are known by their names without a prefix, `other` is told of the rest.

    Raises
    ------
    UnusableFileError
        When the part is missing or is no XML.
    """
    if part not in archive.namelist():
        raise refused(f"the part {part or 'of the workbook'} is missing in the file")

    def begin(name: str, given: dict[str, str]) -> None:
        if (action := begins.get(name.rpartition(" ")[2])) is not None:
            action(given)
        elif other is not None:
            other()

    # It looks after the prefixes, of which each must be declared.
    parser = expat.ParserCreate(namespace_separator=" ")
    parser.buffer_text = True
    parser.StartElementHandler = begin
    if ends is not None:
        parser.EndElementHandler = lambda name: ends(name.rpartition(" ")[2])
    if text is not None:
        parser.CharacterDataHandler = text
    try:
        with archive.open(part) as stream:
            parser.ParseFile(stream)
    except expat.ExpatError as error:
        raise refused(f"the part {part} is damaged ({error})") from error


class Runs(Struct, kw_only=True):
    """The text of the runs of an element, those of phonetic guides left out."""

    parts: list[str] = field(default_factory=list)
    open: bool = False
    phonetic: bool = False

    def begin(self, _: Mapping[str, str]) -> None:
        """Begin a text."""
        self.open = not self.phonetic

    def begin_phonetic(self, _: Mapping[str, str]) -> None:
        """Begin a phonetic guide."""
        self.phonetic = True

    def end(self, name: str) -> None:
        """End an element."""
        if name == "t":
            self.open = False
        elif name == "rPh":
            self.phonetic = False

    def hear(self, text: str) -> None:
        """Take what stands within a text."""
        if self.open:
            self.parts.append(text)

    def taken(self) -> str:
        """What was heard, as one."""
        text = "".join(self.parts)
        self.parts.clear()
        return text


def gather(
    archive: zipfile.ZipFile,
    part: str,
    element: str,
    told: Callable[[Mapping[str, str], str], None],
    *,
    begins: Begins | None = None,
) -> None:
    """Tell the attributes and the text of each element of a name, phonetic guides left out."""
    runs = Runs()
    head: dict[str, str] = {}

    def begin(given: Mapping[str, str]) -> None:
        head.clear()
        head.update(given)

    def ended(name: str) -> None:
        runs.end(name)
        if name == element:
            told(head, runs.taken())

    actions = {**(begins or {}), element: begin, "t": runs.begin, "rPh": runs.begin_phonetic}
    walk(archive, part, actions, ends=ended, text=runs.hear)


def white(looks: dict[str, str], place: str, given: Mapping[str, str]) -> None:
    """Note a part of a text in the colour of the paper."""
    if given.get("rgb", "").upper().endswith("FFFFFF") or given.get("theme") == "0":
        looks.setdefault(place, WHITE)


def look(looks: dict[str, str], place: str, given: Mapping[str, str]) -> None:
    """Note a line through a text, which is there where nothing else is said, or a part of it that is raised."""
    said = given.get("val", "1")
    if said not in ("0", "false", "baseline"):
        looks.setdefault(place, RAISED if said.endswith("script") else STRUCK)
