"""What a judged batch is told about another sample of its pour and about the units left: numbers and words."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.assurance.assure import assure_batch
from qc.assurance.posterior import PassChance, pass_chance
from qc.batch import Active, Assay, Batch, Unit
from qc.results import Assurance, Message, TestResult, Verdict
from qc.rules.kinds import kind_of
from qc.rules.rule_books import load_rule
from qc.say.messages import paragraph, words

RULES = {id: load_rule(id) for id in ("ph-eur-2.9.5", "ph-eur-2.9.6-b", "ph-eur-2.9.6-c", "harmonised-udu", "chp-0107")}
TEN = ("98", "101", "97.5", "100", "103", "96", "99", "102", "100.5", "98.5")
SPREAD = (2, 4, 7, 10, 12, 14, 17, 19, 22, 24)
"""Places of ten units over a pour of 24."""
CHANCE = "Another ten units drawn at random from this pour, second stage included, would pass with a chance of"
SUPPOSED = "The units assayed are taken for a random draw."
ORDER = "The places in the pour were not entered: the units assayed are taken for a random draw."


def assayed(
    contents: Iterable[str] = TEN, *, at: Iterable[int] = SPREAD, poured: int | None = 24, ordered: bool = True
) -> Batch:
    """A batch of 24 units, assayed at some places."""
    units = tuple(
        Unit(name=str(place), pour_order=place if ordered else None, mass_g=Decimal(2)) for place in range(1, 25)
    )
    assays = tuple(
        Assay(unit=str(place), active="A", content_percent=Decimal(one))
        for place, one in zip(at, contents, strict=True)
    )
    return Batch(units=units, assays=assays, units_poured=poured)


def weighed(*masses: str, poured: int | None = None, planned: str | None = None) -> Batch:
    units = tuple(Unit(name=str(n), pour_order=n, mass_g=Decimal(one)) for n, one in enumerate(masses, start=1))
    return Batch(units=units, units_poured=poured, planned_mass_g=None if planned is None else Decimal(planned))


def dosage(*, target: float = 100.0) -> TestResult:
    return TestResult(
        id="dosage-unit-uniformity",
        rule="harmonised-udu",
        active="A",
        verdict=Verdict.COMPLIES,
        n=10,
        figures={"mean_percent": 99.5, "sd_percent": 2.1, "target_percent": target},
    )


def content(*, rule: str = "ph-eur-2.9.6-b") -> TestResult:
    return TestResult(
        id="content-uniformity",
        rule=rule,
        active="A",
        verdict=Verdict.COMPLIES,
        n=10,
        figures={"rsd_percent": 2.1},
    )


def mass(*, rule: str = "ph-eur-2.9.5", limit: float | None = 5.0) -> TestResult:
    return TestResult(
        id="mass-uniformity",
        rule=rule,
        verdict=Verdict.COMPLIES,
        n=20,
        figures={"mean_g": 2.0, "rsd_percent": 1.0, "limit_percent": limit},
        mass_limits=None if limit is None else (Decimal(str(limit)), 2 * Decimal(str(limit))),
    )


def only(test: TestResult, batch: Batch, *, confidence: float = 0.95) -> Assurance:
    (found,) = assure_batch(tests=(test,), book_rules=RULES, batch=batch, confidence=confidence)
    return found


MASSES = ("1.98", "2.01", "2.02", "1.99", "2.00", "2.03", "1.97", "2.01", "2.00", "1.99") * 2


class TestOfContents:
    def test_all_of_it_is_said_the_count_first(self) -> None:
        found = only(dosage(), assayed())
        assert (found.test, found.active, found.confidence) == ("dosage-unit-uniformity", "A", 0.95)
        assert (found.units_left, found.left_within, found.outside_at_most) == (14, 7, 4)
        assert (found.left_low_percent, found.left_high_percent) == (96.0, 103.0)
        assert (found.tolerance_low_percent, found.tolerance_high_percent) == (96.0, 103.0)
        assert found.coverage == pytest.approx(0.6058, abs=1e-4)
        values = tuple(sorted(map(float, TEN)))
        chance = pass_chance(
            values, plan=kind_of(RULES["harmonised-udu"]).plan(RULES["harmonised-udu"]), confidence=0.95
        )
        assert chance is not None
        assert (found.pass_chance, found.pass_chance_low) == (chance.mean, chance.low)
        assert found.pass_chance_low_supposed == chance.low_supposed
        assert found.spoilt_at_most == chance.spoilt_at_most == 0.025
        assert paragraph(found.said) == (
            "With 95 % confidence not more than 4 of the 24 units are outside 85 to 115 %, however they are spread. "
            "With 95 % confidence at least 7 of the 14 units left lie between 96.0 and 103.0 % of label, the least and "
            f"the most assayed, however they are spread. {CHANCE} 95 %. If no more than one unit in 40 is so far off "
            "that no sample with it passes, which 10 units cannot show, the chance of passing is at least 77 % with "
            f"95 % confidence. {SUPPOSED}"
        )

    def test_every_unit_assayed_counts_whatever_the_sample_of_the_test_was(self) -> None:
        few = only(dosage(), assayed())
        many = only(dosage(), assayed(TEN * 2, at=[place for place in range(1, 25) if place % 6]))
        assert few.pass_chance_low is not None
        assert many.pass_chance_low is not None
        assert many.pass_chance_low > few.pass_chance_low
        assert many.coverage is not None
        assert many.coverage > 0.78

    def test_a_unit_at_the_limit_is_inside_and_one_beyond_it_is_counted(self) -> None:
        at = only(dosage(), assayed(("85", *TEN[1:])))
        beyond = only(dosage(), assayed(("84.99", *TEN[1:])))
        assert (at.outside_at_most, beyond.outside_at_most) == (4, 8)

    def test_a_count_that_says_nothing_is_left_out(self) -> None:
        found = only(dosage(), assayed([str(60 + n) for n in range(10)]))
        assert found.outside_at_most is None
        assert "outside" not in paragraph(found.said)
        assert paragraph(found.said).endswith(f"{CHANCE} under 1 %. {SUPPOSED}")

    def test_units_that_are_not_random_over_the_pour_speak_for_their_part_alone(self) -> None:
        found = only(dosage(), assayed(at=range(1, 11)))
        numbers = (
            found.pass_chance,
            found.pass_chance_low,
            found.coverage,
            found.tolerance_low_percent,
            found.left_within,
            found.left_low_percent,
            found.outside_at_most,
        )
        assert set(numbers) == {None}
        assert found.units_left == 14
        assert paragraph(found.said) == (
            "The 10 units assayed are not a random draw over the pour of 24: none from places 11 to 24 is "
            "among them. They speak for the other places alone, and no chance or bound is given for the batch."
        )

    @pytest.mark.parametrize(
        ("of", "told"),
        [
            (
                lambda at: ("AB"[at % 2], None),
                "the moulds of the 24 units: none from mould B is among them. They speak for the other moulds",
            ),
            (
                lambda at: (None, str(at % 2 * 6 + at // 4 + 1)),
                "the cavities of the 24 units: none from cavities 6 to 12 is "
                "among them. They speak for the other cavities",
            ),
        ],
    )
    def test_units_of_one_mould_or_of_a_row_of_cavities_speak_for_their_part_alone(
        self, of: Callable[[int], tuple[str | None, str | None]], told: str
    ) -> None:
        batch = assayed(at=range(1, 21, 2))
        units = tuple(replace(unit, mould=of(at)[0], cavity=of(at)[1]) for at, unit in enumerate(batch.units))
        found = only(dosage(), replace(batch, units=units))
        assert (found.pass_chance, found.left_within, found.outside_at_most) == (None, None, None)
        assert paragraph(found.said) == (
            f"The 10 units assayed are not a random draw over {told} alone, and no chance or bound is given for the "
            "batch."
        )

    def test_only_a_draw_that_is_not_the_lot_of_this_batch_is_said_to_be_supposed(self) -> None:
        for drawn in ((), tuple(map(str, range(1, 11)))):
            (found,) = assure_batch(tests=(dosage(),), book_rules=RULES, batch=assayed(), lot=drawn)
            assert words(found.caveats[-1]) == SUPPOSED
            assert found == only(dosage(), assayed())
        lot = (*map(str, SPREAD), "1", "3")
        (by_lot,) = assure_batch(tests=(dosage(),), book_rules=RULES, batch=assayed(), lot=lot)
        assert (by_lot.said, by_lot.caveats) == (found.said[:-1], found.caveats[:-1])

    def test_without_places_a_random_draw_is_said_to_be_taken_for_granted(self) -> None:
        found = only(dosage(), assayed(ordered=False))
        assert words(found.caveats[-1]) == ORDER
        assert paragraph(found.said).endswith(ORDER)
        assert all(words(told) != ORDER for told in only(dosage(), assayed()).caveats)

    def test_of_a_batch_of_unknown_size_shares_are_said_in_place_of_counts(self) -> None:
        found = only(dosage(), assayed(poured=None))
        assert (found.units_left, found.left_within, found.outside_at_most) == (None, None, None)
        assert paragraph(found.said).startswith(
            "With 95 % confidence not more than 25.9 % of all units are outside 85 to 115 %, however they are spread. "
            "With 95 % confidence at least 60 % of all units lie between 96.0 and 103.0 % of label, the least and the "
            "most assayed, however they are spread. The number of units poured was not entered, so nothing is said of "
            "those left. Another ten"
        )

    def test_of_a_batch_that_was_used_up_the_pour_is_still_told(self) -> None:
        batch = assayed(TEN + TEN + TEN[:4], at=range(1, 25))
        found = only(dosage(), batch)
        assert (found.units_left, found.left_within, found.outside_at_most) == (0, None, None)
        assert found.pass_chance is not None
        assert paragraph(found.said).startswith(
            "All 24 units were assayed, so none is left. Ten units of a pour like this one, second stage "
        )

    @pytest.mark.parametrize(("bound", "told"), [(0.0999, False), (0.1, True)])
    def test_bounds_are_told_from_a_tenth_on(self, bound: float, told: bool, monkeypatch: pytest.MonkeyPatch) -> None:
        chance = PassChance(mean=0.5, low=bound, spoilt_at_most=0.025, low_supposed=bound)
        monkeypatch.setattr("qc.assurance.assure.pass_chance", lambda *_, **__: chance)
        said = {one.id: one.values for one in only(dosage(), assayed()).said if isinstance(one, Message)}
        assert (said["assurance.passes"]["low"], "assurance.supposed" in said) == (bound if told else None, told)

    @pytest.mark.parametrize(("n", "told"), [(1, 0), (2, 1)])
    def test_two_units_are_the_fewest_of_which_anything_is_said(self, n: int, told: int) -> None:
        batch = assayed(TEN[:2], at=(2, 19))
        assert len(assure_batch(tests=(replace(dosage(), n=n),), book_rules=RULES, batch=batch)) == told

    @pytest.mark.parametrize("value", ["100", "0"])
    def test_units_that_do_not_differ_say_nothing_of_another_sample(self, value: str) -> None:
        found = only(dosage(), assayed([value] * 10))
        assert (found.pass_chance, found.pass_chance_low, found.coverage, found.left_within) == (None,) * 4
        assert found.outside_at_most == (4 if value == "100" else None)
        assert paragraph(found.said).endswith(
            "The 10 units measured do not differ at all, so nothing can be said about another ten units drawn at "
            f"random from this pour, second stage included. {SUPPOSED}"
        )

    def test_a_target_above_the_range_is_used(self) -> None:
        batch = assayed([str(Decimal(one) + 8) for one in TEN])
        aimed, usual = only(dosage(target=108.0), batch).pass_chance, only(dosage(), batch).pass_chance
        assert aimed is not None
        assert usual is not None
        assert aimed > usual

    def test_limits_about_the_mean_of_the_sample_bound_no_count(self) -> None:
        found = only(content(), assayed())
        assert (found.outside_at_most, found.left_within) == (None, 7)

    def test_content_in_mg_without_a_label_is_told_in_percent_of_its_mean(self) -> None:
        batch = assayed()
        in_mg = tuple(
            Assay(unit=one.unit, active="A", content_mg=(one.content_percent or Decimal(0)) / 2) for one in batch.assays
        )
        bare = Batch(units=batch.units, assays=in_mg, units_poured=24)
        of_label, of_mean = only(content(), batch), only(content(), bare)
        assert of_mean.pass_chance == pytest.approx(of_label.pass_chance, abs=0.02)
        assert "% of the mean" in paragraph(of_mean.said)
        # A bound on the mean asks for a label.
        assert only(content(rule="ph-eur-2.9.6-c"), bare).pass_chance is None
        assert only(content(rule="ph-eur-2.9.6-c"), batch).pass_chance is not None

    def test_more_confidence_assures_less(self) -> None:
        levels = [only(dosage(), assayed(), confidence=level) for level in (0.8, 0.95, 0.99)]
        lows = [one.pass_chance_low or 0.0 for one in levels]
        assert lows == sorted(lows, reverse=True)
        assert [one.outside_at_most for one in levels] == [2, 4, 6]
        assert [one.left_within for one in levels] == [10, 7, 5]


class TestOfMasses:
    def test_units_left_unweighed_are_told_in_percent_of_the_mean(self) -> None:
        batch = weighed(*MASSES, poured=60)
        spread = Batch(
            units=tuple(
                Unit(name=u.name, pour_order=3 * n, mass_g=u.mass_g) for n, u in enumerate(batch.units, start=1)
            ),
            units_poured=60,
        )
        found = only(mass(), spread)
        assert (found.units_left, found.left_within, found.outside_at_most) == (40, 30, None)
        assert paragraph(found.said).startswith(
            "With 95 % confidence at least 30 of the 40 units left unweighed lie between 98.5 and 101.5 % of the mean, "
            "the least and the most weighed, however they are spread. Another twenty units drawn at random from this "
            "pour would pass with a chance of"
        )

    def test_the_first_twenty_of_sixty_are_no_random_draw(self) -> None:
        assert paragraph(only(mass(), weighed(*MASSES, poured=60)).said).startswith(
            "The 20 units weighed are not a random"
        )

    def test_a_batch_weighed_whole_leaves_nothing_to_be_estimated(self) -> None:
        found = only(mass(), weighed(*MASSES, poured=20))
        assert (found.units_left, found.pass_chance, found.left_within) == (0, None, None)
        assert paragraph(found.said) == "All 20 units were weighed, so none is left."

    def test_masses_about_the_labelled_mass_are_counted_against_fixed_limits(self) -> None:
        units = tuple(
            Unit(name=str(n), pour_order=n if n < 12 else n + 4, mass_g=Decimal(one))
            for n, one in enumerate((*MASSES[:19], "2.16"), start=1)
        )
        batch = Batch(units=units, planned_mass_g=Decimal(2), units_poured=24)
        spread = replace(batch, units=tuple(replace(u, pour_order=(6 * n) // 5) for n, u in enumerate(units, start=1)))
        counted = only(mass(rule="chp-0107", limit=7.5), spread)
        assert counted.outside_at_most == 3
        assert "more than 7.5 % from the labelled mass" in paragraph(counted.said)
        assert counted.tolerance_high_percent == pytest.approx(108.0)
        by_mean = only(mass(rule="chp-0107", limit=7.5), replace(spread, planned_mass_g=None))
        assert by_mean.outside_at_most is None
        # The four in the middle of the pour were left out.
        assert only(mass(rule="chp-0107", limit=7.5), batch).outside_at_most is None

    def test_mass_without_a_limit_has_no_chance_of_passing(self) -> None:
        found = only(mass(limit=None), weighed(*MASSES))
        assert found.pass_chance is None
        assert "The limit of the rule cannot be told from these data" in paragraph(found.said)

    def test_contents_found_by_mass_leave_the_units_that_are_not_weighed(self) -> None:
        units = tuple(
            Unit(name=str(n), pour_order=n, mass_g=Decimal(TEN[SPREAD.index(n)]) / 50 if n in SPREAD else None)
            for n in range(1, 25)
        )
        batch = Batch(units=units, units_poured=24, actives=(Active(name="A", batch_assay_percent=Decimal("99.55")),))
        found = only(dosage(), batch)
        assert (found.units_left, found.left_within, found.outside_at_most) == (14, 7, None)
        assert (found.left_low_percent, found.left_high_percent) == (pytest.approx(96.0), pytest.approx(103.0))
        assert "units left unweighed" in paragraph(found.said)


@pytest.mark.parametrize(
    "test",
    [
        TestResult(id="dosage-unit-uniformity", rule="harmonised-udu", active="A", verdict=Verdict.NOT_ASSESSED),
        TestResult(id="dosage-unit-uniformity", rule="harmonised-udu", active="A", verdict=Verdict.TOO_FEW_UNITS, n=3),
        TestResult(id="mean-mass", rule="unknown", verdict=Verdict.COMPLIES, n=20, figures={"rsd_percent": 1.0}),
        TestResult(
            id="dosage-unit-uniformity",
            rule="harmonised-udu",
            active="another",
            verdict=Verdict.COMPLIES,
            n=10,
            figures={"sd_percent": 1.0},
        ),
    ],
    ids=["not assessed", "no figures", "unknown rule", "nothing measured"],
)
def test_a_test_that_nothing_was_measured_for_is_left_out(test: TestResult) -> None:
    assert assure_batch(tests=(test,), book_rules=RULES, batch=assayed()) == ()
