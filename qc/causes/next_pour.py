"""What a remedy is predicted to change: the likely cause as it fits this batch, poured again by the simulator."""

from __future__ import annotations

import csv
import tomllib
from collections.abc import Callable, Mapping, Sequence
from functools import cache
from pathlib import Path

import numpy as np
from msgspec import Struct, convert
from msgspec.structs import replace

from qc.batch import Batch
from qc.causes.background import Background, nodes_for
from qc.causes.evidence import Prediction, equal_shares
from qc.causes.foundation import foundation
from qc.causes.model import SOMETHING_ELSE, cause
from qc.causes.priors import Priors, builtin_priors
from qc.causes.rows import Flags, Floats, RowKind, Rows, rows_of, values_by
from qc.causes.weigh import fits_of
from qc.results import CauseFound, Remedied
from qc.results.messages import message
from qc.simulate.pouring import Ingredient, Pour, Recipe, sound_pour
from qc.simulate.settling import SomeSuspension
from qc.stats.one_thread import one_thread

Units = tuple[Floats, Floats]
Figure = Callable[[Floats, Floats], float]

DATA = Path(__file__).parent / "data"
SURE = 0.8
"""How probable a cause must be before a remedy is named [-]."""
HELPS = 0.8
"""A remedy is named where the far end of its range is below this share of what was found [-]."""
DRAWS = 200
# Background spreads are tried at a few points: between them they are smoothed, on the logarithm.
BETWEEN_POINTS = 0.35
# Between assayed units the steep ends of a pour are read too high: mean and SD of the logarithm, our own run.
STEEP_ENDS = (0.07, 0.15)
# The sizes, ln(last over first) or ln(tip over end), at which the simulator was asked what a remedy leaves of them.
SIZES = (0.1, 0.3, 0.9)


class Remedy(Struct, frozen=True, kw_only=True, forbid_unknown_fields=True):
    """What to change, the cause that it is for, the figure it is predicted for, and what its numbers rest on."""

    cause: str
    figure: str
    source: str
    set: Mapping[str, float] = {}
    times: Mapping[str, float] = {}

    def changed(self, suspension: SomeSuspension) -> SomeSuspension:
        """The suspension with its numbers changed, each in its own unit."""
        return replace(
            suspension, **self.set, **{name: by * getattr(suspension, name) for name, by in self.times.items()}
        )


@cache
def remedies() -> dict[str, Remedy]:
    """All of them by id, in the order of the file."""
    return convert(tomllib.loads((DATA / "remedies.toml").read_text(encoding="utf-8")), dict[str, Remedy])


@cache
def shares_left() -> dict[str, Floats]:
    """What each remedy of a suspension leaves of a rise, shape (suspensions, sizes) [-].

    The suspensions of `settling-in-pour` are those of the stored profiles, in their order.
    """
    with (DATA / "remedied_settling.csv").open(encoding="utf-8", newline="") as lines:
        rows = [row for row in csv.reader(lines) if not row[0].startswith("#")]
    return {
        id: np.array([row[1:] for row in rows if row[0] == id], dtype=np.float64) for id in {row[0] for row in rows}
    }


def next_pour(batch: Batch, *, causes: Sequence[CauseFound], priors: Priors | None = None) -> tuple[Remedied, ...]:
    """The remedies of the likely cause that are predicted to help, the most helpful first.

    Parameters
    ----------
    batch : Batch
        As it was judged.
    causes : sequence of CauseFound
        As weighed; nothing is said where none is as probable as `SURE`, by itself or with something else alike to it.
    priors : Priors, optional
        Those the causes were weighed with.

    Returns
    -------
    tuple of Remedied
        Figures as true values of all units: a measured one has the error of its measurement besides.

    Notes
    -----
    Sizes and background spreads are drawn from what they may be after the measurements. A remedy of a suspension leaves
    the share that the simulator left of as large a rise in the melt whose profile fits; any other one leaves what sound
    pours of the same recipe show.
    """
    likely = max(causes, key=lambda one: one.probability, default=None)
    rows = rows_of(batch)
    if likely is None or not rows.measured.any():
        return ()
    # What is said of a remedy that is taken to do away with a cause holds if that is the cause, not what looks alike.
    others = (one.probability for one in causes if one.cause == SOMETHING_ELSE and one.cause in likely.alike)
    sure = likely.probability + sum(others)
    asked = [id for id, one in remedies().items() if one.cause == likely.cause]
    asked = [id for id in asked if (likely.probability if id in shares_left() else sure) >= SURE]
    if not asked:
        return ()
    with one_thread():
        background = Background(rows=rows, priors=priors or builtin_priors(), nodes=nodes_for(rows))
        fits = fits_of(background, cause(likely.cause).likelihood(background))
        drawn = equal_shares([one for fit in fits for one in fit.predictions(DRAWS)], DRAWS)
        rng = np.random.default_rng(len(rows.units))
        recipes = [_recipe(background, one, rng) for one in drawn]
        found = [one for id in asked if (one := _remedied(id, background, drawn, recipes, rng)) is not None]
    return tuple(sorted((one for one in found if one.worst < HELPS * abs(one.before)), key=lambda one: one.worst))


def _remedied(
    id: str,
    background: Background,
    drawn: Sequence[Prediction],
    recipes: Sequence[Recipe],
    rng: np.random.Generator,
) -> Remedied | None:
    """What one remedy is predicted to leave; None where the measurements do not show the figure."""
    remedy = remedies()[id]
    if id in shares_left() and all(one.sizes for one in drawn):
        before, after = _suspended(id, recipes, drawn, background, rng)
    elif id not in shares_left():
        rows = background.rows
        order = rows.weighed_at if remedy.cause == "balance-drift" and rows.weighed_in_order else rows.places
        before, after = _sound(FIGURES[remedy.figure], recipes, _measured(rows, order), rng)
    else:
        return None
    low, middle, high = np.quantile(after, (0.025, 0.5, 0.975)).tolist()
    told = {"figure": remedy.figure, "before": before, "after": middle, "low": low, "high": high}
    what = message("remedies.what", remedy=id)
    said = message("remedies.predicted", do=what, whole=id not in shares_left(), **told)
    return Remedied(remedy=id, cause=remedy.cause, what=what, sentence=said, **told) if np.isfinite(before) else None


def _suspended(
    id: str, recipes: Sequence[Recipe], drawn: Sequence[Prediction], background: Background, rng: np.random.Generator
) -> tuple[float, Floats]:
    """What was found of a rise, or of tip over end, and what is left of it in each draw [%]."""
    left, (percent, scatter) = shares_left()[id], SUSPENDED[remedies()[id].figure]
    shape, size = np.array([one.sizes[0] for one in drawn]).T
    chance, found = rng.standard_normal((2, len(drawn))), float(np.median(size))
    if remedies()[id].figure == "rise":
        mass, contents = _measured(background.rows, background.rows.places)
        found = max(map(_rise, contents / mass), key=abs)
        if not found:
            return np.nan, np.zeros(1)
        size = found * np.exp(STEEP_ENDS[1] * chance[0] - STEEP_ENDS[0])
    # A profile that fits is no proof of its melt: every other draw is of any melt.
    of = np.where(np.arange(len(drawn)) % 2, shape.astype(int) % len(left), rng.integers(len(left), size=len(drawn)))
    share = [np.interp(np.log(abs(one)), np.log(SIZES), left[row]) for one, row in zip(size, of, strict=True)]
    even = np.array([scatter(one) for one in recipes]) * chance[1]
    return float(percent(np.array(found))), percent(size * np.array(share) + even)


def _sound(
    figure: Figure, recipes: Sequence[Recipe], measured: Units, rng: np.random.Generator
) -> tuple[float, Floats]:
    """A figure of the units measured, of the active that shows it most, and of sound pours [%]."""
    mass, contents = measured
    found = [figure(mass, content) for content in contents]
    active = int(np.argmax(np.nan_to_num(np.abs(found), nan=-1.0)))
    poured = (relative(sound_pour(one, rng), one) for one in recipes)
    return found[active], np.array([figure(mass, contents[active]) for mass, contents in poured])


def _recipe(background: Background, one: Prediction, rng: np.random.Generator) -> Recipe:
    """The batch with the spreads of one draw, in masses over that of a unit of plain base."""
    rows, point, priors = background.rows, foundation(background).origin[one.node], background.priors
    spreads = {name: float(background.variances[name][point]) ** 0.5 for name in ("fill", "mixing", "cavity", "part")}
    smoothed = np.exp(BETWEEN_POINTS * rng.standard_normal(len(spreads))).tolist()
    plain = Recipe(
        units=len(rows.units),
        cavities=len({*rows.cavities} - {""}) or len(rows.units),
        base_g=1.0,
        ingredients=tuple(
            Ingredient(name=one.name, label_mg=1000.0 * one.loading, displacement=one.displacement)
            for one in rows.substances
        ),
    )
    levels = {name: priors.number("background", name) for name in ("level", "mean_content", "base")}
    return replace(plain, **levels, **{name: spreads[name] * by for name, by in zip(spreads, smoothed, strict=True)})


def relative(pour: Pour, recipe: Recipe) -> Units:
    """Masses over the planned one (units,), contents over their labels (actives, units); without actives none [-]."""
    labels = np.array([one.label_mg for one in recipe.ingredients])
    contents = pour.content_mg(recipe) / labels[:, None]
    return pour.mass_g(recipe) / recipe.planned_g(), contents if len(contents) else np.full((1, recipe.units), np.nan)


def _measured(rows: Rows, order: Floats) -> Units:
    """The same as measured, in an order; not a number where a unit was not."""
    units = np.argsort(order, kind="stable").tolist()

    def of(chosen: Flags) -> Floats:
        known = values_by(rows, chosen, rows.unit.tolist())
        return np.array([np.exp(known[unit].mean()) if unit in known else np.nan for unit in units])

    each = [rows.of(RowKind.CONTENT) & (rows.active == active) for active in range(max(1, len(rows.substances)))]
    return of(rows.of(RowKind.MASS)), np.array([of(chosen) for chosen in each])


def _rise(concentrations: Floats) -> float:
    """Of the logarithm, first to last unit, by a straight line; between the units assayed it is interpolated."""
    at = np.flatnonzero(np.isfinite(concentrations))
    if at.size < 3:
        return 0.0
    every = np.arange(concentrations.size)
    return float(np.polyfit(every, np.interp(every, at, np.log(concentrations[at])), 1)[0]) * (every.size - 1)


def _rsd(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return 100.0 * float(known.std(ddof=1) / known.mean()) if known.size > 2 else np.nan


def _off(values: Floats) -> float:
    known = values[np.isfinite(values)]
    return 100.0 * float(known.mean() - 1.0) if known.size else np.nan


def _change(values: Floats) -> float:
    """Of a straight line from the first unit to the last [% of the mean]."""
    at = np.flatnonzero(np.isfinite(values))
    if at.size < 3:
        return np.nan
    return 100.0 * float(np.polyfit(at, values[at], 1)[0]) * (values.size - 1) / float(values[at].mean())


FIGURES: Mapping[str, Figure] = {
    "mass_rsd": lambda mass, content: _rsd(mass),
    "concentration_rsd": lambda mass, content: _rsd(content / mass),
    "content_off": lambda mass, content: _off(content),
    "mass_off": lambda mass, content: _off(mass),
    "mass_change": lambda mass, content: _change(mass),
}
"""In percent, of masses over the planned one and contents over the label, both in pour order."""

SUSPENDED: Mapping[str, tuple[Callable[[Floats], Floats], Callable[[Recipe], float]]] = {
    # The root of 12 over n is the SD of a straight line's rise through units that scatter with an SD of 1.
    "rise": (lambda size: 200.0 * np.sinh(size / 2.0), lambda recipe: recipe.mixing * np.sqrt(12.0 / recipe.units)),
    "tip_over_end": (lambda size: 100.0 * np.expm1(size), lambda recipe: recipe.part * np.sqrt(2.0 / recipe.units)),
}
"""What a logarithm is in percent, and by how much it scatters between sound pours [-]."""
