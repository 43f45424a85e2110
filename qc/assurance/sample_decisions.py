"""What a rule says of very many samples at once: the decisions that simulation counts, in floats.

Only for chances. A batch in hand is judged on exact decimals by the test procedures of the rules.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from qc.assurance.acceptance_geometry import AcceptanceGeometry
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassBand, MassBasis, MassRule

Array = NDArray[np.float64]
Truth = NDArray[np.bool_]


def passes_first(
    sample: Array,
    *,
    rule: DosageUnitRule | ContentRule | MassRule,
    band: MassBand | None,
    geometry: AcceptanceGeometry | None,
) -> tuple[Truth, Truth]:
    """Which samples pass at the first stage, and for which the rule asks for a second.

    Parameters
    ----------
    sample : ndarray
        One row a sample, one column a unit of the first stage [% of label].
    rule : DosageUnitRule, ContentRule or MassRule
    band : MassBand or None
        The row of the table of a mass rule.
    geometry : AcceptanceGeometry or None
        The numbers of a dosage-unit rule.

    Returns
    -------
    tuple of ndarray
    """
    if isinstance(rule, DosageUnitRule):
        if geometry is None:
            raise ValueError(f"{rule.id} needs its geometry")
        passed = _acceptance_value(sample, geometry.first_k, geometry) <= geometry.limit
        return passed, ~passed
    if isinstance(rule, MassRule):
        if band is None:
            raise ValueError(f"{rule.id} needs a row of its table")
        centre = 100.0 if rule.basis is MassBasis.LABELLED_MASS else sample.mean(axis=1, keepdims=True)
        away = np.abs(sample - centre) / centre * 100.0
        beyond = (away > float(band.limit_percent)).sum(axis=1)
        farther = (away > float(band.outer_percent)).sum(axis=1)
        passed = (beyond <= rule.most_beyond_limit) & (farther <= rule.most_beyond_outer)
        return passed, np.zeros(passed.shape, dtype=np.bool_)
    beyond, farther, mean_fits = _beyond(sample, rule)
    kept = (farther == 0) & mean_fits
    passed = kept & (beyond <= rule.passes_with)
    return passed, kept & ~passed & (beyond <= rule.continues_with)


def passes_pooled(
    sample: Array, *, rule: DosageUnitRule | ContentRule | MassRule, geometry: AcceptanceGeometry | None
) -> Truth:
    """Which samples pass at the second stage, the units of both stages pooled; arguments as for `passes_first`."""
    if isinstance(rule, DosageUnitRule) and geometry is not None:
        value = _acceptance_value(sample, geometry.second_k, geometry)
        reference = geometry.reference(sample.mean(axis=1))
        away = np.abs(sample - reference[:, None]).max(axis=1)
        return np.asarray((value <= geometry.limit) & (away <= geometry.unit_fraction * reference), dtype=np.bool_)
    if isinstance(rule, ContentRule):
        # The bound on the mean, where a rule has one, is judged at the first stage.
        beyond, farther, _ = _beyond(sample, rule)
        return np.asarray((farther == 0) & (beyond <= rule.second_passes_with), dtype=np.bool_)
    raise ValueError(f"{rule.id} has one stage")


def _acceptance_value(sample: Array, k: float, geometry: AcceptanceGeometry) -> Array:
    spread: Array = sample.std(axis=1, ddof=1)
    return geometry.distance(sample.mean(axis=1)) + k * spread


def _beyond(sample: Array, rule: ContentRule) -> tuple[NDArray[np.intp], NDArray[np.intp], Truth]:
    mean = sample.mean(axis=1, keepdims=True)
    away = np.abs(sample - mean) / mean * 100.0
    beyond = (away > float(rule.inner_percent)).sum(axis=1)
    farther = (away > float(rule.outer_percent)).sum(axis=1)
    if not rule.inner_applies:
        beyond = np.zeros_like(beyond)
    mean_fits = np.ones(beyond.shape, dtype=np.bool_)
    if rule.mean_low_percent is not None:
        mean_fits &= mean[:, 0] >= float(rule.mean_low_percent)
    if rule.mean_high_percent is not None:
        mean_fits &= mean[:, 0] <= float(rule.mean_high_percent)
    return beyond, farther, mean_fits
