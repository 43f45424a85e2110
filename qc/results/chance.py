"""What data assure, and chances of passing, as frozen records: of one test, and along the SD."""

from __future__ import annotations

from msgspec import Struct

from qc.results.messages import Message

LEAST_ASSURED = 0.1
"""A bound of a chance that is lower says next to nothing, and is not said [-]."""


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
    pass_chance, pass_chance_low : float or None
        Chance of another sample of the pour to pass: mean of its posterior distribution, and bound from below [-].
    coverage : float or None
        Share of all units of the pour that the tolerance interval holds at least [-].
    tolerance_low_percent, tolerance_high_percent : float or None
        The least and the most measured, whatever the spread [% of label, of the mean or of the labelled mass].
    said : tuple of Message
        All of it for a person to read, a sentence each: the count outside, the units left, another sample, the caveats.
    units_left : int or None
        Units that are neither used up by an assay nor, in a test of masses, weighed; None where the number poured was
        not entered.
    left_within : int or None
        How many of those lie in the interval below at least.
    left_low_percent, left_high_percent : float or None
        The least and the most measured [as above].
    outside_at_most : int or None
        Units of the whole batch, those tested among them, outside the fixed limits of the test at most; None where
        none is left, or where the limits go by the mean of the sample.
    spoilt_at_most, pass_chance_low_supposed : float or None
        Where no unit measured is so far off that no sample with it passes: a share of such units that cannot be ruled
        out, and the bound that holds where there are no more of them [-]. `pass_chance_low` holds for any share.
    caveats : tuple of Message
        What limits it; they stand at the end of `said` too.

    None stands wherever the units measured cannot say it.
    """

    test: str
    active: str | None
    confidence: float
    pass_chance: float | None = None
    pass_chance_low: float | None = None
    coverage: float | None = None
    tolerance_low_percent: float | None = None
    tolerance_high_percent: float | None = None
    said: tuple[Message | str, ...] = ()
    units_left: int | None = None
    left_within: int | None = None
    left_low_percent: float | None = None
    left_high_percent: float | None = None
    outside_at_most: int | None = None
    spoilt_at_most: float | None = None
    pass_chance_low_supposed: float | None = None
    caveats: tuple[Message | str, ...] = ()


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
    sample_sd_percent : float or None
        SD of the sample in hand [% of label].
    """

    test: str
    rule: str
    mean_percent: float
    sds_percent: tuple[float, ...]
    first_stage: tuple[float, ...]
    overall: tuple[float, ...]
    sample_sd_percent: float | None = None
    active: str | None = None
