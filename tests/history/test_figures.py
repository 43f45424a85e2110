"""What a history keeps of a result, and how an SD and the limits of many charts are followed."""

from __future__ import annotations

from math import gamma, log
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from scipy import stats

from qc.history.cavities import units_of
from qc.history.figures import BatchFigures, WithinBatch, _contents, _masses, figures_of
from qc.history.products import rules_for, value_of_sd
from qc.jobs.check import check_batch
from qc.readers.options import ReadOptions

SAMPLES = Path(__file__).parents[2] / "sample_data"


def test_what_failed_is_kept_and_what_complied_is_not() -> None:
    checked = check_batch(SAMPLES / "fails-on-content.xlsx", options=ReadOptions(), rules=None)
    kept = figures_of(checked.sealed())
    assert kept.failed == ("content-uniformity", "dosage-unit-uniformity")
    assert (kept.form, kept.verdict, kept.number) == ("suppositories", "does-not-comply", "S-2611-03")


@pytest.mark.parametrize("n", [10, 20, 30])
@pytest.mark.parametrize("sigma", [0.6, 1.7, 4.0])
def test_the_cube_root_of_a_variance_has_the_mean_and_spread_that_it_is_followed_with(n: int, sigma: float) -> None:
    """Wilson and Hilferty, The distribution of chi-square, PNAS 17 (1931) 684-688, against exact moments."""
    df = n - 1
    moments = [(2 / df) ** (k / 3) * gamma(df / 2 + k / 3) / gamma(df / 2) for k in (1, 2)]
    mean, variance = moments[0] * sigma ** (2 / 3), (moments[1] - moments[0] ** 2) * sigma ** (4 / 3)
    found = value_of_sd(sigma, n)
    assert found.value * moments[0] == pytest.approx(sigma ** (2 / 3), rel=2e-3)
    assert found.within * found.size == pytest.approx(variance / moments[0] ** 2, rel=0.05)
    assert mean < found.value


def test_limits_of_many_charts_are_rarer_by_as_many() -> None:
    """The chance beyond a limit falls as the number of charts rises, by the tail of the normal distribution."""
    few, many = rules_for(1, batches=60), rules_for(20, batches=60)
    for name in ("point", "ewma", "split"):
        ratio = stats.norm.sf(getattr(few, name)) / stats.norm.sf(getattr(many, name))
        assert log(ratio) == pytest.approx(log(20), rel=0.12), name
    assert many.cusum - few.cusum == pytest.approx(log(20))


def test_lots_of_actives_are_told_in_one_text_without_those_not_entered() -> None:
    batch = BatchFigures(result_sha256="", verdict="complies", active_lots={"a": "L1", "b": "", "c": "L3"})
    assert batch.lots == "L1, L3"
    assert replace(batch, active_lots={}).lots == ""


def test_the_day_of_a_batch_is_the_one_it_was_made_on_or_else_judged() -> None:
    batch = BatchFigures(result_sha256="", verdict="complies", judged_at="2026-02-03T10:00")
    assert (batch.day, replace(batch, made_on="2026-02-01").day) == ("2026-02-03", "2026-02-01")


def test_of_an_active_the_dosage_unit_test_is_kept_with_the_most_units_outside() -> None:
    """The test of contents stands in where there is none; a test of masses, or without a spread, says nothing."""

    def test(id: str, active: str | None, *, outside: int, sd: float | None = 2.0, **more: float) -> dict[str, object]:
        figures = {"mean_percent": 99.0, "sd_percent": sd, **more}
        return {"id": id, "active": active, "n": 10, "figures": figures, "outside": ["1"] * outside}

    units, content = "dosage-unit-uniformity", "content-uniformity"
    tests = [
        test(units, "a", outside=1, acceptance_value=4.8, l1_percent=15.0),
        test(content, "a", outside=2),
        test(content, "b", outside=1),
        test(units, "c", outside=0, sd=None),
        test("mass-uniformity", "d", outside=3),
        test("mass-uniformity", None, outside=3),
        test(units, None, outside=0),
    ]
    a = WithinBatch(n=10, mean=99.0, sd=2.0, acceptance_value=4.8, outside=2, limit=15.0)
    for given in (tests, tests[::-1]):
        found = dict(_contents(given))
        assert found == {"a": a, "b": WithinBatch(n=10, mean=99.0, sd=2.0, outside=1)}
        masses = _masses([2.0, None, 2.1, 2.2], tests=given)
        assert masses is not None
        assert (masses.n, masses.outside, masses.mean, masses.sd) == (3, 3, pytest.approx(2.1), pytest.approx(0.1))
    assert _masses([2.0, None], tests=[]) is None
    assert _masses([2.0, 2.0], tests=[]) == WithinBatch(n=2, mean=2.0, sd=0.0)


def test_the_units_of_a_batch_are_those_that_count_by_the_mass_that_counts() -> None:
    def unit(mass: float | None, *, again: float | None = None, out: str = "", **contents: float | None) -> Any:
        found = {active: {"percent_of_label": percent} for active, percent in contents.items()}
        return {
            "mould": None, "cavity": "1", "mass_g": mass, "weighed_again_g": again, "second_mass_counts": bool(again),
            "left_out_because": out, "contents": found,
        }  # fmt: skip

    units = [unit(2.0, a=99.0), unit(3.0, again=2.2, a=None, b=101.0), unit(9.0, out="dropped", a=98.0), unit(None)]
    found = units_of({"units": units}, BatchFigures(result_sha256="", verdict="complies"))
    assert [mass for _, _, mass in found.masses] == pytest.approx([100 * 2.0 / 2.1, 100 * 2.2 / 2.1])
    assert {(mould, cavity) for mould, cavity, _ in found.masses} == {("", "1")}
    assert found.contents == {"a": (99.0, 98.0), "b": (101.0,)}
