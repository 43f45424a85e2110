"""Differences in the words of the trade, rounded for reading; a superseded report goes by the id on its pages."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from qc.results import JudgedBatch
from qc.show.sections.of_document import shown, spelt, superseded_block
from qc.show.write import compose

SEALED = "0123456789ab" + "c" * 52
SEAL = {
    "seal": {
        "result_sha256": SEALED,
        "input": {},
        "rule_set": {"id": "default", "file": None, "sha256": None},
        "rules": {},
        "asked": {},
        "qc_version": "1",
        "entered_by": {},
    }
}


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("sd_g", "SD of mass [g]"),
        ("acceptance_value", "acceptance value AV, unrounded"),
        ("beyond_inner", "units outside the inner limits"),
        ("planned_mass_g", "planned mass [g]"),
        ("made_by", "made by"),
    ],
)
def test_a_figure_goes_by_its_name_in_the_trade(name: str, words: str) -> None:
    assert spelt(name) == words


@pytest.mark.parametrize(
    ("value", "beside", "text"),
    [
        (2.07191667, 2.06670833, "2.072"),
        (2.0719, 2.0718, "2.0719"),
        (0.000123456, 1.0, "0.0001235"),
        (123456.7, 1.0, "123457"),
        (100.0, 99.0, "100"),
        (-1.5, None, "−1.5"),
        (True, False, "yes"),
    ],
)
def test_a_figure_is_rounded_for_reading_yet_told_from_the_one_beside_it(
    value: object, beside: object, text: str
) -> None:
    assert shown(value, beside=beside) == text


def test_a_report_goes_by_the_id_under_which_a_later_one_supersedes_it(
    batches: dict[str, Callable[[], JudgedBatch]],
) -> None:
    record = {"result_sha256": SEALED, "verdict": "complies", "because": "misread", "differences": []}
    (block,) = superseded_block({"supersedes": record})
    head = compose(batches["sound"](), digest="f" * 64, document=SEAL).id
    assert block.items[0] == f"Report {head}, whose verdict was: complies."


def test_without_a_seal_the_id_is_that_of_the_result_file(batches: dict[str, Callable[[], JudgedBatch]]) -> None:
    assert compose(batches["sound"](), digest="f" * 64, document={}).id == "f" * 12
