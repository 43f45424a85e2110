"""The posterior of the chance of passing: against the normal theory, against a second engine, and in plain cases."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import stats

import qc.assurance.posterior as under_test
from qc.assurance.posterior import ANYWHERE, POINTS, PRIOR, pass_chance, posterior, spoilt_shares
from qc.rules.kinds import kind_of
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.stats.sample_plans import SamplePlan
from qc.stats.standard_samples import Core, Spread

Floats = NDArray[np.float64]


def plan(id: str = "harmonised-udu") -> SamplePlan:
    rule = load_rule(id)
    return kind_of(rule).plan(rule, band=rule.bands[0] if isinstance(rule, MassRule) else None)


def sample(n: int, *, mean: float = 100.0, sd: float = 3.0, seed: int = 5) -> tuple[float, ...]:
    return tuple((mean + sd * np.random.Generator(np.random.Philox(seed)).standard_normal(n)).tolist())


def test_the_priors_add_up() -> None:
    assert math.fsum(PRIOR.values()) == pytest.approx(1.0)
    for n in (2, 10, 30, 41, 200, 5000):
        assert math.fsum(spoilt_shares(n).values()) == pytest.approx(1.0)


@pytest.mark.parametrize("n", [3, 10, 30, 150])
def test_normal_units_alone_have_the_posterior_of_the_normal_theory(n: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Gelman et al., Bayesian Data Analysis, 3rd ed., section 3.2: t about the mean, scaled inverse chi-square."""
    monkeypatch.setattr(under_test, "PRIOR", {Spread(): 1.0})
    monkeypatch.setattr(under_test, "spoilt_shares", lambda n: {0.0: 1.0})
    posterior.cache_clear()
    units = sample(n)
    (found,) = posterior(units)
    posterior.cache_clear()
    assert found.points.sum() == POINTS
    mean, sd = float(np.mean(units)), float(np.std(units, ddof=1))
    middles, scales = np.sort(np.repeat(found.middles, found.points)), np.sort(np.repeat(found.scales, found.points))
    for share in (0.1, 0.5, 0.9):
        at = int(share * POINTS)
        theirs = mean + sd / math.sqrt(n) * stats.t.ppf(share, n - 1)
        assert middles[at] == pytest.approx(theirs, abs=0.35 * sd / math.sqrt(n) * (1 + 4 / n))
        below = stats.chi2.sf((n - 1) * sd**2 / scales[at] ** 2, n - 1)
        above = stats.chi2.sf((n - 1) * sd**2 / scales[min(at + 1, POINTS - 1)] ** 2, n - 1)
        assert below - 0.15 < share < above + 0.15


def of_the_second_engine(units: tuple[float, ...], *, draws: int = 60_000, samples: int = 300) -> Floats:
    """Equally likely chances of passing by importance sampling: scipy, plain draws and the text of the rule."""
    lot = np.random.Generator(np.random.Philox(77))
    n, centre, sd = len(units), float(np.median(units)), float(np.std(units, ddof=1))
    reach = 1.2 * sd / math.sqrt(n)
    log_scales, middles = (
        law.rvs(draws, random_state=lot) for law in (stats.t(4, math.log(sd), 0.7), stats.t(3, centre, reach))
    )
    proposed = stats.t.logpdf(log_scales, 4, math.log(sd), 0.7) + stats.t.logpdf(middles, 3, centre, reach)
    scales = np.exp(np.clip(log_scales, math.log(sd) - 6, math.log(sd) + 6))
    shapes = list(PRIOR)
    shape = lot.choice(len(shapes), draws, p=list(PRIOR.values()))
    spoilt = spoilt_shares(n)
    share = lot.choice(list(spoilt), draws, p=list(spoilt.values()))
    logs = np.empty(draws)
    for place, spread in enumerate(shapes):
        here = np.flatnonzero(shape == place)
        side, law = _law(spread)
        standard = (np.array(units) - middles[here, None]) / scales[here, None] + _core_off(spread)
        pot = stats.norm.pdf(standard, spread.away, 2.0)
        sound = (1 - spread.share) * law.pdf(np.clip(side * standard, -500, 100)) + spread.share * pot
        mixed = (1 - share[here, None]) * sound / scales[here, None] + share[here, None] / ANYWHERE
        logs[here] = np.log(np.maximum(mixed, 1e-300)).sum(axis=1)
    weights = np.exp(logs - proposed - (logs - proposed).max())
    kept = lot.choice(draws, 400, p=weights / weights.sum())
    chances = dict.fromkeys(kept.tolist(), 0.0)
    for at in chances:
        spread = shapes[shape[at]]
        side, law = _law(spread)
        drawn = side * law.rvs((samples, 30), random_state=lot)
        other = lot.random((samples, 30)) < spread.share
        contents = middles[at] + scales[at] * (
            np.where(other, lot.normal(spread.away, 2.0, (samples, 30)), drawn) - _core_off(spread)
        )
        contents[lot.random((samples, 30)) < share[at]] = 1e4
        chances[at] = float(passes(contents).mean())
    return np.array([chances[at] for at in kept.tolist()])


def _core_off(spread: Spread) -> float:
    """Where the median of all units lies, seen from the core: all shapes are centred on it."""
    return float(stats.norm.ppf(0.5 / (1 - spread.share))) * math.copysign(1.0, spread.away)


def _law(spread: Spread) -> tuple[float, Any]:
    """The side to which a tail goes, and scipy's law of the core."""
    if spread.core in (Core.POOR_TAIL, Core.RICH_TAIL):
        return (1.0 if spread.core is Core.POOR_TAIL else -1.0), stats.loggamma(
            0.4, -stats.loggamma(0.4).median() / 2.5, 1 / 2.5
        )
    return 1.0, {Core.NORMAL: stats.norm(), Core.STUDENT_5: stats.t(5), Core.STUDENT_3: stats.t(3)}[spread.core]


def passes(sample: Floats) -> NDArray[np.bool_]:
    """The harmonised test of uniformity of dosage units, T 100, on samples x 30 contents [% of label]."""

    def value(some: Floats, k: float) -> Floats:
        centre = some.mean(axis=1)
        off = np.maximum(np.maximum(98.5 - centre, centre - 101.5), 0.0)
        return np.asarray(off + k * some.std(axis=1, ddof=1))

    reference = np.clip(sample.mean(axis=1), 98.5, 101.5)
    single = np.abs(sample - reference[:, None]).max(axis=1) <= 0.25 * reference
    return np.asarray((value(sample[:, :10], 2.4) <= 15) | ((value(sample, 2.0) <= 15) & single))


@pytest.mark.parametrize(
    "units",
    [sample(10, sd=4.0), sample(30, sd=5.5), (*sample(9), 80.0)],
    ids=["ten normal", "thirty normal", "one of ten at 80"],
)
def test_mean_and_quantile_agree_with_a_second_engine(units: tuple[float, ...]) -> None:
    found = pass_chance(units, plan=plan(), confidence=0.95)
    assert found is not None
    theirs = of_the_second_engine(units)
    assert found.mean == pytest.approx(theirs.mean(), abs=0.04)
    # One in twenty of their chances lies below ours, as far as 400 draws and the error of a chance tell.
    low = found.low if found.low_supposed is None else found.low_supposed
    assert float((theirs < low - 0.03).mean()) < 0.09
    assert float((theirs < low + 0.03).mean()) > 0.02


def test_ten_sound_units_do_not_rule_out_one_spoilt_in_forty() -> None:
    found = pass_chance(sample(10, sd=1.0), plan=plan(), confidence=0.95)
    assert found is not None
    assert found.low_supposed == pytest.approx((1 - 0.025) ** 10, abs=0.01)
    assert found.low < found.mean < 1.0


def test_a_batch_near_the_edge_says_more_with_thirty_units_than_with_ten() -> None:
    few, many = (pass_chance(sample(n, sd=5.0, seed=8), plan=plan(), confidence=0.95) for n in (10, 30))
    assert few is not None
    assert many is not None
    assert few.low < many.low
    assert few.low_supposed is not None
    assert many.low_supposed is not None
    assert few.low_supposed < 0.5 < many.low_supposed


def test_a_poor_batch_has_no_chance() -> None:
    found = pass_chance(sample(10, mean=70.0, sd=4.0), plan=plan(), confidence=0.95)
    assert found is not None
    assert found.mean < 0.01


def test_more_confidence_bounds_lower_and_the_same_units_say_the_same() -> None:
    units = sample(10, sd=5.0)
    bounds = [pass_chance(units, plan=plan(), confidence=level) for level in (0.8, 0.9, 0.95, 0.99)]
    lows = [one.low for one in bounds if one is not None]
    assert lows == sorted(lows, reverse=True)
    posterior.cache_clear()
    assert pass_chance(units, plan=plan(), confidence=0.95) == bounds[2]
    turned = pass_chance(units[::-1], plan=plan(), confidence=0.95)
    assert turned is not None
    assert bounds[2] is not None
    assert (turned.mean, turned.low) == pytest.approx((bounds[2].mean, bounds[2].low), abs=1e-9)


@pytest.mark.parametrize("units", [(100.0,), (100.0,) * 10, (0.0,) * 3])
def test_units_that_do_not_differ_say_nothing(units: tuple[float, ...]) -> None:
    assert pass_chance(units, plan=plan(), confidence=0.95) is None


@pytest.mark.parametrize("units", [(99.0, 101.0), (0.0, 100.0, 100.0), (100.0, 100.0, 100.1), (1e-9, 5e6, 3.0)])
@pytest.mark.parametrize("id", ["harmonised-udu", "ph-eur-2.9.6-b", "ph-eur-2.9.6-c", "ph-eur-2.9.5", "chp-0107"])
def test_whatever_was_measured_the_bound_lies_below_the_chance(units: tuple[float, ...], id: str) -> None:
    found = pass_chance(units, plan=plan(id), confidence=0.95)
    assert found is not None
    assert 0.0 <= found.low <= found.mean < 1.0


@pytest.mark.parametrize("n", [30, 200, 1000])
def test_no_number_of_sound_units_rules_out_one_spoilt_in_as_many(n: int) -> None:
    """Of three batches in n units of which one is spoilt on average, one shows none."""
    found = pass_chance(sample(n, sd=1.0), plan=plan(), confidence=0.95)
    assert found is not None
    assert found.low_supposed is not None
    assert found.low_supposed <= (1 - min(0.025, 1 / n)) ** 10 + 0.005


@pytest.mark.parametrize("n", [10, 30, 200])
def test_without_a_spoilt_unit_the_bound_is_that_of_as_many_as_may_have_been_missed(n: int) -> None:
    """No unit of n: the upper limit of the share is 1 - 0.05^(1/n), Clopper and Pearson (1934), Biometrika 26, 404."""
    found = pass_chance(sample(n, sd=1.0), plan=plan(), confidence=0.95)
    assert found is not None
    assert found.low == pytest.approx(0.05 ** (10 / n), abs=0.005)


def test_many_units_are_taken_together_without_changing_what_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    units = sample(120, sd=5.0)
    together = pass_chance(units, plan=plan(), confidence=0.95)
    monkeypatch.setattr(under_test, "BINS", 1e9)
    posterior.cache_clear()
    singly = pass_chance(units, plan=plan(), confidence=0.95)
    posterior.cache_clear()
    assert together is not None
    assert singly is not None
    assert (together.mean, together.low) == pytest.approx((singly.mean, singly.low), abs=0.01)


@pytest.mark.parametrize(("n", "supposed"), [(10, 0.025), (30, 0.025), (200, 0.005)])
def test_what_the_bound_supposes_is_said_where_no_unit_measured_was_spoilt(n: int, supposed: float) -> None:
    found = pass_chance(sample(n, sd=1.0), plan=plan(), confidence=0.95)
    assert found is not None
    assert found.spoilt_at_most == pytest.approx(supposed)


@pytest.mark.parametrize(("n", "spoilt"), [(10, 1), (10, 2), (30, 2), (200, 10)])
def test_where_units_measured_were_spoilt_the_bound_supposes_nothing(n: int, spoilt: int) -> None:
    """The bound then takes in more than were seen; Clopper and Pearson (1934), Biometrika 26, 404, by scipy."""
    found = pass_chance((*sample(n - spoilt, sd=1.0), *[0.0] * spoilt), plan=plan(), confidence=0.95)
    assert found is not None
    assert found.spoilt_at_most is None
    assert found.low <= (1.0 - stats.binomtest(spoilt, n).proportion_estimate) ** 10 + 0.02
