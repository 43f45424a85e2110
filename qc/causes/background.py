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

# In one node of so many neighbours in the pour are filled alike.
WANDERS_EVERY = 5

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
    """What is already factorised, kept by what was added to the background."""
    _factors: dict[str, Floats] = field(default_factory=dict)
    _kernels: dict[str, Floats] = field(default_factory=dict)

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
        """Rows that grow with the volume of the unit: masses and contents, a part by its share of the mass."""
        return self.masses | self.rows.of(RowKind.CONTENT, RowKind.PART)

    @cached_property
    def capacities(self) -> Flags:
        """Rows that grow with what the cavity holds: those of the volume, and base-only pours."""
        return self.volumes | self.rows.of(RowKind.BASE_POUR)

    @cached_property
    def suspended(self) -> list[int]:
        """The actives that are not dissolved."""
        return [at for at, one in enumerate(self.rows.substances) if one.suspended]

    @property
    def lumpy(self) -> list[int]:
        """The actives that may lie in lumps: those not dissolved; any where all are."""
        return self.suspended or list(range(len(self.rows.substances)))

    def factor(self, name: str) -> Floats:
        """A kernel by its factor F: rows that share a disturbance of variance v covary by v F F'.

        Parameters
        ----------
        name : str
            `fill`, `base-pour`, `mixing`, `cavity`, `mould`, `level`, `base`, `mean-content`, `ends`, `assay`, `part`,
            `fixed`; `mass-` or `content-` with `level`, `scatter`, `cavity`, `mould` or `smooth:REACH`; `fill-mould`,
            `lumps`, `lumps-parts`; `fill-wandering:REACH`, `weighing-wandering:REACH` or `lumps-streaks:REACH`, reach
            in units.

        Returns
        -------
        array of shape (rows, disturbances)
            How each disturbance shows in the logarithm of each row [-].
        """
        if name not in self._factors:
            self._factors[name] = self._build(name)
        return self._factors[name]

    def kernel(self, name: str) -> Floats:
        """The kernel itself: how the rows covary by it, for a variance of 1, shape (rows, rows)."""
        if name not in self._kernels:
            self._kernels[name] = self.factor(name) @ self.factor(name).T
        return self._kernels[name]

    def fill_of(self, places: Flags) -> str:
        """The name of a kernel for the fill of some units alone, by their rows."""
        name = f"fill-of:{places.tobytes().hex()}"
        within = self.factor("fill") * places[:, None]
        self._factors[name] = within[:, within.any(axis=0)]
        return name

    def _build(self, name: str) -> Floats:
        kind, _, reach = name.partition(":")
        rows, own = self.rows, np.eye(len(self.rows.rows))
        volumes, masses, capacities = (
            one[:, None].astype(np.float64) for one in (self.volumes, self.masses, self.capacities)
        )
        base_pours = rows.of(RowKind.BASE_POUR)
        weighed = rows.weighing if rows.weighed_in_order else rows.position
        builders: dict[str, Callable[[], Floats]] = {
            "fill": lambda: volumes * self._of_unit,
            "base-pour": lambda: own[:, base_pours],
            "fill-mould": lambda: volumes * self._hollow(rows.moulds),
            "fill-wandering": lambda: volumes * self._alike(float(reach)),
            "weighing-wandering": lambda: rows.of(RowKind.MASS)[:, None] * self._alike(float(reach), place=weighed),
            "mixing": lambda: self._by_active(self._of_unit),
            "lumps": lambda: self._by_active(self._of_unit, among=self.lumpy),
            "lumps-streaks": lambda: self._by_active(self._alike(float(reach)), among=self.lumpy),
            "lumps-parts": lambda: own[:, rows.of(RowKind.PART) & np.isin(rows.active, self.lumpy)],
            "cavity": lambda: self._hollow(rows.cavities) * capacities,
            "mould": lambda: self._hollow(rows.moulds) * capacities,
            "level": lambda: volumes,
            "base": lambda: volumes + base_pours[:, None],
            "mean-content": lambda: self._by_active(np.ones((len(rows.rows), 1))),
            "ends": lambda: self._by_active(self._end_weight()[:, None] * self._of_unit, among=self.suspended),
            "assay": lambda: own * self.assay_sd(stated=False),
            "part": lambda: own[:, rows.of(RowKind.PART)],
            "fixed": self._fixed,
            "mass-level": lambda: masses,
            "mass-scatter": lambda: masses * self._of_unit,
            "mass-smooth": lambda: masses * self._alike(float(reach)),
            "content-level": lambda: self._of_assays(np.ones((len(rows.rows), 1))),
            "content-scatter": lambda: own[:, rows.active >= 0],
            "content-smooth": lambda: self._of_assays(self._alike(float(reach))),
            "mass-cavity": lambda: masses * self._hollow(rows.cavities),
            "mass-mould": lambda: masses * self._hollow(rows.moulds),
            "content-cavity": lambda: self._of_assays(self._hollow(rows.cavities)),
            "content-mould": lambda: self._of_assays(self._hollow(rows.moulds)),
        }
        built = builders[kind]()
        return built[:, built.any(axis=0)]

    def _by_active(self, shared: Floats, *, among: Iterable[int] | None = None) -> Floats:
        """What rows share in the concentration of an active, as far as it shows in each; each active on its own."""
        actives = range(len(self.rows.substances)) if among is None else among
        each = [self.rows.concentration_share(active)[:, None] * shared for active in actives]
        return np.hstack(each) if each else np.zeros((len(self.rows.rows), 0))

    def _of_assays(self, shared: Floats) -> Floats:
        """What the assays of an active share and no mass; each active on its own."""
        actives = range(len(self.rows.substances))
        each = [(self.rows.active == active)[:, None] * shared for active in actives]
        return np.hstack(each) if each else np.zeros((len(self.rows.rows), 0))

    def _end_weight(self) -> Floats:
        """How near a unit stands to the end of the pour, and half as much to its beginning, 0 to 1."""
        place = self.rows.position
        return np.exp((place - 1.0) / END_REACH) + 0.5 * np.exp(-place / END_REACH)

    @cached_property
    def _of_unit(self) -> Floats:
        """Which row is of which unit, shape (rows, units)."""
        return np.asarray(self.rows.unit[:, None] == np.arange(len(self.rows.units)), dtype=np.float64)

    def _hollow(self, names: list[str]) -> Floats:
        """Rows that share a cavity or a mould; sizes differ about their mean, an unnamed one is each unit's own."""
        own = [name or f"unit {row.unit}" for name, row in zip(names, self.rows.rows, strict=True)]
        different = sorted(set(own))
        belongs = np.eye(len(different))[[different.index(name) for name in own]]
        return np.asarray(belongs - 1.0 / belongs.shape[1], dtype=np.float64)

    def _alike(self, reach_units: float, *, place: Floats | None = None) -> Floats:
        """Units that stand near each other, alike about the mean of all; without an order, each unit alone."""
        if place is None and not self.rows.ordered:
            return self._of_unit
        units = len(self.rows.units)
        owner = self.rows.unit
        at = np.full(units, 0.5)
        at[owner[owner >= 0]] = (self.rows.position if place is None else place)[owner >= 0]
        apart = np.abs(at[:, None] - at[None, :]) * max(units - 1, 1)
        near = np.exp(-apart / reach_units)
        centred = near - near.mean(axis=0, keepdims=True) - near.mean(axis=1, keepdims=True) + near.mean()
        sizes, directions = np.linalg.eigh(centred)
        return np.asarray(self._of_unit @ (directions * np.sqrt(np.maximum(sizes, 0.0))), dtype=np.float64)

    def assay_sd(self, *, stated: bool) -> Floats:
        """Repeatability of the assays that state it; else 1 for each of the others."""
        sd = np.zeros(len(self.rows.rows))
        for active, substance in enumerate(self.rows.substances):
            if stated is (substance.assay_sd is not None):
                sd[self.rows.active == active] = substance.assay_sd or 1.0
        return sd

    def _fixed(self) -> Floats:
        rows = self.rows
        unknown_parts = np.array([row.kind is RowKind.PART and not row.part_mass_known for row in rows.rows])
        own = np.array([row.own_sd for row in rows.rows]) ** 2 + self.assay_sd(stated=True) ** 2
        columns = [np.diag(np.sqrt(own + unknown_parts * UNKNOWN_PART_SD**2))]
        unknown = [] if rows.planned_known else [self.masses]
        unknown += [] if rows.base_known else [rows.of(RowKind.BASE_POUR)]
        unknown += [rows.active == at for at, one in enumerate(rows.substances) if one.label_mg is None]
        return np.hstack([*columns, *(UNKNOWN_MEAN_SD * one[:, None].astype(np.float64) for one in unknown)])

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
        # In some batches neighbours are filled alike with nothing wrong: a part of the same variance wanders.
        wanders = np.arange(self.nodes) % WANDERS_EVERY == WANDERS_EVERY - 1
        alike = wanders * priors.number("background", "alike")
        reach = priors.number("uneven-fill", "reach_units")
        variances[f"fill-wandering:{reach}"] = alike * variances["fill"]
        variances["fill"] = (1.0 - alike) * variances["fill"]
        for name in ("level", "base", "mean-content"):
            variances[name] = even * priors.number("background", name.replace("-", "_")) ** 2
        variances["fixed"] = even
        return variances

    def spreads(self, cause: str, key: str, *, column: int) -> Floats:
        """A log-normal spread of a cause at every node, shape (nodes,) [-]; each column of points runs its own way."""
        return self.priors.size(cause, key).quantile(self.points[:, 5 + column])


def nodes_for(rows: Rows) -> int:
    """How many background points are tried for that many rows."""
    return NODES if len(rows.rows) <= MANY_ROWS else NODES_OF_MANY
