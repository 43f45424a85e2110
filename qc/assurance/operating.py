"""Operating characteristics: the chance that a batch of normal units passes the test of any rule."""

from __future__ import annotations

import numpy as np
from msgspec import Struct
from numpy.typing import ArrayLike, NDArray

from qc.assurance import own_mean_chance
from qc.assurance.acceptance_geometry import geometry_of
from qc.assurance.dosage_unit_chance import Precision, acceptance_value_chance, second_stage_chance, surface_of
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassBand, MassRule
from qc.rules.records import Rule

Array = NDArray[np.float64]


class PassChances(Struct, frozen=True, kw_only=True, eq=False):
    """Chances of passing, in the common shape of the means and SDs asked about.

    Parameters
    ----------
    mean_percent, sd_percent : ndarray
        True mean and SD [% of label, or of the mean].
    first_stage, overall : ndarray
        Chance of passing at the first stage, and in all [-].
    error_bound : ndarray
        The error of `overall` is no greater than this [-].
    """

    mean_percent: Array
    sd_percent: Array
    first_stage: Array
    overall: Array
    error_bound: Array


def pass_chances(
    mean: ArrayLike,
    sd: ArrayLike,
    *,
    rule: Rule,
    band: MassBand | None = None,
    target_percent: float = 100.0,
    rounded: bool = False,
    precision: Precision = Precision.FULL,
) -> PassChances:
    """The chance that a batch of normal units passes the test of a rule.

    Parameters
    ----------
    mean, sd : array_like
        True mean and SD of the units; they are broadcast against each other [% of label].
    rule : MassRule, ContentRule or DosageUnitRule
    band : MassBand, optional
        The row of the table of a mass rule; may be left out where the table has one row.
    target_percent : float
        Target content of the dosage-unit test, T [% of label].
    rounded : bool
        Whether the acceptance value is rounded as the rule says before it is compared.
    precision : Precision
        Of the dosage-unit test; those of other rules are always worked out in full.

    Returns
    -------
    PassChances
        Deterministic; no random numbers are used.

    Raises
    ------
    ValueError
        When a mean is not positive, an SD is negative, or the rule has no chance of passing to work out.
    """
    means, sds = np.broadcast_arrays(np.asarray(mean, dtype=np.float64), np.asarray(sd, dtype=np.float64))
    shape = means.shape
    flat_mean, flat_sd = means.ravel().copy(), sds.ravel().copy()
    _refuse_impossible(flat_mean, flat_sd)
    if isinstance(rule, DosageUnitRule):
        first, overall, error = _dosage_units(
            flat_mean, flat_sd, rule, target_percent=target_percent, rounded=rounded, precision=precision
        )
    elif isinstance(rule, ContentRule):
        chances = own_mean_chance.content_chances(flat_mean, flat_sd, rule=rule)
        first, overall = chances.first, chances.overall
        error = np.full(flat_mean.shape, own_mean_chance.QUADRATURE_ERROR)
    elif isinstance(rule, MassRule):
        chances = own_mean_chance.mass_chances(flat_mean, flat_sd, rule=rule, band=only_band(rule, band))
        first, overall = chances.first, chances.overall
        error = np.full(flat_mean.shape, own_mean_chance.QUADRATURE_ERROR)
    else:
        raise ValueError(f"{rule.id} compares a mean with a plan; no chance of passing is worked out for it")
    return PassChances(
        mean_percent=flat_mean.reshape(shape),
        sd_percent=flat_sd.reshape(shape),
        first_stage=first.reshape(shape),
        overall=overall.reshape(shape),
        error_bound=error.reshape(shape),
    )


def _refuse_impossible(mean: Array, sd: Array) -> None:
    for name, values, wrong in (("mean", mean, ~(mean > 0.0)), ("SD", sd, ~(sd >= 0.0))):
        bad = values[wrong | ~np.isfinite(values)]
        if bad.size:
            need = "greater than 0" if name == "mean" else "0 or greater"
            raise ValueError(f"the {name} {bad[0]:g} cannot be used; give a number {need}, in % of label")


def only_band(rule: MassRule, band: MassBand | None) -> MassBand:
    """The row of the table that is asked about, or the only one there is.

    Raises
    ------
    ValueError
        When no row is named and the table has several: a chance by another form's limits would be wrong.
    """
    if band is not None:
        return band
    if len(rule.bands) != 1:
        raise ValueError(f"{rule.id} has {len(rule.bands)} rows of limits; name the dosage form and the mass of a unit")
    return rule.bands[0]


def _dosage_units(
    mean: Array, sd: Array, rule: DosageUnitRule, *, target_percent: float, rounded: bool, precision: Precision
) -> tuple[Array, Array, Array]:
    geometry = geometry_of(rule, target_percent=target_percent, rounded=rounded)
    first = acceptance_value_chance(
        mean, sd, n=rule.first_size, k=geometry.first_k, geometry=geometry, precision=precision
    )
    error = np.full(mean.shape, precision.error)
    if rule.second_size == 0:
        return first, first, error
    second, doubt = second_stage_chance(mean, sd, surface=surface_of(geometry, precision=precision))
    return first, np.minimum(first + second, 1.0), error + doubt
