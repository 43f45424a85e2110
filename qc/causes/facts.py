"""The plain figures that speak for or against a cause, worked out once from the rows of a batch."""

from __future__ import annotations

from math import exp, sqrt

import numpy as np
from msgspec import Struct

from qc.batch import Part
from qc.causes.outliers import Outlier, furthest_outlier
from qc.causes.rows import Floats, Kind, Rows
from qc.causes.wording import signed


class Change(Struct, frozen=True, kw_only=True):
    """A straight line through a series: change from the first unit of the pour to the last, standard error [% of mean].

    `carried_on` where the series does not reach both ends of the pour, so that the line is carried on to them.
    """

    percent: float
    error_percent: float
    n: int
    carried_on: bool = False

    @property
    def plain(self) -> bool:
        """Whether it is more than twice its standard error."""
        return abs(self.percent) > 2.0 * self.error_percent


class Ends(Struct, frozen=True, kw_only=True):
    """Concentration of the last unit assayed less that of the first one [% of mean]."""

    first: str
    last: str
    percent: float


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
    ends: Ends | None = None
    mean_concentration_percent: float | None = None
    tip_end: float | None = None
    cut_units: int = 0


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

    @property
    def mean_mass_of(self) -> str:
        """Which units the mean mass is that of."""
        return f"all {self.masses} units weighed" if self.every_unit else f"{self.masses} of the units weighed"

    def change_of(self, change: Change, decimals: int = 1) -> str:
        """A change with its sign, what it is a share of, and between which units."""
        return f"{signed(change.percent, decimals)} % of the mean {self.span_of(change)}"

    def span_of(self, change: Change) -> str:
        """Between which units a change is; without an order of pouring, that of the entries."""
        if not self.ordered:
            return "from the first unit entered to the last"
        if change.carried_on:
            return f"carried on to units {self.first_unit} and {self.last_unit}"
        return f"from unit {self.first_unit} to unit {self.last_unit}"


def facts_of(rows: Rows) -> Facts:
    """Work out the figures of a batch."""
    masses = rows.of(Kind.MASS)
    values = rows.value[masses]
    count = int(masses.sum())
    by_place = _first_and_last(rows)
    return Facts(
        first_unit=by_place[0],
        last_unit=by_place[1],
        ordered=rows.ordered,
        masses=count,
        actives=tuple(_active(rows, active) for active in range(len(rows.substances))),
        mass_rsd=100.0 * float(values.std(ddof=1)) if count > 1 else None,
        mass_change=_change(rows.position[masses], values) if rows.ordered else _change(rows.weighing[masses], values),
        mean_mass_percent=100.0 * float(np.exp(values).mean()) if count and rows.planned_known else None,
        every_unit=rows.thinned_from is None,
        cavity_share=_share_between(rows, [rows.rows[place].cavity for place in np.flatnonzero(masses)], values),
        cavity_rounds=_rounds([rows.rows[place].cavity for place in np.flatnonzero(masses)]),
        cavity_range_percent=_range(rows, [rows.rows[place].cavity for place in np.flatnonzero(masses)], values),
        mould_range_percent=_range(rows, [rows.rows[place].mould for place in np.flatnonzero(masses)], values),
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


def _change(place: Floats, values: Floats) -> Change | None:
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
    return Change(
        percent=100.0 * slope,
        error_percent=100.0 * error,
        n=int(values.size),
        carried_on=bool(place.min() > 0.0 or place.max() < 1.0),
    )


def _unit_values(rows: Rows, kind: Kind, active: int | None = None) -> dict[int, float]:
    """Mean logarithm of each unit's rows of one kind."""
    found: dict[int, list[float]] = {}
    for place in np.flatnonzero(rows.of(kind, active=active) & rows.measured):
        found.setdefault(int(rows.unit[place]), []).append(float(rows.value[place]))
    return {unit: sum(values) / len(values) for unit, values in found.items()}


def _active(rows: Rows, active: int) -> ActiveFacts:
    substance = rows.substances[active]
    contents = _unit_values(rows, Kind.CONTENT, active)
    masses = _unit_values(rows, Kind.MASS)
    weighed = bool(set(contents) & set(masses))
    both = sorted(set(contents) & set(masses)) if weighed else sorted(contents)
    concentrations = np.array([contents[unit] - masses.get(unit, 0.0) for unit in both])
    position = dict(zip(rows.unit.tolist(), rows.position.tolist(), strict=True))
    place = np.array([position[unit] for unit in both])
    whole = np.array(list(contents.values()))
    tip_end, cut = _tip_end(rows, active)
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
        concentration_change=_change(place, concentrations) if rows.ordered and len(both) > 3 else None,
        ends=_ends(rows, both, place, concentrations) if rows.ordered and len(both) > 1 else None,
        mean_concentration_percent=(
            100.0 * float(np.exp(concentrations).mean()) if weighed and rows.planned_known else None
        ),
        tip_end=tip_end,
        cut_units=cut,
    )


def _ends(rows: Rows, units: list[int], place: Floats, concentrations: Floats) -> Ends:
    first, last = int(place.argmin()), int(place.argmax())
    plain = np.exp(concentrations)
    return Ends(
        first=rows.units[units[first]].name,
        last=rows.units[units[last]].name,
        percent=100.0 * float((plain[last] - plain[first]) / plain.mean()),
    )


def _tip_end(rows: Rows, active: int) -> tuple[float | None, int]:
    parts = {part: _parts(rows, active, part) for part in (Part.TIP, Part.END)}
    both = sorted(set(parts[Part.TIP]) & set(parts[Part.END]))
    if not both:
        return None, 0
    return exp(sum(parts[Part.TIP][unit] - parts[Part.END][unit] for unit in both) / len(both)), len(both)


def _parts(rows: Rows, active: int, part: Part) -> dict[int, float]:
    places = np.flatnonzero(rows.of(Kind.PART, active=active) & rows.measured)
    return {int(rows.unit[at]): float(rows.value[at]) for at in places if rows.rows[at].part is part}


def _groups(names: list[str]) -> dict[str, list[int]]:
    found: dict[str, list[int]] = {}
    for place, name in enumerate(names):
        if name:
            found.setdefault(name, []).append(place)
    return found


def _rounds(names: list[str]) -> float:
    groups = _groups(names)
    return len(names) / len(groups) if groups else 0.0


def _share_between(rows: Rows, names: list[str], values: Floats) -> float | None:
    groups = [places for places in _groups(names).values() if len(places) > 1]
    count = sum(len(places) for places in groups)
    if len(groups) < 2:
        return None
    within = sum(float(((values[places] - values[places].mean()) ** 2).sum()) for places in groups)
    used = np.concatenate([values[places] for places in groups])
    total = float(((used - used.mean()) ** 2).sum()) / (count - 1)
    if total == 0.0:
        return None
    return max(0.0, 1.0 - within / (count - len(groups)) / total)


def _range(rows: Rows, names: list[str], values: Floats) -> float | None:
    groups = _groups(names)
    if len(groups) < 2:
        return None
    means = [float(values[places].mean()) for places in groups.values()]
    return 100.0 * (max(means) - min(means))


def _base_agreement(rows: Rows) -> float | None:
    poured = _by_cavity(rows, Kind.BASE_POUR)
    weighed = _by_cavity(rows, Kind.MASS)
    both = sorted(set(poured) & set(weighed))
    if len(both) < 3:
        return None
    one, two = np.array([poured[name] for name in both]), np.array([weighed[name] for name in both])
    if one.std() == 0.0 or two.std() == 0.0:
        return None
    return float(np.corrcoef(one, two)[0, 1])


def _by_cavity(rows: Rows, kind: Kind) -> dict[str, float]:
    found: dict[str, list[float]] = {}
    for place in np.flatnonzero(rows.of(kind) & rows.measured):
        if rows.rows[place].cavity:
            found.setdefault(rows.rows[place].cavity, []).append(float(rows.value[place]))
    return {name: sum(values) / len(values) for name, values in found.items()}


def _base_mean(rows: Rows) -> float | None:
    pours = rows.value[rows.of(Kind.BASE_POUR) & rows.measured]
    return 100.0 * exp(float(pours.mean())) if pours.size and rows.base_known else None
