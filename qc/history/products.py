"""The entries of a register by product: which batches stand, which were superseded, and the series of their figures."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import partial
from math import log, sqrt

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.field import same_name
from qc.history.change import Change, changes
from qc.history.charts import RULES, BatchValue, Followed, SignalRules, follow
from qc.history.entries import Confirmed, Event, Figures
from qc.history.figures import BatchFigures, WithinBatch

# A product of which nothing changes gives one false signal in so many batches, over all its charts together; its
# cavities together in twice as many.
BATCHES_A_FALSE_SIGNAL, OF_CAVITIES = 250, 500
# What one series with the rules as they stand gives (see `SignalRules`).
_ONE_SERIES = 1000.0


class Replaced(Struct, frozen=True, kw_only=True):
    """A batch whose entry was followed by another of the same batch, with that one."""

    earlier: BatchFigures
    later: BatchFigures


class Product(Struct, frozen=True, kw_only=True):
    """One product in one strength.

    Parameters
    ----------
    name, strength : str
        As first entered.
    batches : tuple of BatchFigures
        Those that stand, in the order in which they were made.
    superseded : tuple of Replaced
    events : tuple of Event
        Of this product or of all.
    confirmed : dict
        The cause that was confirmed, by digest of the result.
    """

    name: str
    strength: str
    batches: tuple[BatchFigures, ...]
    superseded: tuple[Replaced, ...] = ()
    events: tuple[Event, ...] = ()
    confirmed: dict[str, str] = {}


class BatchSeries(Struct, frozen=True, kw_only=True):
    """One figure over the batches of a product, and what was found in it.

    Parameters
    ----------
    id : str
        `mass-mean`, `mass-sd`, `content-mean`, `content-sd`, or `cavity`.
    of : str
        The active, or the mould and cavity.
    unit : str
        Unit of measure of what is shown.
    places : tuple of int
        The batch of each value, counted from 0.
    points : tuple of BatchValue
        On the scale on which they are followed.
    power : float
        What that scale is raised to for what is shown: an SD is followed as the cube root of its square.
    """

    id: str
    of: str
    unit: str
    places: tuple[int, ...]
    points: tuple[BatchValue, ...]
    followed: Followed
    changes: tuple[Change, ...]
    power: float = 1.0

    @property
    def levels(self) -> list[tuple[range, list[float]]]:
        """The places of each level, and the values followed there, less those of batches beyond the limit."""
        begins, beyond = self.followed.levels, set(self.followed.beyond)
        every = [range(*ends) for ends in zip(begins, [*begins[1:], len(self.points)], strict=True)]
        return [(level, [self.points[at].value for at in level if at not in beyond]) for level in every]

    def shown(self, value: float) -> float:
        """A value of the scale that is followed in the unit of measure of the series."""
        return float(max(value, 0.0) ** self.power) if self.power != 1.0 else value


def products(records: Iterable[tuple[int, Figures]]) -> list[Product]:
    """The products of a register, those with most batches first.

    A later entry of the same batch number, product and strength takes the place of the earlier one, and so does one
    whose report names the earlier as superseded. A batch without a number goes by its input.
    """
    standing: dict[tuple[str, ...], BatchFigures] = {}
    places: dict[str, tuple[str, ...]] = {}
    replaced: list[Replaced] = []
    events, confirmed = list[Event](), dict[str, str]()
    for number, one in records:
        if isinstance(one, Event):
            events.append(one)
        elif isinstance(one, Confirmed):
            confirmed[one.result_sha256] = one.cause
        else:
            unnumbered = (*one.key, "", one.input_sha256 or one.result_sha256)
            named = (*one.key, same_name(one.number)) if one.number else unnumbered
            for earlier in sorted({named, places.get(one.supersedes, named)} & standing.keys()):
                replaced.append(Replaced(earlier=standing.pop(earlier), later=one))
            standing[named] = replace(one, entry=number)
            places[one.result_sha256] = named
    found: dict[tuple[str, str], list[BatchFigures]] = {}
    for batch in standing.values():
        found.setdefault(batch.key, []).append(batch)
    made = [
        Product(
            name=batches[0].product,
            strength=key[1],
            batches=tuple(sorted(batches, key=lambda one: (one.day, one.judged_at, one.entry))),
            superseded=tuple(one for one in replaced if one.later.key == key),
            events=tuple(one for one in events if not one.product or same_name(one.product) == key[0]),
            confirmed={id: confirmed[id] for id in (one.result_sha256 for one in batches) if id in confirmed},
        )
        for key, batches in found.items()
    ]
    return sorted(made, key=lambda one: -len(one.batches))


def within(product: Product, *, first: str, last: str) -> Product:
    """The same product with the batches and events from one day to another, both included; an empty day is no limit."""

    def asked_for(day: str) -> bool:
        return first <= day and (not last or day[: len(last)] <= last)

    return replace(
        product,
        batches=tuple(one for one in product.batches if asked_for(one.day)),
        superseded=tuple(one for one in product.superseded if asked_for(one.later.day)),
        events=tuple(one for one in product.events if asked_for(one.day)),
    )


def rules_for(series: int, *, batches: int = BATCHES_A_FALSE_SIGNAL) -> SignalRules:
    """Rules by which so many series give one false signal together in so many batches.

    The tails of normal scores shrink as exp(-x^2 / 2), and the run length of a CUSUM with slack 1/2 grows as exp(h); a
    test shows how well that holds.
    """
    rarer = log(max(series, 1) * batches / _ONE_SERIES)
    return replace(
        RULES,
        point=sqrt(RULES.point**2 + 2.0 * rarer),
        ewma=sqrt(RULES.ewma**2 + 2.0 * rarer),
        split=sqrt(RULES.split**2 + 2.0 * rarer),
        cusum=RULES.cusum + rarer,
    )


def series_of(product: Product) -> list[BatchSeries]:
    """The charts of a product: means and SD of masses and of the content of each active, as far as there are values."""
    planned = all(one.planned_g for one in product.batches if one.mass)
    actives = sorted({active for one in product.batches for active in one.contents})

    def mass(one: BatchFigures) -> WithinBatch | None:
        scale = 100.0 / one.planned_g if planned and one.planned_g else 1.0
        return one.mass and replace(one.mass, mean=one.mass.mean * scale, sd=one.mass.sd * scale)

    of_mass = "% of plan" if planned else "g"
    asked: list[tuple[str, str, str, Callable[[BatchFigures], WithinBatch | None]]] = [("mass", "", of_mass, mass)]
    asked += [("content", active, "% of label", partial(_content, active)) for active in actives]
    raw = [
        (f"{what}-{kind}", of, unit, power, list(_points(product.batches, get, kind)))
        for what, of, unit, get in asked
        for kind, power in (("mean", 1.0), ("sd", 1.5))
    ]
    raw = [one for one in raw if one[-1]]
    rules = rules_for(len(raw))
    return [followed(id, of, unit, found, rules=rules, power=power) for id, of, unit, power, found in raw]


def _content(active: str, one: BatchFigures) -> WithinBatch | None:
    return one.contents.get(active)


def _points(
    batches: Sequence[BatchFigures], get: Callable[[BatchFigures], WithinBatch | None], kind: str
) -> Iterator[tuple[int, BatchValue]]:
    for place, batch in enumerate(batches):
        one = get(batch)
        if one is None or one.sd <= 0.0:
            continue
        if kind == "mean":
            yield place, BatchValue(value=one.mean, size=1.0 / one.n, within=one.sd**2)
        else:
            yield place, value_of_sd(one.sd, one.n)


def value_of_sd(sd: float, n: int) -> BatchValue:
    """An SD of n units as it is followed: the cube root of a variance is nearly normal (Wilson & Hilferty 1931)."""
    spread = 2.0 / (9.0 * (n - 1))
    root = (sd ** (2.0 / 3.0)) / (1.0 - spread)
    return BatchValue(value=root, size=spread, within=root**2)


def followed(
    id: str, of: str, unit: str, found: Sequence[tuple[int, BatchValue]], *, rules: SignalRules, power: float = 1.0
) -> BatchSeries:
    """A series with its signals and changes."""
    places, points = tuple(place for place, _ in found), tuple(point for _, point in found)
    one = follow(points, rules=rules)
    moved = changes([point.value for point in points], levels=one.levels, seen=one.seen, aside=one.beyond)
    return BatchSeries(
        id=id, of=of, unit=unit, places=places, points=points, followed=one, changes=tuple(moved), power=power
    )
