"""What is said of the dose seen through the balance."""

from __future__ import annotations

from qc.batch import DisplacementConvention
from qc.say.numbers import fixed, plain_limit

SENTENCES = {
    "moves": "A change of dose by {dose_percent:plain} % changes the mass by {mass_percent:+.2f} % ({displacement})",
    "tells": "{moves}; a dose estimated from its mass is uncertain by {between_percent:.0f} % of the label (SD between "
    "units).",
    "silent": "The weights cannot show the dose of {active}: {why}. {tells}",
    "too_coarse": "The weights cannot show the dose of {active}: estimated from a mass it is uncertain by "
    "{between_percent:.0f} % of the label (SD between units), more than {useful_percent:plain} %. {moves}.",
    "shown": "Doses of {active} from the weights, a screening estimate and no substitute for an assay. {tells}"
    "« {beside}» The mean of all doses is as uncertain as the displacement number; where that number is near 1, the "
    "intervals are a few per cent too narrow.",
    "agrees": "As estimated by mass, {n:one the assayed unit agrees with its assay|{n} units agree with their assays} "
    "within the standard deviations stated.",
    "missed": "as estimated by mass, {n:one the assayed unit misses its assay|the {n} assayed units miss their assays} "
    "by more than the standard deviations allow (chi-square {chi_square:.1f} on {n} degrees of freedom)",
    "widened": "{missed:opening}; intervals are therefore made {widen:.1f} times as wide.",
    "negative": "{units:units} would hold a negative dose, so masses differ here by filling or trimming more than by "
    "dose",
    "dissolved": "The weights cannot show the dose of {active}: it is dissolved, and what is dissolved does not "
    "settle.",
    "no_displacement": "The weights cannot show the dose of {active}: no displacement value or factor was entered.",
    "no_label_claim": "The weights cannot show the dose of {active}: no label claim was entered.",
    "like_base": "The weights cannot show the dose of {active}: it weighs nearly what the base weighs that it "
    "displaces (displacement {number} {convention}, too near 1).",
    "several_suspended": "The weights cannot show the dose of {active}: one mass cannot be divided between several "
    "suspended actives ({suspended:listed}).",
    "others_unknown": "The weights cannot show the dose of {active}: the label claim or displacement of "
    "{unknown:listed} is missing.",
    "no_base": "The weights cannot show the dose of {active}: neither calibration pours of plain base nor a nominal "
    "mass were entered.",
}


def displacement(*, number: str, convention: str, sd_percent: float) -> str:
    """The displacement number as typed, in the name of its convention, and its standard deviation [% of it]."""
    name = "displacement value" if convention == DisplacementConvention.VALUE.value else "displacement factor"
    return f"{name} {number}, uncertain by {plain_limit(sd_percent)} %"


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
        own, careful = (f"{fixed(sd, decimals=4)} g" for sd in (own_sd, careful_sd))
        fill = (
            f"Scatter of fill from the masses of the batch ({own}), which scatter more than the calibration pours of "
            f"one cavity ({careful}); it holds the scatter of the dose too."
        )
    return f"{base} {fill}"
