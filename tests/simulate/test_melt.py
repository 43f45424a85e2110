"""A melt that settles while it is poured: nothing is lost, and the limits are those of common sense."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.simulate.melt import Melt, pour_settling_melt
from qc.stats.arrays import Floats


@given(
    particle_um=st.floats(1.0, 200.0),
    spread=st.floats(1.0, 2.2),
    density=st.floats(0.7, 2.5),
    since=st.floats(0.0, 15.0),
    pouring=st.floats(0.0, 30.0),
    stirring=st.floats(0.0, 1.0),
    scraped=st.floats(0.0, 1.0),
    scraping=st.integers(1, 8),
    excess=st.floats(0.0, 0.3),
    units=st.integers(1, 30),
)
@settings(max_examples=60, deadline=None)
def test_what_was_weighed_is_in_the_units_and_the_dish(
    particle_um: float,
    spread: float,
    density: float,
    since: float,
    pouring: float,
    stirring: float,
    scraped: float,
    scraping: int,
    excess: float,
    units: int,
) -> None:
    melt = Melt(
        particle_um=particle_um,
        particle_spread=spread,
        particle_density_g_cm3=density,
        minutes_since_stir=since,
        pour_minutes=pouring,
        stirring=stirring,
        scraped=scraped,
        scraping_units=scraping,
        excess=excess,
    )
    poured = pour_settling_melt(melt, units=units)
    assert float(poured.units.sum()) + poured.dish == pytest.approx(1.0, abs=1e-12)
    assert (poured.units >= 0.0).all()
    assert poured.dish >= 0.0


def test_without_settling_every_unit_is_alike() -> None:
    poured = pour_settling_melt(Melt(particle_density_g_cm3=0.9, melt_density_g_cm3=0.9), units=24)
    assert poured.relative == pytest.approx(np.ones(24), abs=1e-12)


def test_a_melt_stirred_all_the_time_gives_units_alike() -> None:
    poured = pour_settling_melt(Melt(stirring=1.0, minutes_since_stir=0.0), units=24)
    assert poured.relative[1:] == pytest.approx(np.full(23, poured.relative[1]), rel=1e-9)


def test_when_everything_has_settled_only_the_last_units_hold_any() -> None:
    melt = Melt(particle_um=400.0, particle_spread=1.0, minutes_since_stir=600.0, scraped=0.6, scraping_units=2)
    poured = pour_settling_melt(melt, units=20)
    assert float(poured.units[:-2].sum()) < 1e-6
    assert float(poured.units[-2:].sum()) == pytest.approx(0.6, abs=1e-6)
    assert poured.dish == pytest.approx(0.4, abs=1e-6)


def test_when_nothing_is_scraped_up_the_deposit_stays_in_the_dish() -> None:
    melt = Melt(particle_um=400.0, particle_spread=1.0, minutes_since_stir=600.0, scraped=0.0)
    assert pour_settling_melt(melt, units=20).dish == pytest.approx(1.0, abs=1e-6)


def test_what_rises_makes_the_first_units_rich() -> None:
    relative = pour_settling_melt(Melt(particle_density_g_cm3=0.7, stirring=0.02), units=24).relative
    assert relative[0] > 1.2
    assert relative[-1] < relative[0]


@pytest.mark.parametrize(("field", "coarser"), [("particle_um", 60.0), ("minutes_since_stir", 6.0)])
def test_coarser_or_longer_standing_makes_the_first_unit_poorer(field: str, coarser: float) -> None:
    usual = Melt()
    assert (
        pour_settling_melt(replace(usual, **{field: coarser}), units=24).relative[0]
        < pour_settling_melt(usual, units=24).relative[0]
    )


def test_a_more_viscous_melt_settles_less() -> None:
    thin = pour_settling_melt(Melt(viscosity_mpas=30.0), units=24)
    thick = pour_settling_melt(Melt(viscosity_mpas=90.0), units=24)
    assert float(np.ptp(thick.relative)) < float(np.ptp(thin.relative))


def still_melt_profile(positions: Floats, *, cleared_before: float, speed_over_surface: float) -> Floats:
    """Relative concentration along the pour of a still, dilute melt of one particle size, in closed form [-].

    0 while the surface stands above the falling front; then one less the ratio of the speeds, for the particles sink
    away from the surface while it comes down to them. `positions` and `cleared_before` are shares of the depth.
    """
    front = cleared_before + speed_over_surface * positions
    return np.where(positions >= front, max(1.0 - speed_over_surface, 0.0), 0.0)


def test_a_dilute_still_melt_of_one_size_clears_as_the_closed_form_says() -> None:
    # 40 um, 500 kg/m3 heavier, 45 mPa s: 0.581 mm a minute. In 5 min 2.90 mm of 60 mm clear before the pour.
    melt = Melt(
        particle_um=40.0,
        particle_spread=1.0,
        solids_fraction=0.0,
        depth_mm=60.0,
        minutes_since_stir=5.0,
        pour_minutes=20.0,
        scraped=0.0,
        excess=0.0,
    )
    units = 40
    poured = pour_settling_melt(melt, units=units)
    position = (np.arange(units) + 0.5) / units
    speed = (1400.0 - 900.0) * 9.80665 * (40e-6) ** 2 / (18 * 0.045) * 60e3
    exact = still_melt_profile(position, cleared_before=speed * 5.0 / 60.0, speed_over_surface=speed * 20.0 / 60.0)
    # The layers blur the front over a few units; what they hold together is compared.
    assert float(poured.relative.sum()) == pytest.approx(float(exact.sum()), abs=0.5)
    assert poured.relative[0] < 0.35
    assert poured.relative[12:] == pytest.approx(exact[12:], abs=0.01)


@pytest.mark.parametrize(
    ("melt", "units", "message"),
    [
        (Melt(), 0, "0 units cannot be poured; pour at least one"),
        (Melt(stirring=1.2), 10, "stirring 1.2 is not a share between 0 and 1"),
        (Melt(scraped=-0.1), 10, "scraped -0.1 is not a share between 0 and 1"),
    ],
)
def test_what_cannot_be_poured_is_refused(melt: Melt, units: int, message: str) -> None:
    with pytest.raises(ValueError) as refusal:
        pour_settling_melt(melt, units=units)
    assert str(refusal.value) == message


def test_a_layer_that_empties_in_one_step_holds_nothing_less_than_nothing() -> None:
    """Drawn by chance: the last unit had held -1.7e-43 of the active."""
    melt = Melt(
        particle_um=86.0,
        particle_spread=1.0,
        particle_density_g_cm3=2.5,
        minutes_since_stir=0.0,
        pour_minutes=11.2890625,
    )
    melt = replace(melt, stirring=0.0, scraped=0.0, scraping_units=1, excess=0.0)
    assert (pour_settling_melt(melt, units=5).units >= 0.0).all()
