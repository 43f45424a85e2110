"""Covariances of several actives: the assays of one share with those of another only what a unit has in common.

A unit that is fuller holds more of every active; beside that each active varies by itself. So the covariance of all
assays falls into a small block an active and one for what the units have in common, and the other rows come last. An
inverse for 20 actives in 24 units takes a thirtieth of the multiplications that one matrix of 504 rows takes.
"""

from __future__ import annotations

from functools import cached_property
from itertools import accumulate, pairwise

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
    def order(self) -> Places:
        """The rows active by active, and then the others."""
        return np.concatenate([*self.actives, self.others])

    @cached_property
    def spans(self) -> list[slice]:
        """Where in that order the assays of each active stand."""
        ends = list(accumulate((rows.size for rows in self.actives), initial=0))
        return [slice(*span) for span in pairwise(ends)]

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
        beside = np.concatenate([across, np.linalg.cholesky(common)[:, self.unit]], axis=2).swapaxes(1, 2)
        few, assays = self.others.size, self.unit.size
        left = np.tile(-np.eye(beside.shape[1]), (len(spread), 1, 1))
        left[:, :few, :few] = others
        low = np.zeros((len(spread), beside.shape[1], self.order.size))
        low[:, :few, assays:] = np.eye(few)
        inverses: list[Floats] = [np.asarray(np.linalg.inv(block), dtype=np.float64) for block in blocks]
        for span, inverse in zip(self.spans, inverses, strict=True):
            low[:, :, span] = -beside[:, :, span] @ inverse
        left += low[:, :, :assays] @ beside.swapaxes(1, 2)
        half_log = 0.5 * sum(np.linalg.slogdet(one)[1] for one in (*blocks, left))
        middle = np.asarray(np.linalg.inv(left), dtype=np.float64)
        return Precision(apart=self, blocks=tuple(inverses), low=low, middle=middle), np.asarray(half_log)


class Precision(Struct, frozen=True, kw_only=True):
    """Inverses of covariances, a node each: those of the actives, and V' T^-1 V, in the order of the actives.

    Parameters
    ----------
    blocks : tuple of array (nodes, assays, assays)
    low, middle : array (nodes, others and units, measured), array (nodes, others and units, others and units)
        V and T^-1.
    """

    apart: ByActive
    blocks: tuple[Floats, ...]
    low: Floats
    middle: Floats

    def __getitem__(self, nodes: slice) -> Precision:
        """The same at some nodes."""
        blocks = tuple(block[nodes] for block in self.blocks)
        return Precision(apart=self.apart, blocks=blocks, low=self.low[nodes], middle=self.middle[nodes])

    def __matmul__(self, columns: Floats) -> Floats:
        """Times columns of shape (measured, columns)."""
        ordered = columns[self.apart.order]
        product = self.low.swapaxes(1, 2) @ (self.middle @ (self.low @ ordered))
        for span, block in zip(self.apart.spans, self.blocks, strict=True):
            product[:, span] += block @ ordered[span]
        found = np.empty(product.shape)
        found[:, self.apart.order] = product
        return found

    def curbs(self, shapes: Floats) -> Floats:
        """Each shape times this times itself, shape (nodes, shapes): of most shapes few rows are not nothing."""
        shapes = shapes[:, self.apart.order]
        moves, curbs = shapes != 0.0, np.zeros((len(self.low), len(shapes)))
        # Many move one row alone.
        alone = moves.sum(axis=1) == 1
        if alone.any():
            own = moves[alone].argmax(axis=1)
            curbs[:, alone] = (self.low * (self.middle @ self.low)).sum(axis=1)[:, own] * shapes[alone, own] ** 2
        alike: dict[bytes, list[int]] = {}
        for number in np.flatnonzero(~alone).tolist():
            alike.setdefault(moves[number].tobytes(), []).append(number)
        rest = [number for numbers in alike.values() if len(numbers) <= ALIKE for number in numbers]
        groups: list[tuple[list[int], Places | slice]] = [(rest, slice(None))]
        groups += [(one, np.flatnonzero(moves[one[0]])) for one in alike.values() if len(one) > ALIKE]
        for chosen, at in groups:
            low = shapes[chosen][:, at] @ self.low[:, :, at].swapaxes(1, 2)
            curbs[:, chosen] = np.einsum("nst,nst->ns", low @ self.middle, low)
        for span, block in zip(self.apart.spans, self.blocks, strict=True):
            moving = np.flatnonzero(moves[:, span].any(axis=1))
            some = shapes[moving, span]
            curbs[:, moving] += np.einsum("nsm,sm->ns", some @ block, some)
        return curbs


def joined(one: Floats | Precision, other: Floats | Precision) -> Floats | Precision:
    """The nodes of one and then those of the other."""
    if not isinstance(one, Precision) or not isinstance(other, Precision):
        return np.concatenate([np.asarray(one), np.asarray(other)])
    blocks = tuple(np.concatenate(both) for both in zip(one.blocks, other.blocks, strict=True))
    low, middle = (np.concatenate([getattr(both, name) for both in (one, other)]) for name in ("low", "middle"))
    return Precision(apart=one.apart, blocks=blocks, low=low, middle=middle)


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
