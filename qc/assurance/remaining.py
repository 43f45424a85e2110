"""What units measured say of the finite batch, whatever the spread: how many lie outside, and between which ends."""

from __future__ import annotations

from collections.abc import Collection
from fractions import Fraction

from qc.batch import Batch
from qc.results import UnitLedger
from qc.stats.proportion import hypergeometric_bound, upper_bound


def known_size(batch: Batch) -> int | None:
    """Units of the batch: those obtained from the moulds, else those poured; None where neither was entered.

    Where more units are listed than were entered as poured, those listed count.
    """
    entered = batch.units_poured if batch.units_obtained is None else batch.units_obtained
    return None if entered is None else max(entered, len(batch.units))


def units_left(batch: Batch, *, by_mass: bool, ledger: UnitLedger | None = None) -> int | None:
    """How many units are left after a test.

    Parameters
    ----------
    batch : Batch
    by_mass : bool
        True for a test of masses: it leaves the units that were not weighed. A test of contents leaves those that were
        not assayed, for whichever active and in whichever part. A unit that is lost is not left.
    ledger : UnitLedger or None
        The units of the release: those that it has used in other tests, rejected or retained are not left either.

    Returns
    -------
    int or None
        None where the number of units is unknown.
    """
    whole = known_size(batch)
    measured = {assay.unit for assay in batch.assays} | batch.lost
    if by_mass:
        measured |= {unit.name for unit in batch.weighed}
    if whole is None:
        return None
    left = max(whole - len(measured), 0)
    return left if ledger is None else min(left, ledger.left if by_mass else ledger.released_at_most)


def outside_at_most(values: Collection[Fraction], *, limit: Fraction, whole: int, confidence: float) -> int | None:
    """Units of the whole batch farther than a limit from 100, those measured among them, at most.

    Parameters
    ----------
    values : collection of Fraction
        Of the units measured, a random draw [% of label, or of the labelled mass].
    limit : Fraction
        Allowed either side of 100; a unit at it is inside [same unit].
    whole : int
        Units of the batch.
    confidence : float
        Of the bound [-].

    Returns
    -------
    int or None
        None where the bound is no less than all units that were not found inside.
    """
    found = sum(abs(value - 100) > limit for value in values)
    bound = hypergeometric_bound(found, n=len(values), whole=whole, confidence=confidence)
    return bound if bound < whole - (len(values) - found) or len(values) == whole else None


def share_outside_at_most(values: Collection[Fraction], *, limit: Fraction, confidence: float) -> float:
    """The same as a share of a pour without end [-]."""
    return upper_bound(sum(abs(value - 100) > limit for value in values), n=len(values), confidence=confidence)


def share_between(n: int, *, confidence: float) -> float:
    """The share of all units of a pour that lie between the least and the most of n drawn at random, at least [-].

    References
    ----------
    S. S. Wilks, Determination of sample sizes for setting tolerance limits, Ann. Math. Statist. 12 (1941) 91-96: the
    share between is Beta(n - 1, 2), so that what lies outside is bounded as if one of n were found there.

    Examples
    --------
    >>> round(share_between(93, confidence=0.95), 4)  # 93 is the least number for 95 %
    0.95
    """
    return 1.0 - upper_bound(1, n=n, confidence=confidence)


def left_between(n: int, *, left: int, confidence: float) -> int | None:
    """How many of the units left lie between the least and the most of n drawn at random, at least.

    Parameters
    ----------
    n, left : int
        Units measured, at least 2, and units left [-].
    confidence : float
        Of the bound [-].

    Returns
    -------
    int or None
        None where not one of them is sure to.

    Notes
    -----
    The stretches between the units measured, by rank, are exchangeable: those below the least and above the most hold
    as many of the units left as the first two do, and so many lie there only if the first ranks hold one unit measured
    at most.

    References
    ----------
    Prediction intervals without a distribution: Meeker, Hahn & Escobar, Statistical Intervals, 2nd ed. (2017),
    section 5.5; the hypergeometric form is our own, checked by counting all orders (see tests).
    """
    beyond = hypergeometric_bound(1, n=n, whole=n + left, confidence=confidence) - 1
    return max(left - beyond, 0) or None
