from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.student import two_sided_p, two_sided_quantile


@given(t=st.floats(1e-3, 60), sign=st.sampled_from([-1, 1]), df=st.integers(1, 80))
def test_p_agrees_with_scipy(t: float, sign: int, df: int) -> None:
    t *= sign
    assert two_sided_p(t, df=df) == pytest.approx(2 * stats.t.sf(abs(t), df), abs=1e-12)


@given(t=st.floats(-1e-3, 1e-3))
def test_p_near_nothing_is_that_of_the_closed_form_which_scipy_misses_by_more(t: float) -> None:
    """One degree of freedom is the Cauchy distribution; at t = 1e-8 scipy 1.17 is off by 3e-9."""
    assert two_sided_p(t, df=1) == pytest.approx(1 - 2 * math.atan(abs(t)) / math.pi, abs=1e-15)


@pytest.mark.parametrize(("df", "printed"), [(1, 12.706), (2, 4.303), (4, 2.776), (10, 2.228), (28, 2.048)])
def test_quantile_agrees_with_the_printed_table(df: int, printed: float) -> None:
    """Student's t, 95 % two-sided: the usual table of any statistics textbook (from memory)."""
    assert two_sided_quantile(0.95, df=df) == pytest.approx(printed, abs=0.0005)


def test_no_degree_of_freedom_is_refused() -> None:
    with pytest.raises(ValueError, match=r"^0 degrees of freedom: at least 1 is needed$"):
        two_sided_p(1.0, df=0)
