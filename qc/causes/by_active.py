"""Covariances of several actives: the assays of one share with those of another only what a unit has in common.

A unit that is fuller holds more of every active; beside that each active varies by itself. So the covariance of all
assays falls into a small block an active and one for what the units have in common, and the other rows come last. An
inverse for 20 actives in 24 units takes a thirtieth of the multiplications that one matrix of 504 rows takes.
"""

from __future__ import annotations

from functools import cached_property
from itertools import accumulate

import numpy as np
from msgspec import Struct

from qc.causes.rows import Floats, Places

# So many shapes that move the same rows are worth being taken by these rows alone.
ALIKE = 8


class ByActive(Struct, frozen=True, kw_only=True, dict=True):
    """How the rows measured fall apart.

    Parameters
    ----------
    actives : tuple of array of int
        The rows of the assays of each active.
    others : array of int
        The other rows: masses and base pours.
    unit : array of int
        The unit of each assay, active by active, by a number from 0.
    """

    actives: tuple[Places, ...]
    others: Places
    unit: Places

    @cached_property
    def _grids(self) -> list[tuple[Places, Places]]:
        """Rows and columns of what is kept: of each active, of one assay a unit, of assays and others, of others."""
        assays = np.concatenate(self.actives)
        units = assays[np.unique(self.unit, return_index=True)[1]]
        alone = [(rows, rows) for rows in self.actives]
        return [*alone, (units, units), (assays, self.others), (self.others, self.others)]

    def kept(self, factor: Floats) -> Floats:
        """What is kept of a kernel of the rows measured, one part after the other, from its factor."""
        shared = bool((np.array([factor[rows].any(axis=0) for rows in self.actives]).sum(axis=0) > 1).any())
        alone = len(self.actives)
        return np.concatenate(
            [
                np.ravel(factor[one] @ factor[other].T) * (at > alone or shared is (at == alone))
                for at, (one, other) in enumerate(self._grids)
            ]
        )

    def inverse(self, spread: Floats) -> tuple[Precision, Floats]:
        """The inverses of covariances of shape (nodes, kept), and half the logarithm of each determinant.

        Notes
        -----
        With E the blocks of the actives, Q what the units have in common, L L' = Q, and Z which assay is of which unit,
        the assays covary by E + Z Q Z', which is what is left of [E, Z L; L' Z', -1] once its last rows are eliminated.
        Here its first are, which fall apart. With G = [C, Z L] for covariances C with the other rows of covariance M,
        and T = [M, 0; 0, -1] - G' E^-1 G, the inverse is that of E and V' T^-1 V, V being -G' E^-1 beside [1; 0].

        References
        ----------
        Block elimination: Petersen and Pedersen (2012), The Matrix Cookbook, section 9.1 (from memory).
        """
        shapes = [(len(spread), one.size, other.size) for one, other in self._grids]
        cuts = list(accumulate(one * other for _, one, other in shapes))
        parts = np.split(spread, cuts[:-1], axis=1)
        *blocks, common, across, others = (one.reshape(shape) for one, shape in zip(parts, shapes, strict=True))
        beside = np.concatenate([across, np.linalg.cholesky(common)[:, self.unit]], axis=2)
        few = self.others.size
        left = np.tile(-np.eye(beside.shape[2]), (len(spread), 1, 1))
        left[:, :few, :few] = others
        drawn_from = np.zeros((len(spread), beside.shape[2], few + self.unit.size))
        drawn_from[:, np.arange(few), self.others] = 1.0
        inverses: list[Floats] = [np.asarray(np.linalg.inv(block), dtype=np.float64) for block in blocks]
        first = 0
        for rows, inverse in zip(self.actives, inverses, strict=True):
            some = beside[:, first : first + rows.size].swapaxes(1, 2)
            drawn_from[:, :, rows] = moved = -some @ inverse
            left += moved @ some.swapaxes(1, 2)
            first += rows.size
        half_log = 0.5 * sum(np.linalg.slogdet(one)[1] for one in (*blocks, left))
        high = np.asarray(np.linalg.inv(left) @ drawn_from, dtype=np.float64)
        return Precision(apart=self, blocks=tuple(inverses), low=drawn_from, high=high), np.asarray(half_log)


class Precision(Struct, frozen=True, kw_only=True):
    """Inverses of covariances, a node each: the blocks of the actives, and the product of `low` transposed and `high`.

    The blocks have the shape (nodes, assays, assays), the other two (nodes, others and units, measured).
    """

    apart: ByActive
    blocks: tuple[Floats, ...]
    low: Floats
    high: Floats

    def __getitem__(self, nodes: slice) -> Precision:
        """The same at some nodes."""
        blocks = tuple(block[nodes] for block in self.blocks)
        return Precision(apart=self.apart, blocks=blocks, low=self.low[nodes], high=self.high[nodes])

    def __matmul__(self, columns: Floats) -> Floats:
        """Times columns of shape (measured, columns)."""
        found: Floats = self.low.swapaxes(1, 2) @ (self.high @ columns)
        for rows, block in zip(self.apart.actives, self.blocks, strict=True):
            found[:, rows] += block @ columns[rows]
        return found

    def curbs(self, shapes: Floats) -> Floats:
        """Each shape times this times itself, shape (nodes, shapes): of most shapes few rows are not nothing."""
        moves, curbs = shapes != 0.0, np.zeros((len(self.low), len(shapes)))
        alone = moves.sum(axis=1) == 1
        at = moves[alone].argmax(axis=1)
        curbs[:, alone] = np.einsum("ntm,ntm->nm", self.low, self.high)[:, at] * shapes[alone, at] ** 2
        _, of, many = np.unique(np.packbits(moves, axis=1), axis=0, return_inverse=True, return_counts=True)
        alike = [np.flatnonzero((of == number) & ~alone) for number in np.flatnonzero(many > ALIKE)]
        for chosen in (*alike, np.flatnonzero((many[of] <= ALIKE) & ~alone)):
            at = np.flatnonzero(moves[chosen].any(axis=0))
            some = shapes[np.ix_(chosen, at)]
            low, high = (some @ one[:, :, at].swapaxes(1, 2) for one in (self.low, self.high))
            curbs[:, chosen] = np.einsum("nst,nst->ns", low, high)
        for rows, block in zip(self.apart.actives, self.blocks, strict=True):
            moving = np.flatnonzero(moves[:, rows].any(axis=1))
            some = shapes[np.ix_(moving, rows)]
            curbs[:, moving] += np.einsum("nsm,sm->ns", some @ block, some)
        return curbs


def joined(one: Floats | Precision, other: Floats | Precision) -> Floats | Precision:
    """The nodes of one and then those of the other."""
    if not isinstance(one, Precision) or not isinstance(other, Precision):
        return np.concatenate([np.asarray(one), np.asarray(other)])
    blocks = tuple(np.concatenate(both) for both in zip(one.blocks, other.blocks, strict=True))
    low, high = np.concatenate([one.low, other.low]), np.concatenate([one.high, other.high])
    return Precision(apart=one.apart, blocks=blocks, low=low, high=high)


def by_active(actives: Places, units: Places) -> ByActive | None:
    """How the rows measured fall apart; None where they hold the assays of fewer than two actives.

    Parameters
    ----------
    actives, units : array of int
        Number of the active of each row, and of its unit, -1 for none.
    """
    groups = tuple(np.flatnonzero(actives == one) for one in sorted({*actives.tolist()} - {-1}))
    if len(groups) < 2:
        return None
    number = np.unique(units[np.concatenate(groups)], return_inverse=True)[1]
    return ByActive(actives=groups, others=np.flatnonzero(actives < 0), unit=number)
