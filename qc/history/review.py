"""What a review of a product says: its charts, what changed in them and when, cavities, parts of the spread."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.history.cavities import CavityFound, UnitsOfBatch, cavities_apart, cavity_series
from qc.history.cavities import content_components as of_content
from qc.history.cavities import mass_components as of_mass
from qc.history.change import Change
from qc.history.components import Components
from qc.history.figures import BatchFigures
from qc.history.products import BatchSeries, Product, series_of
from qc.history.wording import day_of, ends_in_words, events_near, far_from_level, of_series, which_way


class Review(Struct, frozen=True, kw_only=True):
    """Everything that a review of one product says.

    Parameters
    ----------
    product : Product
    series : tuple of BatchSeries
        The charts of the product.
    cavities : tuple of BatchSeries
        Each cavity from batch to batch.
    apart : tuple of CavityFound
    mass : Components or None
    contents : dict
        By active.
    """

    product: Product
    series: tuple[BatchSeries, ...]
    cavities: tuple[BatchSeries, ...]
    apart: tuple[CavityFound, ...]
    mass: Components | None
    contents: dict[str, Components]


class Signal(Struct, frozen=True, kw_only=True):
    """One line of the table of signals: when, what, before and after, what was noted then, the report of the batch."""

    day: str
    what: str
    before: str
    after: str
    when: str
    noted: str
    batch: BatchFigures


def review_of(product: Product, units: Sequence[UnitsOfBatch]) -> Review:
    """Work out what a review says.

    Parameters
    ----------
    product : Product
        With the batches of the time that is reviewed.
    units : sequence of UnitsOfBatch
        The units of its newest batches.
    """
    cavities = cavity_series(units, first=len(product.batches) - len(units))
    mass = of_mass(units)
    actives = sorted({active for one in units for active in one.contents})
    contents = {active: found for active in actives if (found := of_content(units, active)) is not None}
    return Review(
        product=product,
        series=tuple(series_of(product)),
        cavities=tuple(cavities),
        apart=tuple(cavities_apart(cavities, mass)),
        mass=mass,
        contents=contents,
    )


def signals(review: Review) -> list[Signal]:
    """What was found in the charts and in the cavities, in the order of their days."""
    product = review.product
    found = [_of_change(product, one, change) for one in (*review.series, *review.cavities) for change in one.changes]
    for one in (*review.series, *review.cavities):
        for place in one.followed.beyond:
            batch = product.batches[one.places[place]]
            found.append(
                Signal(
                    day=batch.day,
                    what=of_series(one),
                    before="",
                    after=far_from_level(one, place),
                    when=batch.day,
                    noted=events_near(product, batch.day, batch.day),
                    batch=batch,
                )
            )
    return sorted(found, key=lambda one: one.day)


def _of_change(product: Product, one: BatchSeries, change: Change) -> Signal:
    first, last = day_of(product, one, change.first), day_of(product, one, change.last)
    earliest, latest = day_of(product, one, change.earliest), day_of(product, one, change.latest)
    how = f"{first} to {last}, little by little" if change.kind == "creep" else first
    doubt = f" ({earliest} to {latest})" if change.kind == "step" and earliest != latest else ""
    return Signal(
        day=first,
        what=f"{of_series(one)} {which_way(change)}",
        before=ends_in_words(one, change.before),
        after=f"{ends_in_words(one, change.after)} {one.unit}",
        when=how + doubt,
        noted=events_near(product, earliest, latest),
        batch=product.batches[one.places[change.seen]],
    )
