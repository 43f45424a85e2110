"""What data assure, and chances of passing, as frozen records: of one test, and along the SD."""

from __future__ import annotations

from msgspec import Struct

from qc.results.messages import Message


class Assurance(Struct, frozen=True, kw_only=True):
    """What the data in hand assure about another sample of the same batch, and about the units that are left.

    Parameters
    ----------
    test : str
        Id of the test.
    active : str or None
        The active, for tests of content.
    confidence : float
        Of each bound by itself [-].
    pass_chance_low : float or None
        Chance of a fresh sample to pass, bounded from below [-].
    coverage : float
        Share of all units that the tolerance interval holds [-].
    tolerance_low_percent, tolerance_high_percent : float or None
        Tolerance interval for a batch without end [% of label or of the mean].
    said : tuple of Message
        All of it for a person to read, a sentence each: another sample, all units, those left, the caveat last.
    units_left : int or None
        Units that are neither used up by an assay nor, in a test of masses, weighed; None where the number poured was
        not entered.
    left_within : int or None
        How many of those lie in the interval below; None where none is left or the sample has no spread.
    left_low_percent, left_high_percent : float or None
        The interval that holds them with the confidence, no lower than zero [% of label or of the mean].
    outside_at_most : int or None
        Units of the whole batch, those tested among them, outside the fixed limits of the test at most; None where
        none is left, or where the limits go by the mean of the sample.
    caveat : Message or ""
        What limits all of it; empty where nothing does.
    """

    test: str
    active: str | None
    confidence: float
    pass_chance_low: float | None
    coverage: float
    tolerance_low_percent: float | None
    tolerance_high_percent: float | None
    said: tuple[Message | str, ...] = ()
    units_left: int | None = None
    left_within: int | None = None
    left_low_percent: float | None = None
    left_high_percent: float | None = None
    outside_at_most: int | None = None
    caveat: Message | str = ""


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
    region : tuple of (mean, SD)
        Outline of the joint confidence region of the true mean and SD, a triangle; empty without a sample.
    confidence : float or None
        Of the region [-].
    """

    test: str
    rule: str
    mean_percent: float
    sds_percent: tuple[float, ...]
    first_stage: tuple[float, ...]
    overall: tuple[float, ...]
    sample_sd_percent: float | None = None
    sd_high_percent: float | None = None
    region: tuple[tuple[float, float], ...] = ()
    confidence: float | None = None
    active: str | None = None
