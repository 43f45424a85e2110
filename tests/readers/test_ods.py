from __future__ import annotations

import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
SPACES = "urn:oasis:names:tc:opendocument:xmlns"


def text(value: str) -> str:
    return f'<table:table-cell office:value-type="string"><text:p>{value}</text:p></table:table-cell>'


def number(value: str, kind: str = "float") -> str:
    return (
        f'<table:table-cell office:value-type="{kind}" office:value="{value}"><text:p>shown</text:p></table:table-cell>'
    )


def row(*cells: str, look: str = "") -> str:
    return f"<table:table-row {look}>{''.join(cells)}</table:table-row>"


@pytest.fixture
def document_of(tmp_path: Path) -> Callable[..., Path]:
    def write(*rows: str, manifest: str = "") -> Path:
        content = (
            f'<office:document-content xmlns:office="{SPACES}:office:1.0" xmlns:table="{SPACES}:table:1.0" '
            f'xmlns:text="{SPACES}:text:1.0" '
            'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0">'
            '<office:body><office:spreadsheet><table:table table:name="Units">'
            f"{''.join(rows)}</table:table></office:spreadsheet></office:body></office:document-content>"
        )
        path = tmp_path / "batch.ods"
        with zipfile.ZipFile(path, "w") as archive:
            archive.writestr(
                "META-INF/manifest.xml",
                f'<manifest:manifest xmlns:manifest="{SPACES}:manifest:1.0">{manifest}</manifest:manifest>',
            )
            archive.writestr("content.xml", content)
        return path

    return write


HEAD = row(text("Unit"), text("Mass (g)"))


def test_repeats_are_written_out_and_empty_ones_cost_nothing(document_of: Callable[..., Path]) -> None:
    path = document_of(
        HEAD,
        row("<table:table-cell/>", look='table:number-rows-repeated="3"'),
        row(number("1"), number("2.0129999999999999"), '<table:table-cell table:number-columns-repeated="16000"/>'),
        row(text("u<text:s/>2"), text("2.100"), look='table:visibility="collapse"'),
        row("<table:table-cell/>", look='table:number-rows-repeated="1048000"'),
    )
    batch = read_batch(path)
    assert [(unit.name, str(unit.mass_g)) for unit in batch.units] == [("1", "2.013"), ("u 2", "2.100")]
    assert [notice.text for notice in batch.notices] == ["Hidden rows were read like the others: 6."]


def test_a_repeat_without_end_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    path = document_of(HEAD, row(number("1"), number("2"), look='table:number-rows-repeated="9000000"'))
    assert refused(path) == [
        'batch.ods: the sheet "Units" repeats a cell until it holds more than 4000000 of them. Clear the cells '
        "below and beside "
        "the table, and save it again."
    ]


def test_kinds_of_cells_are_told_apart(document_of: Callable[..., Path], refused: Refused) -> None:
    error = (
        '<table:table-cell table:formula="of:=1/0" office:value-type="string" office:string-value="" '
        'calcext:value-type="error"><text:p>#DIV/0!</text:p></table:table-cell>'
    )
    path = document_of(
        HEAD,
        row(number("1"), error),
        row(number("2"), '<table:table-cell table:formula="of:=[.B9]*2"/>'),
        row(number("3"), '<table:table-cell office:value-type="date" office:date-value="2026-05-02"/>'),
        row(number("4"), '<table:table-cell office:value-type="boolean" office:boolean-value="true"/>'),
        row(number("5"), number("2.013", "percentage")),
    )
    again = "Format the cell as a number and type the mass again, for example 2.013."
    assert refused(path) == [
        "batch.ods, Units!B2: mass is the error #DIV/0! Mend the formula, or type the mass in digits, for "
        "example 2.013.",
        "batch.ods, Units!B3: mass is a formula without a stored result (=[.B9]*2). Open the file in the "
        "spreadsheet program "
        "and save it, so that it stores the result.",
        "batch.ods, Units!B4: mass is the date 2026-05-02 (the number 46144 in a date format): the spreadsheet "
        "program turned "
        f"what was typed into a date. {again}",
        f"batch.ods, Units!B5: mass is TRUE, not a number. {again}",
        f"batch.ods, Units!B6: mass is 2.013, shown as 201.3 %: the cell is formatted in percent. {again}",
    ]


def test_a_merged_mass_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    merged = number("2").replace("<table:table-cell ", '<table:table-cell table:number-rows-spanned="2" ', 1)
    path = document_of(HEAD, row(number("1"), merged), row(number("2"), "<table:covered-table-cell/>"))
    assert refused(path) == [
        'batch.ods, Units!B2:B3: mass "2" is merged over the rows 2 to 3: which row it belongs to cannot be '
        "told. Unmerge the "
        "cells and type each value into its own row."
    ]


def test_a_locked_document_is_refused(document_of: Callable[..., Path], refused: Refused) -> None:
    path = document_of(HEAD, manifest="<manifest:file-entry><manifest:encryption-data/></manifest:file-entry>")
    assert refused(path) == ["batch.ods: the file is protected by a password. Take the password off and try again."]
