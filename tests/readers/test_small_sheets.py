"""Small sheets with all that is read or refused of them, each near a limit at which the one becomes the other.

They stand in `small_sheets.txt`, some as the text of a file. Each outcome there was looked at by a person; after a
change that is meant they are written anew by `python tests/readers/test_small_sheets.py`, and the difference is read.
"""

from __future__ import annotations

import functools
import re
from collections.abc import Iterator
from datetime import date, datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from msgspec import Struct
from msgspec.structs import fields

from qc.batch import Batch
from qc.jobs.check import with_rule_words
from qc.problems import InputProblems
from qc.readers.assemble import batch_from_book
from qc.readers.cells import (
    Book,
    CellKind,
    Content,
    Merge,
    Noted,
    SheetCell,
    SheetRow,
    SheetTable,
    address,
    column_number,
    content_of,
)
from qc.readers.delimited import read_bare_table
from qc.readers.guards import UnusableFileError
from qc.readers.ignored import without_ignored
from qc.readers.options import ReadOptions
from qc.readers.stored import StoredFile

# So many tests share the sheets, each so short that the study of faults can ask those that reach a line.
PARTS = 40
PAGE = Path(__file__).parent / "small_sheets.txt"
TITLE, SHEET, CALL, OUTCOME = "== ", "-- ", "$ ", "-> "
NUMBER = re.compile(r"-?\d+(\.\d+)?")
# What is told of a batch in lines of its own, or not at all.
TOLD_APART = (
    "units", "assays", "actives", "cavity_pours", "checks", "number", "nominal_mass_g", "planned_mass_g", "source",
    "read", "notices",
)  # fmt: skip
# Behind a number: the formula that gave it, and what a comment says, "2.013 {=C2-D2} {#weighed twice}".
BEHIND = re.compile(r" \{([=#])([^{}]+)\}")


def content(text: str) -> Content | None:
    """A number, a percentage or a day as it looks, and a text, which may stand in quotes."""
    text = BEHIND.sub("", text)
    if NUMBER.fullmatch(text):
        return CellKind.NUMBER, text, Decimal(text)
    if text.endswith(" %") and NUMBER.fullmatch(text[:-2]):
        return CellKind.PERCENT, text, Decimal(text[:-2]).scaleb(-2)
    if re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return content_of(datetime.fromisoformat(text))
    if text.startswith("="):
        return CellKind.UNSAVED, text, None
    return content_of(text.strip('"').replace("\\n", "\n"))


def behind(text: str) -> dict[str, str]:
    """The formula and the comment of a cell."""
    return {
        "formula" if sign == "=" else "comment": ("=" * (sign == "=") + said) for sign, said in BEHIND.findall(text)
    }


def table_of(name: str, lines: list[str], merged: str = "") -> SheetTable:
    """A sheet of lines such as "1 | 2.013 | Mean", with cells merged where an area is given."""
    rows = []
    for number, line in enumerate(lines, start=1):
        spots = enumerate(map(str.strip, line.split("|")), start=1)
        cells = {
            column: SheetCell(column, address(number, column), *said, **behind(text))
            for column, text in spots
            if (said := content(text)) is not None
        }
        if cells:
            rows.append(SheetRow(number=number, cells=cells))
    corners = [(int(row), column_number(letters)) for letters, row in re.findall(r"([A-Z]+)(\d+)", merged)]
    merges = [
        Merge(top=top, left=left, bottom=bottom, right=right) for (top, left), (bottom, right) in batched(corners)
    ]
    return SheetTable(file="book.xlsx", sheet=name, name=name, rows=tuple(rows), merges=tuple(merges))


def batched(corners: list[tuple[int, int]]) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
    """Corners two and two."""
    return zip(corners[::2], corners[1::2], strict=True)


def outcome_of(lines: list[str]) -> list[str]:
    """All that is read of the sheets of a case, or refused."""
    options: dict[str, Any] = {"form": "suppositories"}
    names, sheets = ["Week 12"], [list[str]()]
    for line in lines:
        if line.startswith(CALL):
            options |= dict(word.split("=") for word in line.removeprefix(CALL).split(", "))
        elif line.startswith(SHEET) and not sheets[-1]:
            names[-1] = line.removeprefix(SHEET)
        elif line.startswith(SHEET):
            names.append(line.removeprefix(SHEET))
            sheets.append([])
        else:
            sheets[-1].append(line)
    name, merged = options.pop("file", ""), options.pop("merge", "")
    tables = tuple(table_of(*one, merged) for one in zip(names, sheets, strict=True))
    book, findings = Book(file="book.xlsx", tables=tables), Noted()
    if "ignore" in options:
        options["ignore"] = (options["ignore"],)
    if "label_mg" in options:
        options["label_mg"] = Decimal(options["label_mg"])
    today = date.fromisoformat(options.pop("today", "2026-11-01"))
    call = with_rule_words(ReadOptions(**options, command=f"qc check {name or book.file}"), today=today)
    try:
        book = without_ignored(book, call.ignore, findings)
        if name:
            book = read_bare_table(StoredFile(name=name, data="\n".join(sheets[0]).encode()), None, findings)
        batch = batch_from_book(book, options=call, findings=findings, source=None)
    except UnusableFileError as refused:
        return [f"{refused}. {refused.mend}"]
    except InputProblems as refused:
        return [f"{one.sheet}!{one.cell}: {one.found}. {one.mend}" for one in refused.problems]
    return list(told(batch))


def others_of(record: Struct, *but: str) -> str:
    """The fields of a record that are not as they are without an entry, but for those told elsewhere."""
    every = [(one.name, getattr(record, one.name), one.default) for one in fields(record) if one.name not in but]
    return "; ".join(f"{name} {value}" for name, value, default in every if value not in (default, (), None))


def told(batch: Batch) -> Iterator[str]:
    """What was read."""
    units = []
    for unit in batch.units:
        places = "".join(f", {place}" for place in (unit.mould, unit.cavity) if place is not None)
        order = "" if unit.pour_order is None else f", poured {unit.pour_order}"
        units.append(f"{unit.name}{places}: {unit.mass_g}{order}")
    yield "; ".join(units)
    for unit in batch.units:
        if said := others_of(unit, "name", "mould", "cavity", "mass_g", "pour_order"):
            yield f"of unit {unit.name}: {said}"
    for assay in batch.assays:
        where = f"{assay.unit}, {assay.active}, {assay.part}, stage {assay.stage}, {assay.part_mass_g} g"
        yield f"assay of {where}: {assay.content_mg} mg, {assay.content_percent} %"
    for active in batch.actives:
        given = active.displacement
        shown = "" if given is None else f", displacement {given.given} as a {given.convention}"
        yield f"active {active.name}: {active.label_claim_mg} mg, assay {active.batch_assay_percent}{shown}"
        if said := others_of(active, "name", "label_claim_mg", "batch_assay_percent", "displacement"):
            yield f"of active {active.name}: {said}"
    for pour in batch.cavity_pours:
        yield f"cavity {pour.mould} {pour.cavity}: {pour.base_mass_g} g"
    for check in batch.checks:
        yield f"check {check.name}: {others_of(check, 'name')}"
    if batch.number or batch.planned_mass_g or batch.nominal_mass_g:
        yield f"batch {batch.number}: planned {batch.planned_mass_g} g, nominal {batch.nominal_mass_g} g"
    said = others_of(batch, *TOLD_APART)
    if said != "dosage_form suppositories":
        yield f"facts: {said}"
    read = batch.read
    assert read is not None
    numbered = ", numbered here" if read.numbered else ""
    yield (
        f"read {read.sheet}!{read.cells}: {read.units} units from {' to '.join(read.ends)}{numbered}, "
        f"in {read.mass_unit} by {read.mass_unit_known_by}, decimal {read.decimal}"
    )
    for aside in read.set_aside:
        said = f', "{aside.said}"' if aside.said else ""
        yield f"set aside {aside.cells}: {aside.what}, {aside.value}, ours {aside.ours}, of {aside.of}{said}"
    for ignored in read.ignored:
        yield f"ignored {ignored.cells}: {ignored.what}, {ignored.said}"
    for notice in batch.notices:
        yield f"{notice.where}: {notice.text}"


@functools.cache
def cases() -> dict[str, tuple[list[str], list[str]]]:
    """By title, the lines of a case and of its outcome."""
    parts = PAGE.read_text(encoding="utf-8").split(TITLE)[1:]
    found = {}
    for part in parts:
        title, *lines = part.rstrip("\n").split("\n")
        found[title] = (
            [line for line in lines if not line.startswith(OUTCOME)],
            [line.removeprefix(OUTCOME) for line in lines if line.startswith(OUTCOME)],
        )
    return found


@pytest.mark.parametrize("part", range(PARTS))
def test_every_small_sheet_comes_to_what_stands_below_it(part: int) -> None:
    asked = list(cases().items())[part::PARTS]
    said = {title: (outcome_of(lines), expected) for title, (lines, expected) in asked}
    assert {title: both for title, both in said.items() if both[0] != both[1]} == {}


if __name__ == "__main__":
    made = ""
    for title, (lines, _) in cases().items():
        made += "\n".join([TITLE + title, *lines, *(OUTCOME + one for one in outcome_of(lines))]) + "\n"
    PAGE.write_text(made, encoding="utf-8")
