"""How likely the next batch is to pass, if nothing changes."""

from __future__ import annotations

import numpy as np

from qc.assurance.operating import pass_chances
from qc.causes.priors import middles, normal_quantile
from qc.history.products import BatchSeries
from qc.rules.built_in import load_rule

DOSAGE_UNITS = "harmonised-udu"
PLACES = 15


def chance_to_pass(mean: BatchSeries, sd: BatchSeries, *, rule: str = DOSAGE_UNITS) -> float:
    """The chance that the next batch passes the dosage-unit test in all, over what its mean and SD may be [-].

    Parameters
    ----------
    mean, sd : BatchSeries
        Of the contents of one active, at least three batches each.
    rule : str
        Id of the dosage-unit rule.

    Notes
    -----
    Mean and SD of the next batch are taken as independent, each spread as the batches so far were. That spread holds
    the scatter of the units assayed, which the test adds once more: the chance is rather too low than too high.
    """
    scores = normal_quantile(middles(PLACES))
    means = np.array([mean.shown(mean.followed.outlook(float(score))) for score in scores])
    sds = np.array([sd.shown(sd.followed.outlook(float(score))) for score in scores])
    chances = pass_chances(means[:, None], np.maximum(sds, 0.0)[None, :], rule=load_rule(rule))
    return float(chances.overall.mean())
