"""The dose seen through the balance: what the mass of a unit tells about the suspended active in it.

It is a screening estimate, no substitute for an assay; where the weights cannot show a dose, the reason is told.
"""

from __future__ import annotations

from statistics import fmean

import numpy as np
from msgspec.structs import replace

from qc.batch import Active, Batch, State
from qc.pour.beside_assays import assayed_g, borne_out
from qc.pour.correction import Corrected, calibrated_base
from qc.pour.dose_estimate import Estimate, dose_from_mass
from qc.pour.fill import NORMAL_95, fill_scatter
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


def dose_screens(batch: Batch, masses: Corrected, *, important_percent: float) -> tuple[DoseScreen, ...]:
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
        return DoseScreen(active=active.name, displacement=shown, silent_because=reason or "", sentence=reason or "")
    value, claim_g = float(active.displacement.value), float(active.label_claim_mg) / 1000
    signal = 1 - 1 / value
    masses_g = {unit.name: float(unit.mass_g) for unit in batch.weighed if unit.mass_g is not None}
    mass_change = important_percent * claim_g * signal / fmean(masses_g.values())
    fill = fill_scatter(batch, masses)
    between = float(np.hypot(fill.fill_sd, fill.base_sd)) / abs(signal)
    moves = message("doses.moves", dose_percent=important_percent, mass_percent=mass_change, displacement=shown)
    uncertain = {"moves": moves, "between_percent": 100 * between / claim_g}
    tells = message("doses.tells", **uncertain)
    source = message(
        "doses.base_from", calibrated=bool(calibrated_base(batch)), own_sd=fill.own_sd, careful_sd=fill.careful_sd
    )
    known = DoseScreen(active=active.name, displacement=shown, base_from=source)

    def silent(reason: Message) -> DoseScreen:
        return replace(known, sentence=reason, silent_because=reason)

    useful_g = USEFUL_PERCENT * claim_g / 100
    if between > useful_g:
        said = {"active": active.name, "useful_percent": USEFUL_PERCENT}
        return silent(message("doses.too_coarse", **said, **uncertain))
    bases = _bases(batch)
    others = sum(_carried_g(other) or 0.0 for other in batch.actives if other.name != active.name)
    found = {
        unit: dose_from_mass(
            mass_g - others,
            base=bases[unit],
            displacement_value=value,
            mass_sd=fill.fill_sd,
            base_sd=fill.base_sd,
            displacement_sd=value * DISPLACEMENT_SD_PERCENT / 100,
        )
        for unit, mass_g in masses_g.items()
        if unit in bases
    }
    empty = [unit for unit, one in found.items() if one.dose + NORMAL_95 * one.between_sd < 0]
    if empty:
        why = message("doses.negative", units=tuple(empty))
        return silent(message("doses.silent", active=active.name, why=why, tells=tells))
    beside = borne_out(found, assays=assayed_g(batch, active))
    widen = beside.widen if beside is not None else 1.0
    if beside is not None and between * widen > useful_g:
        return silent(message("doses.silent", active=active.name, why=beside.missed, tells=tells))
    return replace(
        known,
        doses=tuple(_dose(unit, one, widen=widen) for unit, one in found.items()),
        sentence=message("doses.shown", active=active.name, tells=tells, beside=beside.told if beside else ""),
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
    return None if _bases(batch) else message("doses.no_base", active=active.name)


def _carried_g(active: Active) -> float | None:
    """What an active adds to the mass of a unit at its label claim [g]."""
    if active.displacement is None or active.label_claim_mg is None:
        return None
    return float(active.label_claim_mg) / 1000 * (1 - float(active.displacement.factor))


def _bases(batch: Batch) -> dict[str, float]:
    """What the cavity of each unit holds of plain base, by calibration pours or else the nominal mass [g]."""
    calibrated = calibrated_base(batch)
    if calibrated or batch.nominal_mass_g is None:
        return calibrated
    return dict.fromkeys((unit.name for unit in batch.weighed), float(batch.nominal_mass_g))
