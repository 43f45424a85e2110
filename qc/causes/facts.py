"""The plain figures that speak for or against a cause, worked out once from the rows of a batch."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import exp, sqrt
from typing import TypeVar

import numpy as np
from msgspec import Struct

from qc.batch import Part
from qc.causes.outliers import Outlier, furthest_outlier
from qc.causes.rows import Flags, Floats, Kind, Rows
from qc.results.messages import Message, message
from qc.results.pour import PourTrend, Trend
from qc.stats.student import two_sided_quantile

Key = TypeVar("Key", int, str)


class Change(Struct, frozen=True, kw_only=True):
    """A change from the first unit of the pour to the last with its 95 % interval, as fitted [% of mean].

    `measured` is the change from the first unit of the series to the last, which `measured_ends` names [% of mean].
    """

    percent: float
    low: float
    high: float
    measured: float
    measured_ends: tuple[str, str]

    def includes(self, percent: float, *, margin: float) -> bool:
        """Whether a change lies in the interval, or no farther outside than a margin [% of mean]."""
        return self.low - margin <= percent <= self.high + margin


class ActiveFacts(Struct, frozen=True, kw_only=True):
    """What the assays of one active say.

    `mean_percent` is of the label; `follows_mass` how much of a relative change in mass shows in the content: 1 when
    the concentration is steady; `tip_end` the concentration of the tip over that of the end.
    """

    name: str
    displacement: float
    displacement_stated: bool
    mass_share: float
    suspended: bool
    n: int
    labelled: bool
    measure: str = "concentration"
    """What the figures called concentration are: the content itself where no assayed unit was weighed."""
    mean_percent: float | None = None
    content_rsd: float | None = None
    concentration_rsd: float | None = None
    concentration_change: Change | None = None
    content_change: Change | None = None
    mean_concentration_percent: float | None = None
    tip_end: float | None = None
    cut_units: int = 0

    def scatter(self) -> list[Message]:
        """Scatter of the concentration between units."""
        if self.concentration_rsd is None:
            return []
        return [
            message(
                "causes.content_scatter",
                measure=self.measure,
                active=self.name,
                rsd=self.concentration_rsd,
                n=self.n,
            )
        ]

    def mean_of_label(self) -> list[Message]:
        """The mean content beside the label claim."""
        if self.mean_percent is None or not self.labelled:
            return []
        return [message("causes.mean_content", active=self.name, percent=self.mean_percent, n=self.n)]


class Facts(Struct, frozen=True, kw_only=True):
    """Everything the sentences quote; None where the measurements are missing."""

    first_unit: str
    last_unit: str
    ordered: bool
    masses: int
    actives: tuple[ActiveFacts, ...]
    mass_rsd: float | None = None
    mass_change: Change | None = None
    mean_mass_percent: float | None = None
    """Mean mass of all units weighed over the planned mass [%]."""
    every_unit: bool = True
    """Whether all units weighed are looked at; a long batch is thinned."""
    cavity_share: float | None = None
    """Share of the variance of the masses that lies between cavities, corrected for chance [-]."""
    cavity_rounds: float = 0.0
    cavity_range_percent: float | None = None
    mould_range_percent: float | None = None
    base_agreement: float | None = None
    """Correlation of the cavities' mean masses with their base-only pours [-]."""
    base_mean_percent: float | None = None
    outlier: Outlier | None = None

    def change_of(self, change: Change, *, series: str = "mass", active: str = "") -> Message:
        """A change, what it is one of, and between which units."""
        return message(
            "causes.changed",
            series=series,
            active=active,
            percent=change.percent,
            interval=(change.low, change.high),
            ends=(self.first_unit, self.last_unit),
            measured=change.measured,
            measured_ends=change.measured_ends,
            ordered=self.ordered,
        )

    def masses_scatter(self) -> list[Message]:
        """The scatter of the masses."""
        if self.mass_rsd is None:
            return []
        return [message("causes.mass_scatter", rsd=self.mass_rsd, n=self.masses)]

    def masses_of_plan(self) -> list[Message]:
        """The mean mass beside the planned mass."""
        if self.mean_mass_percent is None:
            return []
        percent, every = self.mean_mass_percent, self.every_unit
        return [message("causes.mean_mass", percent=percent, n=self.masses, every=every)]


def facts_of(rows: Rows, *, trend: PourTrend | None = None) -> Facts:
    """Work out the figures of a batch.

    Parameters
    ----------
    rows : Rows
    trend : PourTrend or None
        What the analysis of the pour found: its changes are quoted, so that one change has one figure. Without it, and
        where no order of pouring is on record, a straight line is fitted to the rows.
    """
    masses = rows.of(Kind.MASS)
    values = rows.value[masses]
    count = int(masses.sum())
    by_place = _first_and_last(rows)
    along = rows.position if rows.ordered else rows.weighing
    names = [rows.units[unit].name for unit in rows.unit[masses]]
    cavities = _groups([rows.rows[place].cavity for place in np.flatnonzero(masses)])
    moulds = _groups([rows.rows[place].mould for place in np.flatnonzero(masses)])
    return Facts(
        first_unit=by_place[0],
        last_unit=by_place[1],
        ordered=rows.ordered,
        masses=count,
        actives=tuple(_active(rows, active, trend) for active in range(len(rows.substances))),
        mass_rsd=100.0 * float(values.std(ddof=1)) if count > 1 else None,
        mass_change=_quoted(trend.mass) if trend and rows.ordered else _change(along[masses], values, names),
        mean_mass_percent=100.0 * float(np.exp(values).mean()) if count and rows.planned_known else None,
        every_unit=rows.thinned_from is None,
        cavity_share=_share_between(cavities, values),
        cavity_rounds=count / len(cavities) if cavities else 0.0,
        cavity_range_percent=_range(cavities, values),
        mould_range_percent=_range(moulds, values),
        base_agreement=_base_agreement(rows),
        base_mean_percent=_base_mean(rows),
        outlier=furthest_outlier(rows),
    )


def _first_and_last(rows: Rows) -> tuple[str, str]:
    if not rows.units:
        return "", ""
    if not rows.ordered:
        return rows.units[0].name, rows.units[-1].name
    placed = [unit for unit in rows.units if unit.pour_order is not None]
    ranked = sorted(placed, key=lambda unit: unit.pour_order or 0)
    return ranked[0].name, ranked[-1].name


def _change(place: Floats, values: Floats, names: Sequence[str]) -> Change | None:
    """A straight line by least squares through logarithms of values, by place from 0 to 1 [% of mean]."""
    if values.size < 4 or np.ptp(place) == 0.0:
        return None
    # Rows are logarithms; a change in % of the mean is one of the values themselves.
    relative = np.exp(values - values.mean())
    relative = relative / relative.mean()
    centred = place - place.mean()
    square = float((centred**2).sum())
    slope = float((centred * relative).sum()) / square
    rest = relative - 1.0 - slope * centred
    error = sqrt(float((rest**2).sum()) / (values.size - 2) / square)
    half = two_sided_quantile(0.95, df=values.size - 2) * error
    return Change(
        percent=100.0 * slope,
        low=100.0 * (slope - half),
        high=100.0 * (slope + half),
        measured=100.0 * slope * float(np.ptp(place)),
        measured_ends=(names[int(place.argmin())], names[int(place.argmax())]),
    )


def _quoted(trend: Trend | None) -> Change | None:
    """The change that the analysis of the pour fitted, cavities taken out; None where it fitted none."""
    if trend is None:
        return None
    percent, low, high = trend.change_percent, trend.change_low_percent, trend.change_high_percent
    if percent is None or low is None or high is None:
        return None
    (first, start), (last, end) = trend.fitted[0], trend.fitted[-1]
    mean = sum(value for _, value in trend.values) / len(trend.values)
    return Change(
        percent=percent, low=low, high=high, measured=100.0 * (end - start) / mean, measured_ends=(first, last)
    )


def _means(rows: Rows, chosen: Flags, key: Callable[[int], Key]) -> dict[Key, float]:
    """Mean logarithm of the measured rows that are chosen, by what `key` says of their place."""
    found: dict[Key, list[float]] = {}
    for place in np.flatnonzero(chosen & rows.measured).tolist():
        found.setdefault(key(place), []).append(float(rows.value[place]))
    return {name: sum(values) / len(values) for name, values in found.items()}


def _active(rows: Rows, active: int, trend: PourTrend | None) -> ActiveFacts:
    substance = rows.substances[active]
    contents = _means(rows, rows.of(Kind.CONTENT, active=active), rows.unit_at)
    masses = _means(rows, rows.of(Kind.MASS), rows.unit_at)
    weighed = bool(set(contents) & set(masses))
    both = sorted(set(contents) & set(masses)) if weighed else sorted(contents)
    concentrations = np.array([contents[unit] - masses.get(unit, 0.0) for unit in both])
    position = dict(zip(rows.unit.tolist(), rows.position.tolist(), strict=True))
    place = np.array([position[unit] for unit in both])
    whole = np.array(list(contents.values()))
    tip_end, cut = _tip_end(rows, active)
    changes: tuple[Change | None, Change | None] = (None, None)
    if trend is not None and rows.ordered:
        content = trend.content.get(substance.name)
        changes = _quoted(trend.concentration.get(substance.name) or content), _quoted(content)
    elif rows.ordered:
        names = [rows.units[unit].name for unit in both]
        content_values = np.array([contents[unit] for unit in both])
        changes = _change(place, concentrations, names), _change(place, content_values, names)
    return ActiveFacts(
        name=substance.name,
        displacement=substance.displacement,
        displacement_stated=substance.displacement_stated,
        mass_share=substance.mass_share,
        suspended=substance.suspended,
        n=len(contents),
        labelled=substance.label_mg is not None,
        mean_percent=100.0 * float(np.exp(whole).mean()) if whole.size else None,
        content_rsd=100.0 * float(whole.std(ddof=1)) if whole.size > 1 else None,
        measure="concentration" if weighed else "content",
        concentration_rsd=100.0 * float(concentrations.std(ddof=1)) if len(both) > 1 else None,
        concentration_change=changes[0],
        content_change=changes[1],
        mean_concentration_percent=(
            100.0 * float(np.exp(concentrations).mean()) if weighed and rows.planned_known else None
        ),
        tip_end=tip_end,
        cut_units=cut,
    )


def _tip_end(rows: Rows, active: int) -> tuple[float | None, int]:
    cut = rows.of(Kind.PART, active=active)
    tips, ends = (
        _means(rows, cut & np.array([row.part is part for row in rows.rows], dtype=bool), rows.unit_at)
        for part in (Part.TIP, Part.END)
    )
    both = sorted(set(tips) & set(ends))
    if not both:
        return None, 0
    return exp(sum(tips[unit] - ends[unit] for unit in both) / len(both)), len(both)


def _groups(names: list[str]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        if name:
            found.setdefault(name, []).append(place)
    return found


def _share_between(named: dict[str, list[int]], values: Floats) -> float | None:
    groups = [places for places in named.values() if len(places) > 1]
    count = sum(len(places) for places in groups)
    if len(groups) < 2:
        return None
    within = sum(float(((values[places] - values[places].mean()) ** 2).sum()) for places in groups)
    used = np.concatenate([values[places] for places in groups])
    total = float(((used - used.mean()) ** 2).sum()) / (count - 1)
    if total == 0.0:
        return None
    return max(0.0, 1.0 - within / (count - len(groups)) / total)


def _range(groups: dict[str, list[int]], values: Floats) -> float | None:
    if len(groups) < 2:
        return None
    means = [float(values[places].mean()) for places in groups.values()]
    return 100.0 * (max(means) - min(means))


def _base_agreement(rows: Rows) -> float | None:
    named = np.array([bool(row.cavity) for row in rows.rows], dtype=bool)
    poured, weighed = (
        _means(rows, rows.of(kind) & named, lambda place: rows.rows[place].cavity)
        for kind in (Kind.BASE_POUR, Kind.MASS)
    )
    both = sorted(set(poured) & set(weighed))
    if len(both) < 3:
        return None
    one, two = np.array([poured[name] for name in both]), np.array([weighed[name] for name in both])
    if one.std() == 0.0 or two.std() == 0.0:
        return None
    return float(np.corrcoef(one, two)[0, 1])


def _base_mean(rows: Rows) -> float | None:
    pours = rows.value[rows.of(Kind.BASE_POUR) & rows.measured]
    return 100.0 * exp(float(pours.mean())) if pours.size and rows.base_known else None
