"""Chances of passing as frozen records: over the (mean, SD) plane, and along the SD at one mean."""

from __future__ import annotations

from msgspec import Struct


class PassPlane(Struct, frozen=True, kw_only=True):
    """Chances of passing over a grid of true means and SDs, with where a batch stands on it.

    Parameters
    ----------
    test, rule : str
        Ids of the test and of the rule.
    active : str or None
        The active of the batch in hand; None without one.
    means_percent, sds_percent : tuple of float
        The grid, rising [% of label].
    chances : tuple of tuple of float
        Chance of passing in all; one row an SD, one column a mean [-].
    levels : tuple of float
        Chances at which a picture should draw contours [-].
    sample_mean_percent, sample_sd_percent : float or None
        Where the sample in hand stands [% of label].
    region : tuple of (mean, SD)
        Outline of the joint confidence region of the true mean and SD, a triangle; empty without a sample.
    confidence : float or None
        Of the region [-].
    """

    test: str
    rule: str
    means_percent: tuple[float, ...]
    sds_percent: tuple[float, ...]
    chances: tuple[tuple[float, ...], ...]
    levels: tuple[float, ...]
    sample_mean_percent: float | None = None
    sample_sd_percent: float | None = None
    region: tuple[tuple[float, float], ...] = ()
    confidence: float | None = None
    active: str | None = None


class OperatingCurve(Struct, frozen=True, kw_only=True):
    """Chance of passing against the true SD at one true mean.

    Parameters
    ----------
    test, rule : str
        Ids of the test and of the rule.
    active : str or None
        The active of the batch in hand; None without one.
    mean_percent : float
        True mean [% of label].
    sds_percent : tuple of float
        True SDs, rising [% of label].
    first_stage, overall : tuple of float
        Chances of passing at each SD [-].
    sample_sd_percent, sd_high_percent : float or None
        SD of the sample in hand, and the upper confidence bound of the true one [% of label].
    """

    test: str
    rule: str
    mean_percent: float
    sds_percent: tuple[float, ...]
    first_stage: tuple[float, ...]
    overall: tuple[float, ...]
    sample_sd_percent: float | None = None
    sd_high_percent: float | None = None
    active: str | None = None
