"""How much a fill scatters: from the calibration pours where they are enough, from the masses above their base else."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from qc.batch import Batch, CavityPour, Unit
from qc.pour.correction import corrected_masses
from qc.pour.fill import Fill, fill_scatter
from qc.pour.series import mass_series


def found(batch: Batch) -> Fill:
    return fill_scatter(batch, corrected_masses(mass_series(batch), batch))


def pours(*masses: str) -> tuple[CavityPour, ...]:
    return tuple(CavityPour(mould="A", cavity="1", base_mass_g=Decimal(mass)) for mass in masses)


UNITS = tuple(Unit(name=str(n), pour_order=n, mass_g=Decimal(2) + Decimal(n % 3).scaleb(-3)) for n in range(1, 13))


def test_three_degrees_of_freedom_of_the_calibration_pours_are_enough_and_two_are_not() -> None:
    masses = [1.98, 2.00, 2.01, 2.03]
    four = found(Batch(units=UNITS, cavity_pours=pours(*(f"{mass:.2f}" for mass in masses))))
    careful = np.std(masses, ddof=1) * stats.t.ppf(0.975, 3) / stats.norm.ppf(0.975)
    assert four.careful_sd == pytest.approx(careful, rel=1e-4)
    assert four.base_sd == pytest.approx(careful / 2, rel=1e-4)
    assert four.fill_sd == four.careful_sd
    three = found(Batch(units=UNITS, cavity_pours=pours("1.98", "2.00", "2.03")))
    assert (three.careful_sd, three.base_sd, three.fill_sd) == (None, 0.0, three.own_sd)


def test_without_an_order_the_scatter_is_that_of_the_masses_above_the_base_of_their_cavities() -> None:
    units = tuple(
        Unit(name=str(n), mould="A", cavity=str(1 + n % 2), mass_g=Decimal(mass))
        for n, mass in enumerate(("2.10", "2.31", "2.11", "2.30"))
    )
    bases = tuple(
        CavityPour(mould="A", cavity=cavity, base_mass_g=Decimal(mass)) for cavity, mass in (("1", "2.0"), ("2", "2.2"))
    )
    assert found(Batch(units=units, cavity_pours=bases)).own_sd == pytest.approx(
        np.std([0.10, 0.11, 0.11, 0.10], ddof=1)
    )
    assert found(Batch(units=units)).own_sd == pytest.approx(np.std([2.10, 2.31, 2.11, 2.30], ddof=1))
