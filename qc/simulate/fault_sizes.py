"""How large a fault is drawn: about what the strength asks for, and as coarse as the particles must be for that."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

# A check loads the causes, but only a lesson draws recipes.
if TYPE_CHECKING:
    from qc.simulate.recipe import Recipe
    from qc.simulate.settling import Floats


def drawn_about(usual: float, *, strength: float, rng: np.random.Generator) -> float:
    """A size near `usual` times `strength`, in the same unit: log-normal, 15 % either way, cut at twice that."""
    return usual * strength * float(np.exp(0.15 * np.clip(rng.standard_normal(), -2.0, 2.0)))


def unit_scatter(scatter: Floats) -> Floats:
    """Scatter along the last axis with mean 0 and standard deviation 1 [-]."""
    centred: Floats = scatter - scatter.mean(axis=-1, keepdims=True)
    scaled: Floats = centred / np.maximum(centred.std(axis=-1, keepdims=True), 1e-9)
    return scaled


def scatter_along_pour(shape: tuple[int, ...], *, alike: float, rng: np.random.Generator) -> Floats:
    """Scatter of units along the last axis, mean 0 and standard deviation 1; one time in four neighbours are alike.

    Parameters
    ----------
    shape : tuple of int
        Units last.
    alike : float
        Correlation of neighbours where they are alike [-].
    rng : numpy Generator
        Source of the scatter.
    """
    scatter = rng.standard_normal(shape)
    if rng.uniform() < 0.25:
        for unit in range(1, shape[-1]):
            scatter[..., unit] = alike * scatter[..., unit - 1] + np.sqrt(1.0 - alike**2) * scatter[..., unit]
    return unit_scatter(scatter)


def solids_of(recipe: Recipe) -> float:
    """Volume fraction of suspended active in the melt, at 0.6 cm3 for a gram of it and a gram of base [-]."""
    dose_g = sum(one.label_mg for one in recipe.ingredients if one.suspended) / 1000.0
    return min(0.3, 0.6 * dose_g / recipe.base_g)


def coarseness(effect: Callable[[float], float], *, wanted: float, coarsest_um: float, tries: int) -> float:
    """The particle size that has the wanted effect, by halving the interval of its logarithm [um].

    Parameters
    ----------
    effect : callable
        From a particle size of 2 um to `coarsest_um` to its effect, which rises with it.
    wanted : float
        In the unit of the effect.
    coarsest_um : float
        Greatest size looked at [um].
    tries : int
        How often the interval is halved.
    """
    low, high = 2.0, coarsest_um
    for _ in range(tries):
        middle = float(np.sqrt(low * high))
        if effect(middle) < wanted:
            low = middle
        else:
            high = middle
    return float(np.sqrt(low * high))
