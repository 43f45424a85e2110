"""The pour of a whole batch: each shape found, nothing where nothing is, silence where nothing can be seen."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, CavityPour, Unit
from qc.pour.analysis import analyse_pour
from qc.pour.series import content_series, mass_series
from qc.pour.trend import where_most_lies
from qc.results import Message
from qc.results.pour import Trend, TrendFlag
from qc.say.messages import all_words, words
from qc.stats.arrays import Floats


def scatter(n: int, *, seed: int = 1) -> Floats:
    return np.random.Generator(np.random.Philox(seed)).standard_normal(n)


def weighed(
    masses: Sequence[float] | Floats, *, cavities: int = 0, moulds: int = 0, pours: Sequence[CavityPour] = ()
) -> Batch:
    """Units 1, 2, 3 ... in pour order; cavities by turns, moulds one after the other."""
    n = len(masses)
    units = tuple(
        Unit(
            name=str(index + 1),
            pour_order=index + 1,
            mould="ABCDEFGHIJ"[index * moulds // n] if moulds else None,
            cavity=str(index % cavities + 1) if cavities else None,
            mass_g=Decimal(f"{mass:.3f}"),
        )
        for index, mass in enumerate(masses)
    )
    return Batch(units=units, cavity_pours=tuple(pours))


def assayed(contents: Sequence[float], *, masses: Sequence[float] | None = None) -> Batch:
    units = tuple(
        Unit(name=str(index + 1), pour_order=index + 1, mass_g=Decimal(f"{masses[index]:.3f}") if masses else None)
        for index in range(len(contents))
    )
    assays = tuple(
        Assay(unit=str(index + 1), active="A", content_mg=Decimal(f"{content:.2f}"))
        for index, content in enumerate(contents)
    )
    return Batch(units=units, assays=assays, actives=(Active(name="A", label_claim_mg=Decimal(100)),))


def mass_trend(batch: Batch) -> Trend:
    return analyse_pour(batch, seed=1).trend.mass


ALONG = np.arange(30) / 29


def test_a_drift_of_content_in_twelve_assays_is_clear_and_its_size_is_right() -> None:
    contents = 100 * (1 + 0.15 * (np.arange(12) / 11 - 0.5)) * (1 + 0.016 * scatter(12))
    analysis = analyse_pour(assayed(list(contents)), seed=1)
    trend = analysis.trend.content["A"]
    assert trend.flag is TrendFlag.CLEAR
    assert trend.change_low_percent is not None
    assert trend.change_high_percent is not None
    assert trend.change_low_percent < 15 < trend.change_high_percent
    assert (trend.n, trend.measure, words(trend.shape)) == (12, "mg", "a straight drift")
    assert len(trend.fitted) == len(trend.band) == len(trend.values) == 12
    assert all(low < dict(trend.fitted)[unit] < high for unit, low, high in trend.band)
    assert words(analysis.sentence) == words(trend.sentence)


def test_what_is_told_of_a_change_goes_no_further_than_the_units_measured() -> None:
    whole = assayed(list(100 * (1 + 0.2 * np.arange(24) / 23) * (1 + 0.005 * scatter(24))))
    some = analyse_pour(replace(whole, assays=whole.assays[6:23:2]), seed=1).trend.content["A"]
    assert some.change_percent is not None
    assert some.measured_percent is not None
    fitted = dict(some.fitted)
    over_assayed = 100 * (fitted["23"] - fitted["7"]) / np.mean([value for _, value in some.values])
    # A straight line would have it exactly; other shapes have a small part in the average.
    assert over_assayed == pytest.approx(some.change_percent * 16 / 23, rel=0.1)
    assert words(some.sentence) == (
        f"Content of A clearly changed along the pour: it rose by {over_assayed:.1f} % of the mean (95 % interval "
        f"{some.measured_percent[1]:+.1f} to {some.measured_percent[2]:+.1f} %) from unit 7 to unit 23, as a straight "
        "drift; 9 assayed units."
    )
    assert some.measured_percent[0] == pytest.approx(over_assayed)
    every = analyse_pour(whole, seed=1).trend.content["A"]
    assert every.measured_percent == (every.change_percent, every.change_low_percent, every.change_high_percent)
    assert " %) from unit 1 to unit 24" in words(every.sentence)


def test_two_series_that_change_are_both_named_on_the_terminal_the_doses_first() -> None:
    along = np.arange(24) / 23
    masses = list(2 * (1 + 0.05 * along) * (1 + 0.002 * scatter(24)))
    batch = assayed(list(100 * (1 + 0.2 * along) * (1 + 0.005 * scatter(24, seed=2))), masses=masses)
    analysis = analyse_pour(batch, seed=1)
    trend = analysis.trend
    assert words(analysis.sentence) == (
        f"{words(trend.content['A'].sentence)} Also: mass clearly changed ({trend.mass.change_percent:+.1f} % of the "
        f"mean from unit 1 to unit 24); concentration of A clearly changed "
        f"({trend.concentration['A'].change_percent:+.1f} % of the mean from unit 1 to unit 24)."
    )


@pytest.mark.parametrize("sign", [1, -1])
def test_an_interval_beside_no_call_never_excludes_zero(sign: int) -> None:
    """Moulds one after the other make the pattern: what the change may be is open, and it may be none."""
    trend = mass_trend(weighed(2 * (1 + sign * np.repeat([0.0, 0.02, 0.05], 8) + 0.002 * scatter(24)), moulds=3))
    assert trend.flag is TrendFlag.CANNOT_TELL
    ends = trend.change_low_percent, trend.change_high_percent
    assert ends[0 if sign > 0 else 1] == 0.0
    assert trend.change_percent == pytest.approx(sign * 5.0, abs=1.0)


def test_the_assay_list_calculates_with_the_scatter_that_the_assays_show() -> None:
    noisy = assayed([*([97.0, 123.1, 79.2, 104.0, 76.5, 121.7] * 2)])
    analysis = analyse_pour(replace(noisy, assays=noisy.assays[1:11]), seed=1)
    trend, listed = analysis.trend.content["A"], analysis.assay_list
    assert listed is not None
    assert trend.detectable_percent is not None
    # A change that would hardly be seen in the contents in hand is hardly shown by a list with two units more.
    assert trend.detectable_percent > 30
    assert listed.power is not None
    assert listed.power < 0.3
    scatter_of_content = listed.sentence.values["noise"]
    assert scatter_of_content > 15
    told = words(listed.sentence)
    assert f"With {scatter_of_content:.1f} % scatter of content (measured in the assays, about" in told


def test_a_sound_batch_shows_nothing_and_says_what_it_would_have_shown() -> None:
    analysis = analyse_pour(weighed(2 * (1 + 0.01 * scatter(30))), seed=1)
    trend = analysis.trend.mass
    assert trend.flag is TrendFlag.NONE_SEEN
    assert isinstance(trend.sentence, Message)
    apart = trend.sentence.values["apart"]
    assert words(trend.sentence) == (
        f"Mass: no change along the pour was seen in 30 units. A straight change of "
        f"{trend.detectable_percent:.1f} % of the mean or more, or the first or last of them {apart:.1f} % away from "
        "the others, would have been seen in at least seven of ten such batches."
    )
    assert words(analysis.sentence) == (
        f"No change along the pour was seen in mass. A straight change of {trend.detectable_percent:.1f} % of the mean "
        "or more would have been seen in at least seven of ten such batches. Masses without assays cannot show a "
        "change of content."
    )


@pytest.mark.parametrize(
    ("shape", "named", "units"),
    [
        (0.08 * (ALONG > 0.6), "a step after unit 18", "units 19 to 30 lie {} % of the mean above the others"),
        (-0.08 * (ALONG > 0.99), "", "unit 30 lies {} % of the mean below the others"),
        (0.12 * np.exp(-6 * (1 - ALONG)), "a change in the last units", "units 27 to 30 lie {} % of the mean above"),
        (-0.12 * np.exp(-6 * ALONG), "a change in the first units", "units 1 to 4 lie {} % of the mean below"),
        (0.10 * ALONG, "a straight drift", "it rose by {} % of the mean"),
    ],
)
def test_each_shape_is_named_and_the_change_is_said_by_it(shape: Floats, named: str, units: str) -> None:
    masses = 2 * (1 + shape + 0.006 * scatter(30))
    trend = mass_trend(weighed(masses))
    assert trend.flag is (TrendFlag.CLEAR if named else TrendFlag.POSSIBLE)
    assert words(trend.shape) == named
    told, *rest = words(trend.sentence).split(" (95 % interval ")
    before, after = units.split("{}")
    assert before in told
    assert after in told
    size = float(told.partition(before)[2].partition(" %")[0])
    low, _, high = rest[0].partition(" %")[0].replace("\N{MINUS SIGN}", "-").partition(" to ")
    sign = -1 if "below" in told else 1
    assert float(low) < sign * size < float(high)
    marked = np.array([unit in trend.stretch for unit, _ in trend.values])
    if marked.any():
        true = 100 * (shape[marked].mean() - shape[~marked].mean()) / np.mean(masses / 2)
        assert float(low) < true < float(high)


def test_strong_cavities_filled_by_turns_are_taken_out() -> None:
    light = np.tile([0.0, 0.1, -0.1, 0.05, 0.2, -0.25], 5)
    sound = mass_trend(weighed(2 + light + 0.01 * scatter(30), cavities=6))
    drifting = mass_trend(weighed(2 + light + 0.01 * scatter(30) + 0.06 * ALONG, cavities=6))
    assert sound.flag is TrendFlag.NONE_SEEN
    assert words(sound.correction) == (
        "Differences between cavities were taken out by their own means (each was filled 5 times or more often on "
        "average)."
    )
    assert drifting.flag is TrendFlag.CLEAR
    assert drifting.change_percent == pytest.approx(3.0, abs=0.6)
    assert np.std([value for _, value in drifting.corrected]) < 0.03


def test_moulds_one_after_the_other_are_not_taken_for_a_change_of_the_melt() -> None:
    steps = np.repeat([0.0, 0.05, 0.03], 10)
    trend = mass_trend(weighed(2 + steps + 0.01 * scatter(30), moulds=3))
    assert trend.flag is TrendFlag.CANNOT_TELL
    assert words(trend.sentence).startswith("Mass: inconclusive. There is a pattern along the pour, but ")
    assert words(trend.sentence).endswith(
        "but the moulds were poured one after the other: it cannot be told from differences between moulds."
    )
    assert all_words(trend.not_excluded)[0] == (
        "The moulds were poured one after the other: a difference between moulds cannot be excluded."
    )


def test_calibration_pours_tell_a_light_mould_from_a_change_of_the_melt() -> None:
    steps = np.repeat([0.0, 0.1, 0.2], 10)
    pours = [
        CavityPour(mould=mould, cavity=str(cavity + 1), base_mass_g=Decimal(f"{1.9 + 0.1 * number:.3f}"))
        for number, mould in enumerate("ABC")
        for cavity in range(10)
    ]
    sound = mass_trend(weighed(2 + steps + 0.01 * scatter(30), moulds=3, cavities=10, pours=pours))
    drift = mass_trend(weighed(2 + steps + 0.01 * scatter(30) + 0.1 * ALONG, moulds=3, cavities=10, pours=pours))
    assert sound.flag is TrendFlag.NONE_SEEN
    assert drift.flag is TrendFlag.CLEAR
    assert drift.change_percent == pytest.approx(100 * 0.1 / 2.15, abs=0.8)
    assert "calibration pours" in words(drift.correction)


def test_content_that_only_follows_the_moulds_is_not_called_and_content_of_a_changing_melt_is() -> None:
    masses = 2 + np.repeat([0.0, 0.1, 0.2], 10) + 0.01 * scatter(30)

    def batch(concentration: Floats) -> Batch:
        whole = assayed(list(masses * concentration), masses=list(masses))
        return replace(
            whole,
            units=tuple(replace(unit, mould="ABC"[index // 10]) for index, unit in enumerate(whole.units)),
        )

    steady = analyse_pour(batch(50 * (1 + 0.01 * scatter(30, seed=2))), seed=1).trend
    settling = analyse_pour(batch(50 * (1 + 0.1 * ALONG + 0.01 * scatter(30, seed=2))), seed=1).trend
    assert steady.content["A"].flag is TrendFlag.CANNOT_TELL
    assert settling.content["A"].flag is TrendFlag.CLEAR
    assert settling.concentration["A"].flag is TrendFlag.CLEAR


def test_a_call_that_rests_on_one_end_unit_is_about_that_unit_and_says_what_one_unit_cannot_show() -> None:
    masses = 2 * (1 + 0.005 * scatter(20) + 0.007 * np.arange(20) / 19)
    masses[-1] += 0.05
    for batch, unit, place, cold in (
        (weighed(masses), "20", "last", ""),
        (weighed(masses[::-1]), "1", "first", ", the mould was still cold"),
    ):
        trend = mass_trend(batch)
        assert trend.flag is TrendFlag.POSSIBLE
        assert trend.stretch == (unit,)
        told = words(trend.sentence)
        assert told.startswith(f"Mass: unit {unit} lies ")
        assert told.endswith(
            f"20 units. It was poured {place} of these. One unit cannot show whether the pour changed there{cold}, its "
            "cavity differs or a mistake was made: measure it again, and its neighbour."
        )
        assert trend.not_excluded == ()


@pytest.mark.parametrize("n", [24, 40, 1000])
@pytest.mark.parametrize(
    "of", [slice(-1, None), slice(-2, None), slice(1), slice(2)], ids=["last", "two", "first", "two"]
)
def test_the_last_or_first_unit_or_two_at_six_standard_deviations_are_called(n: int, of: slice) -> None:
    values = scatter(n, seed=n)
    values[of] += 6.5 if n == 1000 else 6.0
    trend = mass_trend(weighed(2 * (1 + 0.01 * values)))
    assert trend.flag in (TrendFlag.POSSIBLE, TrendFlag.CLEAR)


def test_one_step_of_the_balance_at_the_end_is_no_unit_apart() -> None:
    assert mass_trend(weighed([2.0] * 19 + [2.001])).flag is TrendFlag.NONE_SEEN


def test_moulds_and_cavities_that_were_not_entered_are_named_beside_a_call() -> None:
    rising = 2 * (1 + 0.06 * ALONG + 0.003 * scatter(30))
    told = [all_words(mass_trend(batch).not_excluded) for batch in (weighed(rising), weighed(rising, moulds=1))]
    both, cavities = (next(one for one in said if "not entered" in one) for said in told)
    assert both == ("Moulds were not entered: differences between moulds and their cavities cannot be excluded.")
    assert cavities == "Cavities were not entered: differences between cavities cannot be excluded."
    entered = all_words(mass_trend(weighed(rising, moulds=1, cavities=6)).not_excluded)
    assert not [one for one in entered if "not entered" in one]


@pytest.mark.parametrize("rounds", [1, 2])
def test_cavities_filled_in_order_once_or_twice_are_not_taken_for_a_change_of_the_melt(rounds: int) -> None:
    n = 24
    sizes = np.tile(np.arange(n // rounds) / (n // rounds), rounds)
    trend = mass_trend(weighed(2 * (1 + 0.06 * sizes + 0.004 * scatter(n)), cavities=n // rounds))
    assert trend.flag is not TrendFlag.CLEAR
    assert trend.flag is not TrendFlag.POSSIBLE
    if rounds == 1:
        assert words(trend.sentence).endswith(
            "but each cavity was filled too seldom to tell it from differences between cavities."
        )


def test_a_rise_that_comes_back_between_two_fillings_of_each_cavity_is_clear() -> None:
    sizes = np.tile(scatter(12, seed=5), 2)
    masses = 2 * (1 + 0.004 * sizes + 0.06 * np.arange(24) / 23 + 0.003 * scatter(24))
    assert mass_trend(weighed(masses, cavities=12)).flag is TrendFlag.CLEAR


def test_contents_of_cavities_filled_once_are_decided_by_the_concentration() -> None:
    fill = 1 + 0.06 * np.arange(20) / 19
    cavities = tuple(str(at) for at in range(20))

    def batch(concentration: Floats) -> Batch:
        masses = 2 * fill * (1 + 0.002 * scatter(20))
        whole = assayed(list(masses * concentration), masses=list(masses))
        units = (replace(unit, mould="A", cavity=at) for unit, at in zip(whole.units, cavities, strict=True))
        return replace(whole, units=tuple(units))

    steady = analyse_pour(batch(50 * (1 + 0.004 * scatter(20, seed=2))), seed=1).trend.content["A"]
    settled = analyse_pour(batch(50 * (1 + 0.1 * np.arange(20) / 19 + 0.004 * scatter(20, seed=2))), seed=1).trend
    assert steady.flag is TrendFlag.CANNOT_TELL
    assert settled.content["A"].flag is TrendFlag.CLEAR
    assert settled.mass.flag is TrendFlag.CANNOT_TELL


def test_six_noisy_assays_cannot_tell_and_say_what_they_could_have_told() -> None:
    trend = analyse_pour(assayed([97.0, 103.1, 99.2, 104.0, 96.5, 101.7]), seed=1).trend.content["A"]
    assert trend.flag is TrendFlag.CANNOT_TELL
    assert trend.detectable_percent is not None
    assert trend.detectable_percent > 10
    assert words(trend.sentence) == (
        f"Content of A: inconclusive. With 6 assayed units and this scatter only a straight change of "
        f"{trend.detectable_percent:.1f} % of the mean or more would be seen in at least seven of ten such batches, "
        "and a change of 10.0 % would already matter."
    )


@pytest.mark.parametrize("important", [2.0, 50.0])
def test_the_change_that_matters_decides_between_none_seen_and_cannot_tell(important: float) -> None:
    trend = analyse_pour(weighed(2 * (1 + 0.01 * scatter(20))), seed=1, important_change_percent=important).trend.mass
    assert trend.detectable_percent is not None
    expected = TrendFlag.NONE_SEEN if trend.detectable_percent <= important else TrendFlag.CANNOT_TELL
    assert trend.flag is expected


@pytest.mark.parametrize(
    ("batch", "sentence"),
    [
        (Batch(units=()), "Mass: inconclusive. No measured unit has a place in the pour."),
        (
            weighed([2.0, 2.1]),
            "Mass: inconclusive. A place in the pour is known for 2 of the units measured; at least 3 are needed.",
        ),
        (
            Batch(units=tuple(Unit(name=name, pour_order=1, mass_g=Decimal("2.0")) for name in "abcd")),
            "Mass: inconclusive. All units measured were poured together, so there is no order to compare.",
        ),
        (
            weighed([2.0, 2.1, 2.05, 2.2]),
            "Mass: inconclusive. 4 units are too few to show any change along the pour.",
        ),
    ],
)
def test_too_little_to_go_by_is_said_in_words(batch: Batch, sentence: str) -> None:
    trend = mass_trend(batch)
    assert trend.flag is TrendFlag.CANNOT_TELL
    assert words(trend.sentence) == sentence


def test_contents_of_zero_are_followed_without_a_percentage() -> None:
    trend = analyse_pour(assayed([0.0, 0.0, 0.0, 0.0]), seed=1).trend.content["A"]
    assert (trend.flag, trend.change_percent) == (TrendFlag.CANNOT_TELL, None)
    assert (
        words(trend.sentence) == "Content of A: inconclusive. The mean is zero, so a change in % of it has no meaning."
    )


def test_equal_masses_are_no_change_as_far_as_the_balance_can_tell() -> None:
    trend = mass_trend(weighed([2.0] * 20))
    assert (trend.flag, trend.p_value) == (TrendFlag.NONE_SEEN, 1.0)
    assert trend.detectable_percent is not None
    assert 0 < trend.detectable_percent < 0.1
    assert all_words(trend.not_excluded) == (
        "The values lie on few steps of the balance: a change smaller than one step cannot be seen.",
    )


def test_units_without_a_pour_order_are_left_out_with_a_notice() -> None:
    batch = weighed(2 * (1 + 0.01 * scatter(12)))
    units = tuple(replace(unit, pour_order=None) if unit.name in {"3", "7"} else unit for unit in batch.units)
    analysis = analyse_pour(replace(batch, units=units), seed=1)
    assert analysis.trend.mass.n == 10
    assert [words(notice.text) for notice in analysis.notices] == [
        "No pour order was entered for units 3 and 7; left out of the pour-order analysis, not of the tests."
    ]


def test_no_pour_order_at_all_is_no_notice_because_it_is_said_with_what_cannot_be_shown() -> None:
    units = tuple(Unit(name=name, mass_g=Decimal("2.0")) for name in "abc")
    assert analyse_pour(Batch(units=units), seed=1).notices == ()


def test_duplicate_assays_are_averaged_and_percent_of_label_becomes_mg() -> None:
    batch = assayed([100.0, 101, 99, 102])
    more = (*batch.assays, Assay(unit="1", active="A", content_percent=Decimal(110)))
    trend = analyse_pour(replace(batch, assays=more), seed=1).trend.content["A"]
    assert dict(trend.values)["1"] == pytest.approx(105.0)


def test_later_units_richer_is_a_stated_direction_and_halves_the_p_of_a_rise() -> None:
    batch = assayed(list(100 * (1 + 0.04 * np.arange(10) / 9) * (1 + 0.01 * scatter(10, seed=4))))
    either = analyse_pour(batch, seed=1).trend.content["A"]
    stated = analyse_pour(batch, seed=1, later_units_richer=True).trend.content["A"]
    assert either.p_value is not None
    assert stated.p_value is not None
    assert stated.p_value < either.p_value


def test_no_flag_and_no_figure_depends_on_a_seed_on_names_or_on_the_order_of_rows() -> None:
    batch = weighed(2 * (1 + 0.01 * scatter(20) + 0.02 * np.arange(20) / 19))
    renamed = replace(
        batch, number="another", units=tuple(replace(unit, name=f"x{unit.name}") for unit in batch.units[::-1])
    )
    first, again, other = (
        analyse_pour(one, seed=seed).trend.mass for one, seed in ((batch, 4), (batch, 5), (renamed, 6))
    )
    assert first == again
    assert (other.flag, other.p_value, other.change_percent, other.change_low_percent) == (
        first.flag,
        first.p_value,
        first.change_percent,
        first.change_low_percent,
    )


def test_a_pour_read_backwards_has_the_same_p_and_the_opposite_change() -> None:
    masses = (2 * (1 + 0.01 * scatter(20) + 0.03 * np.arange(20) / 19)).round(3)
    there, back = mass_trend(weighed(masses)), mass_trend(weighed(masses[::-1]))
    assert (there.flag, there.p_value) == (back.flag, back.p_value)
    assert there.change_percent == pytest.approx(-(back.change_percent or 0), abs=1e-9)
    assert there.change_low_percent == pytest.approx(-(back.change_high_percent or 0), abs=1e-5)


@given(seed=st.integers(0, 500), factor=st.sampled_from([0.5, 4.0, 1000.0]))
@settings(max_examples=4)
def test_scaling_every_mass_changes_no_flag_and_no_percentage(seed: int, factor: float) -> None:
    masses = [round(float(mass), 3) for mass in 2 * (1 + 0.01 * scatter(12, seed=seed))]

    def batch(scale: float) -> Batch:
        units = tuple(
            Unit(name=str(index), pour_order=index, mass_g=Decimal(str(mass)) * Decimal(str(scale)))
            for index, mass in enumerate(masses)
        )
        return Batch(units=units, balance_readability_g=Decimal("0.001") * Decimal(str(scale)))

    plain, scaled = mass_trend(batch(1.0)), mass_trend(batch(factor))
    assert scaled.flag is plain.flag
    assert scaled.p_value == pytest.approx(plain.p_value, rel=1e-9)
    assert scaled.change_percent == pytest.approx(plain.change_percent)


@given(order=st.permutations(range(10)))
@settings(max_examples=4)
def test_the_order_of_rows_in_the_sheet_does_not_matter(order: list[int]) -> None:
    batch = weighed(2 * (1 + 0.01 * scatter(10)))
    shuffled = replace(batch, units=tuple(batch.units[index] for index in order))
    assert mass_trend(shuffled) == mass_trend(batch)


@pytest.mark.parametrize("rise", [8.0, -8.0])
def test_a_rise_that_comes_back_in_each_of_two_moulds_is_clear_whatever_the_moulds_differ_by(rise: float) -> None:
    """Two moulds have no line through their means: what comes back inside each decides, and by the units' own order."""
    inside = np.tile(np.arange(10) / 9, 2)
    masses = 2 * (1 + rise / 100 * (inside - 0.5) + np.repeat([0.0, rise / 200], 10) + 0.002 * scatter(20))
    trend = mass_trend(weighed(masses, moulds=2))
    assert trend.flag is TrendFlag.CLEAR
    assert trend.p_value is not None
    assert trend.p_value < 0.005


def test_two_moulds_that_differ_and_hold_no_rise_are_not_called() -> None:
    called = []
    for seed in range(6):
        masses = 2 * (1 + np.repeat([0.0, 0.05], 10) + 0.004 * scatter(20, seed=seed))
        called.append(mass_trend(weighed(masses, moulds=2)).flag)
    assert set(called) == {TrendFlag.CANNOT_TELL}


def test_contents_in_percent_without_a_label_claim_have_their_trend() -> None:
    contents = 100 * (1 + 0.15 * (np.arange(12) / 11 - 0.5)) * (1 + 0.004 * scatter(12))
    in_mg = assayed(list(contents), masses=[2.0 + 0.001 * at for at in range(12)])
    in_percent = replace(
        in_mg,
        actives=(Active(name="A"),),
        assays=tuple(replace(one, content_percent=one.content_mg, content_mg=None) for one in in_mg.assays),
    )
    first, second = (analyse_pour(one, seed=1).trend for one in (in_mg, in_percent))
    for one, other, measure in (
        (first.content["A"], second.content["A"], "% of label"),
        (first.concentration["A"], second.concentration["A"], "% of label/g"),
    ):
        assert one.flag is other.flag is TrendFlag.CLEAR
        assert other.measure == measure
        assert (other.n, other.p_value, other.change_percent) == (12, one.p_value, pytest.approx(one.change_percent))


def test_nothing_seen_is_said_only_where_no_series_is_left_open() -> None:
    masses = list(2 * (1 + 0.002 * scatter(24)))
    whole = assayed(list(100 * (1 + 0.004 * scatter(24, seed=2))), masses=masses)
    every, few = (analyse_pour(one, seed=1) for one in (whole, replace(whole, assays=whole.assays[:3])))
    of_all = (every.trend.content["A"], every.trend.mass, every.trend.concentration["A"])
    assert {one.flag for one in of_all} == {TrendFlag.NONE_SEEN}
    weakest = max(one.detectable_percent or 0 for one in of_all)
    assert weakest > min(one.detectable_percent or 0 for one in of_all)
    assert f"{weakest:.1f} %" in words(every.sentence)
    assert few.trend.mass.flag is TrendFlag.NONE_SEEN
    assert few.trend.content["A"].flag is TrendFlag.CANNOT_TELL
    assert words(few.sentence) == words(few.trend.content["A"].sentence)


def test_a_call_that_holds_without_its_end_units_is_not_about_one_of_them() -> None:
    masses = 2 * (1 + 0.06 * np.arange(20) / 19 + 0.003 * scatter(20))
    for batch in (weighed(masses), weighed(masses[::-1])):
        trend = mass_trend(batch)
        assert trend.flag is TrendFlag.CLEAR
        assert isinstance(trend.sentence, Message)
        assert trend.sentence.id == "pour.changed"


def test_the_smallest_units_and_the_shortest_order_are_followed_too() -> None:
    light = mass_trend(weighed(0.25 * (1 + 0.2 * np.arange(20) / 19 + 0.004 * scatter(20))))
    assert light.flag is TrendFlag.CLEAR
    first_apart = weighed([1.9, *(2.0 + 0.001 * scatter(7))])
    for pours, tested in ((2, False), (3, True)):
        together = tuple(replace(unit, pour_order=min(unit.pour_order or 0, pours)) for unit in first_apart.units)
        assert (mass_trend(replace(first_apart, units=together)).p_value is not None) is tested
    all_together = tuple(replace(unit, pour_order=1) for unit in first_apart.units)
    assert mass_trend(replace(first_apart, units=all_together)).p_value is None


def test_the_scatter_that_balance_assay_and_typing_make_by_themselves() -> None:
    """Two determinations of 2 % repeatability, typed to 0.1 mg: hypot(0.1 / root 12, 100 mg x 0.02 / root 2)."""
    names = [str(n) for n in range(1, 7)]
    batch = Batch(
        units=tuple(Unit(name=name, pour_order=int(name), mass_g=Decimal("2.00")) for name in names),
        assays=tuple(Assay(unit=name, active="A", content_mg=Decimal("100.0")) for name in names * 2),
        actives=(Active(name="A", label_claim_mg=Decimal(100), assay_repeatability_percent=Decimal(2)),),
        balance_readability_g=Decimal("0.05"),
        balance_repeatability_g=Decimal("0.03"),
    )
    (contents, concentrations), _ = content_series(batch)
    of_content = np.hypot(0.1 / np.sqrt(12), 100 * 0.02 / np.sqrt(2))
    assert (contents.step, contents.least_scatter) == pytest.approx((0.1, of_content))
    assert (concentrations.step, concentrations.least_scatter) == pytest.approx((0.05, of_content / 2))
    masses = mass_series(batch)
    assert (masses.step, masses.least_scatter) == pytest.approx((0.05, np.hypot(0.05 / np.sqrt(12), 0.03)))


def test_moulds_in_order_are_only_blamed_where_something_was_seen() -> None:
    trend = mass_trend(weighed(2 * (1 + 0.05 * scatter(8)), moulds=2))
    assert trend.flag is TrendFlag.CANNOT_TELL
    assert trend.p_value is not None
    assert trend.p_value > 0.2
    assert isinstance(trend.sentence, Message)
    assert trend.sentence.id == "pour.too_unsure"
    apart = mass_trend(weighed(2 * (1 + np.repeat([0.0, 0.05], 10) + 0.004 * scatter(20)), moulds=2))
    assert isinstance(apart.sentence, Message)
    assert apart.sentence.id == "pour.made_by_places"


@pytest.mark.parametrize("rises", [0.0, 0.2])
def test_of_two_actives_both_are_named_the_one_that_changed_most_first(rises: float) -> None:
    along = np.arange(24) / 23
    batch = assayed([])
    contents = {"A": 100 * (1 + 0.1 * along), "B": 100 * (1 + rises * along)}
    actives = tuple(Active(name=name, label_claim_mg=Decimal(100)) for name in contents)
    units = tuple(Unit(name=str(n), pour_order=n) for n in range(1, 25))
    assays = tuple(
        Assay(unit=unit.name, active=name, content_mg=Decimal(f"{value * noise:.2f}"))
        for name, values in contents.items()
        for unit, value, noise in zip(units, values, 1 + 0.005 * scatter(24, seed=ord(name)), strict=True)
    )
    told = words(analyse_pour(replace(batch, units=units, assays=assays, actives=actives), seed=1).sentence)
    if rises:
        assert told.startswith("Content of B clearly changed")
        assert "Also: content of A clearly changed (+" in told
    else:
        assert told.startswith("Content of A clearly changed")
        assert told.endswith("No change was seen in the content of B.")


def test_of_two_actives_neither_of_which_can_tell_both_are_named() -> None:
    noisy = (97.0, 123.1, 79.2, 104.0, 76.5, 121.7)
    units = tuple(Unit(name=str(n), pour_order=n) for n in range(1, 7))
    assays = tuple(
        Assay(unit=unit.name, active=name, content_mg=Decimal(str(value)))
        for name, values in (("A", noisy), ("B", noisy[::-1]))
        for unit, value in zip(units, values, strict=True)
    )
    actives = tuple(Active(name=name, label_claim_mg=Decimal(100)) for name in "AB")
    told = words(analyse_pour(Batch(units=units, assays=assays, actives=actives), seed=1).sentence)
    assert told.startswith("Content of A: inconclusive.")
    assert told.endswith(" The data on the content of B are inconclusive.")


@pytest.mark.parametrize("by", [0.1, 0.2])
@pytest.mark.parametrize("last", [False, True])
def test_two_end_units_that_lie_on_opposite_sides_are_no_clear_change(by: float, last: bool) -> None:
    masses = 2 + 0.012 * scatter(30, seed=2)
    masses[:2] = 2 + by, 2 - 1.1 * by
    trend = mass_trend(weighed(masses[::-1] if last else masses))
    assert trend.flag is TrendFlag.POSSIBLE
    assert trend.stretch == (("29", "30") if last else ("1", "2"))


@pytest.mark.parametrize("n", [20, 60])
@pytest.mark.parametrize("sides", [(1, -1), (-1, 1), (1, 1), (-1, -1)])
@pytest.mark.parametrize("contents", [False, True])
def test_a_change_that_rests_on_one_unit_at_each_end_is_never_clear_and_names_both(
    n: int, sides: tuple[int, int], contents: bool
) -> None:
    values = 100 + scatter(n, seed=3)
    values[[0, -1]] = 100 + 9 * np.array(sides)
    analysis = analyse_pour(assayed(list(values)) if contents else weighed(values / 50), seed=1)
    trend = analysis.trend.content["A"] if contents else analysis.trend.mass
    assert trend.flag is TrendFlag.POSSIBLE
    assert trend.stretch == ("1", str(n))
    first, last = ("above" if side > 0 else "below" for side in sides)
    told = words(trend.sentence)
    for unit, side in (("1", first), (str(n), last)):
        assert f"unit {unit} lies " in told
        assert f" % of the mean {side} the others" in told.partition(f"unit {unit} lies ")[2]
    assert told.endswith(
        f"units. The change rests on units 1 and {n} alone. One unit cannot show whether the pour changed there, the "
        "mould was still cold, its cavity differs or a mistake was made: measure them again, and their neighbours."
    )


def test_a_rise_is_called_where_the_first_unit_lies_apart_on_the_other_side() -> None:
    rising = 2 * (1 + 0.03 * ALONG + 0.004 * scatter(30))
    rising[0] = 2.2
    assert mass_trend(weighed(rising)).flag is TrendFlag.CLEAR


@pytest.mark.parametrize("n", [10, 24, 40])
@pytest.mark.parametrize("after", [1 / 2, 3 / 4])
def test_no_interval_that_holds_zero_stands_beside_a_clear_change(n: int, after: float) -> None:
    """A step in the middle: one unit at an end may lie apart by itself, so that from end to end it may be no change."""
    held, told = 0, 0
    for seed in range(12):
        values = 100 + scatter(n, seed=seed) + (5.0 if n < 24 else 2.5) * (np.arange(n) >= n * after)
        trend = analyse_pour(assayed(list(values)), seed=1).trend.content["A"]
        if trend.flag is TrendFlag.CLEAR:
            told += 1
            from_end_to_end = trend.change_percent, trend.change_low_percent, trend.change_high_percent
            _, low, high = trend.apart_percent or from_end_to_end
            assert low is not None
            assert high is not None
            assert low * high > 0
            held += (trend.change_low_percent or 0) * (trend.change_high_percent or 0) <= 0
    assert told > 1
    assert n < 24 or held > 0


@pytest.mark.parametrize(
    ("fitted", "told"),
    [
        ((0, 3, 8, 9, 9, 10, 10, 10, 10, 10), "four fifths of that by unit 3"),
        ((0, 0, 0, 0, 0, 0, 1, 1.5, 6, 10), "four fifths of that after unit 8"),
        ((10, 7, 2, 1, 1, 0, 0, 0, 0, 0), "four fifths of that by unit 3"),
        ((0, 1, 2, 3, 4, 5, 6, 7, 8, 9), ""),
        ((0, 9, 9, 9, 1, 9, 9, 9, 9, 10), ""),
        ((5, 7, 9, 9, 7, 5, 5, 5, 5, 5), ""),
    ],
)
def test_a_change_of_no_named_shape_says_in_which_few_units_most_of_it_lies(
    fitted: tuple[float, ...], told: str
) -> None:
    names = tuple(str(n) for n in range(1, 11))
    assert words(where_most_lies(np.array(fitted, dtype=float), names)) == told


def test_units_that_lie_apart_are_named_of_a_series_that_changed_besides() -> None:
    late = np.array([0.0] * 20 + [1.0] * 4)
    masses = list(2 * (1 + 0.05 * late) * (1 + 0.002 * scatter(24)))
    along = np.arange(24) / 23
    batch = assayed(list(100 * (1 + 0.2 * along) * (1 + 0.005 * scatter(24, seed=2))), masses=masses)
    said = words(analyse_pour(batch, seed=1).sentence)
    assert "mass clearly changed (units 21 to 24 lie " in said
    assert "% of the mean above the others)" in said
