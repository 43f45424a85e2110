"""Faults outside the listed ones, laid over sound batches of `foreign_batches.py`.

The sound batches were drawn by somebody who had not seen the models of the causes. The kinds here were written down
before the models that came after the first ten, by somebody who had read the ten: that is said beside every figure.
Sizes are what a practitioner would notice (common practice).

`MODELLED` have had a model made for them since. `TUNING` was looked at while `something-else` was made; `KEPT_ASIDE`
was not.
"""

from __future__ import annotations

import importlib.util
import sys
import zlib
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from types import ModuleType

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray

from qc.batch import Assay, Batch, Part

Floats = NDArray[np.float64]

# The cause that is right for each kind of which a model was made since.
MODELLED: dict[str, frozenset[str]] = {
    "wrong-label": frozenset({"assay-bias"}),
    "wrong-salt-factor": frozenset({"active-excess", "active-lost"}),
    "active-twice": frozenset({"active-excess"}),
    "assay-reads-off": frozenset({"assay-bias"}),
    "balance-reads-off": frozenset({"balance-scale"}),
    "tare-left-on": frozenset({"balance-scale"}),
    "mould-leaks": frozenset({"leaking-mould"}),
    "cavity-leaks": frozenset({"leaking-mould"}),
    "melt-thickens": frozenset({"melt-thickening"}),
}
TUNING = (
    "active-twice-in-half",
    "evaporation-by-place",
    "two-assay-days",
    "stirred-in-pulses",
    "jug-by-mould",
    "plain-base-at-the-end",
    "two-balances",
    "spilt-assays",
)
KEPT_ASIDE = (
    "two-melts",
    "hump-in-the-middle",
    "decomposing-while-hot",
    "washings-first",
    "rich-edge-of-the-mould",
    "units-assayed-in-pairs",
    "wrapped-units",
    "worn-mould-and-weak-melt",
)
KINDS = (*MODELLED, *TUNING, *KEPT_ASIDE)


@dataclass(slots=True, kw_only=True)
class Effect:
    """By what each unit departs from a sound one, factors of shape (units,)."""

    volume: Floats
    concentration: Floats
    indicated: Floats
    assayed: Floats
    tare_g: float = 0.0


def _either(rng: np.random.Generator, low: float, high: float) -> float:
    return float(rng.uniform(low, high) * rng.choice([-1.0, 1.0]))


def _effect(kind: str, rng: np.random.Generator, *, order: Floats, moulds: list[str], cavities: list[str]) -> Effect:
    """What the kind does; `order` is the place in the pour, 0 first and 1 last."""
    n = order.size
    one = np.ones(n)
    made = Effect(volume=one.copy(), concentration=one.copy(), indicated=one.copy(), assayed=one.copy())
    names = sorted(set(moulds))
    holes = sorted(set(zip(moulds, cavities, strict=True)))
    hole = np.array([holes.index(pair) for pair in zip(moulds, cavities, strict=True)])
    mould = np.array([names.index(name) for name in moulds])
    if kind == "wrong-label":
        made.assayed *= rng.choice([0.5, 0.8, 0.9, 1.1, 1.25, 2.0])
    elif kind == "wrong-salt-factor":
        made.concentration *= rng.choice([0.75, 0.82, 0.88, 1.12, 1.2, 1.3])
    elif kind == "active-twice":
        made.concentration *= 2.0
    elif kind == "assay-reads-off":
        made.assayed *= 1.0 + _either(rng, 0.06, 0.15)
    elif kind == "balance-reads-off":
        made.indicated *= 1.0 + _either(rng, 0.03, 0.10)
    elif kind == "tare-left-on":
        made.tare_g = _either(rng, 0.06, 0.25)
    elif kind == "mould-leaks":
        made.volume -= rng.uniform(0.04, 0.12) * (mould == rng.integers(len(names))) * rng.uniform(0.6, 1.0, n)
    elif kind == "cavity-leaks":
        made.volume -= rng.uniform(0.06, 0.25) * (hole == rng.integers(len(holes))) * rng.uniform(0.6, 1.0, n)
    elif kind == "melt-thickens":
        made.volume -= rng.uniform(0.06, 0.14) * order ** rng.uniform(1.0, 2.5)
    elif kind == "active-twice-in-half":
        made.concentration *= np.where((order > 0.5) ^ bool(rng.integers(2)), 2.0, 1.0)
    elif kind == "evaporation-by-place":
        place = np.abs(np.linspace(-1.0, 1.0, len(holes)))[hole]
        made.indicated *= 1.0 - rng.uniform(0.03, 0.06) - rng.uniform(0.03, 0.06) * place
    elif kind == "two-assay-days":
        made.assayed *= np.where(rng.random(n) < 0.5, 1.0 + _either(rng, 0.06, 0.14), 1.0)
    elif kind == "stirred-in-pulses":
        made.concentration *= 1.0 + rng.uniform(0.08, 0.16) * (((np.argsort(np.argsort(order)) % 6) / 5.0) - 0.5)
    elif kind == "jug-by-mould":
        groups = mould if len(names) > 1 else (order > 0.4).astype(int) + (order > 0.75)
        made.concentration *= np.exp(0.09 * rng.standard_normal(int(groups.max()) + 1))[groups]
    elif kind == "plain-base-at-the-end":
        made.concentration *= np.where(order > rng.uniform(0.75, 0.9), rng.uniform(0.3, 0.7), 1.0)
    elif kind == "two-balances":
        made.indicated *= np.where(np.arange(n) % 2 == 0, 1.0 + _either(rng, 0.02, 0.05), 1.0)
    elif kind == "spilt-assays":
        made.assayed *= np.where(rng.random(n) < 0.2, rng.uniform(0.5, 0.9, n), 1.0)
    elif kind == "two-melts":
        step = order > rng.uniform(0.3, 0.7)
        made.concentration *= np.where(step, 1.0 + _either(rng, 0.08, 0.20), 1.0 + _either(rng, 0.0, 0.05))
    elif kind == "hump-in-the-middle":
        made.concentration *= 1.0 + rng.uniform(0.10, 0.25) * np.exp(-(((order - rng.uniform(0.35, 0.65)) / 0.15) ** 2))
    elif kind == "decomposing-while-hot":
        made.concentration *= np.exp(-rng.uniform(0.10, 0.30) * order)
    elif kind == "washings-first":
        made.concentration *= 1.0 - rng.uniform(0.25, 0.5) * np.exp(-order * n / 2.0)
    elif kind == "rich-edge-of-the-mould":
        edge = np.abs(np.linspace(-1.0, 1.0, len(holes)))[hole]
        made.concentration *= 1.0 + rng.uniform(0.10, 0.22) * (edge - edge.mean())
    elif kind == "units-assayed-in-pairs":
        made.assayed *= np.where(rng.random(n) < 0.25, 2.0, 1.0)
    elif kind == "wrapped-units":
        made.indicated *= np.where(rng.random(n) < 0.4, 1.0 + rng.uniform(0.02, 0.05), 1.0)
    elif kind == "worn-mould-and-weak-melt":
        made.volume *= 1.0 + rng.uniform(0.03, 0.08)
        made.concentration *= 1.0 - rng.uniform(0.08, 0.15)
    else:
        raise ValueError(f"kind {kind!r} is not one of {', '.join(KINDS)}")
    return made


def _foreign() -> ModuleType:
    name = "foreign_batches"
    if name not in sys.modules:
        spec = importlib.util.spec_from_file_location(name, Path(__file__).parent / f"{name}.py")
        assert spec is not None
        assert spec.loader is not None
        sys.modules[name] = importlib.util.module_from_spec(spec)
        spec.loader.exec_module(sys.modules[name])
    return sys.modules[name]


def draw_kind(kind: str, *, seed: int, world: str = "other-shapes") -> Batch:
    """A sound foreign batch with a fault of that kind laid over it; the first active bears what concerns one active."""
    batch: Batch = _foreign().draw_foreign("sound", seed=50_000 + seed, world=world)[0]
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode()), zlib.crc32(world.encode())])
    units = batch.units
    places = np.array([float(unit.pour_order or 1) for unit in units])
    order = (places - 1.0) / max(places.max() - 1.0, 1.0)
    made = _effect(
        kind,
        rng,
        order=order,
        moulds=[unit.mould or "" for unit in units],
        cavities=[unit.cavity or "" for unit in units],
    )
    active = batch.actives[0]
    label = float(active.label_claim_mg or 1)
    value = float(active.displacement.value) if active.displacement is not None else 1.5
    mass = np.array([float(unit.mass_g or 1) for unit in units])
    # What a rise in concentration adds to the mass: the active takes the place of its volume of base.
    gain = label / 1000.0 * (1.0 - 1.0 / value) / mass * (made.concentration - 1.0)
    weighed = mass * made.volume * (1.0 + gain) * made.indicated + made.tare_g
    content = dict(zip([unit.name for unit in units], made.volume * made.concentration * made.assayed, strict=True))
    by_volume = dict(zip([unit.name for unit in units], made.volume * made.assayed, strict=True))
    true_g = dict(zip([unit.name for unit in units], made.volume * (1.0 + gain), strict=True))
    return replace(
        batch,
        units=tuple(
            replace(unit, mass_g=_like(unit.mass_g, grams)) for unit, grams in zip(units, weighed.tolist(), strict=True)
        ),
        assays=tuple(
            _assay(one, by=(content if one.active == active.name else by_volume)[one.unit], part_by=true_g[one.unit])
            for one in batch.assays
        ),
    )


def _assay(assay: Assay, *, by: float, part_by: float) -> Assay:
    parted = assay.part is not Part.WHOLE and assay.part_mass_g is not None
    return replace(
        assay,
        content_mg=_like(assay.content_mg, float(assay.content_mg) * by) if assay.content_mg is not None else None,
        content_percent=_like(assay.content_percent, float(assay.content_percent) * by)
        if assay.content_percent is not None
        else None,
        part_mass_g=_like(assay.part_mass_g, float(assay.part_mass_g or 1) * part_by) if parted else assay.part_mass_g,
    )


def _like(old: Decimal | None, new: float) -> Decimal | None:
    return None if old is None else Decimal(new).quantize(old)
