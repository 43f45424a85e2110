"""The next pour: the stored shares are the simulator's, a remedy is named where a cause is sure, and keeps its word."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from msgspec import convert
from msgspec.structs import replace

from qc.causes.drawing import Drawn
from qc.causes.model import TAUGHT
from qc.causes.models.settling_in_pour import melt_that_settles, rise_of
from qc.causes.models.settling_in_unit import _unit_that_settles
from qc.causes.next_pour import SIZES, next_pour, remedies, shares_left
from qc.results import CauseFound, Remedied, message
from qc.say.messages import words
from qc.simulate.melt import Melt, pour_settling_melt
from qc.simulate.pouring import FaultDraw, Recipe, sound_pour
from qc.simulate.settling import COARSEST_UM, SettingUnit, as_coarse, settle_in_unit

Draw = Callable[..., Drawn]

STRENGTHS = (0.5, 1.0, 1.0, 1.7)
SUSPENSIONS = {"settling-in-pour": 48, "settling-in-unit": 4}


def size_of(one: Melt | SettingUnit) -> float:
    """ln(last over first) of a straight line, or ln(tip over end)."""
    if isinstance(one, Melt):
        return rise_of(np.log(np.maximum(pour_settling_melt(one, units=24).relative, 0.05)))
    parts = settle_in_unit(one)
    return float(np.log(parts.tip / max(parts.end, 1e-3)))


def shares(id: str, number: int) -> list[float]:
    """What the simulator leaves of each size with a remedy, in the suspension of a number: this made the table."""
    drawn = melt_that_settles if remedies()[id].cause == "settling-in-pour" else _unit_that_settles
    rng = np.random.default_rng([20251125, number])
    suspension = drawn(FaultDraw(recipe=Recipe(), strength=STRENGTHS[number % 4], rng=rng))
    left = []
    for size in SIZES:
        as_large = as_coarse(suspension, size_of, wanted=size, coarsest_um=COARSEST_UM, tries=14)
        left.append(size_of(remedies()[id].changed(as_large)) / size_of(as_large))
    return left


@pytest.mark.parametrize(
    ("id", "number"),
    [("stir_each_unit", 0), ("finer", 13), ("nearer_setting", 47), ("finer_in_unit", 1), ("set_sooner", 3)],
)
def test_a_stored_share_is_what_the_simulator_leaves(id: str, number: int) -> None:
    assert shares_left()[id][number].tolist() == pytest.approx(shares(id, number), abs=0.0006)


def test_every_remedy_is_of_a_cause_that_is_taught_and_has_a_sentence() -> None:
    for id, one in remedies().items():
        assert one.cause in TAUGHT
        assert one.source
        assert words(message("remedies.what", remedy=id))
        assert (id in shares_left()) is bool(one.set or one.times)


def sure_of(id: str, probability: float = 0.9) -> tuple[CauseFound, ...]:
    return (CauseFound(cause=id, probability=probability), CauseFound(cause="sound", probability=1.0 - probability))


def test_nothing_is_said_where_no_cause_is_sure_or_none_has_a_remedy(draw: Draw) -> None:
    batch = draw("settling-in-pour").batch
    assert next_pour(batch, causes=sure_of("settling-in-pour"))
    assert next_pour(batch, causes=sure_of("settling-in-pour", 0.79)) == ()
    assert next_pour(batch, causes=sure_of("assay-bias")) == ()
    assert next_pour(batch, causes=sure_of("sound")) == ()
    assert next_pour(batch, causes=()) == ()


def test_what_looks_alike_and_is_on_no_list_leaves_the_remedy_that_does_away_with_the_cause(draw: Draw) -> None:
    def named(id: str, alike: tuple[str, ...]) -> tuple[Remedied, ...]:
        causes = (
            CauseFound(cause=id, probability=0.7, alike=alike),
            CauseFound(cause="something-else", probability=0.3),
        )
        return next_pour(draw(id).batch, causes=causes)

    assert [one.remedy for one in named("balance-drift", ("something-else",))] == ["still_balance"]
    assert named("balance-drift", ()) == named("settling-in-pour", ("something-else",)) == ()


def test_a_remedy_that_would_not_help_is_not_named(draw: Draw) -> None:
    """Masses of a sound batch lie as near to their plan as a checked balance would bring them."""
    assert next_pour(draw("sound").batch, causes=sure_of("balance-scale")) == ()
    assert next_pour(draw("balance-scale").batch, causes=sure_of("balance-scale"))


def test_without_an_order_nothing_is_said_of_a_rise(draw: Draw) -> None:
    batch = draw("settling-in-pour").batch
    unordered = replace(batch, units=tuple(replace(unit, pour_order=None) for unit in batch.units))
    assert next_pour(unordered, causes=sure_of("settling-in-pour")) == ()
    assert next_pour(replace(batch, assays=()), causes=sure_of("settling-in-pour")) == ()


def test_a_batch_of_masses_alone_has_a_remedy_of_its_masses(draw: Draw) -> None:
    batch = replace(draw("uneven-fill").batch, assays=(), actives=())
    (found,) = next_pour(batch, causes=sure_of("uneven-fill"))
    assert found.remedy == "trim_level"
    assert found.low < found.after < found.high < found.before


def test_the_names_of_units_and_of_the_batch_do_not_matter(draw: Draw) -> None:
    batch = draw("settling-in-pour").batch
    other = replace(batch, number="another", units=tuple(replace(unit, note="x") for unit in batch.units))
    assert next_pour(batch, causes=sure_of("settling-in-pour")) == next_pour(other, causes=sure_of("settling-in-pour"))


@pytest.mark.parametrize("id", ["settling-in-pour", "melt-thickening", "balance-drift", "uneven-fill"])
def test_the_order_of_rows_does_not_matter(id: str, draw: Draw) -> None:
    batch = draw(id).batch
    turned = replace(batch, units=tuple(reversed(batch.units)))
    one, other = (next_pour(of, causes=sure_of(id)) for of in (batch, turned))
    assert [(found.remedy, found.before) for found in one] == [
        (found.remedy, pytest.approx(found.before)) for found in other
    ]
    assert one[0].before


def test_stirred_before_each_unit_the_same_melt_rises_as_was_predicted(draw: Draw) -> None:
    """In ten of twelve pairs at least; the study counts hundreds (tests/benchmarks/results/next_pour.md)."""
    held = 0
    for seed in range(12):
        drawn = draw("settling-in-pour", seed=seed)
        every = next_pour(drawn.batch, causes=sure_of("settling-in-pour"))
        named = next(one for one in every if one.remedy == "stir_each_unit")
        melt = convert({name: drawn.physics[name] for name in Melt.__struct_fields__}, Melt)
        again = pour_settling_melt(replace(melt, minutes_since_stir=0.1, stirring=0.9, stir_every=1), units=24)
        sound = sound_pour(drawn.recipe, np.random.default_rng(seed)).concentration[0]
        held += named.low <= 200.0 * np.sinh(rise_of(np.log(sound * again.relative)) / 2.0) <= named.high
    assert held >= 10


def test_a_remedy_is_worded_as_a_proposal() -> None:
    values = {"before": 51.23, "after": 8.04, "low": 3.01, "high": 15.06}
    finer, level = (message("remedies.what", remedy=one) for one in ("finer", "trim_level"))
    melt = message("remedies.predicted", do=finer, whole=False, figure="rise", **values)
    assert words(melt) == (
        "Levigate or sieve the active to half its particle size; the simulator predicts about +8.0 % (95 % range +3.0 "
        "to +15.1 %) for the change of the concentration from first to last unit (a straight line, "
        "level beyond the units assayed), which is +51.2 % "
        "here."
    )
    fill = message("remedies.predicted", do=level, whole=True, figure="mass_rsd", **values)
    assert words(fill) == (
        "Fill each cavity a little over and trim it level once it has set; if that takes the cause away, the simulator "
        "predicts about 8.0 % (95 % range 3.0 to 15.1 %) for the RSD of the masses, which is 51.2 % here."
    )


if __name__ == "__main__":
    for id, one in remedies().items():
        for number in range(SUSPENSIONS[one.cause] if one.set or one.times else 0):
            print(id, *(f"{share:.3f}" for share in shares(id, number)), sep=",")
