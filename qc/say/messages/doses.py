"""What is said of the dose seen through the balance."""

from __future__ import annotations

from collections.abc import Sequence

from qc.batch import DisplacementConvention
from qc.say.numbers import p_value


def tells(*, dose_percent: float, mass_percent: float, displacement: str, between_percent: float) -> str:
    """What a change of dose does to the mass [% of each], and how well weights tell doses apart [% of label]."""
    return (
        f"A change of dose by {dose_percent:g} % changes the mass by {mass_percent:+.2f} % ({displacement}); unit "
        f"beside unit the weights tell doses apart to {between_percent:.0f} % of the label (one standard deviation)."
    )


def displacement(*, number: str, convention: str, sd_percent: float) -> str:
    """The displacement number as typed with its convention, and its standard deviation [% of it]."""
    name = "displacement value" if convention == DisplacementConvention.VALUE.value else "displacement factor"
    return f"{name} {number} {convention}, taken as unsure by {sd_percent:g} %"


def base_from(*, calibrated: bool, own_sd: float, careful_sd: float | None) -> str:
    """Where the mass of the base and the scatter of the fill come from; scatters of batch and calibration pours [g]."""
    base = (
        "Base mass of each cavity from its calibration pours."
        if calibrated
        else "Base mass from the nominal mass of the mould, the same for every cavity."
    )
    if careful_sd is None:
        fill = "Scatter of fill from the masses of the batch, which holds the scatter of the dose too."
    elif careful_sd >= own_sd:
        fill = "Scatter of fill from the replicates of the calibration pours."
    else:
        fill = (
            f"Scatter of fill from the masses of the batch ({own_sd:.4f} g), which scatter more than the calibration "
            f"pours of one cavity ({careful_sd:.4f} g); it holds the scatter of the dose too."
        )
    return f"{base} {fill}"


def shown(*, active: str, tells: str, beside: str) -> str:
    """What doses from the weights are."""
    assays = f" {beside}" if beside else ""
    return (
        f"Doses of {active} from the weights, a screening estimate and no substitute for an assay. {tells}{assays} The "
        "level shared by all units is as unsure as the displacement number; intervals are first order and a few per "
        "cent too narrow where that number is near 1."
    )


def silent(*, active: str, why: str, tells: str) -> str:
    """Why the weights cannot show doses though everything needed was entered."""
    return f"{_cannot(active)}: {why}. {tells}"


def too_coarse(*, useful_percent: float) -> str:
    """The scatter of the fill is too great [% of label]."""
    return f"they tell doses apart no better than {useful_percent:g} % of the label"


def negative(*, units: Sequence[str]) -> str:
    """Units that would hold less than nothing."""
    named = f"unit {units[0]}" if len(units) == 1 else f"units {', '.join(units)}"
    return f"{named} would hold a negative dose, so masses differ here by filling or trimming more than by dose"


def missed(*, n: int, chi_square: float, p: float) -> str:
    """Estimates that the assays do not bear out."""
    units = "the assayed unit misses its assay" if n == 1 else f"the {n} assayed units miss their assays"
    return (
        f"as estimated by mass, {units} by more than the standard deviations allow (chi-square {chi_square:.1f} on {n} "
        f"degrees of freedom, {p_value(p)})"
    )


def agrees(*, n: int, p: float) -> str:
    """Estimates that the assays bear out."""
    units = "the assayed unit agrees with its assay" if n == 1 else f"{n} units agree with their assays"
    return f"As estimated by mass, {units} within the standard deviations stated ({p_value(p)})."


def widened(*, missed: str, widen: float) -> str:
    """By what the intervals are widened where the assays miss [-]."""
    return f"{missed[0].upper()}{missed[1:]}; all intervals are therefore widened {widen:.1f}-fold."


def dissolved(*, active: str) -> str:
    """A dissolved active."""
    return f"{_cannot(active)}: it is dissolved, and what is dissolved does not settle."


def no_displacement(*, active: str) -> str:
    """No displacement number."""
    return f"{_cannot(active)}: no displacement value or factor was entered."


def no_label_claim(*, active: str) -> str:
    """No label claim."""
    return f"{_cannot(active)}: no label claim was entered."


def like_base(*, active: str, number: str, convention: str) -> str:
    """An active that weighs what the base it displaces weighs."""
    return (
        f"{_cannot(active)}: it weighs nearly what the base weighs that it displaces (displacement {number} "
        f"{convention}, too near 1)."
    )


def several_suspended(*, active: str, suspended: Sequence[str]) -> str:
    """More than one suspended active."""
    named = ", ".join(suspended)
    return f"{_cannot(active)}: one mass cannot be shared out between several suspended actives ({named})."


def others_unknown(*, active: str, unknown: Sequence[str]) -> str:
    """Other actives whose share of the mass is not known."""
    return f"{_cannot(active)}: the label claim or displacement of {', '.join(unknown)} is missing."


def no_base(*, active: str) -> str:
    """Nothing is known of the mass of the plain base."""
    return f"{_cannot(active)}: neither calibration pours of plain base nor a nominal mass were entered."


def _cannot(active: str) -> str:
    return f"The weights cannot show the dose of {active}"
