"""The interval of a mean of values found on some of the units of a batch, or of all of them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from qc.quantities import Exact, sample_variance, square_root
from qc.stats.student import two_sided_quantile


def half_width(
    values: Sequence[Exact],
    *,
    confidence: float,
    of: int | None = None,
    times: Fraction = Fraction(1),
    assay_variance: Fraction = Fraction(0),
    added_variance: Fraction = Fraction(0),
) -> float | None:
    """Half of the interval of `times` the mean of some of the units [unit of the values]; None from one value.

    Parameters
    ----------
    values : sequence of numbers
    confidence : float
        Of the two-sided interval [-].
    of : int, optional
        Units in the batch, of which these are some; without it a batch without end.
    times : Fraction
        What the mean is multiplied by.
    assay_variance : Fraction
        The part of the variance of the values that the assay makes [unit of the values, squared].
    added_variance : Fraction
        Variance of what is added to it [likewise].

    References
    ----------
    JCGM 100:2008 (GUM), 5.1.2, equation 10; the factor 1 - n/N: Cochran, Sampling Techniques, 3rd edition, sections 2.6
    and 2.8 (from memory).

    Examples
    --------
    >>> round(half_width([99, 100, 101], confidence=0.95), 4)
    2.4841
    """
    n = len(values)
    if n < 2:
        return None
    units_variance = max(sample_variance(values) - assay_variance, Fraction(0))
    share = min(Fraction(n, of), Fraction(1)) if of else Fraction(0)
    variance = times**2 * (units_variance * (1 - share) + assay_variance) / n + added_variance
    return square_root(variance) * two_sided_quantile(confidence, df=n - 1)
