"""What varies in every batch, faulty or not: kernels that say which rows share a disturbance, and how large it may be.

The covariance of the rows is a sum of kernels, each times a variance. A sound batch has fill, mixing, cavities of
slightly different size, a mean that is a little off, assay and balance errors. A cause adds variance to a kernel, or
shifts the means.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cached_property
from typing import Any

import numpy as np
from msgspec import Struct, field

from qc.causes.priors import Priors, quasi_random_points
from qc.causes.rows import Flags, Floats, RowKind, Rows, values_by

# Where nothing is known of a mean, its logarithm may lie anywhere within a few tenths.
UNKNOWN_MEAN_SD = 0.3
# A part of unknown mass is a third of its unit, give or take this much.
UNKNOWN_PART_SD = 0.15

# The share of the pour over which scraping at its end, and clearing at its beginning, fade.
END_REACH = 0.10

# Fewer degrees of freedom than this do not tell how well calibration pours repeat.
LEAST_REPEATED = 4

NODES = 20
"""Points at which the unknown background spreads are tried."""

# Of a large batch fewer points do: the work grows with the cube of the rows.
MANY_ROWS, NODES_OF_MANY = 120, 12


class Background(Struct, frozen=True, kw_only=True, dict=True):
    """The rows of a batch with their kernels and the background spreads at every node."""

    rows: Rows
    priors: Priors
    nodes: int = NODES
    solved: dict[Any, Any] = field(default_factory=dict)
    """Covariances already factorised, kept by what was added to the background."""
    _kernels: dict[tuple[str, bool], Floats] = field(default_factory=dict)

    @cached_property
    def points(self) -> Floats:
        """Evenly spread points: five columns for the background, the rest for the strength of a cause."""
        return quasi_random_points(self.nodes, dimensions=8)

    @cached_property
    def masses(self) -> Flags:
        """Rows that hold a weighing of a whole unit."""
        return self.rows.of(RowKind.MASS, RowKind.SECOND_WEIGHING)

    @cached_property
    def volumes(self) -> Flags:
        """Rows that grow with the volume of the unit: masses and whole contents."""
        return self.masses | self.rows.of(RowKind.CONTENT)

    @cached_property
    def capacities(self) -> Flags:
        """Rows that grow with what the cavity holds: those of the volume, and base-only pours."""
        return self.volumes | self.rows.of(RowKind.BASE_POUR)

    def kernel(self, name: str, *, measured: bool = False) -> Floats:
        """Which rows share one disturbance, and in what proportion.

        Parameters
        ----------
        name : str
            `fill`, `base-pour`, `mixing`, `cavity`, `mould`, `level`, `base`, `mean-content`, `loss`, `ends`, `assay`,
            `part`, `fixed`; `fill-wandering:REACH`, `weighing-wandering:REACH` or `mixing-streaks:REACH`, reach in
            units.
        measured : bool
            Of the measured rows only.

        Returns
        -------
        array of shape (rows, rows)
            By what a variance of the logarithms is multiplied [-].
        """
        if (name, measured) not in self._kernels:
            if measured:
                places = np.flatnonzero(self.rows.measured)
                self._kernels[name, measured] = self.kernel(name).take(places, axis=0).take(places, axis=1)
            else:
                self._kernels[name, measured] = self._build(name)
        return self._kernels[name, measured]

    def _build(self, name: str) -> Floats:
        kind, _, reach = name.partition(":")
        rows = self.rows
        volumes = self.volumes.astype(np.float64)
        weighings = rows.of(RowKind.MASS).astype(np.float64)
        base_pours = rows.of(RowKind.BASE_POUR).astype(np.float64)
        every = range(len(rows.substances))
        builders: dict[str, Callable[[], Floats]] = {
            "fill": lambda: _outer(volumes) * self._same_unit,
            "base-pour": lambda: np.diag(base_pours),
            "fill-wandering": lambda: _outer(volumes) * self._correlation(float(reach)),
            "weighing-wandering": lambda: (
                _outer(weighings)
                * self._correlation(float(reach), place=rows.weighing if rows.weighed_in_order else rows.position)
            ),
            "mixing": lambda: self._by_active(every) * self._same_unit,
            "mixing-streaks": lambda: self._by_active(every) * self._correlation(float(reach)),
            "cavity": lambda: self._hollow(rows.cavities),
            "mould": lambda: self._hollow(rows.moulds),
            "level": lambda: _outer(volumes),
            "base": lambda: _outer(volumes + base_pours),
            "mean-content": lambda: self._by_active(every),
            "loss": lambda: self._by_active([at for at in every if rows.substances[at].suspended]),
            "ends": lambda: _outer(self._end_weight()) * self.kernel("loss") * self._same_unit,
            "assay": lambda: np.diag(self._assayed(stated=False)),
            "part": lambda: np.diag(rows.of(RowKind.PART).astype(np.float64)),
            "fixed": self._fixed,
        }
        return builders[kind]()

    def _by_active(self, actives: Iterable[int]) -> Floats:
        """Rows that share the concentration of an active, as far as it shows in each."""
        total = np.zeros((len(self.rows.rows), len(self.rows.rows)))
        for active in actives:
            total += _outer(self.rows.concentration_share(active))
        return total

    def _end_weight(self) -> Floats:
        """How near a unit stands to the end of the pour, and half as much to its beginning, 0 to 1."""
        place = self.rows.position
        return np.exp((place - 1.0) / END_REACH) + 0.5 * np.exp(-place / END_REACH)

    @cached_property
    def _same_unit(self) -> Floats:
        unit = self.rows.unit
        same = (unit[:, None] == unit[None, :]) & (unit[:, None] >= 0)
        return np.asarray(same, dtype=np.float64)

    def _hollow(self, names: list[str]) -> Floats:
        """Rows that share a cavity or a mould; sizes differ about their mean, an unnamed one is each unit's own."""
        own = [name or f"unit {row.unit}" for name, row in zip(names, self.rows.rows, strict=True)]
        different = sorted(set(own))
        belongs = np.eye(len(different))[[different.index(name) for name in own]]
        about_mean = (belongs - 1.0 / belongs.shape[1]) * self.capacities.astype(np.float64)[:, None]
        return np.asarray(about_mean @ about_mean.T, dtype=np.float64)

    def _correlation(self, reach_units: float, *, place: Floats | None = None) -> Floats:
        """Correlation of two units that stand some way apart, about the mean of all; without an order, a unit alone."""
        if place is None and not self.rows.ordered:
            return self._same_unit
        units = len(self.rows.units)
        owner = self.rows.unit
        at = np.full(units, 0.5)
        at[owner[owner >= 0]] = (self.rows.position if place is None else place)[owner >= 0]
        apart = np.abs(at[:, None] - at[None, :]) * max(units - 1, 1)
        near = np.exp(-apart / reach_units)
        centred = near - near.mean(axis=0, keepdims=True) - near.mean(axis=1, keepdims=True) + near.mean()
        # Rows without a unit borrow the first one's and are blanked out.
        both = (owner[:, None] >= 0) & (owner[None, :] >= 0)
        known = np.maximum(owner, 0)
        return np.asarray(centred[np.ix_(known, known)] * both, dtype=np.float64)

    def _assayed(self, *, stated: bool) -> Floats:
        """Variance of assays whose repeatability is stated; else 1 for each of the others."""
        variances = np.zeros(len(self.rows.rows))
        for active, substance in enumerate(self.rows.substances):
            if stated is (substance.assay_sd is not None):
                variances[self.rows.active == active] = (substance.assay_sd or 1.0) ** 2
        return variances

    def _fixed(self) -> Floats:
        rows = self.rows
        own = np.array([row.own_sd for row in rows.rows]) ** 2 + self._assayed(stated=True)
        unknown_parts = np.array([row.kind is RowKind.PART and not row.part_mass_known for row in rows.rows])
        total: Floats = np.diag(own + unknown_parts * UNKNOWN_PART_SD**2)
        if not rows.planned_known:
            total += UNKNOWN_MEAN_SD**2 * _outer(self.masses.astype(np.float64))
        if not rows.base_known:
            total += UNKNOWN_MEAN_SD**2 * _outer(rows.of(RowKind.BASE_POUR).astype(np.float64))
        for active, substance in enumerate(rows.substances):
            if substance.label_mg is None:
                total += UNKNOWN_MEAN_SD**2 * _outer((rows.active == active).astype(np.float64))
        return total

    def _base_pour_variance(self) -> float | None:
        """Variance of the logarithm of base pours of one cavity; None where too few were repeated."""
        poured = values_by(self.rows, self.rows.of(RowKind.BASE_POUR), self.rows.cavities).values()
        degrees = sum(values.size - 1 for values in poured)
        if degrees < LEAST_REPEATED:
            return None
        return sum(float(np.var(values)) * values.size for values in poured) / degrees

    @cached_property
    def variances(self) -> Mapping[str, Floats]:
        """The variance of every background kernel at every node, shape (nodes,): squares of log-normal spreads."""
        priors, even = self.priors, np.ones(self.nodes)
        variances = {
            name: priors.size("background", name).quantile(self.points[:, column]) ** 2
            for column, name in enumerate(("fill", "mixing", "assay", "cavity", "part"))
        }
        repeated = self._base_pour_variance()
        # Calibration is poured with more care, or less, than a batch: its scatter says nothing of the units' fill.
        variances["base-pour"] = variances["fill"] if repeated is None else even * repeated
        for name in ("level", "base", "mean-content"):
            variances[name] = even * priors.number("background", name.replace("-", "_")) ** 2
        variances["fixed"] = even
        return variances

    def spreads(self, cause: str, key: str, *, column: int) -> Floats:
        """A log-normal spread of a cause at every node, shape (nodes,) [-]; each column of points runs its own way."""
        return self.priors.size(cause, key).quantile(self.points[:, 5 + column])


def _outer(column: Floats) -> Floats:
    return np.asarray(np.multiply.outer(column, column), dtype=np.float64)


def nodes_for(rows: Rows) -> int:
    """How many background points are tried for that many rows."""
    return NODES if len(rows.rows) <= MANY_ROWS else NODES_OF_MANY
