"""The dose seen through the balance, and every reason for silence."""

from __future__ import annotations

from decimal import Decimal

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from msgspec.structs import replace
from scipy.stats import chi2

from qc.batch import Active, Assay, Batch, CavityPour, Displacement, DisplacementConvention, State, Unit
from qc.pour.beside_assays import ASSAY_PERCENT, assayed_g, borne_out
from qc.pour.correction import corrected_masses
from qc.pour.dose_by_mass import NORMAL_95, dose_screens
from qc.pour.dose_estimate import Estimate, dose_from_mass
from qc.pour.series import mass_series
from qc.results import Message
from qc.results.pour import DoseScreen
from qc.say.messages import words

ZINC = Active(
    name="zinc oxide",
    label_claim_mg=Decimal(400),
    displacement=Displacement(given=Decimal("4.7"), convention=DisplacementConvention.VALUE),
    state=State.SUSPENDED,
)


def batch(*actives: Active, nominal: str | None = "2.000") -> Batch:
    masses = ["2.315", "2.310", "2.320", "2.312", "2.318", "2.301"]
    return Batch(
        units=tuple(
            Unit(name=str(index + 1), pour_order=index + 1, mass_g=Decimal(mass)) for index, mass in enumerate(masses)
        ),
        actives=actives,
        nominal_mass_g=Decimal(nominal) if nominal else None,
    )


def screen(made: Batch) -> DoseScreen:
    return dose_screens(made, corrected_masses(mass_series(made), made), important_percent=10)[0]


@pytest.mark.parametrize(
    ("mass", "base", "f", "sd_mass", "sd_base", "sd_f", "dose", "sd"),
    [
        (2.10, 2.00, 1.5, 0.005, 0.004, 0.05, 0.3, 0.02773084925),
        (2.05, 2.00, 1.2, 0.004, 0.004, 0.03, 0.3, 0.0505791459),
        (1.96, 2.00, 0.9, 0.004, 0.003, 0.02, 0.36, 0.09178779875),
        (3.20, 3.00, 2.5, 0.010, 0.010, 0.10, 1 / 3, 0.02519063122),
    ],
)
def test_dose_and_first_order_sd_agree_with_an_independent_calculation(
    mass: float, base: float, f: float, sd_mass: float, sd_base: float, sd_f: float, dose: float, sd: float
) -> None:
    """m = m_base + d (1 - 1/f) and the delta method, computed independently with numpy 2.4.6."""
    found = dose_from_mass(
        mass, base=base, displacement_value=f, mass_sd=sd_mass, base_sd=sd_base, displacement_sd=sd_f
    )
    assert found.dose == pytest.approx(dose, rel=1e-9)
    assert found.sd == pytest.approx(sd, rel=1e-9)


def test_zinc_oxide_example_of_a_textbook_turned_round_gives_its_dose_back() -> None:
    """Ten units of 400 mg zinc oxide, displacement value 4.7, in a 2 g mould: 19.1489 g of base (textbook question,

    theobroma oil, chapter 8, answer recomputed), so a unit weighs 1.91489 + 0.4 g.
    """
    found = dose_from_mass(2.31489, base=2.0, displacement_value=4.7, mass_sd=0, base_sd=0, displacement_sd=0)
    assert found.dose == pytest.approx(0.4, abs=0.00001)


@given(f=st.floats(0.5, 6).filter(lambda f: abs(1 - 1 / f) > 0.1), dose=st.floats(0.01, 1), base=st.floats(1, 4))
def test_what_a_dose_adds_to_the_mass_gives_the_dose_back(f: float, dose: float, base: float) -> None:
    mass = base + dose * (1 - 1 / f)
    found = dose_from_mass(mass, base=base, displacement_value=f, mass_sd=0.01, base_sd=0, displacement_sd=0.1)
    assert found.dose == pytest.approx(dose)


def test_every_weighed_unit_gets_a_dose_with_its_interval() -> None:
    found = screen(batch(ZINC))
    assert words(found.silent_because) == ""
    assert [dose.unit for dose in found.doses] == ["1", "2", "3", "4", "5", "6"]
    assert found.doses[0].dose_mg == pytest.approx(1000 * 0.315 / (1 - 1 / 4.7))
    for dose in found.doses:
        # The displacement value, f = 4.7, is uncertain by 12 %: an SD of d 0.12 / (f - 1), common to all units.
        half = NORMAL_95 * np.hypot(dose.between_sd_mg, dose.dose_mg * 0.12 / (4.7 - 1))
        assert (dose.low_mg, dose.high_mg) == pytest.approx((dose.dose_mg - half, dose.dose_mg + half), rel=1e-9)
    assert isinstance(found.sentence, Message)
    assert found.sentence.values["tells"].values["moves"].values["mass_percent"] == pytest.approx(
        10 * 0.4 * (1 - 1 / 4.7) / np.mean([2.315, 2.310, 2.320, 2.312, 2.318, 2.301])
    )
    assert words(found.displacement) == ("displacement value 4.7, uncertain by 12 %")


def test_both_conventions_give_the_same_doses_and_each_is_named() -> None:
    factor = Displacement(given=Decimal(1) / Decimal("4.7"), convention=DisplacementConvention.FACTOR)
    by_factor = screen(batch(replace(ZINC, displacement=factor)))
    by_value = screen(batch(ZINC))
    assert [dose.dose_mg for dose in by_factor.doses] == pytest.approx([dose.dose_mg for dose in by_value.doses])
    assert "displacement factor " in words(by_factor.sentence)
    assert "displacement value " in words(by_value.sentence)


def test_calibration_pours_give_each_cavity_its_own_base() -> None:
    made = batch(ZINC)
    units = tuple(replace(unit, cavity=str(index % 2)) for index, unit in enumerate(made.units))
    pours = tuple(
        CavityPour(mould=None, cavity=str(cavity), base_mass_g=Decimal(mass))
        for cavity, masses in enumerate([("1.995", "1.999", "2.001"), ("2.010", "2.014", "2.012")])
        for mass in masses
    )
    found = screen(replace(made, units=units, cavity_pours=pours, nominal_mass_g=None))
    signal = 1 - 1 / 4.7
    assert found.doses[0].dose_mg == pytest.approx(1000 * (2.315 - (1.995 + 1.999 + 2.001) / 3) / signal)
    assert found.doses[1].dose_mg == pytest.approx(1000 * (2.310 - 2.012) / signal)
    assert words(found.base_from) == (
        "Base mass of each cavity from its calibration pours. "
        "Scatter of fill from the masses of the batch (0.0136 g), which scatter more than the calibration pours of one "
        "cavity (0.0037 g); it holds the scatter of the dose too."
    )


def test_careless_calibration_pours_make_the_doses_as_unsure_as_they_are() -> None:
    made = batch(ZINC)
    units = tuple(replace(unit, cavity="1") for unit in made.units)
    pours = tuple(
        CavityPour(mould=None, cavity="1", base_mass_g=Decimal(mass)) for mass in ("1.96", "1.98", "2.00", "2.02") * 3
    )
    found = screen(replace(made, units=units, cavity_pours=pours))
    assert words(found.base_from).endswith("Scatter of fill from the replicates of the calibration pours.")
    assert found.doses[0].between_sd_mg > 1000 * 0.0233 / (1 - 1 / 4.7)


OTHER = Active(name="camphor", label_claim_mg=Decimal(50), state=State.SUSPENDED)


@pytest.mark.parametrize(
    ("made", "reason"),
    [
        (
            batch(replace(ZINC, state=State.DISSOLVED)),
            "The weights cannot show the dose of zinc oxide: it is dissolved, and what is dissolved does not settle.",
        ),
        (
            batch(replace(ZINC, displacement=None)),
            "The weights cannot show the dose of zinc oxide: no displacement value or factor was entered.",
        ),
        (
            batch(replace(ZINC, label_claim_mg=None)),
            "The weights cannot show the dose of zinc oxide: no label claim was entered.",
        ),
        (
            batch(
                replace(ZINC, displacement=Displacement(given=Decimal("1.05"), convention=DisplacementConvention.VALUE))
            ),
            "The weights cannot show the dose of zinc oxide: it weighs nearly what the base weighs that it displaces "
            "(displacement 1.05 g of active that displaces 1 g of base, too near 1).",
        ),
        (
            batch(ZINC, OTHER),
            "The weights cannot show the dose of zinc oxide: one mass cannot be divided between several suspended "
            "actives (zinc oxide and camphor).",
        ),
        (
            batch(ZINC, replace(OTHER, state=State.DISSOLVED)),
            "The weights cannot show the dose of zinc oxide: the label claim or displacement of camphor is missing.",
        ),
        (
            batch(ZINC, nominal=None),
            "The weights cannot show the dose of zinc oxide: neither calibration pours of plain base nor a nominal "
            "mass were entered.",
        ),
    ],
)
def test_silence_has_its_reason(made: Batch, reason: str) -> None:
    found = screen(made)
    assert found.doses == ()
    assert words(found.silent_because) == reason


def test_a_small_dose_is_not_shown_and_the_sentence_says_how_far_the_weights_reach() -> None:
    found = screen(batch(replace(ZINC, label_claim_mg=Decimal(20))))
    assert found.doses == ()
    assert words(found.silent_because).startswith(
        "The weights cannot show the dose of zinc oxide: estimated from a mass it is uncertain by 43 % of the label "
        "(SD between units), more than 15 %. A change of dose by 10 % changes the mass by "
    )


def test_what_a_dissolved_active_adds_to_the_mass_is_taken_off_first() -> None:
    dissolved = Active(
        name="camphor",
        label_claim_mg=Decimal(100),
        displacement=Displacement(given=Decimal(2), convention=DisplacementConvention.VALUE),
        state=State.DISSOLVED,
    )
    alone, both = screen(batch(ZINC)), screen(batch(ZINC, dissolved))
    assert alone.doses[0].dose_mg - both.doses[0].dose_mg == pytest.approx(1000 * 0.1 * (1 - 1 / 2) / (1 - 1 / 4.7))


def test_no_weighed_unit_gives_no_screen() -> None:
    empty = Batch(units=(), actives=(ZINC,))
    assert dose_screens(empty, corrected_masses(mass_series(empty), empty), important_percent=10) == ()


def test_masses_that_would_mean_a_negative_dose_silence_the_screen_and_name_the_units() -> None:
    masses = [*["2.315", "2.310", "2.320", "2.312", "2.318", "2.301"] * 40, "1.80"]
    made = Batch(
        units=tuple(
            Unit(name=str(index + 1), pour_order=index + 1, mass_g=Decimal(mass)) for index, mass in enumerate(masses)
        ),
        actives=(ZINC,),
        nominal_mass_g=Decimal("2.000"),
    )
    found = screen(made)
    assert found.doses == ()
    assert words(found.silent_because).startswith(
        "The weights cannot show the dose of zinc oxide: unit 241 would hold a negative dose, so masses differ here by "
        "filling or trimming more than by dose. A change of dose by 10 % "
    )


class TestBesideAssays:
    """Units that were assayed too: the estimates have to bear the comparison."""

    @staticmethod
    def made(*contents: str) -> Batch:
        assays = tuple(
            Assay(unit=str(index + 1), active="zinc oxide", content_mg=Decimal(content))
            for index, content in enumerate(contents)
        )
        return replace(batch(ZINC), assays=assays)

    def test_estimates_that_agree_are_shown_as_they_are_and_said_to_agree(self) -> None:
        found, alone = screen(self.made("400", "394", "407", "397", "404", "382")), screen(batch(ZINC))
        assert found.doses == alone.doses
        assert "As estimated by mass, 6 units agree with their assays within the standard deviations stated." in (
            words(found.sentence)
        )

    def test_estimates_that_miss_their_assays_are_widened_and_say_by_how_much(self) -> None:
        found, alone = screen(self.made("430", "370", "430", "370", "430", "370")), screen(batch(ZINC))
        widened = found.doses[0].between_sd_mg / alone.doses[0].between_sd_mg
        assert widened > 1.5
        told = words(found.sentence)
        assert "As estimated by mass, the 6 assayed units miss their assays by more than the standard" in told
        assert f"; intervals are therefore made {widened:.1f} times as wide. " in told

    def test_estimates_that_miss_by_far_silence_the_screen(self) -> None:
        found = screen(self.made("700", "100", "700", "100", "700", "100"))
        assert found.doses == ()
        assert words(found.silent_because).startswith(
            "The weights cannot show the dose of zinc oxide: as estimated by mass, the 6 assayed units miss their "
            "assays by more than the standard deviations allow (chi-square "
        )

    def test_chi_square_with_a_shared_error_is_that_of_the_whole_covariance(self) -> None:
        rng = np.random.default_rng(5)
        doses, own, shared = 0.4 + 0.02 * rng.standard_normal(5), rng.uniform(0.01, 0.03, 5), rng.uniform(0.02, 0.05, 5)
        assays = {str(unit): (0.4, 0.004) for unit in range(5)}
        estimates = {
            str(unit): Estimate(dose=dose, between_sd=between, shared_sd=common)
            for unit, (dose, between, common) in enumerate(zip(doses, own, shared, strict=True))
        }
        found = borne_out(estimates, assays=assays)
        assert found is not None
        covariance = np.diag(own**2 + 0.004**2) + np.outer(shared, shared)
        away = doses - 0.4
        assert found.chi_square == pytest.approx(float(away @ np.linalg.solve(covariance, away)))
        assert found.p_value == pytest.approx(float(chi2.sf(found.chi_square, 5)))


def test_several_determinations_of_a_unit_make_its_assay_surer_by_the_root_of_their_number() -> None:
    active = Active(name="A", label_claim_mg=Decimal(100), assay_repeatability_percent=Decimal(2))
    assays = [("1", "100"), *[("2", "99"), ("2", "101"), ("2", "100"), ("2", "100")]]
    made = Batch(
        units=(Unit(name="1"), Unit(name="2")),
        actives=(active,),
        assays=tuple(Assay(unit=unit, active="A", content_mg=Decimal(mg)) for unit, mg in assays),
    )
    assert assayed_g(made, active) == {"1": (0.1, pytest.approx(0.002)), "2": (0.1, pytest.approx(0.001))}
    # Without a repeatability of its own an assay is taken as good as common practice has it.
    plain = replace(active, assay_repeatability_percent=None)
    assert assayed_g(made, plain)["1"] == (0.1, pytest.approx(0.1 * ASSAY_PERCENT / 100))
