"""Which units to assay."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Unit
from qc.pour.assay_list import assay_list
from qc.pour.correction import corrected_masses
from qc.pour.series import mass_series
from qc.results.pour import AssayList
from qc.say.messages import words


def batch(n: int = 30) -> Batch:
    scatter = np.random.Generator(np.random.Philox(8)).standard_normal(n)
    return Batch(
        units=tuple(
            Unit(name=str(index + 1), pour_order=index + 1, mass_g=Decimal(f"{2 + 0.02 * scatter[index]:.3f}"))
            for index in range(n)
        ),
        actives=(Active(name="A", assay_repeatability_percent=Decimal(1)),),
    )


def listed(made: Batch, *, seed: int = 1, change: float = 10.0) -> AssayList | None:
    return assay_list(made, corrected_masses(mass_series(made), made), seed=seed, change_percent=change)


def test_ten_at_random_and_beside_them_first_last_lightest_and_heaviest() -> None:
    made = batch()
    found = listed(made)
    assert found is not None
    assert len(found.random_units) == len(set(found.random_units)) == 10
    masses = {unit.name: unit.mass_g or Decimal(0) for unit in made.units}
    wanted = {"1", "30", min(masses, key=lambda name: masses[name]), max(masses, key=lambda name: masses[name])}
    assert wanted <= set(found.random_units) | {unit for unit, _ in found.revealing}
    assert not set(found.random_units) & {unit for unit, _ in found.revealing}
    assert found.power is not None
    assert found.power_random_only is not None
    assert found.power_random_only <= found.power + 0.02
    assert words(found.sentence).startswith("Assay for the test, drawn at random: units ")
    assert "Assay as well, to see settling and not for the test: " in words(found.sentence)
    assert (
        " With 1.6 % scatter of content (assumed, since nothing is assayed) this list shows a straight drift of 10 % "
        "of the mean more than 99 times in 100; the random units by themselves "
    ) in words(found.sentence)


def test_the_draw_follows_the_seed_and_another_seed_draws_others() -> None:
    first, again, other = listed(batch()), listed(batch()), listed(batch(), seed=2)
    assert first == again
    assert first is not None
    assert other is not None
    assert first.random_units != other.random_units


def test_every_unit_is_drawn_equally_often() -> None:
    counts = dict.fromkeys((unit.name for unit in batch(12).units), 0)
    for seed in range(120):
        found = listed(batch(12), seed=seed)
        assert found is not None
        for unit in found.random_units:
            counts[unit] += 1
    # Each count is binomial (120, 10/12): mean 100, standard deviation 4.1.
    assert max(abs(count - 100) for count in counts.values()) < 17


def test_a_greater_change_is_shown_more_often() -> None:
    powers = [found.power or 0.0 for found in (listed(batch(), change=change) for change in (3, 6, 12)) if found]
    assert powers == sorted(powers)
    assert powers[0] < powers[2]


def test_assays_already_made_stand_in_place_of_the_random_sample() -> None:
    made = replace(
        batch(), assays=tuple(Assay(unit=str(unit), active="A", content_mg=Decimal(100)) for unit in (5, 9, 12, 20))
    )
    found = listed(made)
    assert found is not None
    assert found.random_units == ()
    assert {"1", "30"} <= {unit for unit, _ in found.revealing}
    assert words(found.sentence).startswith(
        "Assayed so far: 4 units. Assay as well, to see settling and not for the test: 1 (first"
    )


def test_nothing_is_listed_when_all_were_assayed_or_no_order_is_known() -> None:
    made = batch(6)
    done = tuple(Assay(unit=unit.name, active="A", content_mg=Decimal(100)) for unit in made.units)
    assert listed(replace(made, assays=done)) is None
    assert listed(Batch(units=tuple(replace(unit, pour_order=None) for unit in made.units))) is None


def test_units_poured_together_but_the_last_still_have_a_chance_to_show_a_change() -> None:
    made = batch(12)
    together = tuple(replace(unit, pour_order=1) for unit in made.units[:-1])
    found = listed(replace(made, units=(*together, made.units[-1])))
    assert found is not None
    assert found.power is not None
    alike = listed(replace(made, units=tuple(replace(unit, pour_order=1) for unit in made.units)))
    assert alike is not None
    assert alike.power is None


def test_assays_that_show_a_change_nearly_always_ask_for_no_more() -> None:
    def told(units: int) -> str:
        assays = tuple(Assay(unit=str(3 * at + 1), active="A", content_mg=Decimal(100)) for at in range(units))
        found = listed(replace(batch(), assays=assays), change=20.0)
        assert found is not None
        return words(found.sentence)

    assert (told(4) != "", told(10)) == (True, "")
