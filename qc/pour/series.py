"""What can be followed along the pour: masses, contents and concentrations, sorted by pour order."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from decimal import Decimal
from enum import StrEnum

import numpy as np
from msgspec import Struct

from qc.batch import Active, Batch, Part, Unit
from qc.contents import Scale, active_named, contents_found, determinations, scale_of, typed
from qc.results.messages import Remark, message
from qc.stats.arrays import Floats


class SeriesKind(StrEnum):
    """What a series is about."""

    MASS = "mass"
    CONTENT = "content"
    CONCENTRATION = "concentration"


class Series(Struct, frozen=True, kw_only=True):
    """One quantity of several units, sorted by pour order.

    Parameters
    ----------
    kind : SeriesKind
    active : str
        Empty for masses.
    measure : str
        Unit of measure of the values.
    units : tuple of Unit
        In pour order; units poured together keep the order in which they were entered.
    values, order : array
        One of each a unit.
    along : array
        Where each unit lies in the whole pour: 0 at its first place, 1 at its last [-].
    step : float
        Last place the values were typed to, or the readability of the balance where that is coarser [unit of measure].
    least_scatter : float
        Standard deviation that rounding, balance or assay make by themselves [unit of measure].
    """

    kind: SeriesKind
    active: str
    measure: str
    units: tuple[Unit, ...]
    values: Floats
    order: Floats
    along: Floats
    step: float
    least_scatter: float

    @property
    def of(self) -> dict[str, str]:
        """What the series is of, as the words for it take it."""
        return {"series": self.kind.value, "active": self.active}

    @property
    def names(self) -> tuple[str, ...]:
        """The units by name."""
        return tuple(unit.name for unit in self.units)


def poured(batch: Batch) -> list[Unit]:
    """The units whose place in the pour is known, in pour order; units poured together as they were entered."""
    return sorted((unit for unit in batch.units if unit.pour_order is not None), key=_place)


def _place(unit: Unit) -> int:
    return unit.pour_order or 0


def mass_series(batch: Batch) -> Series:
    """The masses of all weighed units whose place in the pour is known.

    Units left out of a verdict with a reason are kept: they were poured, and belong to the history of the pour.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    Series
        Empty when no weighed unit has a pour order.
    """
    masses = {unit.name: unit.mass_g for unit in batch.units if unit.mass_g is not None}
    return _sorted(
        batch,
        kind=SeriesKind.MASS,
        active="",
        measure="g",
        values={name: float(mass) for name, mass in masses.items()},
        step=max(float(batch.balance_readability_g or 0), _last_place(list(masses.values()))),
        noise=float(batch.balance_repeatability_g or 0),
    )


def content_series(batch: Batch) -> tuple[list[Series], list[Remark]]:
    """Content, and content over mass, of each active along the pour; determinations of one unit are averaged.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    list of Series
        For each active with assays of whole units: its contents, then its concentrations where the units were weighed.
    list of Remark
        What had to be left out.
    """
    series: list[Series] = []
    notices: list[Remark] = []
    for name in dict.fromkeys(assay.active for assay in batch.assays if assay.part is Part.WHOLE):
        active = active_named(batch, name)
        scale = scale_of(batch, active=active)
        if scale is None:
            where = f"active {name}" if name else "assays"
            notices.append(Remark(where=where, text=message("pour.no_label", active=name)))
        else:
            series += _of_active(batch, active, scale=scale)
    return series, notices


def _of_active(batch: Batch, active: Active, *, scale: Scale) -> Iterator[Series]:
    """The contents of an active on one scale, then its concentrations where the units were weighed."""
    found = contents_found(batch, active=active)
    contents = {one.unit: float(value) for one in found if (value := one.on(scale)) is not None}
    middle = float(np.mean(list(contents.values()))) if contents else 0.0
    most = max((one.determinations for one in found), default=1)
    noise = middle * float(active.assay_repeatability_percent or 0) / 100 / float(np.sqrt(most))
    entered = [(typed(assay), float(scale.factor(assay))) for assay in determinations(batch, active=active)]
    step = min((_last_place([entry]) * factor for entry, factor in entered if entry is not None), default=0.0)
    series = _sorted(
        batch, kind=SeriesKind.CONTENT, active=active.name, measure=scale.unit, values=contents, step=step, noise=noise
    )
    yield series
    masses = {unit.name: float(unit.mass_g) for unit in series.units if unit.mass_g is not None and unit.mass_g > 0}
    if masses:
        average = float(np.mean(list(masses.values())))
        yield _sorted(
            batch,
            kind=SeriesKind.CONCENTRATION,
            active=active.name,
            measure=f"{scale.unit}/g",
            values={unit: contents[unit] / mass for unit, mass in masses.items()},
            step=step / average,
            noise=noise / average,
        )


def unordered_notices(batch: Batch) -> list[Remark]:
    """What to say when a part of the pour orders is missing; of a batch without any, what it cannot show is said."""
    measured = {unit.name for unit in batch.weighed} | {assay.unit for assay in batch.assays}
    without = [unit.name for unit in batch.units if unit.pour_order is None and unit.name in measured]
    if not without or all(unit.pour_order is None for unit in batch.units):
        return []
    return [Remark(where="Units, Pour order", text=message("pour.no_order_of", units=without))]


def _last_place(typed: Sequence[Decimal]) -> float:
    """The value of the last decimal place that any of the numbers was typed to."""
    return min((10.0 ** int(number.as_tuple().exponent) for number in typed), default=0.0)


def _sorted(
    batch: Batch, *, kind: SeriesKind, active: str, measure: str, values: dict[str, float], step: float, noise: float
) -> Series:
    whole = poured(batch)
    placed = [unit for unit in whole if unit.name in values]
    order = np.array([unit.pour_order for unit in placed], dtype=float)
    first, last = (_place(whole[0]), _place(whole[-1])) if whole else (0, 0)
    return Series(
        kind=kind,
        active=active,
        measure=measure,
        units=tuple(placed),
        values=np.array([values[unit.name] for unit in placed], dtype=float),
        order=order,
        along=(order - first) / max(last - first, 1),
        step=step,
        # Rounding to a step spreads values evenly over the step: its standard deviation is the step over root 12.
        least_scatter=float(np.hypot(step / np.sqrt(12), noise)),
    )
