"""From a batch to a verdict: what each test says, and what they say together."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Check, Displacement, DisplacementConvention, Part, Source
from qc.judging import content
from qc.judging.judge import judge_batch, overall
from qc.results import BatchVerdict, JudgedBatch, Place, TestResult, Verdict
from qc.results.messages import Message, message
from qc.rules.rule_books import rule_book
from qc.say.messages import all_words, words
from qc.show.sections.front import page_one

MakeBatch = Callable[..., Batch]
Judge = Callable[..., JudgedBatch]
FindTest = Callable[..., TestResult]
ORDER = "Units, Pour order"
HUNDRED = ("100",) * 10
DUE = ("84", "116", *("100",) * 8)


class TestOverallVerdict:
    """A failure first, then whatever is undecided, then compliance; an undecided test is never hidden."""

    @staticmethod
    def one(verdict: Verdict, *, required: bool = False) -> TestResult:
        return TestResult(id="mass-uniformity", rule="ph-eur-2.9.5", verdict=verdict, required=required)

    @pytest.mark.parametrize(
        ("verdicts", "together"),
        [
            ([Verdict.COMPLIES], BatchVerdict.COMPLIES),
            ([Verdict.COMPLIES, Verdict.NOT_ASSESSED], BatchVerdict.COMPLIES),
            ([Verdict.COMPLIES, Verdict.DOES_NOT_COMPLY, Verdict.SECOND_STAGE], BatchVerdict.DOES_NOT_COMPLY),
            ([Verdict.COMPLIES, Verdict.SECOND_STAGE], BatchVerdict.UNDECIDED),
            ([Verdict.COMPLIES, Verdict.TOO_FEW_UNITS], BatchVerdict.UNDECIDED),
            ([Verdict.NOT_ASSESSED], BatchVerdict.UNDECIDED),
            ([], BatchVerdict.UNDECIDED),
        ],
    )
    def test_verdicts_summed_up(self, verdicts: list[Verdict], together: BatchVerdict) -> None:
        assert overall([self.one(verdict) for verdict in verdicts]) is together

    def test_a_required_test_without_its_input_keeps_the_batch_undecided(self) -> None:
        tests = [self.one(Verdict.COMPLIES), self.one(Verdict.NOT_ASSESSED, required=True)]
        assert overall(tests) is BatchVerdict.UNDECIDED


class TestRulesUsed:
    """A report prints the clauses by which its batch was judged, and no others."""

    @staticmethod
    def clauses(judged: JudgedBatch, rule: str) -> list[str]:
        (used,) = (one for one in judged.rules_used if one.id == rule)
        return [clause.values["clause"].number for clause in used.clauses if "clause" in clause.values]

    def test_of_a_second_stage_only_where_it_is_due_or_reached(self, make_batch: MakeBatch, judge: Judge) -> None:
        sound, due = HUNDRED, DUE
        assert self.clauses(judge(make_batch(contents=sound)), "ph-eur-2.9.6-b") == ["2", "3", "9"]
        assert self.clauses(judge(make_batch(contents=due)), "ph-eur-2.9.6-b") == ["2", "3", "5", "6", "7", "8", "9"]
        thirty = judge(make_batch(("2.000",) * 30, (*due, *("100",) * 20)))
        assert self.clauses(thirty, "ph-eur-2.9.6-b") == ["5", "6", "7", "9"]

    def test_of_units_beside_the_sample_only_where_there_are_any(self, make_batch: MakeBatch, judge: Judge) -> None:
        marked = {str(n): {"test_sample": True} for n in range(1, 21)}
        batches = {"twenty": make_batch(("2.000",) * 20), "more": make_batch(units=marked)}
        told = {name: self.clauses(judge(batch), "ph-eur-2.9.5") for name, batch in batches.items()}
        assert told["more"] == [*told["twenty"], "12"]
        assert told["twenty"] == ["1", "2", "3"]

    def test_of_a_route_only_for_the_forms_that_have_it(self, make_batch: MakeBatch, judge: Judge) -> None:
        assert "10" not in self.clauses(judge(make_batch(contents=HUNDRED)), "harmonised-udu")
        tablets = make_batch(contents=HUNDRED, dosage_form="uncoated tablets")
        assert "10" in self.clauses(judge(tablets), "harmonised-udu")

    def test_of_an_assay_that_no_limit_was_given_for_none(self, make_batch: MakeBatch, judge: Judge) -> None:
        assert self.clauses(judge(make_batch(contents=HUNDRED)), "stated-assay") == []
        limited = replace(Active(name="drug", label_claim_mg=Decimal(100)), assay_limits_percent="95.0 to 105.0")
        assert self.clauses(judge(make_batch(contents=HUNDRED, active=limited)), "stated-assay") == ["1", "2"]


class TestStagesOfABatch:
    @pytest.mark.parametrize("n", [11, 20, 29])
    def test_of_eleven_to_twenty_nine_the_ten_marked_are_the_first_stage_with_the_second_still_due(
        self, n: int, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        batch = make_batch(contents=(*DUE, *("100",) * (n - 10)), masses=("2.0",) * 40)
        for id in ("content-uniformity", "dosage-unit-uniformity"):
            assert find_test(judge(batch), id).verdict is Verdict.NOT_ASSESSED
        assert judge(batch).verdict is BatchVerdict.UNDECIDED
        stages = (*(1,) * 10, *(2,) * (n - 10))
        judged = judge(make_batch(contents=(*DUE, *("100",) * (n - 10)), masses=("2.0",) * 40, stages=stages))
        for id in ("content-uniformity", "dosage-unit-uniformity"):
            test = find_test(judged, id)
            assert (test.verdict, test.n, test.more_units) == (Verdict.SECOND_STAGE, 10, 30 - n)
            assert len(test.next_units) == 30 - n
            assert not set(test.next_units) & {str(unit) for unit in range(1, n + 1)}
        assert judged.verdict is BatchVerdict.UNDECIDED

    def test_thirty_unmarked_assays_decide(self, make_batch: MakeBatch, judge: Judge, find_test: FindTest) -> None:
        judged = judge(make_batch(contents=(*DUE, *HUNDRED, *HUNDRED)))
        assert [test.verdict for test in judged.tests] == [*[Verdict.COMPLIES] * 3, Verdict.NOT_ASSESSED]
        assert find_test(judged, "content-uniformity").figures["stage"] == 2
        assert find_test(judged, "content-uniformity").n == 30
        assert judged.verdict is BatchVerdict.COMPLIES

    def test_more_than_thirty_assays_never_help(self, make_batch: MakeBatch, judge: Judge, find_test: FindTest) -> None:
        contents = (*DUE, *HUNDRED, "84", "116", *("100",) * 8, "100", "60")
        judged = judge(make_batch(contents=contents, stages=(*(1,) * 10, *(2,) * 20, 0, 0)))
        test = find_test(judged, "content-uniformity")
        assert test.n == 30
        assert test.verdict is Verdict.DOES_NOT_COMPLY
        assert [unit.unit for unit in test.outside if not unit.in_sample] == ["32"]

    def test_marked_stages_count_wherever_their_rows_stand(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        contents = (*HUNDRED, *HUNDRED, *DUE)
        marked = judge(make_batch(contents=contents, stages=(*(2,) * 20, *(1,) * 10)))
        assert find_test(marked, "content-uniformity").figures["stage"] == 2
        unmarked = judge(make_batch(contents=contents))
        assert find_test(unmarked, "content-uniformity").figures["stage"] == 2

    def test_a_second_stage_without_its_first_leaves_the_batch_undecided(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(contents=("100",) * 20, stages=(2,) * 20))
        for id in ("content-uniformity", "dosage-unit-uniformity"):
            assert find_test(judged, id).verdict is Verdict.TOO_FEW_UNITS
        assert judged.verdict is BatchVerdict.UNDECIDED
        assert all_words(judged.next_steps)[0] == (
            "Enter the contents of the 10 units of the first stage for drug: the rules ask for it "
            "(Ph. Eur. 2.9.6, test B and Ph. Eur. 2.9.40 / USP <905> / JP 6.02)."
        )
        assert [one.id for one in judged.next_steps[1:] if isinstance(one, Message)] == [
            "advice.mean_content",
            "advice.usual_checks",
            "advice.name_it",
            "advice.record_lacks",
            "advice.say_how_drawn",
        ]

    def test_the_same_input_draws_the_same_units_and_another_seed_others(self, make_batch: MakeBatch) -> None:
        batch = make_batch(masses=("2.0",) * 60, contents=DUE)
        book = rule_book()

        def drawn(seed: int | None) -> tuple[str, ...]:
            return judge_batch(batch, book=book, seed=seed).tests[1].next_units

        assert drawn(7) == drawn(7)
        assert drawn(7) != drawn(8)
        assert drawn(None) == drawn(None)

    def test_the_seed_comes_from_the_batch_number_and_the_places_and_is_recorded(self, make_batch: MakeBatch) -> None:
        batch = make_batch(source=Source(name="batch.csv", sha256="0000002a" + "f" * 56))
        seed = judge_batch(batch, book=rule_book()).seed
        assert judge_batch(replace(batch, source=None), book=rule_book()).seed == seed
        assert judge_batch(replace(batch, number="another"), book=rule_book()).seed != seed
        assert judge_batch(batch, book=rule_book(), seed=5).seed == 5


class TestUnitsOutsideTheSample:
    def test_a_marked_sample_that_left_out_an_outlier_does_not_comply(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        units = {str(n): {"test_sample": True} for n in range(1, 21)}
        judged = judge(make_batch(masses=("2.0",) * 23 + ("1.7",), units=units))
        test = find_test(judged, "mass-uniformity")
        assert test.verdict is Verdict.DOES_NOT_COMPLY
        assert (test.n, test.figures["beyond_limit"], test.figures["beyond_double"]) == (20, 0, 0)
        assert test.figures["mean_g"] == 2.0
        assert [(unit.unit, unit.in_sample, unit.beyond_outer) for unit in test.outside] == [("24", False, True)]
        row = next(row for row in judged.unit_rows if row.unit == "24")
        assert (row.unit, row.in_mass_sample, row.place) == ("24", False, Place.BEYOND_OUTER)

    def test_units_marked_no_are_no_part_of_the_sample(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        units = {str(n): {"test_sample": False} for n in range(21, 25)}
        assert find_test(judge(make_batch(units=units)), "mass-uniformity").n == 20

    def test_a_marked_sample_of_nineteen_is_too_small_whatever_else_was_weighed(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        units = {str(n): {"test_sample": True} for n in range(1, 20)}
        test = find_test(judge(make_batch(units=units)), "mass-uniformity")
        assert (test.verdict, test.n, test.more_units) == (Verdict.TOO_FEW_UNITS, 19, 0)
        assert words(test.reasons[0]) == (
            "The rule asks for 20 units; 19 of the 24 weighed are in the test sample, so the test cannot be passed yet."
        )
        assert words(test.missing) == "which 20 units were drawn before weighing (Test sample)"

    def test_a_mark_that_leaves_out_every_unit_picks_none(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        units = {str(n): {"test_sample": False} for n in range(1, 25)}
        test = find_test(judge(make_batch(units=units)), "mass-uniformity")
        assert (test.verdict, test.n) == (Verdict.COMPLIES, 24)

    @pytest.mark.parametrize("assayed", [9, 10, 20], ids=["one unmeasured", "those marked", "all"])
    def test_the_ten_of_a_content_test_are_not_the_sample_of_the_mass_test(
        self, assayed: int, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        units = {str(n): {"test_sample": True} for n in range(1, 11)}
        judged = judge(make_batch(("2.00",) * 19 + ("2.12",), ("100",) * assayed, units=units))
        mass, content = find_test(judged, "mass-uniformity"), find_test(judged, "dosage-unit-uniformity")
        if assayed == 9:
            assert (mass.verdict, mass.n) == (Verdict.TOO_FEW_UNITS, 10)
            return
        assert (mass.verdict, mass.n, mass.figures["beyond_limit"]) == (Verdict.COMPLIES, 20, 1)
        assert (content.verdict, content.n) == (Verdict.COMPLIES, 10)
        assert all(row.in_mass_sample for row in judged.unit_rows)

    def test_tablets_by_the_route_of_mass_are_judged_by_twenty_masses_of_which_ten_are_marked(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        tablet = Active(name="drug", label_claim_mg=Decimal(250), batch_assay_percent=Decimal(100))
        units = {str(n): {"test_sample": True} for n in range(1, 11)}
        batch = make_batch(("0.500",) * 20, units=units, active=tablet, dosage_form="uncoated tablets")
        mass = find_test(judge(batch), "mass-uniformity")
        dosage = find_test(judge(batch), "dosage-unit-uniformity")
        assert (mass.verdict, mass.n) == (Verdict.COMPLIES, 20)
        assert (dosage.verdict, dosage.n) == (Verdict.COMPLIES, 10)


class TestUnitsLeftOut:
    """A unit with a reason stays in the record; the verdict without it stands beside the verdict of record."""

    def test_the_verdict_of_record_counts_a_unit_left_out(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        chipped = {"5": {"mass_g": Decimal("1.5"), "left_out_because": "chipped"}}
        judged = judge(make_batch(units=chipped))
        test = find_test(judged, "mass-uniformity")
        assert test.verdict is Verdict.DOES_NOT_COMPLY
        assert test.without_left_out is not None
        assert test.without_left_out.units == ("5",)
        assert test.without_left_out.verdict is Verdict.COMPLIES
        assert test.without_left_out.figures["mean_g"] == 2.0
        assert [(notice.where, words(notice.text)) for notice in judged.notices if notice.where != ORDER] == [
            ("Units", "1 unit of 24 (4 %) marked to be left out: 5. They stay in the record."),
            (
                "mass-uniformity",
                "The verdict of record counts every unit: does-not-comply. Without unit 5 it would be: complies "
                "(a different verdict).",
            ),
        ]

    def test_leaving_units_out_until_it_passes_leaves_too_few(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        spoiled = {str(n): {"mass_g": Decimal("1.5"), "left_out_because": "light"} for n in range(1, 6)}
        test = find_test(judge(make_batch(units=spoiled)), "mass-uniformity")
        assert test.verdict is Verdict.DOES_NOT_COMPLY
        assert test.without_left_out is not None
        assert test.without_left_out.verdict is Verdict.TOO_FEW_UNITS

    def test_an_assayed_unit_left_out_is_counted_by_both_content_tests(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        contents = ("60", *("100",) * 9)
        judged = judge(make_batch(contents=contents, units={"1": {"left_out_because": "broken in the flask"}}))
        content = find_test(judged, "content-uniformity")
        dosage = find_test(judged, "dosage-unit-uniformity")
        assert content.verdict is Verdict.DOES_NOT_COMPLY
        assert dosage.verdict is Verdict.DOES_NOT_COMPLY
        for test in (content, dosage):
            assert test.without_left_out is not None
            assert test.without_left_out.verdict is Verdict.TOO_FEW_UNITS

    def test_a_unit_left_out_is_never_proposed_for_the_second_stage(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(contents=DUE, units={"20": {"left_out_because": "dropped"}}))
        assert "20" not in find_test(judged, "content-uniformity").next_units


class TestDeterminations:
    def test_duplicates_of_a_unit_are_averaged_and_shown(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        batch = make_batch(contents=HUNDRED)
        twice = [replace(assay, content_percent=Decimal("104")) for assay in batch.assays if assay.unit == "3"]
        judged = judge(replace(batch, assays=(*batch.assays, *twice)))
        test = find_test(judged, "content-uniformity")
        assert test.n == 10
        assert test.figures["mean_percent"] == 100.2
        row = next(row for row in judged.unit_rows if row.unit == "3").contents["drug"]
        assert (row.percent_of_label, row.determinations) == (102.0, 2)

    def test_parts_of_a_unit_are_no_units_of_the_content_test(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        batch = make_batch(contents=HUNDRED)
        tip = Assay(unit="12", active="drug", part=Part.TIP, content_percent=Decimal("20"))
        judged = judge(replace(batch, assays=(*batch.assays, tip)))
        assert find_test(judged, "content-uniformity").verdict is Verdict.COMPLIES
        assert find_test(judged, "content-uniformity").n == 10

    def test_contents_in_mg_and_in_percent_meet_on_one_scale_when_the_label_joins_them(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        label = Active(name="drug", label_claim_mg=Decimal("250"))
        batch = make_batch(contents=HUNDRED, active=label)
        mixed = tuple(
            replace(assay, content_percent=None, content_mg=Decimal("250")) if place % 2 else assay
            for place, assay in enumerate(batch.assays)
        )
        judged = judge(replace(batch, assays=mixed))
        test = find_test(judged, "content-uniformity")
        assert (test.figures["mean_mg"], test.figures["mean_percent"]) == (250.0, 100.0)
        assert judged.verdict is BatchVerdict.COMPLIES

    def test_contents_in_mg_and_in_percent_without_a_label_are_not_mixed(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        batch = make_batch(contents=HUNDRED, active=Active(name="drug"))
        mixed = (replace(batch.assays[0], content_percent=None, content_mg=Decimal("100")), *batch.assays[1:])
        judged = judge(replace(batch, assays=mixed))
        test = find_test(judged, "content-uniformity")
        assert test.verdict is Verdict.NOT_ASSESSED
        assert words(test.missing) == "the label claim"
        assert all_words(test.reasons) == (
            "Some contents are in mg and some in % of label; the label claim that joins them is missing.",
        )
        # The masses comply, and yet contents were entered that nothing could judge.
        assert find_test(judged, "mass-uniformity").verdict is Verdict.COMPLIES
        assert judged.verdict is BatchVerdict.UNDECIDED

    def test_contents_in_mg_without_a_label_are_judged_about_their_mean_alone(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(contents=HUNDRED, unit="mg", active=None))
        assert find_test(judged, "content-uniformity").figures["mean_mg"] == 100.0
        assert "mean_percent" not in find_test(judged, "content-uniformity").figures
        dosage = find_test(judged, "dosage-unit-uniformity")
        assert (dosage.verdict, words(dosage.missing)) == (Verdict.NOT_ASSESSED, "the label claim")
        assert (
            "The content test compares units with their own mean; nothing here compares with the label claim, so it is "
            "not said whether the mean is right."
        ) in all_words(judged.cannot_say)

    def test_each_active_is_judged_by_itself(self, make_batch: MakeBatch, judge: Judge, find_test: FindTest) -> None:
        batch = make_batch(contents=HUNDRED)
        other = tuple(
            Assay(unit=str(n), active="other", content_mg=Decimal(content))
            for n, content in enumerate(("60", *("10",) * 9), 1)
        )
        actives = (*batch.actives, Active(name="other", label_claim_mg=Decimal("10")))
        judged = judge(replace(batch, assays=(*batch.assays, *other), actives=actives))
        assert find_test(judged, "content-uniformity", "drug").verdict is Verdict.COMPLIES
        assert find_test(judged, "content-uniformity", "other").verdict is Verdict.DOES_NOT_COMPLY
        assert judged.verdict is BatchVerdict.DOES_NOT_COMPLY


class TestDosageForm:
    def test_no_form_leaves_the_batch_undecided_and_says_where_to_enter_it(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(dosage_form=None))
        assert judged.verdict is BatchVerdict.UNDECIDED
        for id in ("mass-uniformity", "content-uniformity"):
            test = find_test(judged, id)
            assert test.verdict is Verdict.NOT_ASSESSED
            assert all_words(test.reasons) == (
                "The limits go by dosage form, and none was entered (Batch sheet, or --form for a bare table).",
            )
        assert all_words(judged.next_steps)[:2] == (
            "The content of drug was not assessed. Assay 10 whole units (Ph. Eur. 2.9.40 / USP <905> / JP 6.02).",
            "Enter a known dosage form: the rules ask for it (Ph. Eur. 2.9.5 and Ph. Eur. 2.9.6, test A).",
        )
        assert [one.id for one in judged.next_steps[2:] if isinstance(one, Message)] == [
            "advice.name_it",
            "advice.record_lacks",
        ]

    def test_contents_are_judged_against_the_label_without_a_form(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        test = find_test(judge(make_batch(contents=HUNDRED, dosage_form=None)), "dosage-unit-uniformity")
        assert (test.verdict, test.figures["acceptance_value"]) == (Verdict.COMPLIES, 0.0)

    def test_a_misspelt_form_names_the_nearest(self, make_batch: MakeBatch, judge: Judge) -> None:
        judged = judge(make_batch(dosage_form="supositories"))
        assert judged.verdict is BatchVerdict.UNDECIDED
        assert all_words(judged.tests[-1].reasons) == (
            'No rule here names the dosage form "supositories". Did you mean "suppositories"?',
        )

    @pytest.mark.parametrize("form", ["Suppositories", "suppository", " SUPPOSITORIES ", "Pessary", "vaginal ovule"])
    def test_a_form_is_known_by_the_words_of_the_trade(self, form: str, make_batch: MakeBatch, judge: Judge) -> None:
        assert judge(make_batch(dosage_form=form, active=None)).verdict is BatchVerdict.COMPLIES

    def test_moulded_lozenges_ask_for_a_limit_and_its_source(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(dosage_form="troche"))
        test = find_test(judged, "mass-uniformity")
        assert (test.verdict, words(test.missing)) == (
            Verdict.NOT_ASSESSED,
            "a mass limit for moulded lozenges with its source",
        )
        assert judged.verdict is BatchVerdict.UNDECIDED


class TestPlannedMass:
    @pytest.mark.parametrize(
        ("planned", "verdict"),
        [
            ("2.0618556702", Verdict.DOES_NOT_COMPLY),
            ("2.0618556701", Verdict.COMPLIES),
            ("1.94174757281", Verdict.DOES_NOT_COMPLY),
            ("1.94174757282", Verdict.COMPLIES),
            ("2", Verdict.COMPLIES),
        ],
    )
    def test_the_mean_within_three_percent_of_the_plan(
        self, planned: str, verdict: Verdict, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(planned_mass_g=Decimal(planned)), "mean-mass-3")
        assert find_test(judged, "mean-mass").verdict is verdict

    def test_a_difference_of_exactly_three_percent_lies_within(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(masses=("2.06",) * 20, planned_mass_g=Decimal("2")), "mean-mass-3")
        assert find_test(judged, "mean-mass").verdict is Verdict.COMPLIES
        assert find_test(judged, "mean-mass").figures["difference_percent"] == 3.0
        above = judge(make_batch(masses=("2.0601",) * 20, planned_mass_g=Decimal("2")), "mean-mass-3")
        assert find_test(above, "mean-mass").verdict is Verdict.DOES_NOT_COMPLY

    def test_a_light_batch_passes_the_mass_test_and_the_plan_beside_it_shows_it(
        self, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch(planned_mass_g=Decimal("2.5"), active=None))
        assert judged.verdict is BatchVerdict.COMPLIES
        assert judged.planned_mass is not None
        assert judged.planned_mass.difference_percent == -20.0
        assert [(notice.where, words(notice.text)) for notice in judged.notices if notice.where != ORDER] == [
            (
                "planned mass",
                "The mean lies −20.00 % from the planned mass. The rules in use set no limit for that; a house rule "
                "can.",
            )
        ]


def test_doses_that_displace_more_base_than_a_cavity_holds_leave_the_plan_out_and_say_so(
    make_batch: MakeBatch, judge: Judge
) -> None:
    heavy = Active(
        name="paracetamol",
        label_claim_mg=Decimal(250),
        displacement=Displacement(given=Decimal("0.1"), convention=DisplacementConvention.VALUE),
    )
    judged = judge(replace(make_batch(masses=("2.0",) * 20), actives=(heavy,), nominal_mass_g=Decimal("2.0")))
    assert judged.planned_mass is None
    assert [words(notice.text) for notice in judged.notices if notice.where == "planned mass"] == [
        "The doses would displace more base than the 2.0 g that a cavity holds, so no planned mass was worked out. "
        "See whether a displacement number belongs to the other convention."
    ]


@pytest.mark.parametrize(("target", "top"), [(None, 101.5), ("105", 105.0)])
def test_the_region_that_meets_the_limit_is_that_of_ten_units_and_that_of_thirty(
    target: str | None, top: float, make_batch: MakeBatch, judge: Judge
) -> None:
    """AV = |M - mean| + k s at most 15.0: at a mean inside M, s may be 15 / 2.4 with ten units and 15 / 2.0 with 30."""
    active = Active(name="drug", label_claim_mg=Decimal(100))
    if target is not None:
        active = replace(active, target_percent=Decimal(target))
    judged = judge(make_batch(contents=("100",) * 10, active=active))
    assert [(one.active, one.n, one.points) for one in judged.boundaries] == [
        ("drug", 10, ((83.5, 0.0), (98.5, 6.25), (top, 6.25), (top + 15, 0.0))),
        ("drug", 30, ((83.5, 0.0), (98.5, 7.5), (top, 7.5), (top + 15, 0.0))),
    ]


@pytest.mark.parametrize(
    ("form", "checks", "seen", "told"),
    [
        ("suppositories", (), (), "disintegration, appearance and packing and label, which suppositories"),
        ("suppositories", (Check(name="Disintegration", result="9 min"),), ("cracked",), "packing and label, which"),
        ("troche", (Check(name="appearance", result="complies"),), (), "packing and label, which"),
        ("", (), (), ""),
    ],
)
def test_what_a_form_usually_has_and_nobody_entered_is_named(
    form: str, checks: tuple[Check, ...], seen: tuple[str, ...], told: str, make_batch: MakeBatch, judge: Judge
) -> None:
    batch = make_batch(contents=("100",) * 10, dosage_form=form or None, checks=checks)
    first, *others = batch.units
    judged = judge(replace(batch, units=(replace(first, seen=seen), *others)))
    said = [one for one in all_words(judged.cannot_say) if one.startswith("Nothing was entered of ")]
    assert [one.startswith(f"Nothing was entered of {told}") for one in said] == [True] * bool(told)


@pytest.mark.parametrize(("defect", "told"), [("cracked", True), ("flash", False)])
def test_an_appearance_that_was_entered_as_complying_beside_a_grave_defect_is_open(
    defect: str, told: bool, make_batch: MakeBatch, judge: Judge
) -> None:
    check = Check(name="Appearance", result="complies")
    batch = make_batch(contents=("100",) * 10, checks=(check,))
    first, *others = batch.units
    judged = judge(replace(batch, units=(replace(first, seen=(defect,)), *others)))
    assert judged.visual is not None
    grade = judged.visual.defects[0].grade
    assert (grade == "major") is told
    sentence = (
        f"Clear this up before release, with the outcome under Remarks: Appearance was entered as complying, and a "
        f"{grade} defect was seen on unit {first.name}: decide which holds"
    )
    assert [one.startswith(sentence) for one in all_words(judged.next_steps)].count(True) == told
    (appearance,) = (test for test in judged.tests if test.subject == "Appearance")
    (line,) = appearance.criteria
    assert (appearance.verdict, line.met) == ((Verdict.NOT_ASSESSED, None) if told else (Verdict.COMPLIES, True))
    row = next(test for test in page_one(judged).tests if test.title == "Appearance")
    assert [one.met for one in row.lines] == ["open" if told else "yes"]


@pytest.mark.parametrize(("share", "open_"), [(0.0499, True), (0.05, False), (0.0501, False)])
def test_a_sample_that_five_in_a_hundred_of_all_would_equal_is_not_doubted(
    share: float, open_: bool, judge: Judge, make_batch: MakeBatch, find_test: FindTest
) -> None:
    record = find_test(judge(make_batch(contents=HUNDRED)), "content-uniformity")
    reason = message("tests.unlikely_value", of=20, asked=10, share=share)
    assert (content._left_open(record, reason).verdict is Verdict.NOT_ASSESSED) is open_
