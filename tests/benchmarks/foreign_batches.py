"""Batches that went wrong in shapes, noises and layouts drawn without regard to the package's own models of causes.

Written to find out whether probabilities of causes hold outside those models: nothing here shares code or shapes with
them. Invented data; the sizes of faults in `SIZES` are what a practitioner would notice (common practice). The mass of
a unit follows from volumes that add up: capacity = base + active / displacement value.

Worlds: "other-shapes" (each fault in several shapes, ordinary noise), "heavy-noise" (the plainest shape, but any slip
with the displacement value; noise of a t distribution with three degrees of freedom or contaminated; a balance that
reads 10 mg), "other-layouts" (12 to 60 units, one to six moulds, other filling orders, 6 to 30 assays, one or two
actives, pessaries; every shape). In every world two batches in five have three or four units assayed in parts, whatever
their fault, and three in five have calibration pours.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import TypedDict

import numpy as np
from numpy.typing import NDArray

from qc.batch import Active, Assay, Base, Batch, CavityPour, Displacement, DisplacementConvention, Part, State, Unit

Floats = NDArray[np.float64]
Rng = np.random.Generator

WORLDS = ("other-shapes", "heavy-noise", "other-layouts")
PARTS = (Part.TIP, Part.MIDDLE, Part.END)

# Relative sizes, drawn evenly between the two numbers.
SIZES: dict[str, tuple[float, float]] = {
    "settling-in-pour": (0.10, 0.30),  # poorest to richest unit, of the mean content
    "settling-in-unit": (0.12, 0.40),  # tip less end, of the mean concentration
    "poor-mixing": (0.04, 0.09),  # standard deviation of the concentration
    "uneven-fill": (0.03, 0.06),  # standard deviation of the fill
    "cavity-differences": (0.02, 0.04),  # standard deviation between cavities
    "wrong-displacement": (0.02, 0.12),  # shift of the mass from the plan, either way
    "active-lost": (0.08, 0.20),  # of the active
    "balance-drift": (0.02, 0.05),  # lowest to highest reading of one and the same mass
    "slip-of-pen": (0.04, 0.35),  # change of the one or two entries, either way
}
# The plainest shape stands first; it is the only one of the world of heavy noise.
SHAPES: dict[str, tuple[str, ...]] = {
    "sound": ("none",),
    "settling-in-pour": ("straight", "exponential", "late-jump", "power", "saturating", "logistic"),
    "settling-in-unit": ("straight", "tip-layer", "clear-end", "exponential"),
    "poor-mixing": ("independent", "clumps", "continuous", "two-melts"),
    "uneven-fill": ("independent", "short-units", "runs", "cooling"),
    "cavity-differences": ("normal", "heavy-tailed", "odd-ones", "along-the-mould", "mould"),
    "wrong-displacement": ("another-value", "inverted", "taken-as-one", "neglected"),
    "active-lost": ("before-melting", "destroyed"),
    "balance-drift": ("straight", "random-walk", "warm-up", "step", "creep"),
    "slip-of-pen": ("transposed", "wrong-digit"),
}
CAUSES = tuple(SHAPES)


class Truth(TypedDict):
    """What really happened to a drawn batch; contents by active and unit."""

    cause: str
    world: str
    layout: str
    parameters: dict[str, float | str]
    true_mass_g: dict[str, float]
    true_content_mg: dict[str, dict[str, float]]


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Relative standard deviations of a batch in which nothing went wrong, and the steps of what is written down."""

    heavy: str
    fill: float
    cavity: float
    mix: float
    assay: float
    mass_step: Decimal


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Everything about a batch that its fault has no say in."""

    noise: Noise
    slots: tuple[tuple[int, int], ...]
    rows: tuple[int, ...]
    together: int
    whole: tuple[int, ...]
    in_parts: tuple[int, ...]
    part_masses_given: bool
    replicates: int
    pessary: bool
    nominal_g: float
    capacity_g: float
    claims_mg: tuple[float, ...]
    displacement: tuple[float, ...]
    true_displacement: tuple[float, ...]
    suspended: tuple[bool, ...]
    written: str
    as_factor: bool


def _deviates(rng: Rng, heavy: str, size: int | tuple[int, ...]) -> Floats:
    """Draws with mean 0 and standard deviation 1."""
    if heavy == "t3":
        return np.asarray(rng.standard_t(3, size) / np.sqrt(3.0))
    draws = rng.standard_normal(size)
    if heavy == "contaminated":
        draws = np.where(rng.random(size) < 0.1, 3.0 * draws, draws) / np.sqrt(1.8)
    return np.asarray(draws)


def _noise(rng: Rng, world: str) -> Noise:
    if world == "heavy-noise":
        kind = str(rng.choice(["t3", "contaminated"]))
        return Noise(heavy=kind, fill=0.015, cavity=0.006, mix=0.010, assay=0.02, mass_step=Decimal("0.01"))
    spread = 1.0 if world == "other-shapes" else float(rng.uniform(0.7, 1.5))
    return Noise(
        heavy="none", fill=0.008 * spread, cavity=0.005, mix=0.007, assay=0.010 * spread, mass_step=Decimal("0.001")
    )


def _slots(rng: Rng, *, units: int, moulds: int, cavities: int, order: str) -> tuple[tuple[int, int], ...]:
    """Mould and cavity of each unit in the order of pouring; a full set of moulds is used again."""
    grid = [(mould, cavity) for mould in range(moulds) for cavity in range(cavities)]
    if order == "serpentine":
        grid = [(m, c if m % 2 == 0 else cavities - 1 - c) for m, c in grid]
    elif order == "across":
        grid = sorted(grid, key=lambda slot: (slot[1], slot[0]))
    elif order == "any":
        grid = [grid[i] for i in rng.permutation(len(grid))]
    return tuple(grid[i % len(grid)] for i in range(units))


def _draw_plan(rng: Rng, world: str, layout: str) -> Plan:
    wide = world == "other-layouts"
    units, moulds, cavities, order, assays = 24, 2, 12, "row by row", 10
    if layout == "own":
        low, high = (12, 61) if wide else (16, 41)
        units, moulds = int(rng.integers(low, high)), int(rng.integers(1, 7 if wide else 4))
        cavities = int(rng.choice([6, 10, 12, 20]))
        order = str(rng.choice(["row by row", "serpentine", "across", "any"])) if wide else order
        assays = int(rng.integers(6, 31)) if wide else int(rng.integers(8, 21))
    free = list(range(units))
    in_parts: list[int] = []
    if rng.random() < 0.4:
        count = int(rng.integers(3, 5))
        starts = np.linspace(0, units - 1, count).round().astype(int)
        in_parts = sorted(int(i) for i in (starts if rng.random() < 0.5 else rng.choice(units, count, replace=False)))
        free = [i for i in free if i not in in_parts]
    assays = min(assays, len(free))
    if rng.random() < 0.5:
        whole = sorted(int(i) for i in rng.choice(free, assays, replace=False))
    else:
        whole = [free[int(i)] for i in np.linspace(0, len(free) - 1, assays).round()]
    pessary = wide and rng.random() < 0.35
    nominal = float(rng.choice([3.0, 4.0, 5.0] if pessary else [1.0, 2.0, 3.0] if wide else [2.0]))
    number = 2 if wide and rng.random() < 0.3 else 1
    claims = [float(rng.choice([100, 150, 200, 250, 300, 400, 500])) for _ in range(number)]
    if wide:
        claims = [float(rng.choice([5, 10, 25, 50, 60, 75, 100, 125, 200, 250, 500])) for _ in range(number)]
    claims = [min(claim, 1000.0 * nominal * 0.3 / number) for claim in claims]
    bounds = (0.8, 5.0) if wide else (1.1, 4.0)
    table = [round(float(np.exp(rng.uniform(*np.log(bounds)))), 2) for _ in claims]
    slots = _slots(rng, units=units, moulds=moulds, cavities=cavities, order=order)
    by_mould = wide and rng.random() < 0.25
    return Plan(
        noise=_noise(rng, world),
        slots=slots,
        rows=tuple(sorted(range(units), key=lambda i: slots[i])) if by_mould else tuple(range(units)),
        together=2 if wide and rng.random() < 0.1 else 1,
        whole=tuple(whole),
        in_parts=tuple(in_parts),
        part_masses_given=bool(rng.random() < 0.85),
        replicates=int(rng.integers(1, 4)) if rng.random() < 0.6 else 0,
        pessary=bool(pessary),
        nominal_g=nominal,
        capacity_g=nominal * (1.0 + 0.004 * float(rng.standard_normal())),
        claims_mg=tuple(claims),
        displacement=tuple(table),
        true_displacement=tuple(f * (1.0 + 0.02 * float(rng.standard_normal())) for f in table),
        suspended=(True, bool(rng.random() < 0.5))[:number],
        written=str(rng.choice(["both", "displacement", "planned mass"], p=[0.6, 0.25, 0.15])),
        as_factor=bool(rng.random() < 0.3),
    )


def _base_g(plan: Plan) -> float:
    """Base weighed for one unit, by the displacement values that were used [g]."""
    return plan.nominal_g - sum(d / 1000.0 / f for d, f in zip(plan.claims_mg, plan.displacement, strict=True))


def _mass_shift(plan: Plan) -> float:
    """How far a unit of the nominal capacity departs from the planned mass [-]."""
    volume = _base_g(plan) + sum(d / 1000.0 / f for d, f in zip(plan.claims_mg, plan.true_displacement, strict=True))
    return plan.nominal_g / volume - 1.0


def _with_wrong_displacement(rng: Rng, plan: Plan, shape: str) -> Plan | None:
    """The plan with another value used for one active, or None where that moves the mass too little or too much."""
    which = int(rng.integers(len(plan.claims_mg)))
    right = plan.displacement[which]
    stretch = float(rng.uniform(1.4, 2.5))
    wrong = {
        "another-value": right * stretch if rng.random() < 0.5 else right / stretch,
        "inverted": 1.0 / right,
        "taken-as-one": 1.0,
        "neglected": np.inf,
    }[shape]
    used = tuple(round(float(wrong), 2) if i == which else f for i, f in enumerate(plan.displacement))
    wronged = replace(plan, displacement=used, written="planned mass" if shape == "neglected" else plan.written)
    low, high = SIZES["wrong-displacement"]
    return wronged if min(used) >= 0.2 and low <= abs(_mass_shift(wronged)) <= high else None


def _rise(rng: Rng, shape: str, n: int) -> Floats:
    """A curve from 0 to 1 over n steps in order."""
    t = np.linspace(0.0, 1.0, n)
    if shape == "late-jump":
        return np.asarray(t > 1.0 - rng.uniform(0.10, 0.25), dtype=float)
    if shape == "step":
        return np.asarray(t > rng.uniform(0.25, 0.75), dtype=float)
    if shape == "random-walk":
        walk = np.cumsum(rng.standard_normal(n))
        return np.asarray((walk - walk.min()) / np.ptp(walk))
    curve = {
        "straight": t,
        "exponential": np.exp(rng.uniform(3.0, 7.0) * t),
        "power": t ** rng.uniform(1.5, 4.0),
        "creep": t ** rng.uniform(1.5, 4.0),
        "saturating": 1.0 - np.exp(-rng.uniform(4.0, 9.0) * t),
        "warm-up": 1.0 - np.exp(-rng.uniform(4.0, 9.0) * t),
        "logistic": 1.0 / (1.0 + np.exp(-(t - rng.uniform(0.35, 0.75)) * rng.uniform(10.0, 20.0))),
    }[shape]
    return np.asarray((curve - curve[0]) / (curve[-1] - curve[0]))


def _to_spread(values: Floats, spread: float) -> Floats:
    """The values moved and stretched to mean 0 and the standard deviation wanted."""
    return np.asarray((values - values.mean()) * spread / values.std(ddof=1))


def _neighbourly(rng: Rng, n: int) -> Floats:
    """A series in which each value takes after the one before (autoregressive, 0.85)."""
    series = rng.standard_normal(n)
    for i in range(1, n):
        series[i] = 0.85 * series[i - 1] + np.sqrt(1.0 - 0.85**2) * series[i]
    return np.asarray(series)


def _few(rng: Rng, n: int) -> Floats:
    """Nought but for two to five places, which hold something between a half and one."""
    spikes = np.zeros(n)
    spikes[rng.choice(n, int(rng.integers(2, 6)), replace=False)] = rng.uniform(0.5, 1.0)
    return spikes


def _unmixed(rng: Rng, shape: str, n: int) -> Floats:
    if shape == "clumps":
        return _few(rng, n) + 0.1 * rng.standard_normal(n)
    if shape == "continuous":
        return _neighbourly(rng, n)
    if shape == "two-melts":
        return np.roll((np.arange(n) < max(2, n // 3)).astype(float), rng.integers(n)) + 0.3 * rng.standard_normal(n)
    return np.asarray(rng.standard_normal(n))


def _unfilled(rng: Rng, shape: str, n: int) -> Floats:
    if shape == "short-units":
        return -_few(rng, n) + 0.1 * rng.standard_normal(n)
    if shape == "runs":
        return _neighbourly(rng, n)
    if shape == "cooling":
        return -(np.linspace(0.0, 1.0, n) ** rng.uniform(1.0, 3.0)) + 0.15 * rng.standard_normal(n)
    return np.asarray(rng.standard_normal(n))


def _cavities(rng: Rng, shape: str, used: list[tuple[int, int]]) -> Floats:
    """Departures of the cavities in use, before they are stretched to their size."""
    n = len(used)
    mould, place = np.array(used).T
    if shape == "heavy-tailed":
        return np.asarray(np.clip(rng.standard_t(3, n), -4.0, 4.0))
    if shape == "odd-ones":
        odd = rng.permutation(n) < max(1, n // 10)
        return np.asarray(rng.choice([-1.0, 1.0]) * odd + 0.1 * rng.standard_normal(n))
    if shape == "along-the-mould":
        return np.asarray(place / (place.max() + 1.0) + 0.1 * rng.standard_normal(n))
    if shape == "mould":
        return np.asarray(rng.choice([-1.0, 1.0]) * (mould == rng.choice(mould)) + 0.15 * rng.standard_normal(n))
    return np.asarray(rng.standard_normal(n))


def _parts(rng: Rng, shape: str) -> Floats:
    """A fall from tip to end by 1 in three steps."""
    return {
        "straight": np.array([0.5, 0.0, -0.5]),
        "tip-layer": np.array([1.0, 0.0, 0.0]),
        "clear-end": np.array([0.0, 0.0, -1.0]),
        "exponential": np.array([1.0, rng.uniform(0.1, 0.35), 0.0]),
    }[shape]


def _slipped(rng: Rng, text: str, shape: str) -> str:
    """The entry with two neighbouring digits exchanged or one digit wrong, still believable at a glance."""
    pairs = [i for i in range(len(text) - 1) if "." not in text[i : i + 2]]
    exchanged = [text[:i] + text[i + 1] + text[i] + text[i + 2 :] for i in pairs]
    wrong = [text[:i] + digit + text[i + 1 :] for i, old in enumerate(text) if old != "." for digit in "0123456789"]
    low, high = SIZES["slip-of-pen"]

    def believable(entries: list[str]) -> list[str]:
        return [entry for entry in entries if low <= abs(float(entry) / float(text) - 1.0) <= high]

    return str(rng.choice((shape == "transposed" and believable(exchanged)) or believable(wrong)))


def _written(value: float, step: Decimal) -> Decimal:
    return Decimal(value).quantize(step)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cast:
    """What came out of the moulds, before anybody weighed or assayed it; rows are actives, columns units."""

    cavity: dict[tuple[int, int], float]
    mass_g: Floats
    content_mg: Floats
    parts: Floats
    parameters: dict[str, float | str]


def _cast(rng: Rng, plan: Plan, *, cause_id: str, shape: str, size: float, tap: bool) -> Cast:
    noise, n, actives = plan.noise, len(plan.slots), len(plan.claims_mg)
    parameters: dict[str, float | str] = {"shape": shape, "size": size}

    # Volumes: what each cavity holds, and how well each was filled.
    used = sorted(set(plan.slots))
    effects = noise.cavity * rng.standard_normal(len(used))
    if cause_id == "cavity-differences":
        effects = _to_spread(_cavities(rng, shape, used), size)
    cavity = dict(zip(used, effects.tolist(), strict=True))
    fill = noise.fill * _deviates(rng, noise.heavy, n)
    if cause_id == "uneven-fill":
        fill = fill + _to_spread(_unfilled(rng, shape, n), size)
    volume = plan.capacity_g * (1.0 + np.array([cavity[slot] for slot in plan.slots])) * (1.0 + fill)

    # Concentrations along the pour against the plan's, and those of tip, middle and end against their unit's.
    relative = 1.0 + noise.mix * _deviates(rng, noise.heavy, (actives, n))
    parts = 1.0 + 0.01 * rng.standard_normal((actives, n, 1)) * _parts(rng, "straight")
    for a in (i for i in range(actives) if plan.suspended[i]):
        strength = size if a == 0 else size * float(rng.uniform(0.3, 1.0))
        # An active that is lighter than the base rises.
        downward = 1.0 if plan.displacement[a] > 0.97 else -1.0
        if cause_id == "settling-in-pour":
            direction = -downward if tap else downward
            parameters["direction"] = direction if a == 0 else parameters["direction"]
            curve, deposit = _rise(rng, shape, n), float(rng.uniform(0.0, 0.03))
            relative[a] *= (1.0 - deposit) * (1.0 + strength * direction * (curve - curve.mean()))
            parts[a] += downward * rng.uniform(0.0, 0.04) * _parts(rng, "straight")
        elif cause_id == "settling-in-unit":
            parts[a] += strength * downward * (1.0 + 0.2 * rng.standard_normal((n, 1))) * _parts(rng, shape)
        elif cause_id == "poor-mixing":
            relative[a] *= 1.0 + _to_spread(_unmixed(rng, shape, n), strength)
            parts[a] += 0.5 * strength * rng.standard_normal((n, 3))
    lost = int(rng.integers(actives))
    kept = np.ones((actives, 1))
    if cause_id == "active-lost":
        kept[lost] = 1.0 - size
        parameters["active"] = f"Active {'AB'[lost]}"

    dose_g = np.array(plan.claims_mg)[:, None] / 1000.0
    # What never came into the melt makes the melt lighter too.
    melted_g = dose_g * kept if shape == "before-melting" else dose_g
    fraction = melted_g / (_base_g(plan) + melted_g.sum()) * relative
    mass = volume / (1.0 - (fraction * (1.0 - 1.0 / np.array(plan.true_displacement)[:, None])).sum(axis=0))
    content = 1000.0 * mass * fraction
    content = content * kept if shape == "destroyed" else content
    return Cast(cavity=cavity, mass_g=mass, content_mg=content, parts=parts, parameters=parameters)


def _masses(rng: Rng, plan: Plan, cast: Cast, drift: Floats) -> dict[int, str]:
    """What the balance showed [g], in the order of weighing."""
    showed = cast.mass_g[list(plan.rows)] * (1.0 + drift) + 0.001 * rng.standard_normal(len(plan.rows))
    return {i: str(_written(value, plan.noise.mass_step)) for i, value in zip(plan.rows, showed.tolist(), strict=True)}


def _contents(rng: Rng, plan: Plan, cast: Cast) -> dict[tuple[int, int], str]:
    """Assays of whole units: to 0.1 mg, and for claims below 20 mg to 0.1 % of label."""
    found = {}
    for i in plan.whole:
        for a, claim in enumerate(plan.claims_mg):
            value = cast.content_mg[a, i] * (1.0 + plan.noise.assay * float(_deviates(rng, plan.noise.heavy, 1)[0]))
            found[i, a] = str(_written(value if claim >= 20.0 else 100.0 * value / claim, Decimal("0.1")))
    return found


def _part_assays(rng: Rng, plan: Plan, cast: Cast) -> list[Assay]:
    assays = []
    for i in plan.in_parts:
        share = 1.0 + 0.12 * (rng.random(3) - 0.5) if plan.part_masses_given else 1.0 + 0.03 * rng.standard_normal(3)
        share /= share.sum()
        for a, claim in enumerate(plan.claims_mg):
            held = share * cast.parts[a, i]
            held = cast.content_mg[a, i] * held / held.sum()
            held *= 1.0 + plan.noise.assay * _deviates(rng, plan.noise.heavy, 3)
            for part, milligrams, portion in zip(PARTS, held.tolist(), share.tolist(), strict=True):
                assays.append(
                    Assay(
                        unit=str(i + 1),
                        active=f"Active {'AB'[a]}",
                        part=part,
                        content_mg=_written(milligrams, Decimal("0.1") if claim >= 20.0 else Decimal("0.01")),
                        part_mass_g=_written(portion * cast.mass_g[i], plan.noise.mass_step)
                        if plan.part_masses_given
                        else None,
                    )
                )
    return assays


def _calibration(rng: Rng, plan: Plan, cast: Cast) -> list[CavityPour]:
    return [
        CavityPour(
            mould=str(mould + 1),
            cavity=str(cavity + 1),
            base_mass_g=_written(
                plan.capacity_g * (1.0 + effect) * (1.0 + 0.5 * plan.noise.fill * float(rng.standard_normal())),
                plan.noise.mass_step,
            ),
        )
        for (mould, cavity), effect in cast.cavity.items()
        for _ in range(plan.replicates)
    ]


def _actives(plan: Plan, assay_repeatability: Decimal | None) -> list[Active]:
    actives = []
    for a, (claim, used) in enumerate(zip(plan.claims_mg, plan.displacement, strict=True)):
        number = None
        if plan.written != "planned mass":
            as_factor = DisplacementConvention.FACTOR if plan.as_factor else DisplacementConvention.VALUE
            given = Decimal(1.0 / used if plan.as_factor else used).quantize(Decimal("0.001"))
            number = Displacement(given=given, convention=as_factor)
        actives.append(
            Active(
                name=f"Active {'AB'[a]}",
                label_claim_mg=_written(claim, Decimal("1")),
                displacement=number,
                state=State.SUSPENDED if plan.suspended[a] else State.DISSOLVED,
                assay_repeatability_percent=assay_repeatability,
            )
        )
    return actives


def _slip(rng: Rng, shape: str, masses: dict[int, str], contents: dict[tuple[int, int], str]) -> dict[str, float | str]:
    """Spoil one or two entries of one column; what was spoilt comes back by its place."""
    spoilt: dict[str, float | str] = {}
    count = int(rng.integers(1, 3))
    if rng.random() < 0.7:
        for i in rng.choice(list(masses), count, replace=False).tolist():
            right, masses[i] = masses[i], _slipped(rng, masses[i], shape)
            spoilt[f"mass of unit {i + 1}"] = f"{right} as {masses[i]}"
        return spoilt
    for k in rng.choice(len(contents), count, replace=False).tolist():
        i, a = list(contents)[k]
        right, contents[i, a] = contents[i, a], _slipped(rng, contents[i, a], shape)
        spoilt[f"content of unit {i + 1}, Active {'AB'[a]}"] = f"{right} as {contents[i, a]}"
    return spoilt


def _plan_for(rng: Rng, cause_id: str, shape: str, world: str, layout: str) -> Plan:
    """A plan; where a displacement value is to be wrong, one in which it matters."""
    for _ in range(1000):
        plan = _draw_plan(rng, world, layout)
        fitting = _with_wrong_displacement(rng, plan, shape) if cause_id == "wrong-displacement" else plan
        if fitting is not None:
            return fitting
    raise RuntimeError(f"no plan in 1000 lets a displacement value {shape!r} matter in the world {world!r}")


def draw_foreign(cause_id: str, *, seed: int, world: str, layout: str = "own") -> tuple[Batch, Truth]:
    """Draw one batch that went wrong in a known way.

    Parameters
    ----------
    cause_id : str
        One of `CAUSES`.
    seed : int
        The same seed gives the same batch; batches of different causes share nothing by their seed.
    world : str
        One of `WORLDS`.
    layout : str
        "own", the world's own layouts, or "standard": 24 units, 2 moulds of 12 cavities, 10 assays of whole units
        (not in "other-layouts").

    Returns
    -------
    tuple[Batch, Truth]
        The record as a reader would hand it on, and what really happened.

    Raises
    ------
    ValueError
        When cause, world or layout is not one of those named.
    """
    if cause_id not in CAUSES:
        raise ValueError(f"cause {cause_id!r} is not one of {', '.join(CAUSES)}")
    if world not in WORLDS:
        raise ValueError(f"world {world!r} is not one of {', '.join(WORLDS)}")
    if layout not in ("own", "standard") or (layout == "standard" and world == "other-layouts"):
        raise ValueError(f'layout {layout!r} is not to be had in world {world!r}; "own" is in every world')
    stream = [seed, *(zlib.crc32(word.encode()) for word in (cause_id, world, layout))]
    rng = np.random.Generator(np.random.Philox(np.random.SeedSequence(stream)))
    shapes = SHAPES[cause_id][:1] if world == "heavy-noise" and cause_id != "wrong-displacement" else SHAPES[cause_id]
    shape = str(rng.choice(shapes))
    plan = _plan_for(rng, cause_id, shape, world, layout)
    size = float(rng.uniform(*SIZES[cause_id])) if cause_id in SIZES else 0.0
    if shape == "mould" and len({mould for mould, _ in plan.slots}) < 2:
        shape = "odd-ones"
    size = _mass_shift(plan) if cause_id == "wrong-displacement" else size
    # A vessel may be tapped at its bottom: the rich melt comes first.
    cast = _cast(
        rng, plan, cause_id=cause_id, shape=shape, size=size, tap=world == "other-shapes" and rng.random() < 0.1
    )
    parameters = dict(cast.parameters)
    n = len(plan.slots)
    drift = size * rng.choice([-1.0, 1.0]) * _rise(rng, shape, n) if cause_id == "balance-drift" else np.zeros(n)
    masses, contents = _masses(rng, plan, cast, drift), _contents(rng, plan, cast)
    if cause_id == "slip-of-pen":
        parameters |= _slip(rng, shape, masses, contents)

    planned = _base_g(plan) + sum(plan.claims_mg) / 1000.0
    repeatability = Decimal(str(round(100.0 * plan.noise.assay, 1))) if rng.random() < 0.6 else None
    batch = Batch(
        number=f"F-{seed}",
        product="Drawn batch",
        dosage_form="pessary" if plan.pessary else "suppository",
        base=Base.FATTY,
        units_poured=n,
        units=tuple(
            Unit(
                name=str(i + 1),
                pour_order=i // plan.together + 1,
                mould=str(plan.slots[i][0] + 1),
                cavity=str(plan.slots[i][1] + 1),
                mass_g=Decimal(text),
            )
            for i, text in masses.items()
        ),
        assays=tuple(
            Assay(
                unit=str(i + 1),
                active=f"Active {'AB'[a]}",
                content_mg=Decimal(text) if plan.claims_mg[a] >= 20.0 else None,
                content_percent=Decimal(text) if plan.claims_mg[a] < 20.0 else None,
            )
            for (i, a), text in contents.items()
        )
        + tuple(_part_assays(rng, plan, cast)),
        actives=tuple(_actives(plan, repeatability)),
        cavity_pours=tuple(_calibration(rng, plan, cast)),
        nominal_mass_g=_written(plan.nominal_g, Decimal("0.01")),
        planned_mass_g=_written(planned, Decimal("0.001")) if plan.written != "displacement" else None,
        balance_readability_g=plan.noise.mass_step,
        balance_repeatability_g=plan.noise.mass_step if rng.random() < 0.7 else None,
    )
    names = [str(i + 1) for i in range(n)]
    truth: Truth = {
        "cause": cause_id,
        "world": world,
        "layout": layout,
        "parameters": parameters,
        "true_mass_g": dict(zip(names, cast.mass_g.tolist(), strict=True)),
        "true_content_mg": {
            active.name: dict(zip(names, cast.content_mg[a].tolist(), strict=True))
            for a, active in enumerate(batch.actives)
        },
    }
    return batch, truth
