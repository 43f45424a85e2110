"""What the units measured assure about another sample of the same pour and about the units left: one record a test."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import replace

from qc.assurance.places import draw_found
from qc.assurance.posterior import PassChance, pass_chance
from qc.assurance.remaining import (
    known_size,
    left_between,
    outside_at_most,
    share_between,
    share_outside_at_most,
    units_left,
)
from qc.batch import Batch
from qc.contents import active_named, contents_found
from qc.quantities import mean
from qc.results import Assurance, Message, TestResult, UnitLedger, message
from qc.results.chance import LEAST_ASSURED
from qc.rules.kinds import dosage_units, kind_of, mass
from qc.rules.kinds.mass.record import MassBand, MassBasis
from qc.rules.records import Rule
from qc.stats.sample_plans import CountPlan, SamplePlan

WORTH_A_WORD = 0.5
"""An interval that is sure to hold less than this share of the units is not said in words [-]."""


class InPercent(Struct, frozen=True, kw_only=True):
    """Every unit measured for a test, by name, in percent.

    Parameters
    ----------
    scale : str
        What the values are a percentage of: "label", "mean" or "plan", the labelled mass.
    by_mass : bool
        Whether they were weighed: a weighing leaves a unit whole, an assay uses it up.
    limit : Fraction or None
        Allowed either side of 100 for a unit, where that was fixed before anything was measured; None where it goes by
        the mean of the sample.
    """

    values: Mapping[str, Fraction]
    scale: str
    by_mass: bool = False
    limit: Fraction | None = None


def assure_batch(
    *,
    tests: Sequence[TestResult],
    book_rules: Mapping[str, Rule],
    batch: Batch,
    ledger: UnitLedger | None = None,
    lot: Sequence[str] = (),
    confidence: float = 0.95,
) -> tuple[Assurance, ...]:
    """What the tests of a batch assure, for every test of units that has figures.

    Parameters
    ----------
    tests : sequence of TestResult
        Judged tests.
    book_rules : mapping
        Rule records by id.
    batch : Batch
        For every unit measured, whatever stage was judged, its place in the pour, and the number of units.
    ledger : UnitLedger or None
        For the units that are left.
    lot : sequence of str
        The units in the order in which a lot was drawn for this batch: the first ones of it are a random draw.
    confidence : float
        Of every bound [-].

    Returns
    -------
    tuple of Assurance
        Without numbers where the units measured are not a random draw, by their places in the pour, their moulds or
        their cavities.

    Notes
    -----
    All of it asks for a random draw. What is said of the finite batch, the number outside and the units left, asks for
    nothing else. The chance of passing is that of the pour, as if it had no end: its mean is also the chance that
    another sample of the units left passes; of few units left, the share of samples that would pass scatters about it.
    """
    found = []
    for test in tests:
        rule = book_rules.get(test.rule)
        spreads = (test.figures.get("sd_percent"), test.figures.get("rsd_percent"))
        if rule is None or not kind_of(rule).chance or test.n < 2 or spreads == (None, None):
            continue
        measured = _measured(test, rule, batch)
        if measured is not None and len(measured.values) > 1:
            found.append(_assured(test, rule, batch, measured, ledger=ledger, lot=lot, confidence=confidence))
    return tuple(found)


def _measured(test: TestResult, rule: Rule, batch: Batch) -> InPercent | None:
    """The units behind a test, and all others measured like them; None where nothing joins them on one scale."""
    masses = {unit.name: Fraction(unit.mass_g) for unit in batch.weighed if unit.mass_g is not None}
    of_mass, of_label = mass.KIND.own(rule), dosage_units.KIND.own(rule)
    if of_mass is not None:
        by_label, limit = of_mass.basis is MassBasis.LABELLED_MASS, test.figures.get("limit_percent")
        if not by_label or batch.planned_mass_g is None:
            return _about_mean(masses, by_mass=True)
        planned = {unit: value / Fraction(batch.planned_mass_g) * 100 for unit, value in masses.items()}
        fixed = None if limit is None else Fraction(str(limit))
        return InPercent(values=planned, scale="plan", by_mass=True, limit=fixed)
    active = active_named(batch, test.active or "")
    found = contents_found(batch, active=active)
    percents = {one.unit: one.percent for one in found if one.percent is not None}
    if found and len(percents) == len(found):
        return InPercent(
            values=percents, scale="label", limit=None if of_label is None else Fraction(of_label.l1_percent)
        )
    if found or active.batch_assay_percent is None:
        return _about_mean({one.unit: one.mg for one in found if one.mg is not None})
    # Without an assay of single units the test went by mass: each mass over their mean, times the assay of the batch.
    return _about_mean(masses, percent=Fraction(active.batch_assay_percent), scale="label", by_mass=True)


def _about_mean(
    values: Mapping[str, Fraction], *, percent: Fraction = Fraction(100), scale: str = "mean", by_mass: bool = False
) -> InPercent | None:
    centre = mean(list(values.values())) if values else 0
    if centre == 0:
        return None
    percents = {unit: value / centre * percent for unit, value in values.items()}
    return InPercent(values=percents, scale=scale, by_mass=by_mass)


def _assured(
    test: TestResult,
    rule: Rule,
    batch: Batch,
    measured: InPercent,
    *,
    ledger: UnitLedger | None,
    lot: Sequence[str],
    confidence: float,
) -> Assurance:
    whole, left = known_size(batch), units_left(batch, by_mass=measured.by_mass, ledger=ledger)
    places = draw_found(batch, measured=measured.values.keys(), whole=whole, lot=lot)
    n, by_mass, values = len(measured.values), measured.by_mass, measured.values.values()
    found = Assurance(test=test.id, active=test.active, confidence=confidence, units_left=left)
    if places is not None and not places.random:
        lie = {"n": n, "by_mass": by_mass, "whole": places.whole, "unseen": places.unseen}
        of_moulds = {"way": places.way, "scarce": places.scarce, "among": places.among} if places.way else {}
        told = message("assurance.not_random", **lie, **of_moulds)
        return replace(found, said=(told,))
    low, high = float(min(values)), float(max(values))
    if low < high:
        share = share_between(n, confidence=confidence)
        found = replace(found, coverage=share, tolerance_low_percent=low, tolerance_high_percent=high)
    if left and low < high and (within := left_between(n, left=left, confidence=confidence)):
        found = replace(found, left_within=within, left_low_percent=low, left_high_percent=high)
    if left and whole is not None and measured.limit is not None:
        bound = outside_at_most(values, limit=measured.limit, whole=whole, confidence=confidence)
        found = replace(found, outside_at_most=bound)
    said, caveats = list(_of_the_batch(found, measured, whole=whole)), list[Message]()
    if left != 0 or not by_mass:
        chance, told = _chance(test, rule, measured, left=left, confidence=confidence)
        said.append(told)
        if chance is not None:
            found = replace(found, pass_chance=chance.mean, pass_chance_low=chance.low)
            spoilt, supposing = chance.spoilt_at_most, chance.low_supposed
            found = replace(found, spoilt_at_most=spoilt, pass_chance_low_supposed=supposing)
            if spoilt is not None and supposing is not None and supposing >= LEAST_ASSURED:
                supposed = {"one_in": round(1.0 / spoilt), "n": n, "low": supposing, "confidence": confidence}
                caveats.append(message("assurance.supposed", **supposed))
    if places is None and left != 0:
        caveats.append(message("assurance.order_unknown", by_mass=by_mass))
    elif left != 0 and places is not None and not places.by_lot:
        caveats.append(message("assurance.draw_supposed", by_mass=by_mass))
    return replace(found, said=(*said, *caveats), caveats=tuple(caveats))


def _of_the_batch(found: Assurance, measured: InPercent, *, whole: int | None) -> Iterator[Message]:
    """What is said of the units left; where the size of the batch is not known, shares of the pour."""
    sure, left, within = {"confidence": found.confidence}, found.units_left, found.left_within
    ends = {"low": found.tolerance_low_percent, "high": found.tolerance_high_percent, "by_mass": measured.by_mass}
    if left == 0:
        yield message("assurance.none_left", whole=whole, by_mass=measured.by_mass)
    if found.outside_at_most is not None:
        counted = {"count": found.outside_at_most, "whole": whole}
        yield message("assurance.outside", **counted, limits=_limits(measured), **sure)
    if left and within and within >= WORTH_A_WORD * left:
        yield message("assurance.left_between", left=left, within=within, scale=measured.scale, **ends, **sure)
    if left is None:
        if measured.limit is not None:
            share = share_outside_at_most(measured.values.values(), limit=measured.limit, **sure)
            yield message("assurance.share_outside", share=share, limits=_limits(measured), **sure)
        if found.coverage is not None and found.coverage >= WORTH_A_WORD:
            yield message("assurance.share_between", share=found.coverage, scale=measured.scale, **ends, **sure)
        yield message("assurance.size_unknown")


def _limits(measured: InPercent) -> Message:
    """The limits fixed before, worded after "units are"."""
    if measured.scale == "plan":
        return message("assurance.off_labelled_mass", percent=measured.limit)
    limit = measured.limit or Fraction(0)
    return message("assurance.outside_range", low=float(100 - limit), high=float(100 + limit))


def _chance(
    test: TestResult, rule: Rule, measured: InPercent, *, left: int | None, confidence: float
) -> tuple[PassChance | None, Message]:
    """The chance of another sample to pass with its bound, or why there is none."""
    size, further = kind_of(rule).sizes(rule)
    asked = message("assurance.asked", size=size, further=further, like_it=left is not None and left < size)
    plan = _plan(rule, test, scale=measured.scale)
    if plan is None:
        return None, message("assurance.no_limit", asked=asked)
    # In one order, whatever that of the rows: sums of floats depend on it in the last digit.
    found = pass_chance(tuple(sorted(map(float, measured.values.values()))), plan=plan, confidence=confidence)
    if found is None:
        return None, message("assurance.no_difference", n=len(measured.values), asked=asked)
    low = found.low if found.low >= LEAST_ASSURED else None
    return found, message("assurance.passes", chance=found.mean, low=low, confidence=confidence, asked=asked)


def _plan(rule: Rule, test: TestResult, *, scale: str) -> SamplePlan | None:
    """What the rule asks of a sample, by the row of its table that judged the test; None where no limit holds.

    A bound on the mean asks for contents in % of label.
    """
    band = None
    if mass.KIND.own(rule) is not None:
        if test.mass_limits is None:
            return None
        limit, outer = test.mass_limits
        band = MassBand(forms=(), limit_percent=limit, outer_percent=outer, mark=rule.reference.mark)
    target = test.figures.get("target_percent")
    plan = kind_of(rule).plan(rule, band=band, target_percent=100.0 if target is None else float(target))
    return None if isinstance(plan, CountPlan) and plan.bounds_the_mean and scale == "mean" else plan
