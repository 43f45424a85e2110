"""Grids and lists of numbers that are contents by the words over them: of the units of a grid of masses, or alone."""

from __future__ import annotations

from msgspec.structs import replace

from qc.fields.field import same_name
from qc.fields.words import heading_of, says_of_label
from qc.readers.cells import Noted
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.unaccounted import like_the_label
from qc.readers.finding.unread import texts_over, what_it_says


def as_contents(found: Candidate) -> Candidate | None:
    """A table with its numbers as contents of its units; None where they have no names, or in what is not said."""
    texts = texts_over(found.view, found.masses, label=found.label)
    said = next((heading_of(text) for text in texts if what_it_says(text) == "content"), None)
    of_label = any(map(says_of_label, texts)) or like_the_label(found.masses)
    known = said is not None and (
        (said.attribute, said.measure) == ("content_mg", "mg") or (said.attribute == "content_percent" and of_label)
    )
    if said is None or not known or not all("name" in line.cells for line in found.units):
        return None
    lines = [
        replace(line, cells={said.attribute if name == "mass_g" else name: cell for name, cell in line.cells.items()})
        for line in found.units
    ]
    doubtful = [one for one in found.doubtful if what_it_says(one.cell.typed) != "content"]
    return replace(found, units=tuple(lines), doubtful=tuple(doubtful))


def with_contents(masses: Candidate, contents: Candidate) -> Candidate | None:
    """A table of masses with what its units hold, which stands in another one; None where that may be of others."""
    units = {same_name(line.cells["name"].shown): line for line in masses.units if "name" in line.cells}
    held = {same_name(line.cells["name"].shown): line for line in contents.units}
    if masses.table is not contents.table or not held.keys() <= units.keys() or len(held) < len(contents.units):
        return None
    lines = [
        replace(line, cells={**held[name].cells, **line.cells} if name in held else line.cells)
        for name, line in units.items()
    ]
    if len(lines) < len(masses.units):
        return None
    return replace(
        masses,
        units=tuple(lines),
        asides=(*masses.asides, *contents.asides),
        doubtful=(*masses.doubtful, *contents.doubtful),
        used=masses.used | contents.used,
    )


def tell_of_label(contents: Candidate, findings: Noted) -> None:
    """Tell of contents in per cent of nothing that is said, which were read as of the label."""
    cells = [cell for line in contents.units if (cell := line.cells.get("content_percent")) is not None]
    if cells and not any(map(says_of_label, texts_over(contents.view, cells, label=contents.label))):
        findings.tell(contents.table, cells, "contents as % of label")
