"""Chances of passing where the batch is not a set of independent normal draws: simulated, with a standard error.

A pour that drifts, two sub-populations, a small batch sampled without replacement, and assay error on top of the true
spread. Every draw comes from a counter-based generator with a seed on record, so a figure can be worked out again.
"""

from __future__ import annotations

import math
from enum import StrEnum

import numpy as np
from msgspec import Struct
from numpy.typing import NDArray

from qc.stats.sample_plans import SamplePlan

Array = NDArray[np.float64]

_NUMBERS_AT_ONCE = 2_000_000


class Sampling(StrEnum):
    """How the units of a sample are taken from the pour."""

    RANDOM = "at random from the whole pour"
    STRATIFIED = "one at random from each of as many equal stretches of the pour as there are units"
    FIRST = "from the beginning of the pour"


class Departure(Struct, frozen=True, kw_only=True):
    """A batch that is not ideal. Contents in % of label; for the tests about the own mean, in % of the mean.

    Parameters
    ----------
    units : int
        Units in the batch; samples are drawn without replacement.
    mean, sd : float
        Of the true contents within one stretch of the pour [% of label].
    drift : float
        Rise from the first unit to the last, in a straight line about the mean [% of label].
    other_fraction, other_shift : float
        Fraction of units that belong to a second population, and how far its mean lies off the first's [-, % of label].
    assay_sd : float
        SD of the determination, on top [% of label].
    as_made : bool
        True: `mean` and `sd` (divisor: the number of units) are those of the very units of this batch, and only the
        choice of the sample is random. False: they are those of the process that made it.
    sampling : Sampling
    """

    units: int
    mean: float = 100.0
    sd: float = 0.0
    drift: float = 0.0
    other_fraction: float = 0.0
    other_shift: float = 0.0
    assay_sd: float = 0.0
    as_made: bool = False
    sampling: Sampling = Sampling.RANDOM


class SimulatedChances(Struct, frozen=True, kw_only=True):
    """Simulated chances of passing, with what is needed to work them out again [-]."""

    pass_first_stage: float
    pass_overall: float
    standard_error_first: float
    standard_error_overall: float
    batches: int
    seed: int


def simulated_chances(
    departure: Departure,
    *,
    plan: SamplePlan,
    batches: int = 100_000,
    seed: int = 20261125,
) -> SimulatedChances:
    """The chance that a sample of a batch that is not ideal passes, by simulation.

    Parameters
    ----------
    departure : Departure
    plan : AcceptanceGeometry or CountPlan
        What the rule asks of a sample.
    batches : int
        Batches to simulate; the standard error falls with its root.
    seed : int
        Of the Philox generator.

    Returns
    -------
    SimulatedChances

    Raises
    ------
    ValueError
        When the batch holds fewer units than the first stage asks for, or a figure cannot be used.

    Notes
    -----
    In a batch too small for a second stage, a sample that would need one does not pass.
    The second sample is drawn and looked at only for the batches that the first one leaves undecided.
    """
    first_size = plan.first_size
    whole = first_size + plan.second_size
    _refuse_impossible(departure, least=first_size, batches=batches)
    whole = whole if whole <= departure.units else first_size
    passed_first = passed_second = 0
    generator = np.random.Generator(np.random.Philox(seed))
    # Portions that keep the memory in bounds.
    at_once = max(1, _NUMBERS_AT_ONCE // departure.units)
    for start in range(0, batches, at_once):
        count = min(at_once, batches - start)
        sample = _samples(departure, size=whole, first_size=first_size, count=count, generator=generator)
        first, undecided = plan.passes_first(sample[:, :first_size])
        passed_first += int(first.sum())
        if whole > first_size and bool(undecided.any()):
            passed_second += int(plan.passes_pooled(sample[undecided]).sum())
    chance_first, chance = passed_first / batches, (passed_first + passed_second) / batches
    return SimulatedChances(
        pass_first_stage=chance_first,
        pass_overall=chance,
        standard_error_first=_standard_error(chance_first, batches),
        standard_error_overall=_standard_error(chance, batches),
        batches=batches,
        seed=seed,
    )


def _standard_error(chance: float, batches: int) -> float:
    # A count of none or all would give zero; the chance of Laplace's rule stands in for it.
    steady = (chance * batches + 1.0) / (batches + 2.0)
    return math.sqrt(steady * (1.0 - steady) / batches)


def _refuse_impossible(departure: Departure, *, least: int, batches: int) -> None:
    if departure.units < least:
        raise ValueError(f"a batch of {departure.units} units; the test asks for {least}")
    if min(departure.sd, departure.assay_sd) < 0.0:
        raise ValueError(f"an SD of {min(departure.sd, departure.assay_sd)}; it cannot be negative")
    if not 0.0 <= departure.other_fraction <= 1.0:
        raise ValueError(f"a fraction of {departure.other_fraction} in a second population; give 0 to 1")
    if batches < 1:
        raise ValueError(f"{batches} batches; at least 1 is needed")


def _samples(departure: Departure, *, size: int, first_size: int, count: int, generator: np.random.Generator) -> Array:
    """Measured contents of the sampled units, one row a batch, the first stage first."""
    places = _places(departure, size=size, first_size=first_size, count=count, generator=generator)
    along = places / max(departure.units - 1, 1) - 0.5
    content = departure.mean + departure.drift * along + departure.sd * _scatter(departure, places, generator)
    if departure.other_fraction > 0.0:
        content += departure.other_shift * _members(departure, count=count, size=size, generator=generator)
    if departure.assay_sd > 0.0:
        content += departure.assay_sd * generator.standard_normal((count, size))
    return content


def _scatter(departure: Departure, places: NDArray[np.intp], generator: np.random.Generator) -> Array:
    """Scatter of the sampled units, in SDs: independent, or drawn from units whose mean and SD are exactly 0 and 1."""
    if not departure.as_made:
        return generator.standard_normal(places.shape)
    scatter = generator.standard_normal((places.shape[0], departure.units))
    scatter -= scatter.mean(axis=1, keepdims=True)
    scatter /= scatter.std(axis=1, keepdims=True)
    return np.take_along_axis(scatter, places, axis=1)


def _places(
    departure: Departure, *, size: int, first_size: int, count: int, generator: np.random.Generator
) -> NDArray[np.intp]:
    """Place in the pour of each sampled unit, none twice in a batch."""
    units = departure.units
    if departure.sampling is Sampling.FIRST:
        return np.broadcast_to(np.arange(size), (count, size))
    if departure.sampling is Sampling.STRATIFIED:
        edges = np.linspace(0, units, size + 1)
        low = np.ceil(edges[:-1] - 1e-9).astype(np.intp)
        high = np.maximum(np.ceil(edges[1:] - 1e-9).astype(np.intp), low + 1)
        chosen = generator.integers(low, high, size=(count, size))
        # The first stage is itself spread over the pour: a random part of the stretches would not be.
        step = size / first_size
        early = np.floor((np.arange(first_size) + 0.5) * step).astype(np.intp)
        return chosen[:, np.concatenate([early, np.setdiff1d(np.arange(size), early)])]
    keys = generator.random((count, units))
    chosen = np.argpartition(keys, size - 1, axis=1)[:, :size] if size < units else np.argsort(keys, axis=1)
    return generator.permuted(chosen, axis=1)


def _members(departure: Departure, *, count: int, size: int, generator: np.random.Generator) -> NDArray[np.bool_]:
    """Which sampled units are of the second population, whose members are spread at random over the batch."""
    # The count of members is that of the batch, never a coin for each unit.
    others = round(departure.other_fraction * departure.units)
    drawn = generator.hypergeometric(others, departure.units - others, size, count)
    return generator.permuted(np.arange(size) < drawn[:, None], axis=1)
