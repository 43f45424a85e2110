"""The worst judged unit is one that a test judged, whatever lies farther off beside its sample; and how it is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.batch import Batch, Unit
from qc.results import BatchVerdict, JudgedBatch, Limit, Outside, Place, TestResult, UnitContent, UnitRow, Verdict
from qc.results.worst import worst_units
from qc.say.worst import in_short, of_each_quantity

ACTIVE = "zinc oxide"


def place_of(percent: float, inner: float, outer: float) -> Place:
    away = abs(percent)
    return Place.BEYOND_OUTER if away > outer else Place.BEYOND_INNER if away > inner else Place.INSIDE


def judged(
    *,
    masses: Mapping[str, float],
    contents: Mapping[str, float] = {},
    of_mass: Sequence[str] = (),
    of_content: Sequence[str] = (),
    verdict: Verdict = Verdict.COMPLIES,
    more: Sequence[TestResult] = (),
) -> JudgedBatch:
    """A batch by how far its units lie off [%], with the units that each test rests on."""
    rows = tuple(
        UnitRow(
            unit=unit,
            pour_order=None,
            mould=None,
            cavity=None,
            deviation_percent=masses[unit],
            place=place_of(masses[unit], 5, 10),
            contents={}
            if unit not in contents
            else {
                ACTIVE: UnitContent(
                    mg=None,
                    percent_of_label=100 + contents[unit] / 2,
                    percent_of_mean=100 + contents[unit],
                    place=place_of(contents[unit], 15, 25),
                )
            },
        )
        for unit in masses
    )
    tests = [TestResult(id="mass-uniformity", rule="", verdict=verdict, sample=tuple(of_mass))] if of_mass else []
    tests += (
        [TestResult(id="content-uniformity", rule="", active=ACTIVE, verdict=verdict, sample=tuple(of_content))]
        if of_content
        else []
    )
    return JudgedBatch(
        batch=Batch(units=tuple(Unit(name=unit) for unit in masses)),
        rule_set="default",
        verdict=BatchVerdict.COMPLIES,
        tests=(*tests, *more),
        unit_rows=rows,
        mass_limits=(5.0, 10.0),
        content_limits=(15.0, 25.0),
    )


def test_a_unit_beside_the_sample_is_told_before_the_worst_of_those_judged_however_far_off_it_is() -> None:
    batch = judged(masses={"1": -2.0, "2": 1.0, "20": 3.6}, of_mass=("1", "2"))
    (mass,) = worst_units(batch)
    assert (mass.worst.unit, [one.unit for one in mass.not_judged]) == ("1", ["20"])
    assert of_each_quantity(batch) == (
        "Mass: unit 20 (+3.6 %), not in the sample of this test; of those judged unit 1 (−2.0 % from the mean, within "
        "±5 %).",
    )
    # A line of a terminal names both as well.
    assert in_short(batch) == ("unit 1, mass −2.0 % (not in the sample: unit 20, +3.6 %)",)


def test_a_unit_beside_the_sample_and_outside_of_it_is_told_with_what_holds_for_it_where_the_test_is_met() -> None:
    sentence = " The limit of ±15 % counts units of the sample only; every unit has to lie within ±25 %, and does."
    contents = {"1": 3.0, "2": -11.0, "30": 20.6}
    met, failed = (
        judged(masses=dict.fromkeys(contents, 0.0), contents=contents, of_content=("1", "2"), verdict=verdict)
        for verdict in (Verdict.COMPLIES, Verdict.DOES_NOT_COMPLY)
    )
    told = (
        "Content of zinc oxide: unit 30 (+20.6 %), not in the sample of this test; of those judged unit 2 (−11.0 % "
        "from the mean, 94.5 % of label, within ±15 %)."
    )
    assert of_each_quantity(met) == (told + sentence,)
    assert of_each_quantity(failed) == (told,)


def test_a_unit_beside_the_sample_and_beyond_the_outer_limit_is_judged_and_the_worst() -> None:
    batch = judged(masses={"1": -6.0, "2": 1.0, "9": 10.4}, of_mass=("1", "2"), verdict=Verdict.DOES_NOT_COMPLY)
    assert of_each_quantity(batch) == (
        "Mass: unit 9 (+10.4 % from the mean, beyond ±10 %, which holds for units beside the sample too); also "
        "outside: unit 1 (−6.0 %).",
    )


def test_a_unit_outside_a_test_that_allows_it_is_said_to_be_allowed() -> None:
    batch = judged(masses={"1": -6.0, "2": 1.0}, of_mass=("1", "2"))
    assert of_each_quantity(batch) == ("Mass: unit 1 (−6.0 % from the mean, beyond ±5 %, as the test allows).",)


def test_a_unit_that_another_test_sees_beyond_its_outer_limit_comes_first_with_that_deviation() -> None:
    by_m = Limit(what="outside_l2", figure=1, values={"centre": "M", "names": ("1",), "percent": Decimal(25)})
    dosage = TestResult(
        id="dosage-unit-uniformity",
        rule="",
        active=ACTIVE,
        verdict=Verdict.DOES_NOT_COMPLY,
        sample=("1", "2"),
        criteria=(by_m,),
        outside=(Outside(unit="1", deviation_percent=-29.0, beyond_outer=True),),
    )
    contents = {"1": -22.0, "2": 24.0}
    batch = judged(masses={"1": 0.0, "2": 0.0}, contents=contents, of_content=("1", "2"), more=(dosage,))
    assert of_each_quantity(batch) == (
        "Content of zinc oxide: unit 1 (−29.0 % from the reference value M, 89.0 % "
        "of label, beyond the outer limit); also outside: unit 2 "
        "(+24.0 %).",
    )


def test_the_quantity_of_a_test_that_is_not_met_comes_first_then_the_nearest_to_its_limit() -> None:
    """Of masses and contents that both comply, 3 of 10 % is nearer to the limit than 4 of 25 %."""
    masses, contents = {"1": 3.0, "2": 0.0}, {"1": 1.0, "2": 4.0}
    batch = judged(masses=masses, contents=contents, of_mass=("1", "2"), of_content=("1", "2"))
    assert [one.active for one in worst_units(batch)] == [None, ACTIVE]
    failed = tuple(replace(one, verdict=Verdict.SECOND_STAGE) if one.active else one for one in batch.tests)
    assert [one.active for one in worst_units(replace(batch, tests=failed))] == [ACTIVE, None]


def test_where_no_unit_was_judged_the_farthest_is_named_as_that_and_beside_judged_ones_not_at_all() -> None:
    masses = {"1": 2.4, "2": -1.0}
    batch = replace(judged(masses=masses), mass_limits=(None, None))
    assert of_each_quantity(batch) == ("Mass: no unit was judged; farthest off is unit 1 (+2.4 % from the mean).",)
    assert in_short(batch) == ("none was judged; farthest off unit 1, mass +2.4 %",)
    beside = judged(masses=masses, contents={"1": 1.0}, of_content=("1",))
    assert [one.active for one in worst_units(beside)] == [ACTIVE]
    assert worst_units(replace(batch, unit_rows=())) == ()
    assert worst_units(judged(masses={"1": 0.0, "2": 0.0}, of_mass=("1", "2"))) == ()


@pytest.mark.parametrize(("percent", "shown"), [(10.0098, "+10.01"), (9.9996, "+9.9996"), (10.0, "+10.0")])
def test_the_worst_unit_does_not_read_like_a_limit_on_whose_other_side_it_lies(percent: float, shown: str) -> None:
    batch = judged(masses={"1": percent, "2": 0.0}, of_mass=("1", "2"))
    assert in_short(batch) == (f"unit 1, mass {shown} %",)


def test_of_two_quantities_that_no_test_judged_it_is_said_once_that_none_was() -> None:
    batch = replace(judged(masses={"1": 2.4, "2": -1.0}, contents={"1": 1.0, "2": 4.0}), mass_limits=(None, None))
    told = in_short(replace(batch, content_limits=(None, None)))
    assert [one.startswith("none was judged; farthest off unit ") for one in told] == [True, False]
    assert "judged" not in told[1]
