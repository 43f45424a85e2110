"""The acceptance value AV = |M - mean| + k s of the dosage-unit test, and its comparison with the limits.

Every comparison is exact: AV <= limit holds when the limit less |M - mean| is not negative and its square is no less
than k² s², and s² is a fraction. Where the rule states its rounding, AV is rounded once, half up, by the same test.
"""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.quantities import mean, root_at_most, rounded, sample_variance, square_root
from qc.results import Limit
from qc.rules.kinds.dosage_units.record import AcceptanceRule, DosageUnitRule
from qc.rules.looks import Look
from qc.rules.measured import Measured


class AcceptanceValue(Struct, frozen=True, kw_only=True):
    """The acceptance value of one look, with what it is made of.

    Parameters
    ----------
    mean_percent, reference_percent, variance : Fraction
        Mean [% of label], M [% of label] and sample variance [(% of label)²], exact.
    k : Decimal
        Acceptability constant for this number of units [-].
    """

    stage: int
    units: tuple[Measured, ...]
    mean_percent: Fraction
    reference_percent: Fraction
    variance: Fraction
    k: Decimal

    @property
    def offset(self) -> Fraction:
        """|M - mean| [% of label], exact."""
        return abs(self.reference_percent - self.mean_percent)

    @property
    def value(self) -> float:
        """AV [% of label], to the precision of a float."""
        return float(self.offset) + square_root(self.variance * Fraction(self.k) ** 2)

    def at_most(self, limit: Fraction) -> bool:
        """Whether AV <= limit, decided exactly."""
        return root_at_most(self.variance * Fraction(self.k) ** 2, limit=limit - self.offset)

    def rounded(self, decimals: int) -> Decimal:
        """AV rounded half up, exact even where the float lies on the wrong side of a five."""
        step = Fraction(1, 10**decimals)
        nearest = Fraction(rounded(Fraction(self.value), decimals=decimals))
        if self.below(nearest - step / 2):
            nearest -= step
        elif not self.below(nearest + step / 2):
            nearest += step
        return rounded(nearest, decimals=decimals)

    def below(self, limit: Fraction) -> bool:
        """Whether AV < limit, decided exactly."""
        room = limit - self.offset
        return room > 0 and self.variance * Fraction(self.k) ** 2 < room**2


def reference_value(mean_percent: Fraction, *, target_percent: Decimal, rule: AcceptanceRule) -> Fraction:
    """M of the rule: the mean itself inside the reference range, else the nearer end [% of label]."""
    low, high = rule.reference_ends(target_percent)
    return min(max(mean_percent, Fraction(low)), Fraction(high))


def acceptance_value(
    units: Sequence[Measured], *, stage: int, k: Decimal, target_percent: Decimal, rule: AcceptanceRule
) -> AcceptanceValue:
    """Work out the acceptance value of the units of one look [% of label]; two units at least."""
    values = [unit.value for unit in units]
    centre = mean(values)
    return AcceptanceValue(
        stage=stage,
        units=tuple(units),
        mean_percent=centre,
        reference_percent=reference_value(centre, target_percent=target_percent, rule=rule),
        variance=sample_variance(values),
        k=k,
    )


_DRAWS = 20_000


def share_that_complies(
    values: Sequence[Fraction], *, drawn: int, target_percent: Decimal, rule: DosageUnitRule
) -> float:
    """The share of the samples of a whole that keep the limits of their stage [-], of 20,000 drawn at random.

    Parameters
    ----------
    values : sequence of Fraction
        Contents of all units of the whole [% of label]; their order has no say.
    drawn : int
        Units of a sample: as many as the first stage asks for, or as both [-].

    Notes
    -----
    Its standard error at a share of 5 % is 0.15 %.
    """
    import numpy as np

    every = np.sort(np.array([float(value) for value in values]))
    picked = np.argsort(np.random.default_rng(1).random((_DRAWS, len(every))), axis=1)[:, :drawn]
    samples = every[picked]
    first = drawn <= rule.first_size
    means, spread = samples.mean(axis=1), samples.std(axis=1, ddof=1)
    low, high = map(float, rule.reference_ends(target_percent))
    reference = np.clip(means, low, high)
    met = np.abs(reference - means) + float(rule.first_k if first else rule.second_k) * spread <= float(rule.l1_below)
    if not first:
        met &= (np.abs(samples / reference[:, None] - 1) * 100 <= float(rule.l2_percent)).all(axis=1)
    return float(met.mean())


def beside_l1(av: AcceptanceValue, *, rule: AcceptanceRule) -> Limit:
    """AV beside L1, compared as the rule states it: rounded once, decided exactly."""
    figure = av.rounded(rule.rounding_decimals)
    met = figure <= rule.l1_percent
    laid = {"n": len(av.units), "unrounded": av.value, "mean": av.mean_percent, "k": av.k}
    laid["by_rounding"] = met != av.at_most(Fraction(rule.l1_percent))
    return Limit(what="acceptance_value", figure=figure, bound=rule.l1_percent, met=met, unit="%", values=laid)


def figures_of_value(
    look: Look, av: AcceptanceValue | None, *, target: Decimal, rule: AcceptanceRule
) -> dict[str, float | int | None]:
    """What one look comes to; without an acceptance value while there are too few units for its constant."""
    share, reference = Fraction(rule.l2_percent) / 100, reference_value(look.mean, target_percent=target, rule=rule)
    return {
        "mean_percent": float(look.mean),
        "sd_percent": look.spread(),
        "k": None if av is None else float(av.k),
        "reference_percent": float(reference),
        "acceptance_value": None if av is None else av.value,
        "acceptance_value_rounded": None if av is None else float(av.rounded(rule.rounding_decimals)),
        "stage": look.stage,
        "target_percent": float(target),
        "l1_percent": float(rule.l1_percent),
        "l2_percent": float(rule.l2_percent),
        "single_low_percent": float(reference * (1 - share)),
        "single_high_percent": float(reference * (1 + share)),
    }


def acceptance_boundary(
    *, stage: int, target_percent: Decimal, rule: DosageUnitRule
) -> tuple[tuple[float, float], ...]:
    """Corner points (mean, greatest SD) of the region that meets L1 [% of label], from left to right, unrounded."""
    low, high = rule.reference_ends(target_percent)
    limit = rule.l1_percent
    top = Fraction(limit) / Fraction(rule.first_k if stage == 1 else rule.second_k)
    corners = ((low - limit, 0), (low, top), (high, top), (high + limit, 0))
    return tuple((float(centre), float(sd)) for centre, sd in corners)
