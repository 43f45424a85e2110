"""Intervals off the true mean, against scipy's normal distribution."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from qc.stats.off_centre import half_width


@given(offset=st.floats(-4, 4), share=st.floats(0.01, 0.9999))
def test_the_interval_holds_the_share(offset: float, share: float) -> None:
    begin = float(stats.norm.ppf(0.5 * (1 + share)))
    (found,) = half_width(np.array([offset]), share=share, begin=begin, step=1e-13)
    held = stats.norm.cdf(offset + found) - stats.norm.cdf(offset - found)
    assert held == pytest.approx(share, abs=1e-12)
