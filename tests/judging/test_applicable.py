"""Which tests a rule set asks of a form and a dose: every threshold below, at and above."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.results import Basis, BatchVerdict, JudgedBatch, TestResult, Verdict
from qc.rules.rule_books import set_ids
from qc.say.messages import all_words, words

MakeBatch = Callable[..., Batch]
Judge = Callable[..., JudgedBatch]
FindTest = Callable[..., TestResult]


def asked(judged: JudgedBatch) -> list[str]:
    return [test.rule for test in judged.tests]


def of_dose(mg: str) -> Active:
    return Active(name="drug", label_claim_mg=Decimal(mg))


class TestEuropeanThreshold:
    """The content test is asked of a dose of less than 2 mg or less than 2 % of the unit; mass unless all are."""

    @pytest.mark.parametrize(
        ("dose_mg", "mass_g", "rules"),
        [
            ("1.9999", "0.050", ["ph-eur-2.9.6-b"]),
            ("2", "0.050", ["ph-eur-2.9.5"]),
            ("2.0001", "0.050", ["ph-eur-2.9.5"]),
            ("39.9999", "2", ["ph-eur-2.9.6-b"]),
            ("40", "2", ["ph-eur-2.9.5"]),
            ("40.0001", "2", ["ph-eur-2.9.5"]),
        ],
        ids=["below 2 mg", "at 2 mg", "above 2 mg", "below 2 %", "at 2 %", "above 2 %"],
    )
    def test_a_dose_at_the_threshold_is_not_under_it(
        self, dose_mg: str, mass_g: str, rules: list[str], make_batch: MakeBatch, judge: Judge
    ) -> None:
        batch = make_batch(masses=(mass_g,) * 20, active=of_dose(dose_mg))
        assert asked(judge(batch, "ph-eur")) == rules

    def test_one_small_dose_beside_a_large_one_asks_for_both_tests(self, make_batch: MakeBatch, judge: Judge) -> None:
        small = Active(name="small", label_claim_mg=Decimal(1))
        judged = judge(make_batch(actives=(of_dose("500"), small)), "ph-eur")
        assert [(test.rule, test.active) for test in judged.tests] == [
            ("ph-eur-2.9.5", None),
            ("ph-eur-2.9.6-b", "small"),
        ]

    def test_a_small_dose_without_assays_is_not_cleared_by_its_masses(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(active=of_dose("1")), "ph-eur")
        test = find_test(judged, "content-uniformity")
        assert (test.verdict, test.required) == (Verdict.NOT_ASSESSED, True)
        assert judged.verdict is BatchVerdict.UNDECIDED
        assert all_words(judged.next_steps) == (
            "The content of drug was not assessed. Assay 10 whole units (Ph. Eur. 2.9.6, test B).",
            "Nothing is on record of disintegration, appearance and packing and label, which suppositories usually have"
            ": enter the outcome and make a new report, or write under Remarks why none is needed.",
            "Write the product and batch number into the blanks above before this is signed or filed, or enter them "
            "and make a new report.",
            "The record lacks the number of units poured, without which it is not known how many can be released: "
            "enter it and make a new report.",
        )

    def test_without_a_label_claim_it_cannot_be_told_whether_the_test_is_asked_for(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(active=Active(name="drug")), "ph-eur")
        test = find_test(judged, "content-uniformity")
        assert test.verdict is Verdict.NOT_ASSESSED
        assert all_words(test.reasons) == (
            "Whether the test is asked of drug depends on its dose and its share of the unit's mass; enter the label "
            "claim in mg and the planned mass.",
        )
        assert judged.verdict is BatchVerdict.UNDECIDED

    def test_assays_nobody_asked_for_are_said_not_to_be_judged(self, make_batch: MakeBatch, judge: Judge) -> None:
        judged = judge(make_batch(contents=("40",) * 10), "ph-eur")
        assert asked(judged) == ["ph-eur-2.9.5", "stated-assay"]
        assert (
            "The rules in use ask for no uniformity of content of this form and dose: single contents were not judged."
            in all_words(judged.cannot_say)
        )


class TestInternationalThreshold:
    """Int. Ph. 5.1 is asked at 5 mg or less, or 5 % or less: a dose at the threshold is under it."""

    @pytest.mark.parametrize(
        ("dose_mg", "mass_g", "content_test"),
        [
            ("4.9999", "0.05", True),
            ("5", "0.05", True),
            ("5.0001", "0.05", False),
            ("99.9999", "2", True),
            ("100", "2", True),
            ("100.0001", "2", False),
        ],
    )
    def test_a_dose_at_the_threshold_is_under_it(
        self, dose_mg: str, mass_g: str, content_test: bool, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch(masses=(mass_g,) * 20, active=of_dose(dose_mg)), "int-ph")
        assert ("int-ph-5.1" in asked(judged)) is content_test
        assert "int-ph-5.2" in asked(judged)


class TestHarmonisedRoutes:
    """The table of forms: suppositories take content uniformity at every dose; some tablets may take mass variation."""

    ASSAYED = Active(name="drug", label_claim_mg=Decimal(25), batch_assay_percent=Decimal("99"))

    def test_masses_of_suppositories_never_stand_for_their_contents(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        large = Active(name="drug", label_claim_mg=Decimal(1000), batch_assay_percent=Decimal("99"))
        judged = judge(make_batch(masses=("2.0",) * 30, active=large), "harmonised")
        test = find_test(judged, "dosage-unit-uniformity")
        assert test.verdict is Verdict.NOT_ASSESSED
        assert test.figures == {}
        assert all_words(test.reasons) == (
            "For suppositories the rule asks for the contents of single units; masses and a batch assay do not show "
            "them. For information only, by mass AV would be 0.00.",
        )
        assert judged.verdict is BatchVerdict.UNDECIDED

    @pytest.mark.parametrize(
        ("dose_mg", "mass_g", "open_route"),
        [
            ("24.9999", "0.1", False),
            ("25", "0.1", True),
            ("25", "0.1001", False),
            ("24.9999", "0.05", False),
            ("25.0001", "0.1", True),
        ],
        ids=["below 25 mg", "at 25 mg and 25 %", "below 25 %", "25 % is not enough", "above"],
    )
    def test_tablets_take_mass_variation_at_the_dose_and_share(
        self, dose_mg: str, mass_g: str, open_route: bool, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        active = Active(name="drug", label_claim_mg=Decimal(dose_mg), batch_assay_percent=Decimal("99"))
        batch = make_batch(masses=(mass_g,) * 30, active=active, dosage_form="uncoated tablets")
        test = find_test(judge(batch, "harmonised"), "dosage-unit-uniformity")
        if open_route:
            assert test.verdict is Verdict.COMPLIES
            assert test.figures["mean_percent"] == 99.0
        else:
            assert test.verdict is Verdict.NOT_ASSESSED

    def test_one_active_by_mass_does_not_cover_the_other(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        small = Active(name="small", label_claim_mg=Decimal(1), batch_assay_percent=Decimal("99"))
        batch = make_batch(masses=("0.1",) * 30, actives=(self.ASSAYED, small), dosage_form="uncoated tablets")
        judged = judge(batch, "harmonised")
        assert find_test(judged, "dosage-unit-uniformity", "drug").verdict is Verdict.COMPLIES
        assert find_test(judged, "dosage-unit-uniformity", "small").verdict is Verdict.NOT_ASSESSED
        assert judged.verdict is BatchVerdict.UNDECIDED

    def test_the_mass_route_without_a_batch_assay_names_it(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        batch = make_batch(masses=("0.1",) * 20, active=of_dose("30"), dosage_form="uncoated tablets")
        test = find_test(judge(batch, "harmonised"), "dosage-unit-uniformity")
        assert words(test.missing) == "contents of 10 whole units, or the batch assay for the mass route"


class TestDefaultSet:
    """Every test that has its data is judged, and each counts."""

    def test_masses_alone_leave_an_active_with_a_label_claim_undecided(
        self, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch())
        assert [(test.rule, test.verdict, test.required) for test in judged.tests] == [
            ("ph-eur-2.9.5", Verdict.COMPLIES, False),
            ("ph-eur-2.9.6-b", Verdict.NOT_ASSESSED, False),
            ("harmonised-udu", Verdict.NOT_ASSESSED, True),
        ]
        assert (judged.verdict, judged.basis) == (BatchVerdict.UNDECIDED, Basis.MASS_ALONE)

    @pytest.mark.parametrize("active", [None, Active(name="drug")], ids=["no active", "no label claim"])
    def test_without_a_label_claim_masses_are_judged_alone(
        self, active: Active | None, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch(active=active))
        assert (judged.verdict, judged.basis) == (BatchVerdict.COMPLIES, Basis.MASS_ALONE)

    def test_contents_of_every_active_are_the_basis_of_mass_and_content(
        self, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch(contents=("100",) * 10))
        assert (judged.verdict, judged.basis) == (BatchVerdict.COMPLIES, Basis.MASS_AND_CONTENT)
        two = replace(judged.batch, actives=(*judged.batch.actives, Active(name="other")))
        assert judge(two).basis is Basis.MASS_ALONE

    def test_a_form_without_a_published_mass_limit_has_no_required_mass_test(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(contents=("100",) * 10, dosage_form="troche"), "ph-eur")
        assert find_test(judged, "mass-uniformity").required is False
        judged = judge(make_batch(contents=("100",) * 10, dosage_form="troche"))
        assert (judged.verdict, judged.basis) == (BatchVerdict.COMPLIES, Basis.MASS_AND_CONTENT)

    def test_a_failure_about_the_label_counts_although_the_mean_based_test_passes(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(contents=("80",) * 30))
        assert find_test(judged, "content-uniformity").verdict is Verdict.COMPLIES
        assert find_test(judged, "dosage-unit-uniformity").verdict is Verdict.DOES_NOT_COMPLY
        assert judged.verdict is BatchVerdict.DOES_NOT_COMPLY

    def test_contents_alone_are_judged_without_masses(
        self, make_batch: MakeBatch, judge: Judge, find_test: FindTest
    ) -> None:
        judged = judge(make_batch(masses=(), contents=("100",) * 10))
        assert find_test(judged, "mass-uniformity").verdict is Verdict.NOT_ASSESSED
        assert judged.verdict is BatchVerdict.COMPLIES


@pytest.mark.parametrize("name", set_ids())
class TestEverySet:
    def test_a_sound_batch_with_all_inputs_complies(self, name: str, make_batch: MakeBatch, judge: Judge) -> None:
        active = Active(name="drug", label_claim_mg=Decimal(10))
        batch = make_batch(contents=("100",) * 10, active=active, planned_mass_g=Decimal("2"))
        assert judge(batch, name).verdict is BatchVerdict.COMPLIES

    def test_an_empty_batch_is_undecided(self, name: str, make_batch: MakeBatch, judge: Judge) -> None:
        assert judge(make_batch(masses=()), name).verdict is BatchVerdict.UNDECIDED

    def test_every_rule_used_is_cited_with_its_source_and_mark(
        self, name: str, make_batch: MakeBatch, judge: Judge
    ) -> None:
        judged = judge(make_batch(contents=("100",) * 10), name)
        assert {rule.id for rule in judged.rules_used} == set(asked(judged))
        for rule in judged.rules_used:
            assert rule.work
            assert rule.section
            assert rule.edition
            assert rule.mark in ("seen", "from memory", "our reading", "common practice")
            # Clauses are those that the batch was judged by; an assay without limits is compared with nothing.
            judged_by_it = [test for test in judged.tests if test.rule == rule.id and test.verdict != "not-assessed"]
            assert bool(rule.clauses) == bool(judged_by_it)


def test_a_rule_asked_for_by_name_judges_any_form_and_says_when_it_is_not_its_own(
    make_batch: MakeBatch, judge: Judge
) -> None:
    judged = judge(make_batch(contents=("100",) * 10), "ph-eur-2.9.6-a")
    assert judged.verdict is BatchVerdict.COMPLIES
    assert [words(notice.text) for notice in judged.notices if notice.where.endswith("preparations, test A")] == [
        "Uniformity of content of single-dose preparations, test A is not the rule's own test for suppositories; it "
        "was asked for by name."
    ]
