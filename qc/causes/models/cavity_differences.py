"""Cavities, or whole moulds, hold different amounts: masses repeat from round to round, and base pours agree."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import Flags, RowKind, Rows, means_by
from qc.causes.shifts import even_shift
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour

ID = "cavity-differences"
AMPLITUDES = 24


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Log-normal spread of ln(capacity) [-]: every cavity on its own, whole moulds, or one place that is off.

    Where nobody named a cavity or a mould, the scatter of cavities is that of fill, and a batch looks like a sound one.

    The single places are shapes (places, rows) with equally likely sizes, larger or smaller [-]. Base may have been
    poured before that came about, or into another mould: it shows in half of them.
    """
    rows, priors = background.rows, background.priors
    if not {*rows.cavities, *rows.moulds} - {""}:
        return (Likelihood(),)
    kinds = [places for places in places_of(rows) if len(places)]
    added = background.spreads(ID, "spread", column=2) ** 2
    of_moulds = priors.number(ID, "moulds") if len({*rows.moulds} - {""}) > 1 else 0.0
    single = priors.number(ID, "one_cavity") if kinds else 0.0
    ways = [
        Likelihood(weight=1.0 - of_moulds - single, added={"cavity": added}),
        Likelihood(weight=of_moulds, added={"mould": added}),
    ]
    if kinds:
        size = priors.size(ID, "one_cavity_shift").equally_likely(AMPLITUDES)
        shapes = [places * of for places in kinds for of in (background.capacities, background.volumes)]
        shift = even_shift(
            np.vstack(shapes).astype(np.float64),
            np.concatenate([size, -size]),
            shape_weights=np.concatenate([np.full(len(alike), 1.0 / len(alike)) for alike in shapes]),
        )
        ways.append(Likelihood(weight=single, shifts=(shift,)))
    return tuple(way for way in ways if way.weight > 0.0)


def places_of(rows: Rows) -> tuple[Flags, Flags]:
    """Which rows are of each single cavity, and of each mould, or of one mould of each half: shapes (places, rows)."""
    cavities, moulds = (sorted({*of} - {""}, key=lambda name: (len(name), name)) for of in (rows.cavities, rows.moulds))
    single, whole = (
        np.array([[one == name for one in of] for name in names], dtype=np.bool_)
        for of, names in ((rows.cavities, cavities), (rows.moulds, moulds))
    )
    half = len(cavities) // 2
    if len(moulds) < 2:
        whole = np.array([single[:half].any(axis=0), single[half:].any(axis=0)] if half else [], dtype=np.bool_)
    return single, whole


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Give every cavity (moulds * cavities,) a size of its own [g], by about 3.5 % at strength 1."""
    from qc.simulate.pouring import unit_scatter

    holes = draw.recipe.holes
    spread = draw.about(0.035)
    scatter = draw.rng.standard_normal(holes)
    factor = np.exp(spread * (unit_scatter(scatter) if holes > 1 else scatter))
    hole = np.arange(draw.recipe.units) % holes
    spoiled = replace(pour, capacity_g=pour.capacity_g * factor[hole], cavity_g=pour.cavity_g * factor)
    places = (draw.recipe.place(int(hole)) for hole in (factor.argmin(), factor.argmax()))
    smallest, largest = (message("causes.cavity_of_mould", mould=one + 1, cavity=two + 1) for one, two in places)
    story = message("causes.cavities_differ", percent=100.0 * spread, smallest=smallest, largest=largest)
    return spoiled.with_story(story, physics={"cavity_spread_percent": 100.0 * spread})


def speak(facts: Facts) -> Iterator[Message]:
    """Whether masses repeat by cavity, and whether base pours agree."""
    rows = facts.rows
    masses = rows.of(RowKind.MASS)
    cavities, moulds = means_by(rows, masses, rows.cavities), means_by(rows, masses, rows.moulds)
    if facts.cavity_share is not None:
        yield from facts.share_between_cavities()
        yield message("causes.cavity_range", percent=_range_percent(cavities))
    else:
        yield message("causes.filled_once") if cavities else message("causes.no_cavities")
    if len(moulds) > 1:
        yield message("causes.mould_range", percent=_range_percent(moulds))
    agreement = _base_agreement(rows, cavities)
    if agreement is not None:
        yield message("causes.base_agreement", correlation=agreement)


def _range_percent(means: dict[str, float]) -> float:
    return 100.0 * (max(means.values()) - min(means.values()))


def _base_agreement(rows: Rows, weighed: dict[str, float]) -> float | None:
    """Correlation of the cavities' mean masses with their base-only pours [-]; None for fewer than three cavities."""
    poured = means_by(rows, rows.of(RowKind.BASE_POUR), rows.cavities)
    both = sorted(set(poured) & set(weighed))
    one, two = np.array([poured[name] for name in both]), np.array([weighed[name] for name in both])
    if len(both) < 3 or one.std() == 0.0 or two.std() == 0.0:
        return None
    return float(np.corrcoef(one, two)[0, 1])


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
