"""The plain figures that speak for or against a cause, worked out once from the rows of a batch."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal

import numpy as np
from msgspec import Struct

from qc.causes.rows import Floats, RowKind, Rows, means_by, values_by
from qc.causes.substances import Substance
from qc.results.messages import Message, message
from qc.results.pour import PourTrend, Trend
from qc.stats.drift import averaged_change

USUAL_MASSES, USUAL_CONTENTS = (Decimal("0.5"), Decimal(2)), (Decimal(1), Decimal("2.5"))
"""How much masses vary, and concentrations with their assays in a well mixed melt: common practice [RSD, %]."""


class FittedChange(Struct, frozen=True, kw_only=True):
    """A change from the first unit of the pour to the last with its 95 % interval, as fitted [% of mean].

    `measured` is the change from the first unit of the series to the last, which `measured_ends` names, with its
    interval [% of mean]: what is printed. `apart` tells of the units that a change sets apart, where it is told by
    them.
    """

    percent: float
    low: float
    high: float
    measured: tuple[float, float, float]
    measured_ends: tuple[str, str]
    apart: Message | None = None

    def includes(self, percent: float, *, margin: float) -> bool:
        """Whether a change lies in the interval, or no farther outside than a margin [% of mean]."""
        return self.low - margin <= percent <= self.high + margin


class ActiveFacts(Struct, frozen=True, kw_only=True):
    """What the assays of one active say; None where the measurements are missing.

    Parameters
    ----------
    name : str
    substance : Substance
    n : int
        Whole units assayed.
    measure : str
        What the figures called concentration are: the content itself where no assayed unit was weighed.
    mean_percent : float or None
        Mean content [% of label].
    content_rsd, concentration_rsd : float or None
        Scatter between units [% RSD].
    concentration_change, content_change : FittedChange or None
    mean_concentration_percent : float or None
        By mass [% of plan].
    """

    name: str
    substance: Substance
    n: int
    measure: str
    mean_percent: float | None
    content_rsd: float | None
    concentration_rsd: float | None
    concentration_change: FittedChange | None
    content_change: FittedChange | None
    mean_concentration_percent: float | None

    def scatter(self) -> Iterator[Message]:
        """Scatter of the concentration between units."""
        rsd = self.concentration_rsd
        if rsd is not None:
            yield message(
                "causes.content_scatter",
                measure=self.measure,
                active=self.name,
                rsd=rsd,
                n=self.n,
                usual=USUAL_CONTENTS,
            )

    def mean_of_label(self) -> Iterator[Message]:
        """The mean content beside the label claim."""
        if self.mean_percent is not None and self.substance.label_mg is not None:
            yield message("causes.mean_content", active=self.name, percent=self.mean_percent, n=self.n)


class Facts(Struct, frozen=True, kw_only=True):
    """What several causes quote; None where the measurements are missing. The rows are there for what one quotes.

    Parameters
    ----------
    rows : Rows
    actives : tuple of ActiveFacts
    masses : int
        Units weighed.
    mass_rsd : float or None
        Scatter of the masses [% RSD].
    mass_change : FittedChange or None
        Along the pour; along the order of weighing where only that is on record.
    weighing_change : FittedChange or None
        Of the masses along the order of weighing, where the units were weighed in another order than poured.
    mean_mass_percent : float or None
        Mean mass of all units weighed over the planned mass [%].
    cavity_share : float or None
        Share of the variance of the masses that lies between cavities, corrected for chance [-].
    """

    rows: Rows
    actives: tuple[ActiveFacts, ...]
    masses: int
    mass_rsd: float | None
    mass_change: FittedChange | None
    weighing_change: FittedChange | None
    mean_mass_percent: float | None
    cavity_share: float | None

    def change_of(self, change: FittedChange, *, series: str = "mass", active: str = "") -> Message:
        """A change, what it is one of, and between which units."""
        of = {"series": series, "active": active, "measured": change.measured[0], "interval": change.measured[1:]}
        if not self.rows.ordered or change is self.weighing_change:
            return message("causes.changed_as_weighed", **of)
        if change.apart is not None:
            return message("causes.set_apart", **of, apart=change.apart)
        return message("causes.changed", **of, measured_ends=change.measured_ends)

    def concentration_change_of(self, active: ActiveFacts) -> Iterator[Message]:
        """The change of the concentration of an active."""
        if active.concentration_change is not None:
            yield self.change_of(active.concentration_change, series=active.measure, active=active.name)

    def masses_scatter(self) -> Iterator[Message]:
        """The scatter of the masses."""
        if self.mass_rsd is not None:
            yield message("causes.mass_scatter", rsd=self.mass_rsd, n=self.masses, usual=USUAL_MASSES)

    def masses_of_plan(self) -> Iterator[Message]:
        """The mean mass beside the planned mass."""
        if self.mean_mass_percent is not None:
            # Logarithms leave noise in the last digits, which could round a five the other way than the exact mean.
            percent, every = round(self.mean_mass_percent - 100.0, 9), self.rows.thinned_from is None
            yield message("causes.mean_mass", percent=percent, n=self.masses, every=every)

    def share_between_cavities(self) -> Iterator[Message]:
        """How much of the variance of the masses lies between cavities."""
        if self.cavity_share is not None:
            yield message("causes.share_between_cavities", percent=100.0 * self.cavity_share)


def facts_of(rows: Rows, *, trend: PourTrend | None = None) -> Facts:
    """Work out the figures of a batch.

    Parameters
    ----------
    rows : Rows
    trend : PourTrend or None
        What the analysis of the pour found: its changes are quoted, so that one change has one figure. Without it, and
        where no order of pouring is on record, a change is fitted to the rows.
    """
    masses = rows.of(RowKind.MASS)
    values = rows.value[masses]
    along = rows.position if rows.ordered else rows.weighing if rows.weighed_in_order else None
    names = [rows.units[unit].name for unit in rows.unit[masses]]
    apart = rows.ordered and rows.weighed_in_order and not np.allclose(rows.position, rows.weighing)
    return Facts(
        rows=rows,
        actives=tuple(_active(rows, active, trend) for active in range(len(rows.substances))),
        masses=values.size,
        mass_rsd=_rsd(values),
        mass_change=_quoted(trend.mass)
        if trend and rows.ordered
        else None
        if along is None
        else _line(along[masses], values, names),
        weighing_change=_line(rows.weighing[masses], values, names) if apart else None,
        mean_mass_percent=_mean_percent(values) if rows.planned_known else None,
        cavity_share=_share_between(values_by(rows, masses, rows.cavities)),
    )


def _rsd(logarithms: Floats) -> float | None:
    """The RSD of the values themselves, as the tests have it [%]; None of fewer than two."""
    relative = np.exp(logarithms - logarithms.mean()) if logarithms.size > 1 else logarithms
    return 100.0 * float(relative.std(ddof=1) / relative.mean()) if relative.size > 1 else None


def _mean_percent(logarithms: Floats) -> float | None:
    return 100.0 * float(np.exp(logarithms).mean()) if logarithms.size else None


def _line(place: Floats, logarithms: Floats, names: Sequence[str]) -> FittedChange | None:
    """The change of the values by place from 0 to 1, averaged over shapes [% of mean]; None for fewer than 4."""
    if logarithms.size < 4:
        return None
    # Rows are logarithms; a change in % of the mean is one of the values themselves.
    at = np.argsort(place, kind="stable")
    relative = np.exp(logarithms - logarithms.mean())[at]
    found = averaged_change(relative / relative.mean(), place[at], levels=(0,) * logarithms.size)
    if found is None:
        return None
    return FittedChange(
        percent=100.0 * found.change,
        low=100.0 * found.low,
        high=100.0 * found.high,
        measured=(100.0 * found.measured[0], 100.0 * found.measured[1], 100.0 * found.measured[2]),
        measured_ends=(names[at[0]], names[at[-1]]),
    )


def _quoted(trend: Trend | None) -> FittedChange | None:
    """The change that the analysis of the pour fitted, cavities taken out; None where it fitted none."""
    if trend is None:
        return None
    percent, low, high = trend.change_percent, trend.change_low_percent, trend.change_high_percent
    measured = trend.measured_percent
    if percent is None or low is None or high is None or measured is None:
        return None
    by, ends = trend.apart_percent, (trend.fitted[0][0], trend.fitted[-1][0])
    apart = None if by is None else message("pour.apart", units=trend.stretch, by=by[0], ends=by[1:])
    return FittedChange(percent=percent, low=low, high=high, measured=measured, measured_ends=ends, apart=apart)


def _active(rows: Rows, active: int, trend: PourTrend | None) -> ActiveFacts:
    substance = rows.substances[active]
    units = rows.unit.tolist()
    contents = means_by(rows, rows.of(RowKind.CONTENT) & (rows.active == active), units)
    masses = means_by(rows, rows.of(RowKind.MASS), units)
    weighed = bool(set(contents) & set(masses))
    both = sorted(set(contents) & set(masses)) if weighed else sorted(contents)
    found = np.array([contents[unit] for unit in both])
    concentrations = found - np.array([masses.get(unit, 0.0) for unit in both])
    content_change = concentration_change = None
    if trend is not None and rows.ordered:
        content = trend.content.get(substance.name)
        content_change = _quoted(content)
        concentration_change = _quoted(trend.concentration.get(substance.name) or content)
    elif rows.ordered:
        names = [rows.units[unit].name for unit in both]
        content_change, concentration_change = (_line(rows.places[both], one, names) for one in (found, concentrations))
    whole = np.array(list(contents.values()))
    return ActiveFacts(
        name=substance.name,
        substance=substance,
        n=len(contents),
        measure="concentration" if weighed else "content",
        mean_percent=_mean_percent(whole),
        content_rsd=_rsd(whole),
        concentration_rsd=_rsd(concentrations),
        concentration_change=concentration_change,
        content_change=content_change,
        mean_concentration_percent=_mean_percent(concentrations) if weighed and rows.planned_known else None,
    )


def _share_between(cavities: dict[str, Floats]) -> float | None:
    groups = [values for values in cavities.values() if values.size > 1]
    if len(groups) < 2:
        return None
    used = np.concatenate(groups)
    within = sum(float(((values - values.mean()) ** 2).sum()) for values in groups)
    total = float(used.var(ddof=1))
    return max(0.0, 1.0 - within / (used.size - len(groups)) / total) if total > 0.0 else None
