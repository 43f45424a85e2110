"""Recipes with every measurement there is, and the causes weighed of a drawn batch."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from qc.batch import Batch
from qc.causes.drawing import Drawn, draw_batch
from qc.causes.weigh import CausesWeighed, weigh_causes
from qc.simulate.pouring import Ingredient, Recipe


@pytest.fixture
def recipe() -> Recipe:
    return Recipe(ingredients=(Ingredient(label_mg=300.0, displacement=1.6),))


@pytest.fixture
def draw(recipe: Recipe) -> Callable[..., Drawn]:
    def drawn(*causes: str, seed: int = 1, strength: float = 1.0, recipe: Recipe = recipe) -> Drawn:
        return draw_batch(causes, recipe=recipe, seed=seed, strength=strength)

    return drawn


@pytest.fixture
def probabilities() -> Callable[[Batch], dict[str, float]]:
    def found(batch: Batch) -> dict[str, float]:
        weighed: CausesWeighed = weigh_causes(batch)
        return {one.cause: one.probability for one in weighed.causes}

    return found
