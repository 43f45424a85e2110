"""Units over many batches: which cavities are always light or heavy, which have worn, what the spread is made of."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from math import sqrt
from statistics import fmean, stdev
from typing import Any

from msgspec import Struct

from qc.history.charts import BatchValue
from qc.history.components import Components, components
from qc.history.figures import BatchFigures, counting_g
from qc.history.products import OF_CAVITIES, BatchSeries, followed, rules_for

# Components and cavities look at so many batches, the newest; more would not tell more of today's moulds.
MOST_BATCHES = 200
FEWEST_BATCHES = 5
SURE = 0.05


class UnitsOfBatch(Struct, frozen=True, kw_only=True):
    """The units of a batch: for each its place ("mould, cavity"; empty where not known) and its mass, and contents."""

    batch: BatchFigures
    masses: tuple[tuple[str, str, float], ...]
    """Mould, cavity, mass [% of the batch's mean]."""
    contents: dict[str, tuple[float, ...]]
    """By active [% of label]."""


class CavityFound(Struct, frozen=True, kw_only=True):
    """A cavity whose units differ from the others in batch after batch.

    Parameters
    ----------
    cavity : str
    batches : int
    effect, low, high : float
        What it is off by, drawn towards 0 by what the data leave open, with its 95 % interval [% of the batch mean].
    p_value : float
        Adjusted for the number of cavities (Holm).
    """

    cavity: str
    batches: int
    effect: float
    low: float
    high: float
    p_value: float


def units_of(document: Mapping[str, Any], batch: BatchFigures) -> UnitsOfBatch:
    """The units of a result document that count."""
    weighed = [
        (unit["mould"] or "", unit["cavity"] or "", mass)
        for unit in document["units"]
        if not unit["left_out_because"] and (mass := counting_g(unit)) is not None
    ]
    mean = fmean(mass for _, _, mass in weighed) if weighed else 1.0
    contents: dict[str, list[float]] = {}
    for unit in document["units"]:
        for active, content in unit["contents"].items():
            if content["percent_of_label"] is not None:
                contents.setdefault(active, []).append(content["percent_of_label"])
    return UnitsOfBatch(
        batch=batch,
        masses=tuple((mould, cavity, 100.0 * mass / mean) for mould, cavity, mass in weighed),
        contents={active: tuple(values) for active, values in contents.items()},
    )


def cavity_name(mould: str, cavity: str) -> str:
    """A cavity by mould and number."""
    return f"mould {mould}, cavity {cavity}" if mould else f"cavity {cavity}"


def cavity_series(batches: Sequence[UnitsOfBatch], *, first: int = 0) -> list[BatchSeries]:
    """Each cavity from batch to batch, as its distance from the batch mean [%]; `first` is the place of the first."""
    found: dict[str, list[tuple[int, BatchValue]]] = {}
    for place, one in enumerate(batches, start=first):
        by_cavity: dict[str, list[float]] = {}
        for mould, cavity, mass in one.masses:
            if cavity:
                by_cavity.setdefault(cavity_name(mould, cavity), []).append(mass - 100.0)
        spread = stdev(mass for _, _, mass in one.masses) ** 2 if len(one.masses) > 1 else 0.0
        for cavity, off in by_cavity.items():
            point = BatchValue(value=fmean(off), size=1.0 / len(off), within=spread)
            found.setdefault(cavity, []).append((place, point))
    rules = rules_for(len(found), batches=OF_CAVITIES)
    return [followed("cavity", cavity, "%", points, rules=rules) for cavity, points in sorted(found.items())]


def cavities_apart(series: Sequence[BatchSeries], mass: Components | None) -> list[CavityFound]:
    """The cavities that are light or heavy in batch after batch, the surest first.

    Whether: a t test of the distances of the batches from 0, with Holm's adjustment for all cavities. By how much: the
    predicted effect of the mixed model.
    """
    from scipy.special import stdtr

    levels = {one.name: one for one in mass.levels.get("cavity", ())} if mass else {}
    tested = []
    for one in series:
        values = [point.value for point in one.points]
        if len(values) >= FEWEST_BATCHES and one.of in levels and (sd := stdev(values)) > 0.0:
            t = fmean(values) / (sd / sqrt(len(values)))
            tested.append((2.0 * float(stdtr(len(values) - 1, -abs(t))), len(values), levels[one.of]))
    found, largest = list[CavityFound](), 0.0
    for place, (p_value, batches, level) in enumerate(sorted(tested, key=lambda one: one[0])):
        largest = max(largest, min(1.0, p_value * (len(tested) - place)))
        if largest <= SURE:
            low, high = (level.effect + side * 1.96 * level.se for side in (-1.0, 1.0))
            effect = level.effect
            found.append(
                CavityFound(cavity=level.name, batches=batches, effect=effect, low=low, high=high, p_value=largest)
            )
    return found


def mass_components(batches: Sequence[UnitsOfBatch]) -> Components | None:
    """Where the spread of the masses comes from [% of plan, or of the mean of the batches]; None of too few batches."""
    rows = [(one, *unit) for one in batches for unit in one.masses]
    usual = fmean([one.batch.mass.mean for one in batches if one.batch.mass] or [1.0])
    values = [mass * _level(one.batch, usual) for one, _, _, mass in rows]
    factors = {
        "cavity": [cavity_name(mould, cavity) for _, mould, cavity, _ in rows],
        "mould": [mould for _, mould, _, _ in rows],
    }
    return _found(values, [one for one, *_ in rows], factors)


def _level(batch: BatchFigures, usual_g: float) -> float:
    """The mean mass over the plan, or over the mean of the batches where there is no plan."""
    return batch.mass.mean / (batch.planned_g or usual_g) if batch.mass else 1.0


def content_components(batches: Sequence[UnitsOfBatch], active: str) -> Components | None:
    """Where the spread of the contents of an active comes from [% of label]; None of too few batches."""
    rows = [(one, value) for one in batches for value in one.contents.get(active, ())]
    lots = [one.batch.active_lots.get(active, "") for one, _ in rows]
    return _found([value for _, value in rows], [one for one, _ in rows], {"active lot": lots})


def _found(
    values: Sequence[float], owners: Sequence[UnitsOfBatch], factors: Mapping[str, Sequence[str]]
) -> Components | None:
    """Components by batch and by each factor that can be told from it: of two levels or more, each known, none all."""
    batches = [one.batch.result_sha256 for one in owners]
    every = {
        "batch": batches,
        **factors,
        "made by": [one.batch.made_by for one in owners],
        "base lot": [one.batch.base_lot for one in owners],
    }
    count = len(set(batches))
    kept = {name: levels for name, levels in every.items() if name == "batch" or _can_be_told(levels, batches)}
    return components(values, kept) if count >= FEWEST_BATCHES and len(values) > 2 * count else None


def _can_be_told(levels: Iterable[str], batches: Sequence[str]) -> bool:
    pairs = set(zip(levels, batches, strict=True))
    names = {level for level, _ in pairs}
    # A factor with a level of its own for each batch is the batch.
    return "" not in names and len(names) >= 2 and len(pairs) > len(names)
