"""Whether the units measured are a random draw over the batch, by their places in the pour and in the moulds."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from itertools import groupby
from statistics import NormalDist

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch, counting_order
from qc.stats.proportion import at_most_in_sample

LEVEL = 0.05
"""Samples drawn at random that are taken for others by the tests of a draw, at most [-]."""
RARE = 0.01
"""A mould, or a beginning or an end of the pour, of which a random draw takes no unit so seldom, was left out [-]."""


class PlacesFound(Struct, frozen=True, kw_only=True):
    """What the places of the units measured say of the draw.

    Parameters
    ----------
    whole : int
        Places of the pour, or of all moulds.
    unseen : tuple of (int, int)
        The pour orders in which stretches without a unit measured begin and end: the longest, and those half as long.
    p_value : float
        How often a random draw lies as unevenly [-].
    scarce : tuple of str
        The moulds, or the cavities, of which no unit was measured, or fewest; empty where the pour is looked at.
    way : str
        `mould` or `cavity`; empty where the pour was looked at.
    among : int
        Units measured of those scarce.
    by_lot : bool
        Whether they are those on which the lot of this batch fell.
    left_out : float or None
        How often a random draw takes no unit of a whole part of which none was measured [-]; None where there is none.
    """

    whole: int
    unseen: tuple[tuple[int, int], ...]
    p_value: float
    scarce: tuple[str, ...] = ()
    way: str = ""
    among: int | None = None
    by_lot: bool = False
    left_out: float | None = None

    @property
    def random(self) -> bool:
        """Whether the places are those of a random draw, as far as they tell."""
        return self.p_value > LEVEL and (self.left_out is None or self.left_out > RARE)


def draw_found(
    batch: Batch, *, measured: Collection[str], whole: int | None, lot: Sequence[str] = ()
) -> PlacesFound | None:
    """Hold the units measured against a random draw along the pour, from the moulds, and along their cavities.

    Parameters
    ----------
    batch : Batch
        For the pour order, the mould and the cavity of its units.
    measured : collection of str
        Names of the units measured.
    whole : int or None
        Units of the batch, where it is known.
    lot : sequence of str
        The units in the order in which a lot was drawn for this batch: the first ones of it are a random draw, however
        they lie.

    Returns
    -------
    PlacesFound or None
        What speaks against a random draw, the pour before the moulds; else what the places in the pour say, and None
        where they are not known.

    Notes
    -----
    Where moulds or cavities are known the pour has one half of the level, and they share the other. Of moulds each is
    asked how often a random draw takes so few or so many units of it, by the hypergeometric distribution, at its
    share of the level; cavities lie side by side, and are asked as the places of the pour are, with ties. A mould or
    an end of the pour that a random draw would seldom leave out is no matter of a level: nothing is known of it.
    """
    if measured and {*lot[: len(measured)]} == {*measured}:
        return PlacesFound(whole=len(batch.units) if whole is None else whole, unseen=(), p_value=1.0, by_lot=True)
    along = places_found(batch, measured=measured, whole=whole)
    moulds, cavities = ({unit.name: getattr(unit, of) or "" for unit in batch.units} for of in ("mould", "cavity"))
    found = [_of_moulds(moulds, measured), _of_cavities(cavities, measured)]
    # Bonferroni, the pour as heavy as all others together.
    shares = [(along, 1 + any(found)), *((one, 2 * (1 + all(found))) for one in found)]
    told = [replace(one, p_value=min(1.0, one.p_value * share)) for one, share in shares if one is not None]
    return next((one for one in told if not one.random), told[0] if along is not None else None)


def _of_moulds(moulds: Mapping[str, str], measured: Collection[str]) -> PlacesFound | None:
    """The draw from several moulds; None where there is one, or that of a unit is not known."""
    held, taken = Counter(moulds.values()), Counter(moulds.get(name, "") for name in measured)
    if len(held) < 2 or not measured or "" in held | taken:
        return None
    whole, n = held.total(), taken.total()
    few = {one: at_most_in_sample(taken[one], n=n, whole=whole, marked=many) for one, many in held.items()}
    # As many or more of one are as few or fewer of all others.
    many_of = [at_most_in_sample(n - taken[one], n=n, whole=whole, marked=whole - many) for one, many in held.items()]
    # Of two moulds few of the one are many of the other.
    asked = 2 * len(held) if len(held) > 2 else 2
    p = min(1.0, asked * min(*few.values(), *many_of))
    scarce = sorted((one for one in held if not taken[one]), key=counting_order) or [min(few, key=few.__getitem__)]
    among = sum(taken[one] for one in scarce)
    left_out = min((few[one] for one in held if not taken[one]), default=None)
    found = PlacesFound(whole=whole, unseen=(), p_value=p, scarce=tuple(scarce), way="mould", among=among)
    return replace(found, left_out=left_out)


def _of_cavities(cavities: Mapping[str, str], measured: Collection[str]) -> PlacesFound | None:
    """The draw along the cavities of all moulds; None where there is one, or that of a unit is not known."""
    held, taken = Counter(cavities.values()), Counter(cavities.get(name, "") for name in measured)
    if len(held) < 2 or not measured or "" in held | taken:
        return None
    side_by_side = {name: place for place, name in enumerate(sorted(held, key=counting_order), start=1)}
    poured, drawn = (Counter({side_by_side[name]: many for name, many in one.items()}) for one in (held, taken))
    scarce = tuple(name for name in side_by_side if name not in taken)
    return PlacesFound(whole=held.total(), unseen=(), p_value=_as_uneven(poured, drawn), scarce=scarce, way="cavity")


def places_found(batch: Batch, *, measured: Collection[str], whole: int | None) -> PlacesFound | None:
    """Hold the places of the units measured against a random draw of as many places.

    Parameters
    ----------
    batch : Batch
        For the pour order of its units.
    measured : collection of str
        Names of the units measured.
    whole : int or None
        Units of the batch, where it is known.

    Returns
    -------
    PlacesFound or None
        None where the place of a unit measured is not known. Units that are not listed take the numbers of the pour
        order that are missing, where every number stands once.

    Notes
    -----
    Three tests, each at a third of the level: the longest stretch without a unit measured; the units poured before the
    first and after the last of them; both exact; and the sum of the ranks after Wilcoxon, by its normal approximation
    with ties. The first sees a draw of the ends, the second one of the middle or of a beginning, the third one that is
    sparse toward one side. Of units poured together it is not known which came first, so that a stretch holds whole
    groups only.

    References
    ----------
    The stretches between n of N places are exchangeable: of any j given ones each is at least g long in
    C(N - j g, n) of C(N, n) draws; inclusion and exclusion over the n + 1 stretches (Feller, An Introduction to
    Probability Theory and Its Applications, vol. 1, 3rd ed. 1968, sections II.12 and IV.1; from memory). So both ends
    hold as many as the first two stretches, whose length is hypergeometric. Ranks: F.
    Wilcoxon, Biometrics Bulletin 1 (1945) 80-83; ties: E. L. Lehmann, Nonparametrics (1975), section 1.4 (from memory).
    """
    orders = {unit.name: unit.pour_order for unit in batch.units if unit.pour_order is not None}
    if not measured or any(name not in orders for name in measured):
        return None
    poured, taken = Counter(orders.values()), Counter(orders[name] for name in measured)
    if whole is not None and len(orders) < whole and max(poured.values()) == 1 and max(poured) <= whole:
        poured |= Counter(range(1, whole + 1))
    stretches = _stretches(poured, taken)
    longest = max(stretches.values(), default=0)
    unseen = tuple(ends for ends, count in stretches.items() if 2 * count >= longest)
    size, first, last = poured.total(), min(poured), max(poured)
    outer = [count for (begins, ends), count in stretches.items() if begins == first or ends == last]
    chances = [at_most_in_sample(0, n=taken.total(), whole=size, marked=count) for count in outer]
    left_out = min(chances, default=None)
    return PlacesFound(whole=size, unseen=unseen, p_value=_as_uneven(poured, taken), left_out=left_out)


def _stretches(poured: Counter[int], taken: Counter[int]) -> dict[tuple[int, int], int]:
    """How many units each stretch without a unit measured holds, by its first and its last place."""
    stretches: dict[tuple[int, int], int] = {}
    for empty, group in groupby(sorted(poured), key=lambda order: order not in taken):
        of_it = list(group)
        if empty:
            stretches[of_it[0], of_it[-1]] = sum(poured[order] for order in of_it)
    return stretches


def _as_uneven(poured: Counter[int], taken: Counter[int]) -> float:
    """How often a random draw lies as unevenly as this one, by three tests [-]."""
    longest = max(_stretches(poured, taken).values(), default=0)
    size, n = poured.total(), taken.total()
    first, last = min(taken), max(taken)
    outer = sum(many for order, many in poured.items() if not first <= order <= last)
    p_values = (
        _stretch_as_long(longest, n=n, whole=size),
        at_most_in_sample(1, n=n, whole=size, marked=min(outer + 1, size)),
        _ranks_as_far(poured, taken),
    )
    return min(1.0, len(p_values) * min(p_values))


def _stretch_as_long(count: int, *, n: int, whole: int) -> float:
    """The chance that the longest stretch without a unit drawn is no shorter."""
    if count == 0:
        return 1.0
    most = min(n + 1, (whole - n) // count)
    ways = ((-1) ** j * math.comb(n + 1, j) * math.comb(whole - j * count, n) for j in range(1, most + 1))
    return float(-sum(ways) / math.comb(whole, n))


def _ranks_as_far(poured: Counter[int], taken: Counter[int]) -> float:
    """The two-sided p-value of the sum of the ranks of the units drawn."""
    whole, n = poured.total(), taken.total()
    total, below = 0.0, 0
    for order in sorted(poured):
        total += taken[order] * (below + 0.5 * (poured[order] + 1))
        below += poured[order]
    ties = sum(many**3 - many for many in poured.values())
    variance = n * (whole - n) / 12.0 * (whole + 1 - ties / (whole * (whole - 1)) if whole > 1 else 0.0)
    away = abs(total - 0.5 * n * (whole + 1)) - 0.5
    return 2.0 * NormalDist().cdf(-away / math.sqrt(variance)) if variance > 0.0 and away > 0.0 else 1.0
