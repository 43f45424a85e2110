"""Damaged workbooks: whatever is broken inside the zip, the answer is a batch or a located refusal, never a traceback.

The mutations are invented here (a fixed seed): bytes turned, cut and doubled inside the XML parts, attributes and texts
exchanged, parts taken out, and the zip itself damaged.
"""

from __future__ import annotations

import random
import re
import zipfile
from pathlib import Path

import openpyxl
import pytest

from qc.problems import InputProblems, Problem
from qc.readers.read import read_batch

STRANGE = [
    "",
    "-1",
    "0",
    "1e999",
    "nan",
    "A0",
    "XFD1048577",
    "Z" * 9,
    "99999999999999999999",
    "\u00e9",
    "&amp;",
    "#REF!",
    "t",
]


def sound_workbook(path: Path) -> None:
    book = openpyxl.Workbook()
    units = book.active
    assert units is not None
    units.title = "Units"
    units.append(["Weighing"])
    units.append(["Unit", "Pour order", "Mould", "Cavity", "Mass (g)", "Test sample"])
    for number in range(1, 13):
        units.append([number, number, "A", f"{number}", 2.0 + number / 1000, "yes"])
    units["I20"] = "=1+1"
    units.merge_cells("A25:B26")
    units.column_dimensions["H"].hidden = True
    facts = book.create_sheet("Batch")
    facts.append(["Field", "Value"])
    facts.append(["Batch number", "B 1"])
    assay = book.create_sheet("Assay")
    assay.append(["Unit", "Content (% of label)"])
    for number in range(1, 11):
        assay.append([number, 99.5])
        assay.cell(number + 1, 2).number_format = "0.00"
    book.save(path)


def open_document(path: Path) -> None:
    rows = "".join(
        '<table:table-row table:number-rows-repeated="1">'
        f'<table:table-cell office:value-type="string"><text:p>u{n}</text:p>'
        f'</table:table-cell><table:table-cell office:value-type="float" office:value="2.0{n}"><text:p>2.0{n}</text:p>'
        f'</table:table-cell><table:table-cell office:value-type="date" '
        f'office:date-value="2026-01-0{n}"/></table:table-row>'
        for n in range(1, 10)
    )
    head = "".join(
        f'<table:table-cell office:value-type="string"><text:p>{text}</text:p></table:table-cell>'
        for text in ("Unit", "Mass (g)", "Note")
    )
    spaces = "urn:oasis:names:tc:opendocument:xmlns"
    content = (
        f'<office:document-content xmlns:office="{spaces}:office:1.0" xmlns:table="{spaces}:table:1.0" '
        f'xmlns:text="{spaces}:text:1.0"><office:body><office:spreadsheet><table:table table:name="Units">'
        f'<table:table-column table:number-columns-repeated="3"/><table:table-row>{head}</table:table-row>{rows}'
        "</table:table></office:spreadsheet></office:body></office:document-content>"
    )
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        archive.writestr("META-INF/manifest.xml", f'<manifest:manifest xmlns:manifest="{spaces}:manifest:1.0"/>')
        archive.writestr("content.xml", content)


def turned(text: bytes, chance: random.Random) -> bytes:
    """One part with one thing broken in it."""
    kind = chance.randrange(6)
    spot = chance.randrange(len(text))
    if kind == 0:
        return text[:spot] + bytes([chance.randrange(256)]) + text[spot + 1 :]
    if kind == 1:
        return text[:spot]
    if kind == 2:
        end = spot + chance.randrange(1, 60)
        return text[:spot] + text[end:]
    if kind == 3:
        end = spot + chance.randrange(1, 200)
        return text[:end] + text[spot:end] + text[end:]
    # Exchanging a value keeps the XML sound, so that the damage reaches the reader behind the parser.
    values = list(re.finditer(rb'="([^"]*)"' if kind == 4 else rb">([^<]+)<", text)) or list(re.finditer(rb"(.)", text))
    value = chance.choice(values)
    strange = chance.choice(STRANGE).encode()
    return text[: value.start(1)] + strange + text[value.end(1) :]


def damage(source: Path, target: Path, chance: random.Random) -> None:
    with zipfile.ZipFile(source) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    names = [name for name in parts if parts[name] and name.endswith((".xml", ".rels"))]
    likely = [name for name in names if "sheet1" in name or "content" in name or "styles" in name or "workbook" in name]
    chosen = chance.choice(likely if chance.random() < 0.7 else names)
    if chance.random() < 0.05:
        del parts[chosen]
    else:
        parts[chosen] = turned(parts[chosen], chance)
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(name, text)
    if chance.random() < 0.1:
        data = bytearray(target.read_bytes())
        for _ in range(chance.randrange(1, 4)):
            data[chance.randrange(len(data))] = chance.randrange(256)
        target.write_bytes(bytes(data[: chance.randrange(1, len(data))] if chance.random() < 0.3 else data))


def problems_of(path: Path) -> tuple[Problem, ...]:
    """What is wrong with a file; nothing when it is read."""
    try:
        read_batch(path)
    except InputProblems as error:
        return error.problems
    return ()


def read_all(source: Path, folder: Path, *, seed: int, count: int) -> tuple[int, int]:
    """How many damaged copies were read, and how many were refused."""
    chance = random.Random(seed)
    read = refused = 0
    for number in range(count):
        target = folder / f"damaged-{number}{source.suffix}"
        damage(source, target, chance)
        problems = problems_of(target)
        assert all(problem.file == target.name and problem.found and problem.mend for problem in problems)
        read, refused = read + (not problems), refused + bool(problems)
        target.unlink()
    return read, refused


@pytest.mark.parametrize(("make", "suffix"), [(sound_workbook, ".xlsx"), (open_document, ".ods")])
def test_a_damaged_workbook_is_read_or_refused_with_its_place(tmp_path: Path, make: object, suffix: str) -> None:
    source = tmp_path / f"sound{suffix}"
    assert callable(make)
    make(source)
    assert read_batch(source).units
    read, refused = read_all(source, tmp_path, seed=20261125, count=100)
    assert read > 10
    assert refused > 30


@pytest.mark.benchmarks
@pytest.mark.parametrize(("make", "suffix"), [(sound_workbook, ".xlsx"), (open_document, ".ods")])
def test_thousands_of_damaged_workbooks_are_read_or_refused(tmp_path: Path, make: object, suffix: str) -> None:
    source = tmp_path / f"sound{suffix}"
    assert callable(make)
    make(source)
    read, refused = read_all(source, tmp_path, seed=1, count=4000)
    assert read + refused == 4000
