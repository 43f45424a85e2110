"""Reads workbooks by python-calamine, in a process of its own with limits, and prints a line of JSON a file.

They are named in the call, or one a line on standard input where the call is "-".

A line gives every filled cell by sheet and address as [kind, text]: "number", "text", "date", "true or false".
"""

from __future__ import annotations

import json
import resource
import sys
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

ADDRESS_SPACE = 2 * 1024**3
SECONDS = 3600


def told(value: Any) -> list[str] | None:
    """A value as kind and text; None for an empty cell."""
    match value:
        case bool():
            return ["true or false", str(value).upper()]
        case int() | float():
            return ["number", repr(float(value))]
        case datetime() | date() | time() | timedelta():
            return ["date", str(value)]
        case _:
            return ["text", str(value)] if str(value).strip() else None


def read(path: Path) -> dict[str, dict[str, list[str]]]:
    """Every filled cell of a workbook, by sheet and address."""
    from python_calamine import CalamineWorkbook

    from qc.readers.cells import address

    book = CalamineWorkbook.from_path(str(path))
    return {
        name: {
            address(row, column): found
            for row, cells in enumerate(book.get_sheet_by_name(name).to_python(skip_empty_area=False), 1)
            for column, value in enumerate(cells, 1)
            if (found := told(value)) is not None
        }
        for name in book.sheet_names
    }


if __name__ == "__main__":
    resource.setrlimit(resource.RLIMIT_AS, (ADDRESS_SPACE, ADDRESS_SPACE))
    resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS))
    for name in map(str.strip, sys.stdin) if sys.argv[1:] == ["-"] else sys.argv[1:]:
        try:
            print(json.dumps(read(Path(name))), flush=True)
        except Exception as failure:
            print(json.dumps({"": {"": ["refused", str(failure)]}}), flush=True)
