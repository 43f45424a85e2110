"""What a test assures about the units that are left of a batch of known size: those that a release is signed for."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from qc.assurance.joint_region import JointRegion
from qc.batch import Batch
from qc.results import Assurance, Message, TestResult, message
from qc.rules.kinds.mass.record import MassBasis, MassRule
from qc.stats.proportion import hypergeometric_bound
from qc.stats.tolerance import remaining_factor


class CountedOutside(Struct, frozen=True, kw_only=True):
    """Units outside limits that were fixed before anything was measured.

    Parameters
    ----------
    limits : Message
        The limits, worded after "units are".
    found, n : int
        Units outside among those drawn for the test, and how many were drawn.
    known, measured : int
        The same among all units measured, those beyond the sample too.
    """

    limits: Message
    found: int
    n: int
    known: int
    measured: int


def known_size(batch: Batch) -> int | None:
    """Units of the batch: those obtained from the moulds, else those poured; None where neither was entered.

    Where more units are listed than were entered as poured, those listed count.
    """
    entered = batch.units_poured if batch.units_obtained is None else batch.units_obtained
    return None if entered is None else max(entered, len(batch.units))


def units_left(batch: Batch, *, by_mass: bool) -> int | None:
    """How many units are left after a test.

    Parameters
    ----------
    batch : Batch
    by_mass : bool
        True for a test of masses: it leaves the units that were not weighed. A test of contents leaves those that were
        not assayed, for whichever active and in whichever part. A unit that is lost is not left.

    Returns
    -------
    int or None
        Units rejected by eye are among those left. None where the number of units is unknown.
    """
    whole = known_size(batch)
    measured = {assay.unit for assay in batch.assays} | batch.lost
    if by_mass:
        measured |= {unit.name for unit in batch.weighed}
    return None if whole is None else max(whole - len(measured), 0)


def contents_outside(
    contents: Mapping[str, Fraction], *, sample: Sequence[str], limit: Fraction
) -> CountedOutside | None:
    """Contents farther than a limit from the label, counted exactly.

    Parameters
    ----------
    contents : mapping
        Every unit assayed with its content [% of label].
    sample : sequence of str
        Units of the test sample.
    limit : Fraction
        Allowed either side of 100 [% of label].

    Returns
    -------
    CountedOutside or None
        None where no unit of the sample has a content.
    """
    outside = {unit for unit, percent in contents.items() if abs(percent - 100) > limit}
    drawn = [unit for unit in sample if unit in contents]
    if not drawn:
        return None
    return CountedOutside(
        limits=message("assurance.outside_range", low=float(100 - limit), high=float(100 + limit)),
        found=sum(unit in outside for unit in drawn),
        n=len(drawn),
        known=len(outside),
        measured=len(contents),
    )


def masses_outside(test: TestResult, *, rule: MassRule, batch: Batch) -> CountedOutside | None:
    """Masses farther from the labelled mass than the limit; None where the limit goes by the mean of the sample.

    Parameters
    ----------
    test : TestResult
        Its figures, `n` and `outside` are read.
    rule : MassRule
    batch : Batch

    Returns
    -------
    CountedOutside or None
    """
    limit = test.figures.get("limit_percent")
    if rule.basis is not MassBasis.LABELLED_MASS or batch.planned_mass_g is None or limit is None:
        return None
    return CountedOutside(
        limits=message("assurance.off_labelled_mass", percent=limit),
        found=sum(unit.in_sample for unit in test.outside),
        n=test.n,
        known=len(test.outside),
        measured=len(batch.weighed),
    )


def with_the_rest(
    record: Assurance,
    *,
    region: JointRegion,
    batch: Batch,
    by_mass: bool,
    scale: str,
    counted: CountedOutside | None,
) -> Assurance:
    """Add to a record what the sample assures about the units that are left.

    Parameters
    ----------
    record : Assurance
        Its confidence and coverage are read; what it says is added to.
    region : JointRegion
        For mean, SD and number of units of the sample.
    batch : Batch
        For the number of its units and of those measured.
    by_mass : bool
        Whether the test weighs: a weighing leaves a unit whole, an assay uses it up.
    scale : str
        What the figures are a percentage of: "label" or "mean".
    counted : CountedOutside or None
        Units outside fixed limits; None where the limits of the test go by the mean of the sample, since a limit that
        moves with the sample marks no unit before the draw.

    Returns
    -------
    Assurance
        The interval holds the share `coverage` of the units left, rounded up to whole units: of fewer than twenty that
        is every one, as a person who hands out each of them wants it, and of more it stays as narrow as the tolerance
        interval for all units is.

    Notes
    -----
    The interval takes the units tested for a random draw of the batch, and all of its units for normal. An error of the
    assay is part of the spread: the interval is that of further results. Where a few units are poorer than the others
    in a way of their own, it holds those left less often than stated. The count outside asks for the random draw alone,
    whatever the spread is like. Each of the two has the confidence by itself.
    """
    whole, left = known_size(batch), units_left(batch, by_mass=by_mass)
    if whole is None or left is None:
        return replace(record, said=(*record.said, message("assurance.size_unknown")))
    if left == 0:
        none = message("assurance.none_left", whole=whole, by_mass=by_mass)
        return replace(record, said=(*record.said, none), units_left=0)
    confidence = record.confidence
    outside: int | None = None
    beyond: Message | str = ""
    if counted is not None:
        outside = _outside_at_most(counted, whole=whole, confidence=confidence)
        beyond = message("assurance.outside_at_most", count=outside, whole=whole, limits=counted.limits)
    within, low, high = _interval(region, left=left, coverage=record.coverage)
    said = list(record.said)
    if within is not None:
        between = {"low": low, "high": high, "scale": scale, "confidence": confidence, "outside": beyond}
        if left == 1:
            said.append(message("assurance.one_left", by_mass=by_mass, **between))
        else:
            of = {"left": left, "within": within, "all_within": within == left, "by_mass": by_mass}
            said.append(message("assurance.units_left", **of, **between))
    elif counted is not None:
        said.append(message("assurance.units_outside", outside=beyond, confidence=confidence))
    return replace(
        record,
        said=tuple(said),
        units_left=left,
        left_within=within,
        left_low_percent=low,
        left_high_percent=high,
        outside_at_most=outside,
    )


def _interval(region: JointRegion, *, left: int, coverage: float) -> tuple[int | None, float | None, float | None]:
    """How many of the units left lie inside, and the ends; nothing of a sample without a spread."""
    if region.sd <= 0.0:
        return None, None, None
    # Rounded before it is rounded up: 0.95 as a float is not quite 95 %.
    within = math.ceil(round(coverage * left, 9))
    reach = region.sd * remaining_factor(region.n, remaining=left, within=within, confidence=region.confidence)
    # No unit weighs or holds less than nothing.
    return within, max(region.mean - reach, 0.0), region.mean + reach


def _outside_at_most(counted: CountedOutside, *, whole: int, confidence: float) -> int:
    """The bound from the random draw, kept between what is known of every unit measured."""
    bound = hypergeometric_bound(counted.found, n=counted.n, whole=whole, confidence=confidence)
    return min(max(bound, counted.known), whole - (counted.measured - counted.known))
