"""The values that a results workbook is written with, before any program calculates it: all agree with the document."""

from __future__ import annotations

import pytest

from tests.workbook import test_workbook_figures as figures


@pytest.fixture(autouse=True)
def _no_causes(no_causes: None) -> None:
    """Causes are weighed for the reader and never for a verdict."""


no_causes = figures.no_causes


@pytest.mark.parametrize("name", figures.CASES)
def test_every_figure_and_verdict_stands_as_the_document_has_it(name: str) -> None:
    document, content = figures.judged(figures.CASES[name])
    sheets = figures.as_written(content)
    live, rows = figures.live_figures(sheets), figures.summary_rows(sheets)
    stated = figures.figures_of(document)
    assert document["verdict"] == figures.CASES[name].verdict
    assert {key: live.get(key) for key, one in stated.items() if not figures.same(one, live.get(key))} == {}
    assert (rows[1][0], rows[1][4]) == ("Figures and verdicts that do not agree", 0)
    assert [row for row in rows if row[5] == "NO"] == []
