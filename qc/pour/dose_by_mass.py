"""The dose seen through the balance: what the mass of a unit tells about the suspended active in it.

A unit holds its cavity's worth of base, plus what the active weighs, less the base that it displaces:
m = m_base + d (1 - 1/f), with f the displacement value (g of active that displaces 1 g of base). Turned round, the mass
gives the dose. It is a screening estimate, no substitute for an assay.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from qc.batch import Active, Batch, State
from qc.pour.correction import Corrected, calibrated_base
from qc.pour.dose_scatter import NORMAL_95, BorneOut, assayed_g, borne_out, fill_scatter
from qc.results.messages import Message, message
from qc.results.pour import DoseFromMass, DoseScreen

# Sources differ by 10 to 25 % about the displacement number of one active in one base; two sources that differ by 17 %
# have a standard deviation of 12 %.
DISPLACEMENT_SD_PERCENT = 12.0
# Below a tenth the mass of an active and that of the base it displaces are so alike that fill scatter is magnified
# more than ten times.
LEAST_SIGNAL = 0.1
# A dose less sure than this, unit beside unit, is not shown [% of label].
# A unit whose dose is a quarter of the label off is to stand out at 95 %, one-sided: 25 / 1.645 = 15.2.
USEFUL_PERCENT = 15.0


class Estimate(Struct, frozen=True, kw_only=True):
    """A dose with what is unsure about it, in the unit of the masses.

    `between_sd` is the part that differs from unit to unit; `shared_sd` the part that all units share through f.
    """

    dose: float
    between_sd: float
    shared_sd: float

    @property
    def sd(self) -> float:
        """Standard deviation of the dose."""
        return float(np.hypot(self.between_sd, self.shared_sd))


def dose_from_mass(
    mass: float, *, base: float, displacement_value: float, mass_sd: float, base_sd: float, displacement_sd: float
) -> Estimate:
    """The dose of one unit from its mass, with first-order uncertainty (delta method).

    Parameters
    ----------
    mass : float
        Mass of the unit [g].
    base : float
        What its cavity holds of plain base [g].
    displacement_value : float
        g of active that displaces 1 g of base, not 1 [g/g].
    mass_sd, base_sd : float
        Standard deviations of both masses, fill included [g].
    displacement_sd : float
        Standard deviation of the displacement value [g/g].

    Returns
    -------
    Estimate
        In g.

    Notes
    -----
    First order only. Where the displacement value is unsure by a tenth of its distance from 1, the curvature adds about
    0.7 % to the dose and 3 % to its standard deviation (4,000,000 draws: 0.30207 and 0.02846 in the example below).

    References
    ----------
    The law of propagation of uncertainty: JCGM 100:2008, section 5.1.2 (from memory).

    Examples
    --------
    >>> found = dose_from_mass(
    ...     2.10, base=2.00, displacement_value=1.5, mass_sd=0.005, base_sd=0.004, displacement_sd=0.05
    ... )
    >>> round(found.dose, 4), round(found.sd, 5)
    (0.3, 0.02773)
    """
    f = displacement_value
    signal = 1 - 1 / f
    dose = (mass - base) / signal
    return Estimate(
        dose=dose,
        between_sd=float(np.hypot(mass_sd, base_sd)) / abs(signal),
        shared_sd=abs(dose / (f * (f - 1))) * displacement_sd,
    )


def dose_screens(
    batch: Batch,
    masses: Corrected,
    *,
    important_percent: float,
) -> tuple[DoseScreen, ...]:
    """The dose of every weighed unit from its mass, or the reason why the weights cannot show it, for each active.

    Parameters
    ----------
    batch : Batch
    masses : Corrected
        Masses in pour order, for the scatter of fill where calibration pours do not give it.
    important_percent : float
        The change of dose that matters [% of dose].

    Returns
    -------
    tuple of DoseScreen
        Empty when there is no active or no weighed unit.
    """
    if not batch.weighed:
        return ()
    return tuple(_screen(active, batch, masses, important_percent=important_percent) for active in batch.actives)


def _screen(active: Active, batch: Batch, masses: Corrected, *, important_percent: float) -> DoseScreen:
    shown = _displacement_shown(active)
    reason = _why_silent(active, batch)
    if reason is not None or active.displacement is None or active.label_claim_mg is None:
        told = reason or ""
        return DoseScreen(active=active.name, displacement=shown, silent_because=told, sentence=told)
    value = float(active.displacement.value)
    claim_g = float(active.label_claim_mg) / 1000
    signal = 1 - 1 / value
    mean_mass = float(np.mean([float(unit.mass_g) for unit in batch.weighed if unit.mass_g is not None]))
    mass_change = important_percent * claim_g * signal / mean_mass
    bases, calibrated = _bases(batch)
    fill = fill_scatter(batch, masses)
    between = float(np.hypot(fill.fill_sd, fill.base_sd)) / abs(signal)
    tells = message(
        "doses.tells",
        dose_percent=important_percent,
        mass_percent=mass_change,
        displacement=shown,
        between_percent=100 * between / claim_g,
    )

    def screen(
        *, sentence: Message, silent_because: Message | str = "", doses: tuple[DoseFromMass, ...] = ()
    ) -> DoseScreen:
        return DoseScreen(
            active=active.name,
            doses=doses,
            displacement=shown,
            base_from=message("doses.base_from", calibrated=calibrated, **fill.of),
            silent_because=silent_because,
            sentence=sentence,
        )

    def silent(why: Message) -> DoseScreen:
        reason = message("doses.silent", active=active.name, why=why, tells=tells)
        return screen(sentence=reason, silent_because=reason)

    useful_g = USEFUL_PERCENT * claim_g / 100
    if between > useful_g:
        return silent(message("doses.too_coarse", useful_percent=USEFUL_PERCENT))
    others = sum(_carried_g(other) or 0.0 for other in batch.actives if other.name != active.name)
    found = {
        unit.name: dose_from_mass(
            float(unit.mass_g) - others,
            base=bases[unit.name],
            displacement_value=value,
            mass_sd=fill.fill_sd,
            base_sd=fill.base_sd,
            displacement_sd=value * DISPLACEMENT_SD_PERCENT / 100,
        )
        for unit in batch.weighed
        if unit.name in bases and unit.mass_g is not None
    }
    empty = [unit for unit, one in found.items() if one.dose + NORMAL_95 * one.between_sd < 0]
    if empty:
        return silent(message("doses.negative", units=tuple(empty)))
    beside = borne_out(
        list(found),
        doses=[one.dose for one in found.values()],
        between_sd=[one.between_sd for one in found.values()],
        shared_sd=[one.shared_sd for one in found.values()],
        assays=assayed_g(batch, active),
    )
    widen = beside.widen if beside is not None else 1.0
    if beside is not None and between * widen > useful_g:
        return silent(message("doses.missed", **beside.of))
    return screen(
        doses=tuple(_dose(unit, one, widen=widen) for unit, one in found.items()),
        sentence=message("doses.shown", active=active.name, tells=tells, beside=_beside_assays(beside)),
    )


def _dose(unit: str, found: Estimate, *, widen: float) -> DoseFromMass:
    half = NORMAL_95 * widen * found.sd
    return DoseFromMass(
        unit=unit,
        dose_mg=1000 * found.dose,
        low_mg=max(0.0, 1000 * (found.dose - half)),
        high_mg=1000 * (found.dose + half),
        between_sd_mg=1000 * widen * found.between_sd,
    )


def _beside_assays(beside: BorneOut | None) -> Message | str:
    """How the estimates stand beside the assays; "" where nothing was assayed."""
    if beside is None:
        return ""
    if beside.holds:
        return message("doses.agrees", n=beside.n, p=beside.p_value)
    return message("doses.widened", missed=message("doses.missed", **beside.of), widen=beside.widen)


def _displacement_shown(active: Active) -> Message | str:
    if active.displacement is None:
        return ""
    given = active.displacement
    return message(
        "doses.displacement",
        number=str(given.given),
        convention=given.convention.value,
        sd_percent=DISPLACEMENT_SD_PERCENT,
    )


def _why_silent(active: Active, batch: Batch) -> Message | None:
    """Why nothing can be said from the start; None when it can be tried."""
    if active.state is State.DISSOLVED:
        return message("doses.dissolved", active=active.name)
    if active.displacement is None:
        return message("doses.no_displacement", active=active.name)
    if active.label_claim_mg is None:
        return message("doses.no_label_claim", active=active.name)
    given = active.displacement
    if abs(1 - 1 / float(given.value)) < LEAST_SIGNAL:
        return message(
            "doses.like_base", active=active.name, number=str(given.given), convention=given.convention.value
        )
    suspended = [other.name for other in batch.actives if other.state is not State.DISSOLVED]
    if len(suspended) > 1:
        return message("doses.several_suspended", active=active.name, suspended=tuple(suspended))
    unknown = [other.name for other in batch.actives if other.name != active.name and _carried_g(other) is None]
    if unknown:
        return message("doses.others_unknown", active=active.name, unknown=tuple(unknown))
    return None if _bases(batch)[0] else message("doses.no_base", active=active.name)


def _carried_g(active: Active) -> float | None:
    """What an active adds to the mass of a unit at its label claim [g]."""
    if active.displacement is None or active.label_claim_mg is None:
        return None
    return float(active.label_claim_mg) / 1000 * (1 - float(active.displacement.factor))


def _bases(batch: Batch) -> tuple[dict[str, float], bool]:
    """What the cavity of each unit holds of plain base [g], and whether calibration pours show it."""
    calibrated = calibrated_base(batch)
    if calibrated:
        return calibrated, True
    if batch.nominal_mass_g is not None:
        nominal = float(batch.nominal_mass_g)
        return {unit.name: nominal for unit in batch.weighed}, False
    return {}, False
