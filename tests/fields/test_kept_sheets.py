"""Every known sheet and column with all that is known of it, in `kept_sheets.json`: to see what a change moves.

After a change that is meant, `python tests/fields/test_kept_sheets.py` writes it anew.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from qc.fields import sheets
from qc.fields.field import Field, Sheet
from tests.shared.kept import differences, kept_in, plain, write_anew

FILE = Path(__file__).parent / "kept_sheets.json"
SHEETS = {name: one for name, one in vars(sheets).items() if isinstance(one, Sheet)}
WORDS = {name: one for name, one in vars(sheets).items() if name.isupper() and isinstance(one, str | tuple | frozenset)}


def of_field(field: Field) -> dict[str, Any]:
    """What is known of a column."""
    known = {name: getattr(field, name) for name in Field.__struct_fields__ if name != "choices"}
    return {name: plain(one) for name, one in known.items()} | {"picked": list(field.picked)}


def of_sheet(sheet: Sheet) -> dict[str, Any]:
    """What is known of a sheet."""
    columns = {heading: of_field(field) for heading, field in sheet.columns.items()}
    return {"name": sheet.name, "guide": sheet.guide, "keys": list(sheet.keys), "columns": columns}


ANSWERS = {name: lambda one=one: of_sheet(one) for name, one in SHEETS.items()} | {
    name: lambda one=one: plain(one) for name, one in WORDS.items()
}


@pytest.mark.parametrize("name", ANSWERS)
def test_all_that_is_known_of_a_sheet_is_as_before(name: str) -> None:
    assert list(differences(ANSWERS[name](), kept_in(FILE)[name])) == []


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
