"""What a review says of products that were made up: every sentence and every table, whole."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import made_up
import numpy as np
import pytest
from matplotlib.figure import Figure
from msgspec.structs import replace
from scipy import stats

from qc.history import pictures
from qc.history.cavities import cavities_apart, cavity_series
from qc.history.figures import BatchFigures
from qc.history.outlook import next_tests
from qc.history.pictures import draw_series, value_picture
from qc.history.products import series_of
from qc.history.review import Review, review_of, signals
from qc.history.review_pages import review_sections
from qc.history.wording import change_in_words
from qc.say.names import CAUSE
from qc.show.pages_text import text_page
from qc.show.pieces import Picture

KEPT = Path(__file__).parent / "reviews"
REVIEWS: dict[str, Callable[[], Review]] = {
    "stepped": made_up.stepped_review,
    "crept": made_up.crept_review,
    "single": made_up.single_review,
}


def told(review: Review) -> Iterator[str]:
    for section in review_sections(review, head="0123abcd"):
        yield f"# {section.title}"
        pieces = [piece for piece in section.pieces if not isinstance(piece, Picture)]
        yield from filter(None, [text_page(pieces)])
        yield from (f"{one.title}\n  {one.alternative}" for one in section.pieces if isinstance(one, Picture))


@pytest.mark.parametrize("name", REVIEWS)
def test_a_review_says_what_is_kept_of_it(name: str) -> None:
    """From our own run, read beside what was made up: whatever is worked out here is held by the tests below."""
    assert "\n\n".join(told(REVIEWS[name]())) + "\n" == (KEPT / f"{name}.txt").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def stepped() -> Review:
    return made_up.stepped_review()


def test_the_step_has_the_levels_that_were_made_and_the_interval_of_two_samples(stepped: Review) -> None:
    means = {place: one.mass.mean for place, one in enumerate(stepped.product.batches, start=1) if one.mass}
    before = [mean for place, mean in means.items() if place < made_up.STEP]
    after = [mean for place, mean in means.items() if place >= made_up.STEP and place != made_up.ALONE]
    (change,) = stepped.series[0].changes
    assert (change.before[0], change.after[0]) == pytest.approx((np.mean(before), np.mean(after)))
    expected = stats.ttest_ind(after, before).confidence_interval(0.95)
    assert change.difference[1:] == pytest.approx(tuple(expected))
    assert stepped.product.batches[change.first].number == "B-13"
    assert [one.batch.number for one in signals(stepped)] == [
        stepped.product.batches[change.seen].number, "B-18"
    ]  # fmt: skip


def test_cavities_and_units_have_the_spread_that_was_made(stepped: Review) -> None:
    assert stepped.mass is not None
    # Of the cavities the variance of what each is off by, of the units that of three values in turn.
    assert stepped.mass.variances["cavity"] == pytest.approx(np.var([*made_up.CAVITIES.values()], ddof=1), rel=0.02)
    assert stepped.mass.residual == pytest.approx(0.3**2 * 2 / 3, rel=0.1)
    assert {one.cavity: round(one.effect, 1) for one in stepped.apart} == {
        f"mould M, cavity {cavity}": off for cavity, off in made_up.CAVITIES.items()
    }


def test_the_probability_of_a_cavity_is_that_of_a_t_test_adjusted_by_holm(stepped: Review) -> None:
    """Holm, A simple sequentially rejective multiple test procedure, Scand. J. Statist. 6 (1979) 65-70."""
    series = [replace(one, points=tuple(replace(point, value=point.value + 0.6) for point in one.points[:6]))
              for one in stepped.cavities]  # fmt: skip
    tested = sorted(float(stats.ttest_1samp([p.value for p in one.points], 0.0).pvalue) for one in series)
    adjusted, largest = [], 0.0
    for place, p_value in enumerate(tested):
        largest = max(largest, min(1.0, p_value * (len(tested) - place)))
        adjusted.append(largest)
    found = [one.p_value for one in cavities_apart(series, stepped.mass)]
    assert found == pytest.approx([one for one in adjusted if one <= 0.05])
    assert len(found) > 0


def test_the_next_batch_is_told_by_the_rules_that_have_a_limit_for_it(stepped: Review) -> None:
    newest = replace(
        stepped.product.batches[-1], rules=dict.fromkeys(("ph-eur-2.9.5", "harmonised-udu", "no rule"), "")
    )

    def told(one: BatchFigures) -> list[tuple[str, str]]:
        return [(found.test, found.active) for found in next_tests(one, stepped.series)]

    both = [("mass-uniformity", ""), ("dosage-unit-uniformity", "zinc")]
    assert told(newest) == both
    # No table for that form, and none for a mass that is not known.
    assert told(replace(newest, form="of another kind")) == both[1:]
    assert told(replace(newest, contents={})) == both[:1]
    assert told(replace(newest, rules={})) == []
    (mass, units) = next_tests(newest, stepped.series)
    assert 0.0 <= mass.chance <= 1.0
    assert 0.9 < units.chance <= 1.0


def test_a_creep_has_the_slope_that_was_made() -> None:
    (change,) = made_up.crept_review().series[0].changes
    assert (change.kind, change.last) == ("creep", 19)
    # Half a percent of the plan a batch, from the ninth to the twentieth.
    assert change.difference[0] == pytest.approx(6.0, abs=0.1)
    assert change.difference[1] < 6.0 < change.difference[2]


def test_the_axis_of_a_chart_shows_the_batches_and_not_how_far_the_first_limits_reach(stepped: Review) -> None:
    one = stepped.series[0]
    ax = draw_series(Figure().subplots(), one)
    low, high = ax.get_ylim()
    values = [point.value for point in one.points]
    assert low < min(values) < max(values) < high
    assert high - low < 2.0 * (max(values) - min(values))
    assert max(end for end in one.followed.high if end is not None) > high
    (band,) = [one for one in ax.collections if one.get_label() == "limits"]
    places = [place for place, end in enumerate(one.followed.high, start=1) if end is not None]
    drawn = [float(x) for x, _ in band.get_paths()[0].vertices]
    assert (min(drawn), max(drawn)) == (min(places), max(places))
    marks = {line.get_label(): len(line.get_xdata()) for line in ax.lines}
    assert (marks["batch"], marks["beyond the limit"]) == (23, 1)
    levels = [line.get_ydata()[0] for line in ax.lines if line.get_label() == "level" or line.get_marker() == "None"]
    assert levels == pytest.approx([one.changes[0].before[0], one.changes[0].after[0]])


def test_the_acceptance_values_are_drawn_with_their_limit_over_whole_batches(
    stepped: Review, monkeypatch: pytest.MonkeyPatch
) -> None:
    made: list[dict[str, Any]] = []
    monkeypatch.setattr("qc.history.pictures.picture", lambda *names, **how: made.append(how))
    values = [(0, 4.8), (2, 15.0), (3, 15.1)]
    value_picture(stepped.product, values, name="v", active="zinc", limit=15.0)
    (how,) = made
    assert how["caption"] == "3 batches; 1 above the limit. It follows from mean and SD."
    assert how["what"] == "Acceptance values of zinc in batches of Zinc pessaries 25 mg"
    ax = Figure().subplots()
    how["draw"](ax)
    lines = {line.get_label(): line for line in ax.lines}
    assert list(lines["batch"].get_xydata().ravel()) == [1.0, 4.8, 3.0, 15.0, 4.0, 15.1]
    assert set(lines["limit"].get_ydata()) == {15.0}
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("Batch", "Acceptance value")
    few = replace(stepped.product, batches=stepped.product.batches[:3])
    for axes, columns in ((ax, 2), (draw_series(Figure().subplots(), series_of(few)[0]), 4)):
        assert all(float(place).is_integer() for place in axes.get_xticks())
        assert axes.get_legend()._ncols == columns


def test_what_was_noted_within_a_month_of_a_change_stands_beside_it(stepped: Review) -> None:
    step, alone = signals(stepped)
    days = list(made_up.NOTED)
    assert step.when == "2026-01-13"
    assert step.noted == "; ".join(f"{day}: {made_up.NOTED[day]}" for day in days[1:4])
    assert alone.noted == "; ".join(f"{day}: {made_up.NOTED[day]}" for day in days[2:5])


@pytest.mark.parametrize(("batches", "told"), [(4, False), (5, True)])
def test_cavities_and_parts_of_the_spread_are_told_from_five_batches_on(batches: int, told: bool) -> None:
    product = made_up.stepped_product()
    review = review_of(product, made_up.units(product.batches[:batches]))
    assert (bool(review.apart), review.mass is not None, bool(review.contents)) == (told, told, told)


def test_a_cavity_that_never_scatters_has_no_test(stepped: Review) -> None:
    """Batches written down as equal have no spread to hold a distance against."""
    flat = [replace(one, points=tuple(replace(point, value=1.5) for point in one.points)) for one in stepped.cavities]
    assert cavities_apart(flat, stepped.mass) == []


def test_cavities_stand_in_the_order_of_their_names_whatever_the_order_of_the_units(stepped: Review) -> None:
    turned = [replace(one, masses=one.masses[::-1]) for one in made_up.units(stepped.product.batches[-10:])]
    assert [one.of for one in cavity_series(turned)] == [f"mould M, cavity {number}" for number in range(1, 5)]


def test_a_change_goes_the_way_of_its_levels_whatever_its_interval_leaves_open(stepped: Review) -> None:
    mass = stepped.series[0]
    (change,) = mass.changes
    up, down = (2.00, 1.9, 2.1), (2.01, 1.8, 2.2)
    for before, after, way in ((up, down, "rose"), (down, up, "fell")):
        other = replace(change, before=before, after=after, difference=(after[0] - before[0], -0.2, 0.2))
        one = replace(mass, changes=(other,))
        told = signals(replace(stepped, series=(one,), cavities=()))[0]
        assert told.what == f"Mean mass {way}"
        assert change_in_words(stepped.product, one, other).startswith(f"Mean mass {way} from 2.0")


def test_the_level_of_a_single_batch_is_its_value() -> None:
    product = made_up.stepped_product()
    one = series_of(replace(product, batches=product.batches[:1]))[0]
    (level,) = [line for line in draw_series(Figure().subplots(), one).lines if line.get_label() == "level"]
    assert list(level.get_ydata()) == [one.points[0].value] * 2


def test_causes_stand_with_those_of_most_batches_first_and_else_by_their_names(stepped: Review) -> None:
    found = [{"uneven-fill": 0.5, "sound": 0.4999}, {"uneven-fill": 0.6}, {"sound": 0.9}, {"poor-mixing": 1.0}]
    found += [{}] * (len(stepped.product.batches) - len(found))
    batches = tuple(replace(one, causes=causes) for one, causes in zip(stepped.product.batches, found, strict=True))
    product = replace(stepped.product, batches=batches, confirmed={"1": "active-lost", "2": "sound"})
    ((table,),) = [section.pieces[:1] for section in review_sections(replace(stepped, product=product), head="")
                   if section.title.startswith("Causes")]  # fmt: skip
    told = [" ".join(line.split()) for line in text_page([table]).splitlines()]
    names = [CAUSE[one] for one in ("uneven-fill", "poor-mixing", "sound", "active-lost")]
    rows = [line for line in told if line.startswith(tuple(names))]
    assert [line.rsplit(" ", 2) for line in rows] == [
        [name, *counts] for name, counts in zip(names, (["2", "0"], ["1", "0"], ["1", "1"], ["0", "1"]), strict=True)
    ]


@pytest.mark.parametrize(("many", "size"), [(3, 3.4), (4, 1.2)])
def test_of_very_many_batches_the_marks_are_small(
    many: int, size: float, stepped: Review, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert pictures.MARKED == 400
    monkeypatch.setattr(pictures, "MARKED", 3)
    one = series_of(replace(stepped.product, batches=stepped.product.batches[:many]))[0]
    (batches,) = [line for line in draw_series(Figure().subplots(), one).lines if line.get_label() == "batch"]
    assert batches.get_markersize() == size


def test_a_step_that_may_have_begun_on_other_days_says_between_which(stepped: Review) -> None:
    mass = stepped.series[0]
    (change,) = mass.changes

    def when(**other: object) -> str:
        series = (replace(mass, changes=(replace(change, **other),)), *stepped.series[1:])
        return signals(replace(stepped, series=series))[0].when

    assert when() == "2026-01-13"
    assert when(earliest=11, latest=14) == "2026-01-13 (2026-01-12 to 2026-01-15)"
    assert when(kind="creep", last=20, earliest=11) == "2026-01-13 to 2026-01-21, little by little"
