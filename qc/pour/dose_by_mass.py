"""The dose seen through the balance: what the mass of a unit tells about the suspended active in it.

A unit holds its cavity's worth of base, plus what the active weighs, less the base that it displaces:
m = m_base + d (1 - 1/f), with f the displacement value (g of active that displaces 1 g of base). Turned round, the mass
gives the dose. It is a screening estimate, no substitute for an assay.
"""

from __future__ import annotations

import numpy as np
from msgspec import Struct

from qc.batch import Active, Batch, DisplacementConvention, State
from qc.pour.correction import Corrected
from qc.pour.dose_scatter import NORMAL_95, BorneOut, assayed_g, borne_out, fill_scatter
from qc.pour.layout import calibrated_base
from qc.pour.wording import chance
from qc.results.pour import DoseFromMass, DoseScreen

# Sources differ by 10 to 25 % about the displacement number of one active in one base; two sources that differ by 17 %
# have a standard deviation of 12 %.
DISPLACEMENT_SD_PERCENT = 12.0
# Below a tenth the mass of an active and that of the base it displaces are so alike that fill scatter is magnified
# more than ten times.
LEAST_SIGNAL = 0.1
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
    displacement_sd_percent: float = DISPLACEMENT_SD_PERCENT,
    useful_percent: float = USEFUL_PERCENT,
) -> tuple[DoseScreen, ...]:
    """The dose of every weighed unit from its mass, or the reason why the weights cannot show it, for each active.

    Parameters
    ----------
    batch : Batch
    masses : Corrected
        Masses in pour order, for the scatter of fill where calibration pours do not give it.
    important_percent : float
        The change of dose that matters [% of dose].
    displacement_sd_percent : float
        How unsure the displacement number is, as a standard deviation [% of it].
    useful_percent : float
        A dose less sure than this, unit beside unit, is not shown [% of label].

    Returns
    -------
    tuple of DoseScreen
        Empty when there is no active or no weighed unit.
    """
    if not batch.weighed:
        return ()
    return tuple(
        _screen(
            active,
            batch,
            masses,
            important_percent=important_percent,
            displacement_sd_percent=displacement_sd_percent,
            useful_percent=useful_percent,
        )
        for active in batch.actives
    )


def _screen(
    active: Active,
    batch: Batch,
    masses: Corrected,
    *,
    important_percent: float,
    displacement_sd_percent: float,
    useful_percent: float,
) -> DoseScreen:
    shown = _displacement_shown(active, displacement_sd_percent)
    reason = _why_silent(active, batch)
    if reason or active.displacement is None or active.label_claim_mg is None:
        return DoseScreen(active=active.name, displacement=shown, silent_because=reason, sentence=reason)
    value = float(active.displacement.value)
    claim_g = float(active.label_claim_mg) / 1000
    signal = 1 - 1 / value
    mean_mass = float(np.mean([float(unit.mass_g) for unit in batch.weighed if unit.mass_g is not None]))
    mass_change = important_percent * claim_g * signal / mean_mass
    bases, base_from = _bases(batch)
    fill = fill_scatter(batch, masses)
    between = float(np.hypot(fill.fill_sd, fill.base_sd)) / abs(signal)
    change_text = (
        f"A change of dose by {important_percent:g} % changes the mass by {mass_change:+.2f} % "
        f"({shown}); unit beside unit the weights tell doses apart to {100 * between / claim_g:.0f} % of the label "
        "(one standard deviation)."
    )

    def silent(why: str) -> DoseScreen:
        reason = f"The weights cannot show the dose of {active.name}{why} {change_text}"
        return DoseScreen(
            active=active.name,
            displacement=shown,
            base_from=f"{base_from} {fill.words}",
            mass_change_percent=mass_change,
            silent_because=reason,
            sentence=reason,
        )

    useful_g = useful_percent * claim_g / 100
    if between > useful_g:
        return silent(f": they tell doses apart no better than {useful_percent:g} % of the label.")
    others = sum(_carried_g(other) or 0.0 for other in batch.actives if other.name != active.name)
    found = {
        unit.name: dose_from_mass(
            float(unit.mass_g) - others,
            base=bases[unit.name],
            displacement_value=value,
            mass_sd=fill.fill_sd,
            base_sd=fill.base_sd,
            displacement_sd=value * displacement_sd_percent / 100,
        )
        for unit in batch.weighed
        if unit.name in bases and unit.mass_g is not None
    }
    empty = [unit for unit, one in found.items() if one.dose + NORMAL_95 * one.between_sd < 0]
    if empty:
        named = f"unit {empty[0]}" if len(empty) == 1 else f"units {', '.join(empty)}"
        return silent(
            f": {named} would hold a negative dose, so masses differ here by filling or trimming more than by dose."
        )
    beside = borne_out(
        list(found),
        doses=[one.dose for one in found.values()],
        between_sd=[one.between_sd for one in found.values()],
        shared_sd=[one.shared_sd for one in found.values()],
        assays=assayed_g(batch, active),
    )
    widen = beside.widen if beside is not None else 1.0
    if beside is not None and between * widen > useful_g:
        return silent(f": {_missed(beside)}.")
    return DoseScreen(
        active=active.name,
        doses=tuple(_dose(unit, one, widen=widen) for unit, one in found.items()),
        displacement=shown,
        base_from=f"{base_from} {fill.words}",
        mass_change_percent=mass_change,
        sentence=(
            f"Doses of {active.name} from the weights, a screening estimate and no substitute for an assay. "
            f"{change_text} {_beside_assays(beside)}The level shared by all units is as unsure as the displacement "
            "number; intervals are first order and a few per cent too narrow where that number is near 1."
        ),
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


def _missed(beside: BorneOut) -> str:
    units = "the assayed unit misses its assay" if beside.n == 1 else f"the {beside.n} assayed units miss their assays"
    return (
        f"as estimated by mass, {units} by more than the standard deviations allow (chi-square "
        f"{beside.chi_square:.1f} on {beside.n} degrees of freedom, {chance(beside.p_value)})"
    )


def _beside_assays(beside: BorneOut | None) -> str:
    """How the estimates stand beside the assays, with a space after it; "" where nothing was assayed."""
    if beside is None:
        return ""
    if beside.holds:
        units = (
            "the assayed unit agrees with its assay" if beside.n == 1 else f"{beside.n} units agree with their assays"
        )
        return f"As estimated by mass, {units} within the standard deviations stated ({chance(beside.p_value)}). "
    missed = _missed(beside)
    return f"{missed[0].upper()}{missed[1:]}; all intervals are therefore widened {beside.widen:.1f}-fold. "


def _displacement_shown(active: Active, sd_percent: float) -> str:
    if active.displacement is None:
        return ""
    given = active.displacement
    name = "displacement value" if given.convention is DisplacementConvention.VALUE else "displacement factor"
    return f"{name} {given.given} {given.convention.value}, taken as unsure by {sd_percent:g} %"


def _why_silent(active: Active, batch: Batch) -> str:
    """Why nothing can be said from the start; empty when it can be tried."""
    cannot = f"The weights cannot show the dose of {active.name}"
    if active.state is State.DISSOLVED:
        return f"{cannot}: it is dissolved, and what is dissolved does not settle."
    if active.displacement is None:
        return f"{cannot}: no displacement value or factor was entered."
    if active.label_claim_mg is None:
        return f"{cannot}: no label claim was entered."
    signal = 1 - 1 / float(active.displacement.value)
    if abs(signal) < LEAST_SIGNAL:
        given = active.displacement
        return (
            f"{cannot}: it weighs nearly what the base weighs that it displaces "
            f"(displacement {given.given} {given.convention.value}, too near 1)."
        )
    suspended = [other.name for other in batch.actives if other.state is not State.DISSOLVED]
    if len(suspended) > 1:
        return f"{cannot}: one mass cannot be shared out between several suspended actives ({', '.join(suspended)})."
    unknown = [other.name for other in batch.actives if other.name != active.name and _carried_g(other) is None]
    if unknown:
        return f"{cannot}: the label claim or displacement of {', '.join(unknown)} is missing."
    if not _bases(batch)[0]:
        return f"{cannot}: neither calibration pours of plain base nor a nominal mass were entered."
    return ""


def _carried_g(active: Active) -> float | None:
    """What an active adds to the mass of a unit at its label claim [g]."""
    if active.displacement is None or active.label_claim_mg is None:
        return None
    return float(active.label_claim_mg) / 1000 * (1 - float(active.displacement.factor))


def _bases(batch: Batch) -> tuple[dict[str, float], str]:
    calibrated = calibrated_base(batch)
    if calibrated:
        return calibrated, "Base mass of each cavity from its calibration pours."
    if batch.nominal_mass_g is not None:
        nominal = float(batch.nominal_mass_g)
        everywhere = {unit.name: nominal for unit in batch.weighed}
        return everywhere, "Base mass from the nominal mass of the mould, the same for every cavity."
    return {}, ""
