"""What a history keeps of a result, and how an SD and the limits of many charts are followed."""

from __future__ import annotations

from math import gamma, log
from pathlib import Path

import pytest
from scipy import stats

from qc.history.figures import figures_of
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
