"""How often the causes are found, and whether the probabilities keep their word. Run by hand: pytest -m benchmarks.

`QC_CAUSES_SEEDS` sets how many batches a cause are drawn (30 when it is not set).
"""

from __future__ import annotations

import importlib.util
import os
from collections.abc import Callable
from itertools import combinations
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from qc.batch import Batch
from qc.causes.drawing import draw_batch, random_recipe
from qc.causes.model import CAUSE_IDS
from qc.causes.priors import builtin_priors
from qc.causes.weigh import weigh_causes

HERE = Path(__file__).parent
PAIRS_HEAD = "## Two causes at once"
RESULTS = HERE / "results" / "causes.md"
SEEDS = range(int(os.environ.get("QC_CAUSES_SEEDS", "30")))

pytestmark = pytest.mark.benchmarks


def beside(name: str) -> ModuleType:
    """A module of this folder, which is no package."""
    spec = importlib.util.spec_from_file_location(name, HERE / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    import sys

    sys.modules[name] = module
    spec.loader.exec_module(module)
    return module


scores = beside("causes_scores")
ideal = beside("causes_ideal")


def stated(batch: Batch) -> dict[str, float]:
    return {one.cause: one.probability for one in weigh_causes(batch).causes}


def own(
    *, strength: float | None = 1.0, cut_units: int = 3, base_pours: int = 2, assays: int = 10
) -> Callable[[str, int], Batch]:
    """The project's own generator; 24 units."""

    def draw(id: str, seed: int) -> Batch:
        place = CAUSE_IDS.index(id)
        recipe = random_recipe(
            np.random.default_rng([41, place, seed]),
            priors=builtin_priors(),
            assays=assays,
            cut_units=cut_units,
            base_pours=base_pours,
        )
        drawn = float(np.clip(np.exp(0.5 * np.random.default_rng([42, place, seed]).standard_normal()), 0.3, 3.0))
        chosen = drawn if strength is None else strength
        return draw_batch([id], recipe=recipe, seed=100_000 + 1000 * place + seed, strength=chosen).batch

    return draw


def foreign() -> dict[str, Callable[[str, int], Batch]]:
    """The worlds of `foreign_batches.py`, drawn by somebody who had not seen the models; seeds never looked at."""
    module = beside("foreign_batches")
    return {f"foreign, {world}": _from_world(module, world) for world in module.WORLDS}


def _from_world(module: ModuleType, world: str) -> Callable[[str, int], Batch]:
    def draw(id: str, seed: int) -> Batch:
        batch: Batch = module.draw_foreign(id, seed=10_000 + seed, world=world)[0]
        return batch

    return draw


def test_study_of_causes() -> None:
    before = builtin_priors().prior()
    sets = [
        ("own generator, all measurements", own(), stated),
        ("the same, observer that knows the generator", own(), ideal.weigh_knowing),
        ("own, strength drawn (spread factor 1.65)", own(strength=None), stated),
        ("own, half the strength", own(strength=0.5), stated),
        ("own, no unit cut, no base pours", own(cut_units=0, base_pours=0), stated),
        ("the same, observer that knows the generator", own(cut_units=0, base_pours=0), ideal.weigh_knowing),
        ("own, weights alone", own(cut_units=0, base_pours=0, assays=0), stated),
        *((name, draw, stated) for name, draw in foreign().items()),
    ]
    found = [scores.score(name, draw, weigh, seeds=SEEDS, before=before) for name, draw, weigh in sets]
    RESULTS.write_text(page(found), encoding="utf-8")
    usual, knowing = found[0], found[1]
    assert usual.right >= 0.90
    assert usual.right >= knowing.right - 0.05
    assert usual.calibration_error(weighted=True) < 0.05
    for one in found[7:]:
        assert one.right >= 0.80, one.name


def test_planted_pairs_are_named() -> None:
    faults = [id for id in CAUSE_IDS if id != "sound"]
    named = singled = count = 0
    for pair in combinations(faults, 2):
        place = faults.index(pair[0]) * 10 + faults.index(pair[1])
        recipe = random_recipe(np.random.default_rng([43, place]), priors=builtin_priors())
        weighed = weigh_causes(draw_batch(pair, recipe=recipe, seed=300_000 + place).batch)
        count += 1
        named += bool(weighed.pairs) and set(weighed.pairs[0].causes) == set(pair)
        singled += {one.cause for one in weighed.causes[:2]} == set(pair)
    text = (
        f"\n{PAIRS_HEAD}\n\nOf {count} batches, one for each two of the nine faults at their usual strengths: the pair "
        f"is named first in {named}; the two are the two likeliest causes in {singled}.\n"
    )
    RESULTS.write_text(RESULTS.read_text(encoding="utf-8").split(f"\n{PAIRS_HEAD}")[0] + text, encoding="utf-8")
    assert named >= 0.7 * count


def page(found: list) -> str:
    lines = [
        "# Causes: how often they are found, and whether the probabilities keep their word",
        "",
        f"From our own run, {len(SEEDS)} batches a cause and row:",
        "`pytest -m benchmarks tests/benchmarks/test_causes_study.py`.",
        "24 units; 10 whole units assayed, 3 cut in three, two base pours a cavity unless the row says otherwise.",
        "Share right counts every cause alike; the calibration error is given with every cause drawn as often as the",
        "priors say, and with every cause alike. Without a cut unit nothing can show settling inside the unit.",
        "",
        "| batches | top cause right | Brier | log loss | calibration error, at prior odds | every cause alike |",
        "|---|---|---|---|---|---|",
    ]
    lines += [
        f"| {one.name} | {100 * one.right:.1f} % | {one.brier:.3f} | {one.log_loss:.3f} | "
        f"{one.calibration_error(weighted=True):.3f} | {one.calibration_error(weighted=False):.3f} |"
        for one in found
    ]
    lines += ["", "Top cause right, by true cause [%]:", "", "| batches | " + " | ".join(CAUSE_IDS) + " |"]
    lines.append("|---" * (len(CAUSE_IDS) + 1) + "|")
    for one in found:
        by = one.right_by_cause
        lines.append(
            f"| {one.name} | " + " | ".join(f"{100 * by[id]:.0f}" if id in by else "" for id in CAUSE_IDS) + " |"
        )
    lines += ["", "Calibration curve: stated top probability, share right (number of batches), every cause alike:", ""]
    for one in found:
        bins = "; ".join(f"{100 * said:.0f} %: {100 * was:.0f} % ({n})" for said, was, n in one.curve(weighted=False))
        lines.append(f"- {one.name}: {bins}")
    return "\n".join(lines) + "\n"
