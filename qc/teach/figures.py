"""The figures by which a student tells causes apart, worked out of a sheet with no more than a calculator has."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from statistics import correlation, fmean, linear_regression, median, pstdev, stdev

from qc.batch import Batch, Part


def figures_of(batch: Batch) -> dict[str, float]:
    """The figures of `qc.say.telling_apart` for a batch of one active, as far as its measurements give them.

    Returns
    -------
    dict of str to float
        By name, in the units of the records.
    """
    return dict(_figures(batch))


def _figures(batch: Batch) -> Iterator[tuple[str, float]]:
    order = {unit.name: float(place) for place, unit in enumerate(batch.units)}
    mass = {unit.name: float(unit.mass_g) for unit in batch.units if unit.mass_g is not None}
    whole = [one for one in batch.assays if one.part is Part.WHOLE and one.content_mg is not None]
    content = {one.unit: float(one.content_mg) for one in whole if one.content_mg is not None}
    both = [name for name in content if name in mass]
    concentration = [content[name] / mass[name] for name in both]
    if cut := list(_tips_over_ends(batch)):
        yield "tip_over_end", 100.0 * abs(fmean(cut) - 1.0)
    if len(both) > 2:
        yield from _along("concentration", [order[name] for name in both], concentration, units=len(order))
        yield "concentration_spread", 100.0 * stdev(concentration) / fmean(concentration)
        yield "content_with_mass", _correlation([content[name] for name in both], [mass[name] for name in both])
    furthest = [_furthest([*kind.values()]) for kind in (mass, content) if len(kind) > 4]
    if furthest:
        yield from zip(("furthest", "furthest_percent", "furthest_over_next"), max(furthest), strict=True)
    yield from _off(batch, mass=[*mass.values()], content=[*content.values()])
    if len(mass) > 2:
        weighed = [float(unit.weighing_order or order[unit.name]) for unit in batch.units if unit.mass_g is not None]
        yield from _along("mass", weighed, [*mass.values()], units=len(order))
        yield "mass_spread", 100.0 * stdev(mass.values()) / fmean(mass.values())
    yield from _of_cavities(batch)


def _along(what: str, places: Sequence[float], values: Sequence[float], *, units: int) -> Iterator[tuple[str, float]]:
    slope, _ = linear_regression(places, values)
    yield f"{what}_rise", 100.0 * abs(slope) * (units - 1) / fmean(values)
    yield f"{what}_order", abs(_correlation(_ranks(places), _ranks(values)))


def _off(batch: Batch, *, mass: Sequence[float], content: Sequence[float]) -> Iterator[tuple[str, float]]:
    label = next((one.label_claim_mg for one in batch.actives), None)
    if content and label is not None:
        off = 100.0 * (median(content) / float(label) - 1.0)
        yield "content_off", abs(off)
        yield "content_above", off
        if mass and batch.planned_mass_g is not None:
            side = 1.0 if off >= 0.0 else -1.0
            yield "mass_off", side * 100.0 * (median(mass) / float(batch.planned_mass_g) - 1.0)
            yield "mass_off_plan", 100.0 * abs(median(mass) / float(batch.planned_mass_g) - 1.0)


def _tips_over_ends(batch: Batch) -> Iterator[float]:
    parts = {
        (one.unit, one.part): float(one.content_mg) / float(one.part_mass_g)
        for one in batch.assays
        if one.content_mg is not None and one.part_mass_g
    }
    for unit, part in parts:
        if part is Part.TIP and (unit, Part.END) in parts:
            yield parts[unit, Part.TIP] / parts[unit, Part.END]


def _of_cavities(batch: Batch) -> Iterator[tuple[str, float]]:
    poured = _means((f"{one.mould} {one.cavity}", float(one.base_mass_g)) for one in batch.cavity_pours)
    filled = _means(
        (f"{unit.mould} {unit.cavity}", float(unit.mass_g)) for unit in batch.units if unit.mass_g is not None
    )
    both = sorted(poured.keys() & filled.keys())
    if len(both) > 2:
        yield "base_pours", _correlation([poured[name] for name in both], [filled[name] for name in both])
    if len(filled) > 2:
        lightest, following, *_ = sorted(filled.values())
        yield "one_cavity_short", 100.0 * (following - lightest) / median(filled.values())


def _means(pairs: Iterable[tuple[str, float]]) -> dict[str, float]:
    grouped: dict[str, list[float]] = {}
    for name, value in pairs:
        grouped.setdefault(name, []).append(value)
    return {name: fmean(values) for name, values in grouped.items()}


def _furthest(values: Sequence[float]) -> tuple[float, float, float]:
    """How far the furthest value is from the median: in robust SDs [-], in percent, over the next one [-]."""
    middle = median(values)
    *_, following, most = away = sorted(abs(value - middle) for value in values)
    usual = 1.4826 * median(away) or 1.2533 * fmean(away)
    return (most / usual if usual else 0.0), 100.0 * most / middle, (most / following if following else 0.0)


def _ranks(values: Sequence[float]) -> list[float]:
    """Ranks from 0; values that are alike share the mean of theirs."""
    return [(sum(one < value for one in values) + sum(one <= value for one in values) - 1) / 2 for value in values]


def _correlation(ones: Sequence[float], others: Sequence[float]) -> float:
    return correlation(ones, others) if pstdev(ones) and pstdev(others) else 0.0
