"""What the models need of each active and of the plan: dose, displacement, state, planned mass, error of weighing."""

from __future__ import annotations

import math
from collections.abc import Sequence
from decimal import Decimal
from statistics import fmean

from msgspec import Struct

from qc.batch import Active, Batch, State
from qc.pour.planned_mass import worked_out

# What is taken for a displacement value that nobody entered: most actives are denser than the base.
UNSTATED_DISPLACEMENT = 1.5


class Substance(Struct, frozen=True, kw_only=True):
    """What the models need of one active.

    `mass_share` is how much of a relative rise in concentration shows in the mass of the unit [-]; `loading` is the
    dose over the mass of a unit of plain base [-].
    """

    name: str
    label_mg: float | None
    displacement: float
    displacement_stated: bool
    suspended: bool
    loading: float
    mass_share: float
    assay_sd: float | None


def planned_mass(batch: Batch) -> float | None:
    """The planned mass of a unit [g]: as entered, or from the nominal mass, the doses and the displacement values."""
    if batch.planned_mass_g is not None:
        return float(batch.planned_mass_g)
    unit = worked_out(batch)
    return float(unit.mass_g) if unit is not None else None


def substances_of(batch: Batch, *, planned: float | None) -> tuple[Substance, ...]:
    """The actives of a batch; those named in the assays alone come last, with nothing known about them."""
    entered = {active.name for active in batch.actives}
    assayed = dict.fromkeys(assay.active for assay in batch.assays)
    every = (*batch.actives, *(Active(name=name) for name in assayed if name not in entered))
    unit_g = planned or mean_of([unit.mass_g for unit in batch.units]) or 2.0
    implied = _implied_displacement(batch, every)
    return tuple(_substance(active, unit_g=unit_g, implied=implied) for active in every)


def _implied_displacement(batch: Batch, actives: Sequence[Active]) -> float | None:
    """The displacement value that the planned mass rests on, where it was not entered but can be calculated back."""
    planned, nominal = batch.planned_mass_g, batch.nominal_mass_g
    if len(actives) != 1 or planned is None or nominal is None or actives[0].label_claim_mg is None:
        return None
    dose_g = float(actives[0].label_claim_mg) / 1000.0
    displaced_g = dose_g - (float(planned) - float(nominal))
    if displaced_g <= 0.0 or not 0.2 <= dose_g / displaced_g <= 20.0:
        return None
    return dose_g / displaced_g


def _substance(active: Active, *, unit_g: float, implied: float | None) -> Substance:
    stated = float(active.displacement.value) if active.displacement is not None else None
    displacement = stated or implied or UNSTATED_DISPLACEMENT
    label = float(active.label_claim_mg) if active.label_claim_mg is not None else None
    # Without a label nobody knows the dose: a tenth of the unit is taken, and the mass then says little.
    dose_g = label / 1000.0 if label is not None else 0.1 * unit_g
    gain = dose_g * (1.0 - 1.0 / displacement)
    base_g = max(unit_g - gain, 0.2 * unit_g)
    repeatability = active.assay_repeatability_percent
    return Substance(
        name=active.name,
        label_mg=label,
        displacement=displacement,
        displacement_stated=stated is not None,
        suspended=active.state is not State.DISSOLVED,
        loading=dose_g / base_g,
        mass_share=gain / unit_g,
        assay_sd=float(repeatability) / 100.0 if repeatability is not None and repeatability > 0 else None,
    )


def weighing_sd(batch: Batch) -> float:
    """Spread of a single weighing [g]: repeatability, and the rounding to the readability."""
    readability = float(batch.balance_readability_g or Decimal("0.001"))
    repeatability = float(batch.balance_repeatability_g) if batch.balance_repeatability_g is not None else readability
    return math.sqrt(repeatability**2 + readability**2 / 12.0)


def mean_of(values: Sequence[Decimal | None]) -> float | None:
    """The mean of those that are known; None when none is."""
    known = [float(value) for value in values if value is not None]
    return fmean(known) if known else None
