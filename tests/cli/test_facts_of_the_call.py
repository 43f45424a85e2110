"""What a call says of its file, each fact by itself, reaches the answer."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest
from typer.testing import Result

Table = Callable[..., str]
Call = Callable[..., Result]
COMMAS = "Unit,Mass (g)\n" + "".join(f'{n},"2,{n:03}"\n' for n in range(1, 21))
IN_ORDER = "Unit,Mass (g)\n" + "".join(f"{n},2.{n:03}\n" for n in range(1, 21))
TWO_BATCHES = "Batch,Unit,Mass (g)\n" + "".join(f"{'AB'[n % 2]},{n},2.{n:03}\n" for n in range(1, 42))


@pytest.mark.parametrize(
    ("content", "options", "part", "without", "given"),
    [
        (IN_ORDER, ("--order", "pour"), ("pour_trend", "mass", "n"), 0, 20),
        (IN_ORDER.replace("(g)", ""), ("--mass-unit", "g"), ("read", "mass_unit_known_by"), "size", "call"),
        (IN_ORDER, ("--label-mg", "250"), ("dose_from_mass",), [], None),
        (IN_ORDER, ("--form", "pessaries"), ("batch", "dosage_form"), "suppositories", "pessaries"),
        (COMMAS, ("--decimal", "comma"), ("read", "units"), None, 20),
        (TWO_BATCHES, ("--batch", "B"), ("read", "units"), None, 21),
        (None, ("--sheet", "Second"), ("read", "sheet"), None, "Second"),
    ],
    ids=lambda value: value[0] if isinstance(value, tuple) and value[0].startswith("--") else "",
)
def test_what_a_call_says_of_its_file_is_heard(
    content: str | None, options: tuple[str, str], part: tuple[str, ...], without: object, given: object, table: Table,
    qc: Call,
) -> None:  # fmt: skip
    path = Path(table(name="batch.csv"))
    if content is None:
        book = openpyxl.Workbook()
        for name in ("First", "Second"):
            sheet = book.create_sheet(name)
            for row in (("Unit", "Mass (g)"), *((n, 2 + n / 1000) for n in range(1, 21))):
                sheet.append(row)
        del book["Sheet"]
        path = Path("batch.xlsx")
        book.save(path)
    else:
        path.write_text(content, encoding="utf-8")
    for more, expected in (((), without), (options, given)):
        done = qc("check", str(path), "--form", "suppositories", "--json", "-", *more)
        if expected is None and not more:
            assert done.exit_code == 2
            continue
        value = json.loads(done.stdout)
        for name in part:
            value = value[name]
        assert value == expected if expected is not None else value
