"""How likely the next batch is to pass each test, if nothing changes."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction

import numpy as np
from msgspec import Struct

from qc.assurance.operating import plan_chances
from qc.causes.priors import middles, normal_quantile
from qc.history.figures import BatchFigures
from qc.history.products import BatchSeries
from qc.rules.built_in import load_rule, rule_ids
from qc.rules.kinds import kind_of, mass
from qc.rules.kinds.mass.bands import band_for
from qc.stats.sample_plans import SamplePlan

PLACES = 15


class NextTest(Struct, frozen=True, kw_only=True):
    """A test of single units, its active (empty for the masses), and the next batch's chance of passing it [-]."""

    test: str
    active: str
    chance: float


def next_tests(newest: BatchFigures, series: Sequence[BatchSeries]) -> Iterator[NextTest]:
    """The chances by each built-in rule for single units that the newest batch was judged by.

    Parameters
    ----------
    newest : BatchFigures
    series : sequence of BatchSeries
        Its charts; a test is left out where mean or SD were seen in too few batches.
    """
    by_id = {(one.id, one.of): one for one in series if one.followed.spread > 0.0}
    for rule in (load_rule(id) for id in newest.rules if id in rule_ids()):
        kind, band = kind_of(rule), None
        if not kind.chance:
            continue
        if (table := mass.KIND.own(rule)) is not None:
            mean_mg = Fraction(newest.mass.mean) * 1000 if newest.mass else Fraction(0)
            band = band_for(table, form=newest.form, mean_mg=mean_mg)
            if band is None:
                continue
        plan = kind.plan(rule, band=band)
        for of in newest.contents if kind.per_active else ("",):
            what = "content" if kind.per_active else "mass"
            mean, sd = by_id.get((f"{what}-mean", of)), by_id.get((f"{what}-sd", of))
            if mean is not None and sd is not None:
                yield NextTest(test=rule.test, active=of, chance=chance_to_pass(mean, sd, plan=plan))


def chance_to_pass(mean: BatchSeries, sd: BatchSeries, *, plan: SamplePlan) -> float:
    """The chance that the next batch passes a test in all, over what its mean and SD may be [-].

    Parameters
    ----------
    mean, sd : BatchSeries
        Of the same units, at least three batches each.
    plan : SamplePlan
        What the test asks of a sample.

    Notes
    -----
    Mean and SD of the next batch are taken as independent, each spread as the batches so far were. That spread holds
    the scatter of the units measured, which the test adds once more: the chance is rather too low than too high.
    """
    scores = normal_quantile(middles(PLACES))
    means = np.array([mean.shown(mean.followed.outlook(float(score))) for score in scores])
    sds = np.array([sd.shown(sd.followed.outlook(float(score))) for score in scores])
    chances = plan_chances(means[:, None], np.maximum(sds, 0.0)[None, :], plan=plan)
    return float(chances.overall.mean())
