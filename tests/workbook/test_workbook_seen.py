"""What was seen on the units, on the sheet Seen: the formulas decide as the tests do, in every case of a plan."""

from __future__ import annotations

from decimal import Decimal
from io import BytesIO
from pathlib import Path

import pytest
from msgspec.structs import replace
from openpyxl import load_workbook

from qc.batch import Active, Batch, Check, Unit
from qc.judging.judge import judge_batch
from qc.results import JudgedBatch
from qc.rules.rule_books import RuleBook, rule_book
from qc.workbook.recheck.write import results_workbook

PLAN = '[[rule]]\nid = "house-plan"\nbuilds_on = "iso-2859-1"\nsource = "procedure 7"\n'


def stated(judged: JudgedBatch, *, book: RuleBook) -> dict[str, tuple[str, str]]:
    """Verdict of the document and the value of its formula, of each test that has one."""
    sheet = load_workbook(BytesIO(results_workbook(judged, book=book)), data_only=True)["Summary"]
    rows = [row for row in sheet.iter_rows(values_only=True) if row[5] in ("yes", "NO") and row[7]]
    return {f"{row[0]} {row[1] or ''}".strip(): (str(row[3]), str(row[4])) for row in rows}


def batch(*, looked_at: int, poured: int, bad: int, word: str) -> Batch:
    return Batch(
        number="7",
        dosage_form="suppositories",
        units_poured=poured,
        units=tuple(
            Unit(name=str(place), mass_g=Decimal("2.000"), seen=(word if place <= bad else "none",))
            for place in range(1, looked_at + 1)
        ),
        actives=(Active(name="drug", label_claim_mg=Decimal(100)),),
    )


# ISO 2859-1:1999, tables 1 and 2-A, level II: 51 to 90 units, letter E; AQL 2.5 follows its arrow to 20 units and 1.
@pytest.mark.parametrize(
    ("looked_at", "poured", "bad", "verdict"),
    [
        (40, 40, 1, "complies"),
        (40, 40, 2, "does-not-comply"),
        (30, 40, 1, "too-few-units"),
        (30, 40, 2, "does-not-comply"),
        (20, 90, 1, "complies"),
        (20, 90, 2, "does-not-comply"),
        (12, 90, 1, "too-few-units"),
        (12, 90, 2, "does-not-comply"),
        (84, 90, 2, "too-few-units"),
        (70, 90, 2, "does-not-comply"),
        (90, 90, 2, "complies"),
        (90, 90, 3, "does-not-comply"),
    ],
)
def test_a_plan_decides_in_its_formula_as_in_the_test(
    tmp_path: Path, looked_at: int, poured: int, bad: int, verdict: str
) -> None:
    path = tmp_path / "house.toml"
    path.write_text(f"{PLAN}aql_minor_percent = 2.5\n")
    book = rule_book(path)
    judged = judge_batch(batch(looked_at=looked_at, poured=poured, bad=bad, word="chipped"), book=book, blind=True)
    assert stated(judged, book=book)["visual-inspection"] == (verdict, verdict)


@pytest.mark.parametrize(
    ("word", "verdict"), [("chipped", "complies"), ("foreign particle", "does-not-comply"), ("chiped", "not-assessed")]
)
def test_critical_defects_are_counted_by_a_formula(word: str, verdict: str) -> None:
    book = rule_book(None)
    judged = judge_batch(batch(looked_at=20, poured=20, bad=1, word=word), book=book, blind=True)
    assert stated(judged, book=book)["critical-defects"] == (verdict, verdict)


@pytest.mark.parametrize(("result", "verdict"), [("complies", "complies"), ("does not comply", "does-not-comply")])
def test_a_check_in_words_stands_among_the_results(result: str, verdict: str) -> None:
    book = rule_book(None)
    checks = (Check(name="appearance", result=result),)
    judged = judge_batch(replace(batch(looked_at=20, poured=20, bad=0, word=""), checks=checks), book=book, blind=True)
    assert stated(judged, book=book)["release-check appearance"] == (verdict, verdict)
