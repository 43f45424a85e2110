"""What was found about the pour, as frozen records: trends, the dose seen through the balance, which units to assay."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum

from msgspec import Struct, field

from qc.results.messages import Message, Remark


class TrendFlag(StrEnum):
    """Whether the batch changed while it was poured."""

    CLEAR = "clear"
    POSSIBLE = "possible"
    NONE_SEEN = "none-seen"
    CANNOT_TELL = "cannot-tell"


class Trend(Struct, frozen=True, kw_only=True):
    """Whether one series changed from the first unit to the last.

    `change_percent` and its interval are first to last unit of the pour, in % of the mean, extrapolated where these
    were not measured; `measured_percent` is the change from the first measured unit to the last with its interval,
    which is what is printed. `detectable_percent` is the smallest change these data would have shown with 90 % power.
    None where it cannot be worked out (fewer than three units).
    """

    flag: TrendFlag
    n: int
    p_value: float | None = None
    change_percent: float | None = None
    change_low_percent: float | None = None
    change_high_percent: float | None = None
    measured_percent: tuple[float, float, float] | None = None
    detectable_percent: float | None = None
    shape: Message | str = ""
    sentence: Message | str = ""
    fitted: tuple[tuple[str, float], ...] = ()
    """Fitted value of each unit, by name, in the unit of the series; empty when nothing was fitted."""
    measure: str = ""
    """Unit of measure of the series and of everything drawn from it, for example "g" or "mg"."""
    band: tuple[tuple[str, float, float], ...] = ()
    """95 % band of the fitted curve at each unit: name, low, high; over all shapes that were fitted."""
    values: tuple[tuple[str, float], ...] = ()
    """The series as measured, in pour order."""
    corrected: tuple[tuple[str, float], ...] = ()
    """The same after the differences between cavities were taken out; empty when nothing was taken out."""
    correction: Message | str = ""
    """How the differences between cavities were taken out, or why not."""
    stretch: tuple[str, ...] = ()
    """The units that a called change sets apart from the rest of the pour; empty where it is told from end to end."""
    apart_percent: tuple[float, float, float] | None = None
    """How far these lie from the others, with its 95 % interval; None where there are none, or one at each end."""
    not_excluded: tuple[Message | str, ...] = ()
    """Other explanations of an order pattern that these data cannot exclude."""

    @property
    def told_percent(self) -> tuple[float | None, float | None, float | None]:
        """The change that is printed, with its interval: by the units it sets apart, else by the measured ends."""
        return self.apart_percent or self.measured_percent or (None, None, None)


class PourTrend(Struct, frozen=True, kw_only=True):
    """The trends of one batch: masses, and the contents and concentrations of each active."""

    mass: Trend
    content: Mapping[str, Trend] = field(default_factory=dict)
    concentration: Mapping[str, Trend] = field(default_factory=dict)

    @property
    def called(self) -> tuple[Trend, ...]:
        """The series of which a change is called, clear or possible."""
        every = (self.mass, *self.content.values(), *self.concentration.values())
        return tuple(one for one in every if one.flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE))

    @property
    def clearly_changed(self) -> tuple[str | None, ...]:
        """What clearly changed along the pour: None for the mass, then the actives whose content did."""
        series = ((None, self.mass), *self.content.items())
        return tuple(active for active, trend in series if trend.flag is TrendFlag.CLEAR)


class DoseFromMass(Struct, frozen=True, kw_only=True):
    """The active in one unit as its mass gives it away: a screening estimate, no substitute for an assay.

    `low_mg` and `high_mg` are the 95 % interval of this unit's dose; `between_sd_mg` leaves out what all units share
    (the displacement number), for comparing units with each other.
    """

    unit: str
    dose_mg: float
    low_mg: float
    high_mg: float
    between_sd_mg: float


class DoseScreen(Struct, frozen=True, kw_only=True):
    """The dose seen through the balance, for one active; or the reason why the weights cannot show it.

    Parameters
    ----------
    active : str
    doses : tuple of DoseFromMass
        Empty when the screen is silent.
    silent_because : Message or ""
        Empty when there are doses.
    displacement : Message or ""
        The displacement number with its convention and the uncertainty taken.
    base_from : Message or ""
        Where the mass of the plain base and the scatter of the fill were taken from.
    sentence : Message or ""
        What the screen says, one or two sentences.
    """

    active: str
    doses: tuple[DoseFromMass, ...] = ()
    silent_because: Message | str = ""
    displacement: Message | str = ""
    base_from: Message | str = ""
    sentence: Message | str = ""


class AssayList(Struct, frozen=True, kw_only=True):
    """Which units to assay: those drawn at random for the test, and the few that would best reveal settling.

    Parameters
    ----------
    random_units : tuple of str
        Drawn at random, in pour order.
    revealing : tuple of (str, str)
        Further units with the reason each was chosen.
    change_percent : float
        The change that matters [% of mean, first to last unit].
    power, power_random_only : float or None
        Chance that this list, or the random units alone, would show such a straight drift at the 5 % level.
    sentence : Message or ""
    """

    random_units: tuple[str, ...]
    revealing: tuple[tuple[str, str], ...]
    change_percent: float
    power: float | None
    power_random_only: float | None
    sentence: Message | str = ""


class WithinUnit(Struct, frozen=True, kw_only=True):
    """Tip, middle and end of the same units compared, for one active.

    `ratio` is the first part over the second, concentration over concentration, geometric mean over units [-], with its
    95 % interval, for all pairs of the active together; `between_units_percent` is the spread of whole units
    beside which it is read [% RSD].
    """

    active: str
    parts: str
    n: int
    ratio: float | None
    low: float | None = None
    high: float | None = None
    p_value: float | None = None
    between_units_percent: float | None = None
    sentence: Message | str = ""


class PourAnalysis(Struct, frozen=True, kw_only=True):
    """Everything that was worked out about the pour of one batch.

    `sentence` is the one line for the terminal; no p-value depends on a seed.
    """

    trend: PourTrend
    dose_from_mass: tuple[DoseScreen, ...] = ()
    assay_list: AssayList | None = None
    within_unit: tuple[WithinUnit, ...] = ()
    sentence: Message | str = ""
    notices: tuple[Remark, ...] = ()
