"""Charts against printed examples, run lengths and independent simulations; what a series of each kind gives."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from published import item
from scipy import stats

from qc.causes.priors import middles, normal_quantile
from qc.history.change import best_split, changes, split_score, split_squares
from qc.history.charts import FEWEST_SPLIT, RULES, BatchValue, Followed, SignalRules, SoFar, Watch, follow, individuals
from qc.history.products import rules_for
from qc.rules.built_in import load_rule
from qc.rules.kinds import kind_of


@pytest.mark.parametrize("id", ["imr-nist-flow", "imr-sas-jets", "imr-pyzdek-9.4"])
def test_limits_of_individuals_are_the_printed_ones(id: str) -> None:
    given, expected = item(id)
    chart = individuals(given["x"], d2=given["d2"])
    assert chart.mean == pytest.approx(expected["mean"], abs=5e-6)
    assert (chart.low, chart.high) == pytest.approx((expected["lcl"], expected["ucl"]), abs=5e-6)
    # Tables print 3.267 for the factor of the moving range, and some take the exact d2.
    assert chart.range_high == pytest.approx(expected["mr_ucl"], rel=6e-4)


def test_limits_of_batch_means_come_from_the_ranges_between_batches() -> None:
    _, expected = item("means-chart-dyestuff")
    chart = individuals(expected["batch_means"], d2=2.0 / math.sqrt(math.pi))
    assert (chart.mean, chart.low, chart.high) == pytest.approx(
        (expected["centre"], expected["lcl_mr"], expected["ucl_mr"]), rel=1e-6
    )


@pytest.mark.parametrize(
    ("id", "weight", "limit", "sigma", "start"),
    [
        ("ewma-sas-clips", 0.3, 3.0, 0.211078 / math.sqrt(5), 14.95),
        ("ewma-montgomery-9.10", 0.1, 2.7, 1.0, 10.0),
    ],
)
def test_ewma_and_its_exact_limits_are_the_printed_ones(
    id: str, weight: float, limit: float, sigma: float, start: float
) -> None:
    given, expected = item(id)
    values = given.get("x") or [float(np.mean(one)) for one in given["subgroups"]]
    watch = Watch(SignalRules(ewma_weight=weight, ewma=limit, cusum=1e9))
    shown, limits, out = [], [], []
    for place, value in enumerate(values, start=1):
        if watch.take((value - start) / sigma):
            out.append(place)
        shown.append(start + sigma * watch.ewma)
        limits.append(start + sigma * watch.ewma_limit)
    assert shown == pytest.approx(expected["ewma"], abs=1.1e-5)
    if "ucl" in expected:
        assert limits == pytest.approx(expected["ucl"], abs=1.1e-5)
    else:
        ends = (expected["ucl_first"], expected["ucl_2"], expected["ucl_last"])
        assert (limits[0], limits[1], limits[-1]) == pytest.approx(ends, abs=1e-6)
        assert out == expected["out_of_limits"]


@pytest.mark.parametrize("id", ["cusum-mr3-16-8", "cusum-montgomery-9.1", "cusum-nist"])
def test_cusum_sums_and_signal_are_the_printed_ones(id: str) -> None:
    given, expected = item(id)
    # In the units of the data: slack and limit as they are given.
    watch = Watch(SignalRules(ewma=1e9, cusum_slack=given["K"], cusum=given["H"]))
    upper, lower, signal = [], [], None
    for place, value in enumerate(given["x"], start=1):
        if watch.take(value - given["mu0"]) and signal is None:
            signal = place
        upper.append(float(watch.upper))
        lower.append(float(watch.lower))
    assert upper == pytest.approx(expected["upper"], abs=1e-6)
    assert lower == pytest.approx(expected["lower"], abs=1e-6)
    assert signal == expected["first_signal"]


def run_lengths(rules: SignalRules, shift: float, *, steady: bool, runs: int, seed: int) -> np.ndarray[Any, Any]:
    """When each of many series signals first, known parameters."""
    draw, watch = np.random.default_rng(seed), Watch(rules)
    # The printed tables of EWMA take the limit that is reached after many batches from the first one on.
    watch.count = 10_000 if steady else 0
    lengths, place = np.zeros(runs), 0
    while (lengths == 0).any():
        place += 1
        signal = watch.take(draw.normal(shift, 1.0, runs))
        lengths[signal & (lengths == 0)] = place
    return lengths


@pytest.mark.parametrize("shift", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("id", ["arl-ewma-0.5", "arl-ewma-0.25", "arl-ewma-0.1", "arl-ewma-0.05", "arl-cusum-h4"])
def test_run_lengths_are_those_of_published_tables(id: str, shift: float) -> None:
    """Lucas & Saccucci 1990 and Lucas & Crosier 1982, as the reference gives them; within four standard errors."""
    given, expected = item(id)
    published = expected["arl"][given["shift"].index(shift)]
    rules = SignalRules(ewma=1e9, cusum_slack=0.5, cusum=given.get("h", 0.0))
    if "lam" in given:
        rules = SignalRules(ewma_weight=given["lam"], ewma=given["L"], cusum=1e9)
    lengths = run_lengths(rules, shift, steady=True, runs=8000, seed=7)
    assert abs(lengths.mean() - published) < 4.0 * lengths.std() / math.sqrt(len(lengths))


def test_run_lengths_with_exact_limits_are_those_of_a_second_program() -> None:
    given, expected = item("arl-ewma-exact-limits")
    for (weight, limit), name in zip(given["designs"], ("lam_0_1", "lam_0_2"), strict=True):
        for shift in (0.5, 1.0):
            lengths = run_lengths(
                SignalRules(ewma_weight=weight, ewma=limit, cusum=1e9), shift, steady=False, runs=8000, seed=11
            )
            published = expected[name][given["shift"].index(shift)]
            assert abs(lengths.mean() - published) < 4.0 * lengths.std() / math.sqrt(len(lengths))


def test_no_rule_takes_more_than_its_share_of_the_false_signals() -> None:
    """Of a series once in 1,000 batches, of each rule with known parameters once in 4,000 to 7,000.

    CUSUM by Siegmund's approximation (Montgomery, Introduction to Statistical Quality Control, 9.1.2, from memory),
    EWMA by a Markov chain (Lucas & Saccucci 1990, from memory), a single batch by the normal distribution.
    """
    reach = RULES.cusum + 1.166
    cusum = 2.0 * (math.exp(reach) - reach - 1.0) / 2.0
    weight, states = RULES.ewma_weight, 201
    limit = RULES.ewma * math.sqrt(weight / (2.0 - weight))
    edges = np.linspace(-limit, limit, states + 1)
    middles = (edges[1:] + edges[:-1]) / 2.0
    below = stats.norm.cdf((edges[None, :] - (1.0 - weight) * middles[:, None]) / weight)
    ewma = np.linalg.solve(np.eye(states) - np.diff(below, axis=1), np.ones(states))[states // 2]
    point = 1.0 / (2.0 * stats.norm.sf(RULES.point))
    for each in (cusum, ewma, point):
        assert 4_000 < each < 7_500


def scores(values: Sequence[float], sizes: Sequence[float] | None = None) -> list[float | None]:
    reference, found = SoFar(), list[float | None]()
    for value, size in zip(values, sizes or [0.1] * len(values), strict=True):
        point = BatchValue(value=value, size=size, within=2.0)
        score = reference.score(point)
        found.append(None if score is None else float(score))
        reference.add(point)
    return found


def test_the_q_statistics_are_those_of_quesenberry() -> None:
    given, expected = item("q-quesenberry-1991-ex1")
    found = scores(given["x"])
    assert found[:2] == [None, None] == expected["q"][:2]
    assert found[2:] == pytest.approx(expected["q"][2:], abs=2e-6)


def test_the_limits_that_are_drawn_are_those_of_an_exact_prediction() -> None:
    """Mean -+ g s for one new individual, g as the reference gives it for m batches before it."""
    given, expected = item("t-limits")
    level = float(-np.sqrt(2.0) * _erfcinv(2.0 - given["alpha"]))
    for m, g in zip(given["m"], expected["g"], strict=True):
        values = np.random.default_rng(m).normal(100.0, 2.0, m)
        reference = SoFar()
        for value in values:
            reference.add(BatchValue(value=float(value), size=0.1))
        assert reference.reach(0.1, level) == pytest.approx(g * values.std(ddof=1), rel=1e-6)


def _erfcinv(share: float) -> float:
    from scipy.special import erfcinv

    return float(erfcinv(share))


def test_batches_of_few_units_count_less_and_reach_further() -> None:
    draw = np.random.default_rng(5)
    reference = SoFar()
    for _ in range(40):
        reference.add(BatchValue(value=float(draw.normal(100.0, 1.0)), size=1 / 10, within=9.0))
    few, usual, many = (reference.reach(1 / n, 3.0) for n in (2, 10, 60))
    assert few > usual > many


@pytest.mark.parametrize(
    ("sizes", "rules", "stated"),
    [((10,), RULES, 1e-3), ((3, 10, 30), RULES, 1e-3), ((10,), rules_for(6, batches=500), 1 / 3000)],
)
def test_false_alarms_are_as_stated_from_the_fifth_batch_on(
    sizes: tuple[int, ...], rules: SignalRules, stated: float
) -> None:
    """About one in 1,000 batches for one series, units equal or unequal in number; 40 batches, 8,000 series."""
    draw, reference, watch = np.random.default_rng(3), SoFar(), Watch(rules)
    runs, alarms, batches, every = 8_000, 0, 0, list[Any]()
    quiet = np.ones(runs, dtype=bool)
    for place in range(1, 41):
        n = int(draw.choice(sizes))
        values = draw.normal(100.0, 1.0, runs) + draw.normal(0.0, 1.5 / math.sqrt(n), runs)
        point: Any = BatchValue(value=values, size=1.0 / n, within=1.5**2)  # type: ignore[arg-type]
        score = reference.score(point)
        every.append((values, 1.0 / (reference.relative(point.size) * np.ones(runs))))
        reference.add(point)
        if score is None:
            continue
        signal = (np.abs(score) > rules.point) | watch.take(score)
        if place >= FEWEST_SPLIT:
            x, weights = (np.stack(part, axis=-1) for part in zip(*every, strict=True))
            signal |= split_score(x, weights=weights) > rules.split
            alarms, batches = alarms + int((signal & quiet).sum()), batches + int(quiet.sum())
        quiet &= ~signal
    assert 0.5 * stated < alarms / batches < 1.3 * stated


def test_the_next_batch_lies_within_its_prediction_interval_as_often_as_stated() -> None:
    draw, held, runs = np.random.default_rng(8), 0, 400
    for _ in range(runs):
        values = draw.normal(100.0, 2.0, 9)
        followed = follow([BatchValue(value=float(value)) for value in values[:-1]])
        held += followed.outlook(-1.959964) <= values[-1] <= followed.outlook(1.959964)
    assert 0.92 < held / runs < 0.975


def test_the_chance_that_the_next_batch_passes_is_that_of_a_simulation() -> None:
    """Forty batches of a process that fails now and then; the next 4,000 are drawn, assayed and judged by their AV."""
    from qc.history.outlook import chance_to_pass
    from qc.history.products import followed as as_series
    from qc.history.products import value_of_sd

    draw, n, sd, between = np.random.default_rng(12), 10, 4.0, 2.5

    def batches(count: int) -> np.ndarray[Any, Any]:
        means = draw.normal(97.0, between, count)
        return means[:, None] + draw.normal(0.0, sd, (count, 30))

    past = batches(40)[:, :n]
    means = [
        (place, BatchValue(value=float(row.mean()), size=1 / n, within=float(row.var(ddof=1))))
        for place, row in enumerate(past)
    ]
    sds = [(place, value_of_sd(float(row.std(ddof=1)), n)) for place, row in enumerate(past)]
    told = chance_to_pass(
        as_series("content-mean", "a", "%", means, rules=RULES),
        as_series("content-sd", "a", "%", sds, rules=RULES, power=1.5),
        plan=kind_of(load_rule("harmonised-udu")).plan(load_rule("harmonised-udu")),
    )

    def passes(row: np.ndarray[Any, Any], k: float) -> bool:
        mean = row.mean()
        reference = min(max(mean, 98.5), 101.5)
        return bool(abs(reference - mean) + k * row.std(ddof=1) <= 15.0)

    truth = np.mean([passes(row[:10], 2.4) or passes(row, 2.0) for row in batches(4000)])
    assert truth - 0.04 < told < truth + 0.02


@pytest.mark.parametrize(("apart", "least", "most"), [(1e-9, 0.97, 0.99), (1.0, 0.95, 0.99), (2.0, 0.6, 0.8)])
def test_what_the_units_of_batches_scatter_is_no_difference_between_them(
    apart: float, least: float, most: float
) -> None:
    """Twenty batches of ten units with SD 5 % about 98 %, as far apart as ten such units let one expect, or more."""
    from qc.history.outlook import chance_to_pass
    from qc.history.products import followed as as_series
    from qc.history.products import value_of_sd

    scores = np.random.default_rng(5).permutation(normal_quantile(middles(20))) * apart
    means = [(at, BatchValue(value=98.0 + 1.58 * float(one), size=0.1, within=25.0)) for at, one in enumerate(scores)]
    sds = [(at, value_of_sd(5.0 * (1.0 + 0.157 * float(one)) ** 1.5, 10)) for at, one in enumerate(scores[::-1])]
    told = chance_to_pass(
        as_series("content-mean", "a", "%", means, rules=RULES),
        as_series("content-sd", "a", "%", sds, rules=RULES, power=1.5),
        plan=kind_of(load_rule("harmonised-udu")).plan(load_rule("harmonised-udu")),
    )
    assert least < told <= most


def drawn(mean: Sequence[float], seed: int) -> list[float]:
    return [float(one) for one in np.asarray(mean) + np.random.default_rng(seed).normal(0.0, 1.0, len(mean))]


def found_in(values: Sequence[float]) -> tuple[tuple[int, ...], list[Any]]:
    followed = follow([BatchValue(value=value) for value in values])
    return followed.beyond, changes(values, levels=followed.levels, seen=followed.seen, aside=followed.beyond)


def test_a_step_is_found_with_its_place_and_its_size() -> None:
    kinds, held, right = [], 0, 0
    for seed in range(60):
        beyond, found = found_in(drawn([0.0] * 30 + [2.5] * 30, seed))
        kinds.append((len(beyond), [one.kind for one in found]))
        if len(found) == 1:
            held += found[0].earliest <= 30 <= found[0].latest
            right += found[0].difference[1] <= 2.5 <= found[0].difference[2]
    single = kinds.count((0, ["step"]))
    assert single >= 52
    assert held >= 0.9 * single
    assert right >= 0.88 * single


def test_a_creep_is_told_from_a_step() -> None:
    slope = [0.0] * 20 + [0.15 * place for place in range(40)]
    kinds = [[one.kind for one in found_in(drawn(slope, seed))[1]] for seed in range(40)]
    assert kinds.count(["creep"]) >= 30
    (creep,) = next(found for seed in range(40) if len(found := found_in(drawn(slope, seed))[1]) == 1)
    assert creep.last == 59
    assert 4.0 < creep.difference[0] < 7.5


def test_single_bad_batches_are_set_aside_and_are_no_new_level() -> None:
    for many in (1, 2):
        values = drawn([0.0] * 60, 4)
        values[30 : 30 + many] = [7.0] * many
        assert found_in(values) == (tuple(range(30, 30 + many)), [])


STEADY, HIGHER = [1.0, -1.0, 0.5, -0.5] * 6, [2.9, 3.6, 2.5, 3.3] * 4


@pytest.mark.parametrize(
    ("between", "beyond", "begins"),
    [([2.9, -12.0], [25], 24), ([-12.0], [24], 25), ([2.9, -12.0, 3.1], [25], 24), ([12.0, -12.0], [24, 25], 26)],
)
def test_a_bad_batch_where_a_level_begins_is_set_aside_and_counts_for_neither(
    between: list[float], beyond: list[int], begins: int
) -> None:
    values = [*STEADY, *between, *HIGHER]
    found = follow([BatchValue(value=value) for value in values])
    assert (found.beyond, found.levels) == (tuple(beyond), (0, begins))
    of_level = [value for place, value in enumerate(values) if place >= begins and place not in beyond]
    assert found.level == pytest.approx(np.mean(of_level))
    (change,) = changes(values, levels=found.levels, seen=found.seen, aside=found.beyond)
    assert change.before[0] == pytest.approx(np.mean(STEADY))


@pytest.mark.parametrize("factor", [1.0, -1.0, 3.0])
@pytest.mark.parametrize("level", [0.0, 100.0, -40.0])
@pytest.mark.parametrize("between", [[], [2.9, -12.0], [-12.0, -12.0], [12.0, -12.0], [2.9, 12.0]])
def test_neither_the_unit_of_measure_nor_the_level_nor_the_sign_changes_what_is_found(
    between: list[float], level: float, factor: float
) -> None:
    def found(*, level: float = 0.0, factor: float = 1.0) -> Followed:
        values = [level + factor * value for value in (*STEADY, *between, *HIGHER)]
        sizes = itertools.cycle((0.1, 0.05, 0.1, 0.2))
        within = 2.0 * factor**2
        return follow(
            [BatchValue(value=one, size=size, within=within) for one, size in zip(values, sizes, strict=False)]
        )

    one, other = found(), found(level=level, factor=factor)
    for kept in ("beyond", "levels", "seen", "free"):
        assert getattr(one, kept) == getattr(other, kept)
    assert (other.level - level) / factor == pytest.approx(one.level)
    assert other.spread / abs(factor) == pytest.approx(one.spread)


def test_unequal_batches_count_by_the_inverse_of_their_variance() -> None:
    """Means of n units weigh 1 / (between + within / n): the weighted mean of textbooks, between by its moments."""
    reference = SoFar()
    points = [BatchValue(value=value, size=0.1, within=2.0) for value in (1.0, 4.0, 0.0, 5.0)]
    for point in points:
        reference.add(point)
    # Half the mean square of successive differences, less what sampling gives.
    between = (9.0 + 16.0 + 25.0) / 2.0 / 3.0 - 0.2
    for size in (0.05, 0.1, 1.0):
        assert float(reference.relative(size)) == pytest.approx((between + 2.0 * size) / (between + 0.2))
    mean, weight = float(reference.mean), float(reference.weight)
    reference.add(BatchValue(value=9.0, size=1.0, within=2.0))
    share = (between + 0.2) / (between + 2.0)
    assert float(reference.mean) == pytest.approx((mean * weight + 9.0 * share) / (weight + share))


def test_batches_beyond_the_limit_on_either_side_in_turn_are_no_level() -> None:
    found = follow([BatchValue(value=value) for value in (*STEADY, 12.0, -12.0, 12.0, -12.0, *STEADY)])
    assert (found.beyond, found.levels) == ((24, 25, 26, 27), (0,))


def test_three_in_a_row_beyond_the_limit_are_a_new_level() -> None:
    beyond, (step,) = found_in([*drawn([0.0] * 20, 6), *(9.0 + one for one in drawn([0.0] * 10, 7))])
    assert beyond == ()
    assert (step.kind, step.first, step.seen) == ("step", 20, 22)


def test_a_step_between_batches_that_are_equal_on_either_side_is_told() -> None:
    _, (step,) = found_in([1.0] * 6 + [2.0] * 6)
    assert (step.first, step.earliest, step.latest, step.difference) == (6, 6, 6, (1.0, 1.0, 1.0))


def test_few_batches_and_equal_ones_give_no_signal_and_no_fault() -> None:
    for values in ([], [1.0], [1.0, 2.0], [5.0] * 10):
        assert found_in(values) == ((), [])
    assert follow([]).levels == (0,)


def test_from_two_batches_on_there_is_an_outlook_by_the_t_distribution() -> None:
    """Prediction interval of one further value, mean and SD unknown: t of n - 1 times s times sqrt(1 + 1 / n)."""
    assert follow([BatchValue(value=2.0)]).spread == 0.0
    two = follow([BatchValue(value=2.0), BatchValue(value=2.2)])
    assert (two.level, two.spread, two.free) == (pytest.approx(2.1), pytest.approx(math.sqrt(0.02 * 1.5)), 1)
    assert two.outlook(1.959964) == pytest.approx(2.1 + 12.7062 * math.sqrt(0.03), rel=1e-5)
    assert BatchValue(value=2.0).size == BatchValue(value=2.0).within == 0.0


def test_the_change_of_the_nile_is_the_published_one() -> None:
    given, expected = item("change-nile")
    squares, of_one = split_squares(given["x"])
    assert of_one == pytest.approx(expected["rss_no_change"], rel=1e-8)
    assert best_split(given["x"]) == expected["last_before"]
    assert squares.min() == pytest.approx(expected["rss"], rel=1e-8)
    assert squares[expected["runner_up"][0] - 1] == pytest.approx(expected["runner_up"][1], rel=1e-8)
    followed = follow([BatchValue(value=value) for value in given["x"]])
    (change,) = changes(given["x"], levels=followed.levels, seen=followed.seen, aside=followed.beyond)
    # Signalled within a few years of it, and found at the same year: the first year after the change is the 29th.
    assert (change.kind, change.first) == ("step", expected["last_before"])
    assert 28 <= change.seen <= 40
    assert change.earliest <= 28 <= change.latest
    assert change.before[0] == pytest.approx(expected["mean_before"])
    assert change.after[0] == pytest.approx(expected["mean_after"])


def test_weights_count_as_values_that_stand_so_often() -> None:
    values, times = [1.0, 2.0, 4.0, 4.5], [1, 3, 2, 1]
    repeated = [value for value, often in zip(values, times, strict=True) for _ in range(often)]
    ends = [sum(times[: place + 1]) - 1 for place in range(len(times) - 1)]
    assert all(later > earlier for earlier, later in itertools.pairwise(ends))
    assert split_squares(values, weights=times)[0] == pytest.approx(split_squares(repeated)[0][ends])


def test_charts_of_any_series_are_those_of_a_second_engine() -> None:
    """EWMA by pandas, one-sided sums by their definition, Q statistics and splits by the t of scipy.stats."""
    import pandas as pd
    from scipy.stats import norm, t, ttest_ind

    for seed in range(5):
        values = np.random.default_rng(seed).normal(50.0, 3.0, 30)
        q = [
            norm.ppf(t.cdf((x - before.mean()) / before.std(ddof=1) / math.sqrt(1.0 + 1.0 / r), r - 1))
            for r, x in enumerate(values)
            if (before := values[:r]).size > 1
        ]
        assert scores(list(values))[2:] == pytest.approx(q, rel=1e-9)
        watch = Watch(RULES)
        smoothed = pd.Series([0.0, *q]).ewm(alpha=RULES.ewma_weight, adjust=False).mean().iloc[1:]
        sums = np.cumsum(np.array(q) - RULES.cusum_slack)
        for place, one in enumerate(q):
            watch.take(one)
            assert watch.ewma == pytest.approx(smoothed.iloc[place])
            assert watch.upper == pytest.approx(sums[place] - min(0.0, *sums[: place + 1]), abs=1e-9)
        splits = [abs(ttest_ind(values[:k], values[k:]).statistic) for k in range(2, 29)]
        # A single value against all the others, which the program has no SD for.
        for rest, end in ((values[1:], values[0]), (values[:-1], values[-1])):
            splits.append(abs(end - rest.mean()) / rest.std(ddof=1) / math.sqrt(30.0 / 29.0))
        assert split_score(values) == pytest.approx(-norm.ppf(t.sf(max(splits), 28)), rel=1e-9)


def test_three_in_a_row_are_a_new_level_whatever_lay_apart_before_them() -> None:
    scatter = [0.0, 0.1, -0.1, 0.05, -0.05, 0.08, -0.08, 0.02, -0.02, 0.06]

    def levels(*values: float) -> tuple[tuple[int, ...], tuple[int, ...]]:
        followed = follow([BatchValue(value=value, size=0.0) for value in values])
        return followed.levels, followed.beyond

    assert levels(*scatter, 9.0, *scatter[:3], 9.0, 9.1, 9.05) == ((0, 14), (10,))
    # On both sides, or with one between them, they are single batches.
    assert levels(*scatter, 9.0, -9.0, 9.0) == ((0,), (10, 11, 12))
    assert levels(*scatter, 9.0, 9.1, 0.0, 9.05) == ((0,), (10, 11, 13))


def test_a_split_is_seen_from_five_batches_on() -> None:
    """Three batches and two that no single one of them would be a signal beside."""
    followed = follow([BatchValue(value=value) for value in (0.0, 1.0, 0.5, 20.0, 20.5)])
    assert (followed.levels, followed.seen, followed.beyond) == ((0, 3), (4,), ())
    assert follow([BatchValue(value=value) for value in (0.0, 1.0, 20.0, 20.5)]).levels == (0,)
