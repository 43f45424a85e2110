"""The visual inspection, counted by plans of the house, and what went in against what came out."""

from __future__ import annotations

import math
from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import ClassVar

import pytest
from hypothesis import given
from hypothesis import strategies as st

from qc.batch import Active, Assay, Batch, Unit
from qc.document import as_text, result_document
from qc.judging.judge import judge_batch
from qc.judging.reconciliation import reconcile
from qc.results import ActiveBalance, BatchVerdict, JudgedBatch, PlannedMass, Reconciliation, TestResult, Verdict
from qc.rules.rule_books import rule_book
from qc.say.limits import line
from qc.say.messages import all_words, words
from qc.say.release import defects_seen, visual_inspection

MakeBatch = Callable[..., Batch]


def only(judged: JudgedBatch, id: str) -> TestResult:
    (test,) = (test for test in judged.tests if test.id == id)
    return test


def seen_on(*units: str, word: str = "chipped") -> dict[str, dict[str, object]]:
    return {unit: {"seen": (word,)} for unit in units}


@pytest.fixture
def house(tmp_path: Path) -> Callable[[str], Path]:
    def write(figures: str, builds_on: str = "iso-2859-1") -> Path:
        path = tmp_path / "house.toml"
        path.write_text(f'[[rule]]\nid = "house-rule"\nbuilds_on = "{builds_on}"\nsource = "procedure 7"\n{figures}\n')
        return path

    return write


def judge(batch: Batch, rules: Path | None = None) -> JudgedBatch:
    return judge_batch(batch, book=rule_book(rules))


class TestWhatTheEyeSaw:
    def test_defects_are_counted_by_unit_and_grade(self, make_batch: MakeBatch) -> None:
        units = {
            "1": {"seen": ("Chips", "air bubbles")},
            "2": {"seen": ("cracked", "fissure")},
            "3": {"seen": ("chip",)},
        }
        visual = judge(make_batch(units=units, units_poured=30)).visual
        assert visual is not None
        assert [(one.defect, one.grade, one.units, one.entered_as) for one in visual.defects] == [
            ("cracked", "major", ("2",), ("cracked", "fissure")),
            ("chipped", "minor", ("1", "3"), ("Chips", "chip")),
            ("air bubble", "minor", ("1",), ("air bubbles",)),
        ]
        assert [(one.grade, one.units) for one in visual.classes] == [
            ("critical", ()),
            ("major", ("2",)),
            ("minor", ("1", "3")),
        ]
        assert visual_inspection(visual) == (
            "Visual inspection: 24 of 30 units looked at; cracked on 1 unit (major); chipped on 2 units (minor); "
            "air bubble on 1 unit (minor)."
        )

    def test_without_an_aql_there_is_no_verdict(self, make_batch: MakeBatch) -> None:
        judged = judge(make_batch(units=seen_on(*map(str, range(1, 25))), active=None))
        assert not [test for test in judged.tests if test.id == "visual-inspection"]
        assert judged.verdict is BatchVerdict.COMPLIES

    def test_nothing_written_is_nothing_recorded(self, make_batch: MakeBatch) -> None:
        assert judge(make_batch()).visual is None

    def test_words_for_sound_units_say_which_were_looked_at(self, make_batch: MakeBatch) -> None:
        visual = judge(make_batch(units=seen_on("1", "2", "3", word="none"))).visual
        assert visual is not None
        assert (visual.looked_at, visual.lot, visual.defects) == (3, 24, ())

    def test_an_unknown_word_is_a_notice_with_the_nearest(self, make_batch: MakeBatch) -> None:
        judged = judge(make_batch(units=seen_on("4", "7", word="chiped")))
        assert [words(notice.text) for notice in judged.notices if notice.where == "Units, Seen"] == [
            '"chiped" (units 4 and 7) is no known defect and was not counted. Did you mean chipped?'
        ]

    def test_an_unknown_word_leaves_critical_defects_open_and_is_told(self, make_batch: MakeBatch) -> None:
        judged = judge(make_batch(units=seen_on("4", "7", word="hole")))
        (critical,) = (test for test in judged.tests if test.id == "critical-defects")
        assert (critical.verdict, critical.criteria[0].met) == (Verdict.NOT_ASSESSED, None)
        assert words(critical.missing) == 'a known word for "hole"'
        assert judged.visual is not None
        assert defects_seen(judged.visual) == ('"hole" on units 4 and 7, not known',)

    def test_a_word_like_no_other_is_answered_with_the_list(self, make_batch: MakeBatch) -> None:
        judged = judge(make_batch(units=seen_on("4", word="qqqq")))
        (notice,) = (words(notice.text) for notice in judged.notices if notice.where == "Units, Seen")
        assert notice.startswith('"qqqq" (unit 4) is no known defect and was not counted. The words are: chipped, ')

    @pytest.mark.parametrize(
        ("word", "verdict", "batch", "reason"),
        [
            (
                "foreign matter",
                Verdict.DOES_NOT_COMPLY,
                BatchVerdict.DOES_NOT_COMPLY,
                "Foreign particle on unit 4 is graded critical (our reading): a batch with a critical defect does not "
                "comply.",
            ),
            ("cracked", Verdict.COMPLIES, BatchVerdict.COMPLIES, "No critical defect on 24 units looked at."),
        ],
    )
    def test_one_critical_defect_is_too_many(
        self, make_batch: MakeBatch, word: str, verdict: Verdict, batch: BatchVerdict, reason: str
    ) -> None:
        judged = judge(make_batch(units=seen_on("4", word=word), active=None))
        (test,) = (test for test in judged.tests if test.id == "critical-defects")
        assert (test.verdict, judged.verdict, all_words(test.reasons)) == (verdict, batch, (reason,))
        assert test.criteria[0].values["names"] == (("4",) if word == "foreign matter" else ())

    def test_a_house_that_grades_it_otherwise_is_heard(self, make_batch: MakeBatch, tmp_path: Path) -> None:
        path = tmp_path / "house.toml"
        path.write_text('[[defect]]\nname = "cracked"\ngrade = "critical"\nsource = "procedure 7"\n')
        judged = judge(make_batch(units=seen_on("4", word="cracked"), active=None), path)
        assert judged.verdict is BatchVerdict.DOES_NOT_COMPLY

    @pytest.mark.parametrize(
        ("bad", "verdict"), [(0, Verdict.COMPLIES), (1, Verdict.COMPLIES), (2, Verdict.DOES_NOT_COMPLY)]
    )
    def test_a_whole_batch_of_forty_at_an_aql_of_two_and_a_half(
        self, make_batch: MakeBatch, house: Callable[[str], Path], bad: int, verdict: Verdict
    ) -> None:
        """1 of 40 is exactly 2.5 %; a crack is a major defect, for which no AQL is set."""
        units = seen_on(*map(str, range(1, bad + 1))) | seen_on("40", word="cracked")
        batch = make_batch(masses=("2.0",) * 40, units=units)
        test = only(judge(batch, house("aql_minor_percent = 2.5")), "visual-inspection")
        assert (test.verdict, test.rule, test.n) == (verdict, "house-rule", 40)

    @pytest.mark.parametrize(("bad", "verdict"), [(1, Verdict.COMPLIES), (2, Verdict.DOES_NOT_COMPLY)])
    def test_a_sample_of_twenty_from_ninety(
        self, make_batch: MakeBatch, house: Callable[[str], Path], bad: int, verdict: Verdict
    ) -> None:
        """ISO 2859-1, level II: 51 to 90 units, letter E; AQL 2.5 follows its arrow to 20 units, accepts 1."""
        batch = make_batch(masses=("2.0",) * 20, units=seen_on(*map(str, range(1, bad + 1))), units_poured=90)
        judged = judge(batch, house("aql_minor_percent = 2.5"))
        test = only(judged, "visual-inspection")
        assert test.verdict is verdict
        assert judged.visual is not None
        assert words(judged.visual.classes[2].plan or "") == (
            "level II, letter E, AQL 2.5 %: 20 units, accepted with at most 1 nonconforming"
        )

    def test_an_aql_of_zero_is_called_none(self, make_batch: MakeBatch, house: Callable[[str], Path]) -> None:
        judged = judge(make_batch(units=seen_on("4", word="hair")), house("aql_critical_percent = 0"))
        test = only(judged, "visual-inspection")
        assert (test.verdict, all_words(test.reasons)) == (
            Verdict.DOES_NOT_COMPLY,
            ("1 unit of 24 looked at with a critical defect; none allowed: not accepted.",),
        )

    def test_too_few_looked_at_says_how_many_more(self, make_batch: MakeBatch, house: Callable[[str], Path]) -> None:
        batch = make_batch(masses=("2.0",) * 24, units=seen_on("1"), units_poured=30)
        test = only(judge(batch, house("aql_minor_percent = 4.0")), "visual-inspection")
        assert (test.verdict, words(test.missing)) == (Verdict.TOO_FEW_UNITS, "the visual inspection of 6 more units")

    def test_an_unknown_word_keeps_it_open(self, make_batch: MakeBatch, house: Callable[[str], Path]) -> None:
        test = only(
            judge(make_batch(units=seen_on("1", word="chiped")), house("aql_minor_percent = 4.0")), "visual-inspection"
        )
        assert (test.verdict, words(test.missing)) == (Verdict.NOT_ASSESSED, 'a known word for "chiped"')

    def test_an_empty_column_keeps_it_open(self, make_batch: MakeBatch, house: Callable[[str], Path]) -> None:
        judged = judge(make_batch(), house("aql_minor_percent = 4.0"))
        test = only(judged, "visual-inspection")
        assert test.missing == 'the visual inspection (column Seen; "none" for a sound unit)'
        assert judged.verdict is BatchVerdict.UNDECIDED

    def test_beyond_the_tables_it_is_open(self, make_batch: MakeBatch, house: Callable[[str], Path]) -> None:
        judged = judge(make_batch(units=seen_on("1"), units_poured=3201), house("aql_minor_percent = 4.0"))
        assert only(judged, "visual-inspection").missing == "a plan for 3201 units; the tables end at 3200"


DRUG = Active(
    name="drug",
    label_claim_mg=Decimal(100),
    amount_weighed_g=Decimal("3.2"),
    assay_repeatability_percent=Decimal("1.0"),
)


def weighed(masses: list[str], **facts: object) -> Batch:
    units = tuple(Unit(name=str(n), mass_g=Decimal(mass)) for n, mass in enumerate(masses, 1))
    return Batch(units=units, **facts)  # type: ignore[arg-type]


def balances(batch: Batch, planned: str | None = None) -> Reconciliation:
    plan = None if planned is None else PlannedMass(planned_g=Decimal(planned), working="")
    found = reconcile(batch, actives=batch.actives, plan=plan)
    assert found is not None
    return found


class TestMelt:
    FACTS: ClassVar[dict[str, Decimal]] = {
        "melt_prepared_g": Decimal("10"),
        "trimmings_g": Decimal("0.5"),
        "melt_left_g": Decimal("1.25"),
    }

    def test_what_went_in_is_what_came_out_and_the_rest(self) -> None:
        """10 - (2.01 + 2.02 + 1.99 + 2.00) - 0.5 - 1.25 = 0.23 g, 2.3 % of the melt; done by hand."""
        found = balances(weighed(["2.01", "2.02", "1.99", "2.00"], units_obtained=4, **self.FACTS))
        assert (found.unaccounted_g, found.unaccounted_percent) == (Fraction(23, 100), Fraction(23, 10))
        assert (found.units_g, found.units_estimated, found.units_low_g) == (Fraction("8.02"), False, None)
        assert words(found.working[0]) == "Units: sum of 4 masses = 8.02 g."
        assert words(found.working[1]) == (
            "Not accounted for: 10 - 8.02 (units) - 0.5 (trimmings) - 1.25 (dish) = 0.23 g, +2.30 % of the melt."
        )

    def test_units_that_were_not_weighed_are_estimated_with_an_interval(self) -> None:
        """N = 8, n = 4, s = 0.012910: 8 x 0.012910 x 3.1824 / 2 x sqrt(1/2) = 0.11620; t from a printed table."""
        found = balances(weighed(["2.01", "2.02", "1.99", "2.00"], units_obtained=8))
        assert found.units_estimated
        assert found.units_g == Fraction("16.04")
        assert found.units_low_g is not None
        assert math.isclose(found.units_g - found.units_low_g, 0.1162, abs_tol=5e-5)

    def test_more_out_than_in_is_named(self) -> None:
        found = balances(weighed(["4.5", "4.5"], units_obtained=2, **self.FACTS))
        assert all_words(found.remarks) == (
            "More came out than went in, by 0.75 g: a mass was misread or a weighing is missing.",
        )

    def test_what_is_missing_is_named_with_its_field(self) -> None:
        found = balances(weighed(["2.0"], units_obtained=1, melt_prepared_g=Decimal(3)))
        assert found.unaccounted_g is None
        assert words(found.missing[0]) == (
            "The balance of the melt was left out: enter Melt left in dish (g), Trimmings (g) (0 where there was none)."
        )

    def test_nothing_entered_is_no_reconciliation(self) -> None:
        assert reconcile(weighed(["2.0"]), actives=(), plan=None) is None

    @given(
        st.lists(st.decimals(1, 3, places=3), min_size=1, max_size=12),
        st.decimals(0, 5, places=3),
        st.decimals(0, 5, places=3),
        st.decimals(0, 1, places=3),
    )
    def test_a_melt_that_is_all_there_leaves_nothing(
        self, masses: list[Decimal], trimmings: Decimal, left: Decimal, lost: Decimal
    ) -> None:
        batch = weighed(
            [str(mass) for mass in masses],
            units_obtained=len(masses),
            melt_prepared_g=sum(masses) + trimmings + left + lost,
            trimmings_g=trimmings,
            melt_left_g=left,
        )
        assert balances(batch).unaccounted_g == Fraction(lost)


class TestUnits:
    @pytest.mark.parametrize(
        ("released", "difference", "remarks"),
        [
            (20, 0, ()),
            (
                19,
                1,
                (
                    "The counts of units do not add up: 31 obtained; 19 released, 1 rejected and 10 sampled make 30 "
                    "(1 unaccounted for).",
                ),
            ),
            (
                21,
                -1,
                (
                    "The counts of units do not add up: 31 obtained; 21 released, 1 rejected and 10 sampled make 32 "
                    "(1 more than were obtained).",
                ),
            ),
        ],
    )
    def test_every_unit_has_a_fate(self, released: int, difference: int, remarks: tuple[str, ...]) -> None:
        batch = weighed(["2.0"], units_obtained=31, units_rejected=1, units_sampled=10, units_released=released)
        assert balances(batch).units_difference == difference
        reasons = all_words(only(judge(batch), "reconciliation").reasons)
        assert tuple(one for one in reasons if one.startswith("The counts")) == remarks

    def test_a_count_that_is_missing_is_named(self) -> None:
        found = balances(weighed(["2.0"], units_obtained=31, units_rejected=1))
        assert found.units_difference is None
        assert "The balance of units was left out: enter Units sampled, Units released." in all_words(found.missing)

    def test_yield_goes_by_the_melt_and_the_planned_mass(self) -> None:
        found = balances(weighed(["2.0"], units_obtained=27, melt_prepared_g=Decimal(60)), planned="2.0")
        assert (found.theoretical_units, found.yield_percent) == (30, 90)

    def test_without_a_plan_the_yield_goes_by_the_units_poured(self) -> None:
        found = balances(weighed(["2.0"], units_obtained=27, units_poured=30))
        assert (found.theoretical_units, found.yield_percent) == (30, 90)

    @pytest.mark.parametrize(
        ("obtained", "verdict"), [(26, Verdict.DOES_NOT_COMPLY), (27, Verdict.COMPLIES), (28, Verdict.COMPLIES)]
    )
    def test_a_limit_of_the_house_on_the_yield(
        self, make_batch: MakeBatch, house: Callable[..., Path], obtained: int, verdict: Verdict
    ) -> None:
        batch = make_batch(
            units_obtained=obtained, units_poured=30, units_rejected=0, units_sampled=0, units_released=obtained
        )
        rules = house("yield_low_percent = 90", builds_on="batch-balance")
        assert only(judge(batch, rules), "reconciliation").verdict is verdict

    def test_a_yield_exactly_at_a_limit_no_binary_number_holds(
        self, make_batch: MakeBatch, house: Callable[..., Path]
    ) -> None:
        """467 of 500 is 93.4 %, which no float holds."""
        batch = make_batch(units_obtained=467, units_poured=500, units_rejected=0, units_sampled=0, units_released=467)
        rules = house("yield_low_percent = 93.4\nyield_high_percent = 93.4", builds_on="batch-balance")
        assert only(judge(batch, rules), "reconciliation").verdict is Verdict.COMPLIES

    @pytest.mark.parametrize(("limit", "met"), [("2.1", True), ("2", True), ("1.9", False)])
    @pytest.mark.parametrize(("left", "unaccounted"), [("0.5", 2), ("2.5", -2)])
    def test_a_limit_of_the_house_on_the_melt_holds_for_what_is_lacking_and_for_what_is_too_much(
        self, make_batch: MakeBatch, house: Callable[..., Path], left: str, unaccounted: int, limit: str, met: bool
    ) -> None:
        """50 g prepared, 24 units of 2 g, 0.5 g trimmed: 1.5 g less what was left in the dish, of 50 g."""
        batch = make_batch(
            units_obtained=24, units_rejected=0, units_sampled=0, units_released=24, melt_prepared_g=Decimal(50),
            trimmings_g=Decimal("0.5"), melt_left_g=Decimal(left),
        )  # fmt: skip
        test = only(judge(batch, house(f"unaccounted_percent = {limit}", builds_on="batch-balance")), "reconciliation")
        assert test.verdict is (Verdict.COMPLIES if met else Verdict.DOES_NOT_COMPLY)
        assert test.figures["unaccounted_percent"] == unaccounted
        (line,) = (line for line in test.criteria if line.what == "melt_unaccounted")
        assert (line.figure, line.bound, line.met) == (2, (None, Decimal(limit)), met)

    def test_what_is_missing_of_the_melt_without_a_limit_is_shown_and_asked_for(self, make_batch: MakeBatch) -> None:
        """60 g prepared, 24 units of 2 g, 0.5 g trimmed, 1 g left: 10.5 g of 60 g."""
        batch = make_batch(
            units_obtained=24, units_rejected=0, units_sampled=0, units_released=24, melt_prepared_g=Decimal(60),
            trimmings_g=Decimal("0.5"), melt_left_g=Decimal(1),
        )  # fmt: skip
        judged = judge(batch)
        (line_of_melt,) = (one for one in only(judged, "reconciliation").criteria if one.what == "melt_unaccounted")
        assert (line_of_melt.figure, line_of_melt.bound, line_of_melt.met) == (Fraction(35, 2), None, None)
        assert line(line_of_melt).limit == "no limit given"
        told = (
            "No limit is given for what of the melt is not accounted for, 17.5 %: write under Remarks what became of "
            "it, or enter a limit of the house and make a new report."
        )
        assert told in all_words(judged.next_steps)

    def test_a_limit_on_the_melt_without_its_figures_stays_open(
        self, make_batch: MakeBatch, house: Callable[..., Path]
    ) -> None:
        batch = make_batch(units_obtained=24, units_rejected=0, units_sampled=0, units_released=24)
        test = only(judge(batch, house("unaccounted_percent = 2", builds_on="batch-balance")), "reconciliation")
        assert (test.verdict, test.missing) == (Verdict.NOT_ASSESSED, "the figures for the melt not accounted for")

    def test_counts_that_do_not_add_up_never_comply(self, make_batch: MakeBatch, house: Callable[..., Path]) -> None:
        batch = make_batch(units_obtained=30, units_poured=30, units_rejected=0, units_sampled=0, units_released=29)
        rules = house("yield_low_percent = 90", builds_on="batch-balance")
        test = only(judge(batch, rules), "reconciliation")
        assert (test.verdict, all_words(test.reasons)) == (
            Verdict.DOES_NOT_COMPLY,
            (
                "The counts of units do not add up: 30 obtained; 29 released, 0 rejected and 0 sampled make 29 "
                "(1 unaccounted for).",
            ),
        )

    def test_figures_that_are_missing_keep_it_open(self, make_batch: MakeBatch, house: Callable[..., Path]) -> None:
        test = only(judge(make_batch(), house("yield_low_percent = 90", builds_on="batch-balance")), "reconciliation")
        assert (test.verdict, test.required) == (Verdict.NOT_ASSESSED, True)


class TestActive:
    @staticmethod
    def batch(contents: list[str], **facts: object) -> Batch:
        units = tuple(Unit(name=str(n), mass_g=Decimal("2.0")) for n in range(1, 31))
        assays = tuple(Assay(unit=str(n), active="drug", content_mg=Decimal(mg)) for n, mg in enumerate(contents, 1))
        known = {"units_obtained": 30, "trimmings_g": Decimal(0), "dish_assay_mg": Decimal(0)} | facts
        return Batch(units=units, assays=assays, actives=(DRUG,), **known)  # type: ignore[arg-type]

    @staticmethod
    def balance(batch: Batch, *others: Active) -> tuple[ActiveBalance | None, tuple[str, ...], tuple[str, ...]]:
        """The balance of the drug, its working, and what it lacks."""
        found = reconcile(batch, actives=(DRUG, *others), plan=None)
        assert found is not None
        working, missing = (
            tuple(line for line in all_words(lines) if "drug" in line) for lines in (found.working, found.missing)
        )
        return next(iter(found.actives), None), working, missing

    def test_found_is_mean_times_units_trimmings_and_dish(self) -> None:
        """Mean 100 mg: 30 x 100 + 4 g / 2 g x 100 + 50 = 3250 mg of 3200 mg, 101.5625 %; done by hand."""
        batch = self.batch(["98", "102"], trimmings_g=Decimal(4), dish_assay_mg=Decimal(50))
        found, working, missing = self.balance(batch)
        assert found is not None
        assert (found.in_units_mg, found.in_trimmings_mg, found.in_dish_mg) == (3000.0, 200.0, 50.0)
        assert found.recovery_percent == Fraction(1015625, 10000)
        assert missing == ()
        assert working[0] == "drug in units: mean of 2 assays 100.0000 mg x 30 units = 3000.00 mg."

    def test_the_interval_is_the_propagated_one(self) -> None:
        """n = 4, N = 30, s^2 = 20/3, s_a = 1 mg: u = 30 sqrt(17/3/4 (1 - 4/30) + 1/4) = 36.469 mg; done by hand.

        t with 3 degrees of freedom, 95 %: 3.1824 (printed table). 3.1824 x 36.469 / 3200 = 3.627 %.
        """
        found, _, _ = self.balance(self.batch(["97", "99", "101", "103"]))
        assert found is not None
        assert found.recovery_low_percent is not None
        assert math.isclose(float(found.recovery_percent) - found.recovery_low_percent, 3.627, abs_tol=1e-3)

    def test_all_units_assayed_leave_the_repeatability_alone(self) -> None:
        """n = N = 4: u = 4 x 1 mg / 2 = 2 mg; 3.182 x 2 / 3200 = 0.1989 %."""
        batch = self.batch(["97", "99", "101", "103"], units_obtained=4)
        found, _, _ = self.balance(batch)
        assert found is not None
        assert found.recovery_low_percent is not None
        assert math.isclose(float(found.recovery_percent) - found.recovery_low_percent, 0.1989, abs_tol=1e-4)

    def test_one_assay_gives_no_interval(self) -> None:
        found, _, missing = self.balance(self.batch(["100"]))
        assert found is not None
        assert found.recovery_low_percent is None
        assert missing == ("drug: one unit assayed gives no interval for what was found.",)

    def test_a_dish_that_was_not_assayed_is_named_and_not_guessed(self) -> None:
        batch = self.batch(["98", "102"], dish_assay_mg=None, melt_left_g=Decimal(3), trimmings_g=None)
        found, _, missing = self.balance(batch)
        assert found is not None
        assert (found.in_dish_mg, found.found_mg) == (None, 3000.0)
        assert missing == (
            "drug in the trimmings was not counted: enter Trimmings (g), 0 where there were none.",
            "drug in the dish was not counted: enter Dish assay (mg), or 0 g of melt left.",
        )

    def test_with_several_actives_the_dish_assay_is_nobody_s(self) -> None:
        found, _, missing = self.balance(self.batch(["98", "102"]), Active(name="other"))
        assert found is not None
        assert found.in_dish_mg is None
        assert missing == ("Dish assay (mg) was not counted for drug: there are several actives.",)

    @pytest.mark.parametrize(
        ("high", "verdict"),
        [("101.6", Verdict.COMPLIES), ("101.5625", Verdict.COMPLIES), ("101.56", Verdict.DOES_NOT_COMPLY)],
    )
    def test_a_limit_of_the_house_on_what_was_found(
        self, house: Callable[..., Path], high: str, verdict: Verdict
    ) -> None:
        batch = self.batch(
            ["98", "102"], trimmings_g=Decimal(4), dish_assay_mg=Decimal(50), units_rejected=0, units_sampled=2,
            units_released=28, dosage_form="suppositories",
        )  # fmt: skip
        rules = house(f"recovery_high_percent = {high}", builds_on="batch-balance")
        assert only(judge(batch, rules), "reconciliation").verdict is verdict


def test_all_of_it_stands_in_the_result_document(make_batch: MakeBatch) -> None:
    batch = make_batch(units=seen_on("3"), units_obtained=24, units_poured=24)
    document = result_document(judge(batch))
    assert '"defect": "chipped"' in as_text(document)
    assert '"yield_percent": 100.0' in as_text(document)
    assert document["packing"] is None
