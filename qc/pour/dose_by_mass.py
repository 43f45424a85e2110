"""The dose seen through the balance: what the mass of a unit tells about the suspended active in it.

A unit holds its cavity's worth of base, plus what the active weighs, less the base that it displaces:
m = m_base + d (1 - 1/f), with f the displacement value (g of active that displaces 1 g of base). Turned round, the mass
gives the dose. It is a screening estimate, no substitute for an assay.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Active, Batch, State
from qc.contents import contents_found
from qc.pour.assay_list import ASSAY_PERCENT
from qc.pour.correction import Corrected, calibrated_base, pours_of_cavities
from qc.results.messages import Message, message
from qc.results.pour import DoseFromMass, DoseScreen
from qc.stats.chi_square import chi_square_cdf
from qc.stats.student import two_sided_quantile

# Sources differ by 10 to 25 % about the displacement number of one active in one base; two sources that differ by 17 %
# have a standard deviation of 12 %.
DISPLACEMENT_SD_PERCENT = 12.0
# Below a tenth the mass of an active and that of the base it displaces are so alike that fill scatter is magnified
# more than ten times.
LEAST_SIGNAL = 0.1
# A dose less sure than this, unit beside unit, is not shown [% of label].
# A unit whose dose is a quarter of the label off is to stand out at 95 %, one-sided: 25 / 1.645 = 15.2.
USEFUL_PERCENT = 15.0
NORMAL_95 = 1.959963984540054
# Estimates that are borne out miss their assays by more than this chance allows once in twenty batches.
BORNE_OUT_LEVEL = 0.05


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


class Fill(Struct, frozen=True, kw_only=True):
    """Scatter of one fill and of a cavity's base mass [g], and what they come from.

    `own_sd` is the scatter of the masses of the batch, `careful_sd` that of the calibration pours of one cavity; None
    where these are too few.
    """

    fill_sd: float
    base_sd: float
    own_sd: float
    careful_sd: float | None

    @property
    def of(self) -> dict[str, float | None]:
        """Both scatters, as the words for them take them."""
        return {"own_sd": self.own_sd, "careful_sd": self.careful_sd}


class BorneOut(Struct, frozen=True, kw_only=True):
    """Estimates laid beside the assays of the same units.

    Parameters
    ----------
    n : int
        Units with both.
    chi_square, p_value : float
        Of the differences, given the standard deviations stated [-].
    """

    n: int
    chi_square: float
    p_value: float

    @property
    def of(self) -> dict[str, float]:
        """The test, as the words for it take it."""
        return {"n": self.n, "chi_square": self.chi_square, "p": self.p_value}

    @property
    def holds(self) -> bool:
        """Whether the standard deviations allow the differences."""
        return self.p_value >= BORNE_OUT_LEVEL

    @property
    def widen(self) -> float:
        """By what the standard deviations are to be widened [-].

        References
        ----------
        Birge, The calculation of errors by the method of least squares, Physical Review 40 (1932) 207-227 (from
        memory): the root of chi-square over its degrees of freedom.
        """
        return 1.0 if self.holds else max(1.0, float(np.sqrt(self.chi_square / self.n)))


def fill_scatter(batch: Batch, masses: Corrected) -> Fill:
    """The scatter of the fill: the larger of what careful calibration pours show and what the batch shows.

    Parameters
    ----------
    batch : Batch
    masses : Corrected
        Masses in pour order, differences between cavities taken out.

    Returns
    -------
    Fill

    Notes
    -----
    The masses of the batch scatter by dose as well as by fill, and how much by which is not known; all of it is taken
    for fill, so that the doses are stated less sure than they may be and never surer.
    """
    own = _own_scatter(batch, masses)
    pours = pours_of_cavities(batch)
    df = sum(len(masses_of) - 1 for masses_of in pours.values())
    if df < len(batch.cavity_pours) / 3 or df < 3:
        return Fill(fill_sd=own, base_sd=0.0, own_sd=own, careful_sd=None)
    squares = sum(float(np.var(masses_of)) * len(masses_of) for masses_of in pours.values())
    # A scatter from few replicates is itself unsure: widened so that 1.96 of it is a 95 % interval.
    careful = float(np.sqrt(squares / df)) * two_sided_quantile(0.95, df=df) / NORMAL_95
    base_sd = careful / float(np.sqrt(len(batch.cavity_pours) / len(pours)))
    return Fill(fill_sd=max(careful, own), base_sd=base_sd, own_sd=own, careful_sd=careful)


def _own_scatter(batch: Batch, masses: Corrected) -> float:
    """What the masses of the batch scatter by, cavities taken out [g]."""
    count, levels = len(masses.tested), len(set(masses.levels))
    if count > levels and count > 1:
        away = masses.tested - masses.tested.mean()
        return float(np.hypot(np.sqrt(float(away @ away) / (count - levels)), masses.series.least_scatter))
    bases = calibrated_base(batch)
    above = [float(unit.mass_g) - bases.get(unit.name, 0.0) for unit in batch.weighed if unit.mass_g is not None]
    return float(np.std(above, ddof=1)) if len(above) > 1 else 0.0


def assayed_g(batch: Batch, active: Active) -> dict[str, tuple[float, float]]:
    """The content of each unit assayed whole, and its standard deviation, by unit [g]."""
    share = float(active.assay_repeatability_percent or ASSAY_PERCENT) / 100
    found = contents_found(batch, active=active)
    return {
        one.unit: (grams := float(one.mg) / 1000, share * grams / float(np.sqrt(one.determinations)))
        for one in found
        if one.mg is not None
    }


def borne_out(estimates: Mapping[str, Estimate], *, assays: Mapping[str, tuple[float, float]]) -> BorneOut | None:
    """Lay the estimates beside the assays of the same units.

    Parameters
    ----------
    estimates : mapping
        By unit [g].
    assays : mapping
        Content and its standard deviation by unit [g].

    Returns
    -------
    BorneOut or None
        None when no unit has both.

    Notes
    -----
    Chi-square of the differences with their covariance, the shared part being one error common to all (the inverse of
    a diagonal plus one outer product, by Sherman and Morrison).
    """
    both = [unit for unit in estimates if unit in assays]
    if not both:
        return None
    dose, between, shared = np.array(
        [(estimates[unit].dose, estimates[unit].between_sd, estimates[unit].shared_sd) for unit in both]
    ).T
    content, of_assay = np.array([assays[unit] for unit in both]).T
    away = dose - content
    own = between**2 + of_assay**2
    if not float(own.min()) > 0.0:
        return None
    shared = np.sign(dose) * shared
    along = float((away * shared / own).sum())
    chi_square = float((away**2 / own).sum()) - along**2 / (1.0 + float((shared**2 / own).sum()))
    p_value = 1.0 - float(chi_square_cdf(chi_square, degrees=len(both)))
    return BorneOut(n=len(both), chi_square=chi_square, p_value=p_value)


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

    known = DoseScreen(
        active=active.name,
        displacement=shown,
        base_from=message("doses.base_from", calibrated=calibrated, **fill.of),
    )

    def silent(why: Message) -> DoseScreen:
        reason = message("doses.silent", active=active.name, why=why, tells=tells)
        return replace(known, sentence=reason, silent_because=reason)

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
    beside = borne_out(found, assays=assayed_g(batch, active))
    widen = beside.widen if beside is not None else 1.0
    if beside is not None and between * widen > useful_g:
        return silent(message("doses.missed", **beside.of))
    return replace(
        known,
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
