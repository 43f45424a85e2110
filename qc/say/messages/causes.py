"""What is said of the causes: the facts for and against each, pairs of them, and what would tell them apart."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from math import exp

from qc.say.changes import Ends, moved_from_to, series_name
from qc.say.names import CAUSE, in_words
from qc.say.numbers import change, moved
from qc.say.text import counted, listed

Interval = tuple[float, float]
_SLIP = {
    "exchanged_digits": "two digits exchanged",
    "wrong_digit": "one digit wrong",
    "shifted_point": "the decimal point shifted",
}
# e to this power is a million.
_MILLION = 13.8


def mass_scatter(*, rsd: float, n: int) -> str:
    """Scatter of the masses [% RSD]."""
    return f"Masses vary by {rsd:.1f} % (RSD of {n} units; 0.5 to 2 % is usual)."


def content_scatter(*, measure: str, active: str, rsd: float, n: int) -> str:
    """Scatter between assayed units [% RSD]."""
    return (
        f"{measure.capitalize()} of {active} varies by {rsd:.1f} % between units (RSD of {n} assayed; 1 to 2.5 % with "
        "the assay in a well mixed melt)."
    )


def contents_and_concentrations(*, active: str, content_rsd: float, concentration_rsd: float) -> str:
    """Scatter of contents beside that of concentrations [% RSD]."""
    return f"Contents of {active} vary by {content_rsd:.1f} %, its concentration by {concentration_rsd:.1f} %."


def mean_content(*, active: str, percent: float, n: int) -> str:
    """Mean content [% of label]."""
    return f"The mean content of {active} is {percent:.1f} % of label ({counted(n, 'unit')})."


def mean_concentration(*, active: str, percent: float) -> str:
    """Mean concentration by mass [% of plan]."""
    return f"The mean concentration of {active} by mass is {percent:.1f} % of plan."


def mean_mass(*, percent: float, n: int, every: bool) -> str:
    """Mean mass of the units weighed, all of them or those looked at of a long batch [% of plan]."""
    units = f"all {n} units weighed" if every else f"{n} of the units weighed"
    return f"The mean mass of {units} is {percent:.2f} % of plan ({change(percent - 100.0, decimals=2)} %)."


def mass_of_loss(*, percent: float) -> str:
    """What a loss of active would change in the mean mass [%]."""
    return f"Active lost to that extent would change the mean mass by {change(percent, decimals=2)} %."


def no_plan() -> str:
    """No planned mass."""
    return "The planned mass is not known, so the mean mass cannot be compared with it."


def no_label() -> str:
    """No content beside a label claim."""
    return "No content stands against a label claim, so a loss cannot be seen."


def base_pours(*, percent: float) -> str:
    """Mean of the base-only pours [% of what the moulds are said to hold]."""
    return f"Base-only pours fill the moulds to {percent:.1f} % of what they are said to hold."


def little_moved(*, active: str, displacement: float, percent: float) -> str:
    """An active that hardly shows in the mass: its displacement value [g/g], and its share of the mass [%]."""
    return f"With {_displacement(displacement)} {active} moves the mass by {percent:.1f} % only."


def changed(
    *,
    series: str,
    active: str,
    percent: float,
    interval: Interval,
    ends: Ends,
    measured: float,
    measured_ends: Ends,
    ordered: bool,
) -> str:
    """A fitted change with its interval [% of mean], and between which units."""
    what = series_name(series, active)
    sure = f"(95 % interval {change(interval[0])} to {change(interval[1])} %)"
    if not ordered:
        return f"{what} {moved(percent)} of the mean from the first unit entered to the last {sure}."
    if interval[0] <= 0.0 <= interval[1]:
        return (
            f"{what} shows no clear change along the pour: {change(percent)} % of the mean from unit {ends[0]} to unit "
            f"{ends[1]} {sure}."
        )
    told = moved_from_to(percent, interval, ends=ends, measured=measured, measured_ends=measured_ends)
    return f"{what} {told}."


def mass_agrees(*, agrees: bool, percent: float, displacement: float) -> str:
    """Whether the masses change as the concentration would make them [% of mean]."""
    word = "agrees" if agrees else "does not agree"
    return (
        f"That change of mass {word} with the {change(percent)} % that the change of concentration would make through "
        f"{_displacement(displacement)}."
    )


def no_displacement(*, active: str) -> str:
    """No displacement value on record."""
    return f"{active} has no displacement value on record to compare the masses with."


def dissolved(*, active: str) -> str:
    """A dissolved active."""
    return f"{active} is dissolved and cannot settle."


def no_order() -> str:
    """No order of pouring."""
    return "The order of pouring is not on record, so a rise along the pour cannot be looked for."


def too_few_assays() -> str:
    """Masses alone."""
    return "There are too few assays to see the concentration."


def no_assay_mixing() -> str:
    """No assay at all, for mixing."""
    return "No unit was assayed, and mixing hardly shows in the masses."


def no_assay_sound() -> str:
    """No assay at all, for a sound batch."""
    return "No unit was assayed: the weights alone cannot tell a sound batch from one whose active is unevenly spread."


def too_few_masses() -> str:
    """No drift can be seen."""
    return "There are too few masses to see a drift."


def share_between_cavities(*, percent: float) -> str:
    """Share of the variance of the masses between cavities [%]."""
    return f"{percent:.0f} % of the variance of the masses lies between cavities."


def cavity_range(*, percent: float) -> str:
    """From the lightest mean of a cavity to the heaviest [% of mean]."""
    return f"The means of the cavities span {percent:.1f} % of the mean."


def mould_range(*, percent: float) -> str:
    """From the lightest mean of a mould to the heaviest [% of mean]."""
    return f"The means of the moulds span {percent:.1f} % of the mean."


def filled_once() -> str:
    """Cavities filled once."""
    return "Each cavity was filled once, so the masses alone cannot show whether it repeats."


def no_cavities() -> str:
    """Cavities not named."""
    return "No cavities are named, so nothing can be seen to repeat."


def base_agreement(*, correlation: float) -> str:
    """Correlation of the cavities' masses with their base-only pours [-]."""
    return f"Masses of the cavities correlate with their base-only pours ({correlation:.2f})."


def not_cut() -> str:
    """No parts assayed."""
    return "No unit was cut and assayed in parts, and whole units cannot show it."


def tip_end(*, active: str, ratio: float, n: int) -> str:
    """Concentration of the tip over that of the end [-]."""
    return (
        f"The tip holds {change(100.0 * (ratio - 1.0), decimals=0)} % of {active} against the end, by concentration "
        f"({counted(n, 'unit')} cut)."
    )


def too_few_numbers() -> str:
    """No outlier can be told."""
    return "There are too few numbers to tell an outlier."


def outlier(*, kind: str, unit: str, typed: str, percent: float, spreads: float) -> str:
    """The number furthest from the middle of its kind [%], and in usual spreads [-]."""
    return (
        f"The {kind} of unit {unit} ({typed}) lies {change(percent)} % from the median {kind}, {spreads:.1f} times the "
        "usual spread."
    )


def meant(*, typed: str, meant: Decimal, slip: str, percent: float) -> str:
    """The number that an outlier was probably meant to be, and how far it would lie from the middle [%]."""
    return (
        f"{typed} differs from {meant:f} by one transcription error ({_SLIP[slip]}), and {meant:f} would lie "
        f"{change(percent)} % from the median: look at the raw record."
    )


def seen_on(*, defects: Sequence[str], units: int, of_units: int) -> str:
    """Defects seen that speak for a cause."""
    return f"Seen on {counted(units, 'unit')} of {of_units}: {listed(defects)}."


def thinned(*, looked_at: int, units: int) -> str:
    """A batch of which a part is looked at."""
    return f"The causes were weighed on {looked_at} of the {units} units: those assayed and others at even distances."


def pair(*, causes: tuple[str, str], log_ratio: float) -> str:
    """Two causes together; `log_ratio` is the logarithm of the likelihood ratio to the better of the two alone [-]."""
    times = f"{exp(log_ratio):.2g}" if log_ratio < _MILLION else "more than a million"
    one, two = (in_words(cause, CAUSE) for cause in causes)
    return (
        f"{one} together with {two}: these measurements are {times} times as likely under both as under the better of "
        "the two alone"
    )


def assay_units(*, units: Sequence[str]) -> str:
    """Further assays."""
    return f"Assay {_units(units)}."


def cut_unit(*, unit: str) -> str:
    """Parts of a unit."""
    return f"Cut unit {unit} and assay its tip and its end."


def weigh_again(*, units: Sequence[str]) -> str:
    """Second weighings."""
    return f"Weigh {_units(units)} again on another balance."


def pour_base(*, n: int) -> str:
    """Base-only pours."""
    return f"Pour {counted(n, 'unit')} of plain base, one a cavity, and weigh them."


def nothing_went_wrong() -> str:
    """A sound batch that was drawn."""
    return "Nothing went wrong; the batch varies as a well made batch does."


def lost(*, active: str, percent: float, grams: float) -> str:
    """Active that was lost [% of what was weighed; g]."""
    return f"{percent:.1f} % of the {active} ({grams:.3f} g) was lost before it reached the melt."


def drifted(*, percent: float) -> str:
    """A balance that drifted [%]."""
    return f"The balance drifted by {change(percent)} % from the first weighing to the last; the units are sound."


def mixed_unevenly(*, percent: float) -> str:
    """Spread of the concentration [% RSD]."""
    return f"The active was not evenly mixed into the melt: concentration varies by {percent:.1f} % between units."


def filled_unevenly(*, percent: float) -> str:
    """Spread of the fill [% RSD]."""
    return f"The cavities were filled and trimmed unevenly: the fill varies by {percent:.1f} % between units."


def cavities_differ(*, percent: float, smallest: tuple[int, int], largest: tuple[int, int]) -> str:
    """Spread of the cavities [% RSD], and the places of two, each a mould and a cavity counted from zero."""
    least, most = (f"cavity {cavity + 1} of mould {mould + 1}" for mould, cavity in (smallest, largest))
    return (
        f"The cavities hold different amounts: they vary by {percent:.1f} %; the smallest is {least}, the largest "
        f"{most}."
    )


def settled_in_pour(*, stood_min: float, poured_min: float, particle_um: float, left_percent: float) -> str:
    """A melt that settled [min, um], and how much of the active stayed in the dish [%]."""
    return (
        f"The melt stood {stood_min:.1f} min after the last stir and was poured in {poured_min:.1f} min; particles of "
        f"{particle_um:.0f} um sank, and {left_percent:.1f} % of the active weighed stayed in the dish."
    )


def settled_in_unit(*, set_min: float, particle_um: float, tip_percent: float, end_percent: float) -> str:
    """Units that settled before they set [min, um], and the concentration of tip and end [% of mean]."""
    return (
        f"Each unit took {set_min:.1f} min to set; particles of {particle_um:.0f} um sank toward the tip, which holds "
        f"{tip_percent:.0f} % of the mean concentration, the end {end_percent:.0f} %."
    )


def displaced_wrongly(*, used: float, true: float, percent: float) -> str:
    """A wrong displacement value and the true one [g of active that displaces 1 g of base]; change of content [%]."""
    return (
        f"The base was calculated with a displacement value of {used:.2f} where {true:.2f} g of active displaces 1 g "
        f"of base: every unit holds {change(percent)} % of active a volume."
    )


def miswritten(*, kind: str, unit: str, typed: Decimal, meant: Decimal) -> str:
    """A number written down wrongly."""
    return f"A transcription error: the {kind} of unit {unit} was written down as {typed} where {meant} was read."


def _units(names: Sequence[str]) -> str:
    return f"unit {names[0]}" if len(names) == 1 else f"units {listed(names)}"


def _displacement(value: float) -> str:
    return f"f = {value:.2f} (g of active that displaces 1 g of base)"
