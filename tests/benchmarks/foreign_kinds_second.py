"""Faults of poured medicines that the package's list of causes does not name, and listed ones by another's physics.

Made by somebody who had read what a batch is, what goes in and comes out, notes on practice and all of
`foreign_batches`, but none of the models of causes, their tests or their results. Some kinds were asked for by name;
how each behaves, and all sizes, are the writer's judgement. Invented data.

`KINDS` holds faults outside the list, each a call (batch, generator, strength) that spoils a sound batch, whether of
`foreign_batches` or of `draw_sound`. `LOOK_AT` and `KEPT_ASIDE` split them by a rule that was set before any was tried:
every other one in alphabetical order. A strength of 0 is just noticeable, 1 gross. What touches contents alone is made
to strike units that were assayed, since nobody could see it otherwise; mass and content change as the physics says, on
the decimals that were typed. `draw_listed` draws the listed causes: melts, volumes and settling worked out afresh.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

import numpy as np
from msgspec.structs import replace
from numpy.typing import NDArray
from scipy.special import ndtr

from qc.batch import Active, Assay, Base, Batch, CavityPour, Displacement, DisplacementConvention, Part, State, Unit

Floats = NDArray[np.floating[Any]]
Marks = NDArray[np.bool_]
Rng = np.random.Generator


@dataclass(frozen=True, slots=True)
class Lay:
    """Where units stood: in the pour, the record and the mould (each 0 to 1), and how vials stood in the assay."""

    pour: Floats
    row: Floats
    place: Floats
    mould: NDArray[np.str_]
    cavity: NDArray[np.str_]
    assayed: NDArray[np.int_]
    vials: int

    @property
    def n(self) -> int:
        return len(self.pour)

    def few(self, rng: Rng, pool: NDArray[np.int_], low: int = 3) -> Marks:
        """From `low` units of the pool to a quarter of it."""
        count = min(len(pool), int(rng.integers(low, max(low + 1, len(pool) // 4 + 1))))
        return np.asarray(np.isin(np.arange(self.n), rng.choice(pool, count, replace=False)))

    def stretch(self, rng: Rng, along: Floats, share: tuple[float, float]) -> Marks:
        """Neighbours in an order, at least three of them."""
        count = max(3, round(float(rng.uniform(*share)) * self.n))
        first = int(rng.integers(max(1, self.n - count)))
        return np.asarray(np.isin(np.arange(self.n), np.argsort(along, kind="stable")[first : first + count]))

    def one_mould(self, rng: Rng) -> Marks:
        """The units of one mould, or of half the cavities where there is one mould."""
        names = np.unique(self.mould)
        return np.asarray(self.mould == rng.choice(names) if len(names) > 1 else self.place > 0.5)

    def onset(self, rng: Rng) -> float:
        """A moment of the pour that has assayed units well on both sides."""
        return float(np.quantile(self.pour[self.assayed], rng.uniform(0.3, 0.7)))


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """Factors: melt (mass and content), base or water alone, first active alone, balance, and vial; and grams added."""

    melt: Floats | float = 1.0
    plain: Floats | float = 1.0
    active: Floats | float = 1.0
    shown: Floats | float = 1.0
    added_g: Floats | float = 0.0
    vial: Floats | float = 1.0


def _typed(old: Decimal | None, factor: float, added: float = 0.0) -> Decimal | None:
    """The number changed, with as many decimals as were typed; an untouched one as it is."""
    if old is None or (factor == 1.0 and added == 0.0):
        return old
    return Decimal(max(0.0, float(old) * factor + added)).quantize(Decimal((0, (1,), int(old.as_tuple().exponent))))


def _vials(batch: Batch) -> dict[tuple[str, Part], int]:
    """Vials in the order of the assays; the actives of one sample are read from one vial."""
    samples = dict.fromkeys((one.unit, one.part) for one in batch.assays)
    return {sample: turn for turn, sample in enumerate(samples)}


def _lay(batch: Batch) -> Lay:
    n, found = len(batch.units), {one.unit for one in batch.assays}
    weighed = [(i if unit.weighing_order is None else unit.weighing_order) for i, unit in enumerate(batch.units)]
    pour = np.array([(unit.pour_order or i + 1) for i, unit in enumerate(batch.units)], dtype=float)
    numbers = np.array([int(unit.cavity or 0) for unit in batch.units], dtype=float)
    return Lay(
        pour=(pour - pour.min()) / max(1.0, float(np.ptp(pour))),
        row=np.argsort(np.argsort(weighed, kind="stable"), kind="stable") / max(1, n - 1),
        place=(numbers - numbers.min()) / max(1.0, float(np.ptp(numbers))),
        mould=np.array([unit.mould or "" for unit in batch.units]),
        cavity=np.array([f"{unit.mould}/{unit.cavity}" for unit in batch.units]),
        assayed=np.array([i for i, unit in enumerate(batch.units) if unit.name in found], dtype=int),
        vials=len(_vials(batch)),
    )


def _changed(batch: Batch, lay: Lay, change: Change) -> Batch:
    one = np.ones(lay.n)
    real, melt, active = one * change.melt * change.plain, one * change.melt, one * change.active
    shown, added, read = real * change.shown, change.added_g * one, np.ones(lay.vials) * change.vial
    at, turn = {unit.name: i for i, unit in enumerate(batch.units)}, _vials(batch)
    units = [replace(unit, mass_g=_typed(unit.mass_g, shown[i], added[i])) for i, unit in enumerate(batch.units)]
    assays = []
    for old in batch.assays:
        i = at[old.unit]
        factor = melt[i] * read[turn[old.unit, old.part]] * (active[i] if old.active == batch.actives[0].name else 1.0)
        parts = {"content_mg": _typed(old.content_mg, factor), "content_percent": _typed(old.content_percent, factor)}
        assays.append(replace(old, **parts, part_mass_g=_typed(old.part_mass_g, real[i])))
    return replace(batch, units=tuple(units), assays=tuple(assays))


@dataclass(frozen=True, slots=True, kw_only=True)
class Kind:
    """A fault outside the list; `alike` names listed causes whose very shape it has, so that naming one is right.

    Where base pours show even cavities they speak against cavity differences. What is drawn along the assay looks like
    poor mixing to whoever takes no notice of the order of the vials, and is not alike to it.
    """

    shape: Callable[[Lay, Rng, float], Change]
    because: str
    sizes: tuple[float, float]
    size_of: str
    drawn_by: str
    alike: tuple[str, ...]

    def __call__(self, batch: Batch, rng: Rng, strength: float) -> Batch:
        lay, (low, high) = _lay(batch), self.sizes
        return _changed(batch, lay, self.shape(lay, rng, low * (high / low) ** strength))


KINDS: dict[str, Kind] = {}
Shape = Callable[[Lay, Rng, float], Change]


def _kind(low: float, high: float, size_of: str, drawn_by: str, *alike: str) -> Callable[[Shape], Shape]:
    def enter(shape: Shape) -> Shape:
        name, because = shape.__name__.replace("_", "-"), shape.__doc__ or ""
        KINDS[name] = Kind(
            shape=shape, because=because, sizes=(low, high), size_of=size_of, drawn_by=drawn_by, alike=alike
        )
        return shape

    return enter


@_kind(0.03, 0.12, "mass of the worst unit", "scattered", "uneven-fill")
def air_bubbles(lay: Lay, rng: Rng, size: float) -> Change:
    """Air stirred into the melt is caught in some units, which hold less of everything."""
    return Change(melt=1.0 - size * lay.few(rng, np.arange(lay.n)) * rng.uniform(0.4, 1.0, lay.n))


@_kind(0.05, 0.20, "reading after a standard", "assay order")
def carry_over(lay: Lay, rng: Rng, size: float) -> Change:
    """The injector carries a strong standard, run before every fifth vial, into the vials that follow."""
    return Change(vial=1.0 + size * 0.2 ** (np.arange(lay.vials) % 5))


@_kind(0.08, 0.35, "content read, either way", "scattered", "slip-of-pen")
def crossed_vials(lay: Lay, rng: Rng, size: float) -> Change:
    """One or two vials carry the label of a unit but hold a check sample of another strength."""
    wrong = rng.permutation(lay.vials) < rng.integers(1, 3)
    return Change(vial=1.0 + size * rng.choice([-1.0, 1.0]) * wrong)


@_kind(0.05, 0.20, "content read, either way", "assay order")
def dilution_error(lay: Lay, rng: Rng, size: float) -> Change:
    """From some sample on the solutions were made up in a flask or with a pipette that is off."""
    late = np.arange(lay.vials) >= round(lay.vials * float(rng.uniform(0.3, 0.7)))
    return Change(vial=1.0 + size * rng.choice([-1.0, 1.0]) * late)


@_kind(0.02, 0.08, "mass of a unit", "row")
def sweated_units(lay: Lay, rng: Rng, size: float) -> Change:
    """Units at the warm edge of the tray sweat molten base into the paper and keep their powder."""
    return Change(plain=1.0 - size * lay.stretch(rng, lay.row, (0.15, 0.4)) * rng.uniform(0.6, 1.0, lay.n))


@_kind(0.08, 0.35, "content of the last units", "pour order")
def last_units_stretched(lay: Lay, rng: Rng, size: float) -> Change:
    """The melt ran short, so plain base was added to the rest and the last units are full but poor."""
    start = min(float(rng.uniform(0.8, 0.92)), float(np.sort(lay.pour[lay.assayed])[-2]))
    return Change(active=1.0 - size * (lay.pour >= start))


@_kind(0.01, 0.04, "mass shown, either way", "row", "balance-drift")
def levelled_midway(lay: Lay, rng: Rng, size: float) -> Change:
    """The balance stood askew until somebody levelled it among the weighings; it reads otherwise from there."""
    return Change(shown=1.0 + size * rng.choice([-1.0, 1.0]) * (lay.row < rng.uniform(0.3, 0.7)))


@_kind(0.06, 0.25, "content of the worst unit", "scattered", "poor-mixing")
def lumps_of_base(lay: Lay, rng: Rng, size: float) -> Change:
    """Base that had not melted falls as lumps into some units and takes the room of medicated melt."""
    return Change(active=1.0 - size * lay.few(rng, lay.assayed, 2) * rng.uniform(0.5, 1.0, lay.n))


@_kind(0.06, 0.25, "content of a unit", "pour order")
def reheated_beaker(lay: Lay, rng: Rng, size: float) -> Change:
    """One beaker of several stood on the hot plate; active broke down in the units poured from it."""
    middle = lay.onset(rng)
    return Change(active=1.0 - size * (np.abs(lay.pour - middle) <= rng.uniform(0.12, 0.2)))


@_kind(0.05, 0.20, "content of a unit", "cavity")
def residue_in_mould(lay: Lay, rng: Rng, size: float) -> Change:
    """Base of the last batch was left in the tips of some cavities; units are full but lack active."""
    struck = lay.cavity[lay.few(rng, lay.assayed, 2)]
    return Change(active=1.0 - size * np.isin(lay.cavity, struck))


@_kind(0.08, 0.35, "content, first to last unit", "pour order", "settling-in-pour")
def sieve_blinds(lay: Lay, rng: Rng, size: float) -> Change:
    """Melt is strained into the moulds and the sieve keeps more of the powder back as it blinds."""
    return Change(active=1.0 - size * lay.pour ** rng.uniform(0.7, 1.5))


@_kind(0.03, 0.12, "mass, one end of the mould to the other", "cavity", "cavity-differences")
def slanting_blade(lay: Lay, rng: Rng, size: float) -> Change:
    """The blade is held aslant and cuts more from the units at one end of every mould."""
    return Change(melt=1.0 - size * (lay.place if rng.random() < 0.5 else 1.0 - lay.place))


@_kind(0.015, 0.06, "standard deviation of the mass shown", "row")
def static_charge(lay: Lay, rng: Rng, size: float) -> Change:
    """Dry air charges the foil under a run of units, and the balance shows them at random too light or heavy."""
    return Change(shown=1.0 + size * lay.stretch(rng, lay.row, (0.25, 0.5)) * rng.standard_normal(lay.n))


@_kind(0.05, 0.25, "mass of the worst unit", "scattered", "uneven-fill")
def sticky_units(lay: Lay, rng: Rng, size: float) -> Change:
    """Units that stick leave a piece of themselves in the cavity when they are pushed out."""
    return Change(melt=1.0 - size * lay.few(rng, np.arange(lay.n), 2) * rng.beta(2.0, 1.0, lay.n))


@_kind(0.03, 0.10, "mass of a unit", "mould")
def topped_up(lay: Lay, rng: Rng, size: float) -> Change:
    """The melt sank on setting in one mould, and one person topped that mould up with plain base."""
    return Change(plain=1.0 + size * lay.one_mould(rng) * rng.uniform(0.7, 1.0, lay.n))


@_kind(0.06, 0.20, "content read, one line to the other", "assay order")
def two_lines(lay: Lay, rng: Rng, size: float) -> Change:
    """Two analysts take every other vial and read them from calibration lines that disagree."""
    return Change(vial=1.0 + size * (np.arange(lay.vials) % 2 - 0.5))


@_kind(0.03, 0.10, "mass, one pourer to the other", "pour order", "uneven-fill")
def two_people(lay: Lay, rng: Rng, size: float) -> Change:
    """Somebody else took over the pouring and fills to another height."""
    return Change(melt=1.0 + size * rng.choice([-1.0, 1.0]) * (lay.pour > rng.uniform(0.3, 0.7)))


@_kind(0.06, 0.25, "content, one lot to the other", "pour order")
def two_powders(lay: Lay, rng: Rng, size: float) -> Change:
    """A second melt was made with a lot of powder of another potency and poured after the first."""
    return Change(active=1.0 + size * rng.choice([-1.0, 1.0]) * (lay.pour > lay.onset(rng)))


@_kind(0.10, 0.40, "content of the first unit", "pour order", "settling-in-pour")
def wall_takes_active(lay: Lay, rng: Rng, size: float) -> Change:
    """Active clings to funnel and wall until they are covered, so that the first units are poor."""
    return Change(active=1.0 - size * np.exp(-lay.pour * rng.uniform(2.5, 5.0)))


@_kind(0.015, 0.05, "mass shown of the first unit", "row", "balance-drift")
def weighed_warm(lay: Lay, rng: Rng, size: float) -> Change:
    """The first units came warm to the balance; rising air makes them look light until the rest has cooled."""
    return Change(shown=1.0 - size * np.exp(-lay.row * rng.uniform(3.0, 7.0)))


@_kind(0.06, 0.30, "grams of a wrapper", "row")
def wrapper_on(lay: Lay, rng: Rng, size: float) -> Change:
    """A run of units was weighed in the wrapper."""
    return Change(added_g=size * lay.stretch(rng, lay.row, (0.1, 0.3)) * (1.0 + 0.05 * rng.standard_normal(lay.n)))


@_kind(0.04, 0.15, "mass of a unit, either way", "mould", "cavity-differences")
def wrong_mould_size(lay: Lay, rng: Rng, size: float) -> Change:
    """One plate of cavities is of another size than the rest, and its units hold more or less melt."""
    return Change(melt=1.0 + size * rng.choice([-1.0, 1.0]) * lay.one_mould(rng))


LOOK_AT, KEPT_ASIDE = tuple(sorted(KINDS)[::2]), tuple(sorted(KINDS)[1::2])

# Spreads of sound units about their mean; "ten-milligrams" is a coarse balance, "humid" a mass that wanders as units
# take up and give off water while they wait to be weighed.
SPREADS = ("normal", "student-3", "one-in-twenty", "ten-milligrams", "skewed", "humid")
# Just noticeable and gross.
LISTED: dict[str, tuple[float, float]] = {
    "settling-in-pour": (0.08, 0.35),  # of the powder that settles
    "settling-in-unit": (0.03, 0.15),  # of the unit's length that clears
    "poor-mixing": (0.03, 0.12),  # standard deviation of the content by agglomerates
    "uneven-fill": (0.025, 0.08),  # standard deviation of the fill
    "cavity-differences": (0.015, 0.05),  # standard deviation of the volumes
    "wrong-displacement": (0.02, 0.10),  # of the planned mass
    "active-lost": (0.06, 0.25),
    "active-excess": (0.06, 0.25),
    "assay-bias": (0.04, 0.15),  # of every reading, either way
    "balance-drift": (0.015, 0.06),  # of the mass, over the weighings
    "balance-scale": (0.02, 0.10),  # of every mass, either way
    "leaking-mould": (0.04, 0.20),  # mean loss of a leaking cavity
    "melt-thickening": (0.04, 0.20),  # fill that the last unit lacks
    "slip-of-pen": (0.03, 0.40),  # of the entry
}
_MISREAD = {"0": "6", "1": "7", "3": "8", "4": "9", "5": "6", "6": "0", "7": "1", "8": "3", "9": "4"}


def _deviates(rng: Rng, spread: str, n: int) -> Floats:
    """Deviations of sound units, for the most part of standard deviation 1."""
    draws = np.asarray(rng.standard_normal(n))
    if spread == "student-3":
        return np.asarray(rng.standard_t(3, n) / np.sqrt(3.0))
    if spread == "one-in-twenty":
        return np.where(rng.random(n) < 0.05, 4.0 * draws, draws)
    return np.asarray(1.0 - rng.gamma(1.5, 1.0, n) / 1.5) if spread == "skewed" else draws


def _settled(rng: Rng, t: Floats, size: float) -> Floats:
    """Concentration along a pour from a vessel in which powder settles at its own speed (Stokes)."""
    if rng.random() < 0.5:
        # Stirred from above: loss goes with surface over volume, which rises as the vessel empties.
        return np.asarray((1.0 - np.minimum(t, 0.98)) ** (-np.log(1.0 - size) / np.log(10.0)))
    # At rest, poured over the lip: a layer holds the grains too slow to have left it, the bottom part of the sediment.
    slow = ndtr(np.log((t + 0.02) / (t + rng.uniform(0.3, 1.0)) / 0.4) / 0.5)
    bottom, poor = rng.uniform(0.15, 0.3), size * (1.0 - slow)
    return np.asarray(1.0 - poor + (t > 1.0 - bottom) * poor.mean() * rng.uniform(0.0, 0.5) / bottom)


def _slip(rng: Rng, old: Decimal, size: float) -> Decimal:
    """The entry as written by a hurried hand: two digits exchanged or one misread, about as far off as wanted."""
    text = str(old)
    slips = [
        text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in range(len(text) - 1) if "." not in text[i : i + 2]
    ]
    slips += [text[:i] + _MISREAD.get(digit, digit) + text[i + 1 :] for i, digit in enumerate(text)]
    off = [abs(float(slip) / float(old) - 1.0) for slip in slips]
    return Decimal(slips[int(np.argmin([abs(np.log(max(one, 1e-6) / size)) for one in off]))])


def _step(value: float, step: str) -> Decimal:
    return Decimal(value).quantize(Decimal(step))


def _draw(rng: Rng, cause: str, size: float, spread: str) -> Batch:
    """Weigh in, melt, pour, set, demould, weigh and assay one batch."""
    n, per_mould, moulds = int(rng.integers(10, 61)), int(rng.choice([6, 10, 12, 20])), int(rng.integers(1, 5))
    slot = np.arange(n) % (per_mould * moulds)
    t, sign = (np.arange(n) + 0.5) / n, float(rng.choice([-1.0, 1.0]))
    turn = rng.permutation(n) if rng.random() < 0.3 else np.arange(n)
    late = turn / (n - 1.0)

    # The recipe, in grams a unit: base in which one gram fills one unit of volume, and the powder that displaces it.
    room, dose = float(rng.choice([1.0, 2.0, 3.0])), float(rng.choice([0.05, 0.1, 0.15, 0.2]))
    dose *= 1.0 if cause != "wrong-displacement" else max(1.0, 0.25 * room / dose)
    right = float(np.exp(rng.uniform(np.log(0.9), np.log(4.0))))
    used = round(right, 2)
    if cause == "wrong-displacement":
        off = size * room / dose
        used = round(1.0 / (1.0 / right + (off if sign > 0.0 or 1.0 / right - off < 0.08 else -off)), 2)
    base = room - dose / used
    early, kept = bool(rng.random() < 0.5), 1.0 - size if cause == "active-lost" else 1.0
    put = dose * (1.0 + size if cause == "active-excess" else kept if early else 1.0)

    # The pour.
    volumes = 1.0 + (size if cause == "cavity-differences" else 0.004) * rng.standard_normal(per_mould * moulds)
    fill = 1.0 + 0.008 * _deviates(rng, spread, n)
    rich = 1.0 + 0.006 * rng.standard_normal(n)
    if cause == "settling-in-pour":
        rich *= _settled(rng, t, size)
    elif cause == "poor-mixing":
        # Part of the powder stays in agglomerates, few enough a unit to be counted.
        caked = float(rng.uniform(0.4, 1.0))
        rich *= 1.0 - caked + caked * rng.poisson((caked / size) ** 2, n) / (caked / size) ** 2
    elif cause == "uneven-fill":
        # Overfilled units are cut level, so that only the short ones differ; or nobody cuts.
        deviation = rng.standard_normal(n)
        fill *= 1.0 + size * (np.minimum(deviation, 0.0) / 0.58 if early else deviation)
    elif cause == "leaking-mould":
        mould_of = slot // per_mould
        leaking = mould_of == rng.choice(mould_of) if np.ptp(mould_of) > 0 else slot > per_mould / 2
        fill *= 1.0 - np.minimum(0.6, leaking * size * rng.gamma(3.0, 1.0 / 3.0, n))
    elif cause == "melt-thickening":
        # Viscosity rises exponentially as the melt cools.
        cooling = float(rng.uniform(1.0, 4.0))
        fill *= 1.0 - size * np.expm1(cooling * t) / np.expm1(cooling)
    share = put / (base + put) * rich
    mass = room * volumes[slot] * fill / (1.0 - share + share / right)
    content = 1000.0 * mass * share * (1.0 if early else kept)

    # The balance and the assays.
    shown = 1.0 + (
        0.003 * np.sin(2.0 * np.pi * (late * rng.uniform(0.5, 1.5) + rng.random())) if spread == "humid" else 0.0
    )
    if cause == "balance-drift":
        shown = 1.0 + sign * size * (late if early else 1.0 - np.exp(-late * rng.uniform(2.0, 6.0)))
    elif cause == "balance-scale":
        shown = 1.0 + sign * size
    grain = "0.01" if spread == "ten-milligrams" else "0.001"
    masses = [_step(float(one), grain) for one in mass * shown + 0.0005 * rng.standard_normal(n)]
    cut = sorted(rng.choice(n, 3, replace=False)) if cause == "settling-in-unit" or rng.random() < 0.4 else []
    free = [i for i in range(n) if i not in cut]
    whole = sorted(rng.choice(free, min(int(rng.choice([6, 10, 30])), len(free)), replace=False))
    read = 1.0 + sign * size if cause == "assay-bias" else 1.0
    found = {i: _step(float(content[i] * read * (1.0 + 0.01 * rng.standard_normal())), "0.1") for i in whole}
    if cause == "slip-of-pen":
        for i in rng.choice(whole, int(rng.integers(1, 3)), replace=False):
            if early:
                masses[i] = _slip(rng, masses[i], size)
            else:
                found[i] = _slip(rng, found[i], size)
    # Tip, middle and end of the units that were cut: a third each, of which the uppermost clears as powder sinks.
    sunk = np.array([3.0, 0.0, -3.0]) * (size if cause == "settling-in-unit" else 0.0)
    assays = [Assay(unit=str(i + 1), active="Drug", content_mg=one) for i, one in found.items()]
    for i in cut:
        thirds = np.array([1.0, 1.0, 1.0]) / 3.0 + 0.01 * rng.standard_normal(3)
        thirds /= thirds.sum()
        held = thirds * (1.0 + sunk * rng.uniform(0.7, 1.0)) * read * (1.0 + 0.01 * rng.standard_normal(3))
        for part, share_of, third in zip((Part.TIP, Part.MIDDLE, Part.END), held, thirds, strict=True):
            milligrams, grams = _step(float(content[i] * share_of), "0.1"), _step(float(mass[i] * third), grain)
            assays.append(Assay(unit=str(i + 1), active="Drug", part=part, content_mg=milligrams, part_mass_g=grams))
    names = [(str(k // per_mould + 1), str(k % per_mould + 1)) for k in range(len(volumes))]
    units = []
    for i in range(n):
        (mould, cavity), order = names[slot[i]], int(turn[i]) + 1
        places = {"pour_order": i + 1, "weighing_order": order, "mould": mould, "cavity": cavity}
        units.append(Unit(name=str(i + 1), mass_g=masses[i], **places))
    pours = []
    for k in np.repeat(np.arange(len(names)), int(rng.integers(1, 4)) if rng.random() < 0.5 else 0):
        grams = _step(float(room * volumes[k] * (1.0 + 0.004 * rng.standard_normal())), grain)
        pours.append(CavityPour(mould=names[k][0], cavity=names[k][1], base_mass_g=grams))
    number = Displacement(given=_step(used, "0.01"), convention=DisplacementConvention.VALUE)
    claim = _step(1000.0 * dose, "1")
    return Batch(
        dosage_form="suppository",
        base=Base.FATTY,
        units_poured=n,
        units=tuple(units),
        assays=tuple(assays),
        actives=(Active(name="Drug", label_claim_mg=claim, displacement=number, state=State.SUSPENDED),),
        cavity_pours=tuple(pours),
        nominal_mass_g=_step(room, "0.01"),
        planned_mass_g=_step(base + dose, "0.001"),
        balance_readability_g=Decimal(grain),
    )


def draw_sound(rng: Rng, spread: str = "normal") -> Batch:
    """A batch in which nothing went wrong, with one of the `SPREADS`."""
    return _draw(rng, "sound", 0.0, spread)


def draw_listed(rng: Rng, cause: str, strength: float, spread: str = "normal") -> tuple[Batch, str]:
    """A batch with one of the `LISTED` causes, from just noticeable (strength 0) to gross (1), and that cause."""
    low, high = LISTED[cause]
    return _draw(rng, cause, low * (high / low) ** strength, spread), cause
