"""The Checks sheet: known tests, the pooled assay, free-form checks, and what they do to the batch verdict."""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace

from qc.batch import Active, Base, Batch, Check
from qc.judging.checks import judge_checks
from qc.judging.judge import judge_batch
from qc.results import Basis, BatchVerdict, JudgedBatch, TestResult, Verdict
from qc.rules.rule_books import rule_book, rule_ids, set_ids
from qc.say.limits import lines
from qc.say.messages import all_words, words
from qc.say.release import packing_checklist

MakeBatch = Callable[..., Batch]
COMPLIES, FAILS, OPEN = Verdict.COMPLIES, Verdict.DOES_NOT_COMPLY, Verdict.NOT_ASSESSED


def row(name: str, result: str | None = None, limit: str | None = None) -> Check:
    return Check(name=name, result=result, limit=limit, done_by="technician A")


@pytest.fixture
def judged(make_batch: MakeBatch) -> Callable[..., JudgedBatch]:
    def judge(checks: Sequence[Check], *, rules: str | Path | None = "ph-eur-2.9.5", **facts: object) -> JudgedBatch:
        return judge_batch(make_batch(checks=tuple(checks), **facts), book=rule_book(rules))

    return judge


def only(judged: JudgedBatch, id: str) -> TestResult:
    (test,) = (test for test in judged.tests if test.id == id)
    return test


class TestDisintegration:
    """2.9.2: three units; 30 min with a fatty base, 60 min with a water-soluble one (from memory)."""

    @pytest.mark.parametrize(
        ("result", "base", "verdict"),
        [
            ("21; 22; 29.9 min", Base.FATTY, COMPLIES),
            ("21; 22; 30 min", Base.FATTY, COMPLIES),
            ("21; 22; 30.1 min", Base.FATTY, FAILS),
            ("30.1 min", Base.FATTY, FAILS),
            ("12 min", Base.FATTY, COMPLIES),
            ("21; 22 min", Base.FATTY, Verdict.TOO_FEW_UNITS),
            ("31; 32 min", Base.FATTY, FAILS),
            ("58; 59; 60 min", Base.WATER_SOLUBLE, COMPLIES),
            ("58; 59; 61 min", Base.WATER_SOLUBLE, FAILS),
            ("0.4 h", Base.FATTY, COMPLIES),
            ("0.5 h", Base.FATTY, COMPLIES),
            ("0.51 h", Base.FATTY, FAILS),
            ("1 hour", Base.WATER_SOLUBLE, COMPLIES),
            ("2 hours", Base.WATER_SOLUBLE, FAILS),
            ("1801 s", Base.FATTY, FAILS),
            ("complies", Base.FATTY, COMPLIES),
            ("does not comply", Base.FATTY, FAILS),
            ("quick", Base.FATTY, OPEN),
            ("21", Base.FATTY, OPEN),
            ("20; 21; 22 min", None, COMPLIES),
            ("20; 21; 61 min", None, FAILS),
            ("20; 21; 45 min", None, OPEN),
        ],
    )
    def test_times_are_laid_against_the_limit_of_the_base(
        self, judged: Callable[..., JudgedBatch], result: str, base: Base | None, verdict: Verdict
    ) -> None:
        test = only(judged([row("Disintegration time (37 °C)", result)], base=base), "disintegration")
        assert (test.verdict, test.rule, test.subject) == (verdict, "ph-eur-2.9.2", "Disintegration time (37 °C)")

    @pytest.mark.parametrize(
        ("result", "limit", "verdict"),
        [
            ("20; 20; 30 min", "at most 45 min", COMPLIES),
            ("20; 20; 31 min", "at most 45 min", FAILS),
        ],
    )
    def test_a_limit_entered_is_met_besides_and_never_widens_the_rule(
        self, judged: Callable[..., JudgedBatch], result: str, limit: str, verdict: Verdict
    ) -> None:
        test = only(judged([row("disintegration", result, limit)], base=Base.FATTY), "disintegration")
        assert test.verdict is verdict
        assert [one.clause for one in test.criteria] == ["ph-eur-2.9.2", "the record"]

    @pytest.mark.parametrize(
        ("result", "limit", "verdict"),
        [
            ("20 min", "at most 30 min", COMPLIES),
            ("20; 20; 20 min", "20 min", COMPLIES),
            ("20; 20; 20.1 min", "20 min", FAILS),
            ("20; 20; 20 min", "1200 s", COMPLIES),
        ],
    )
    def test_a_limit_entered_that_says_what_the_rule_says_or_is_stricter_is_one_limit_and_closes_it(
        self, judged: Callable[..., JudgedBatch], result: str, limit: str, verdict: Verdict
    ) -> None:
        test = only(judged([row("disintegration", result, limit)], base=Base.FATTY), "disintegration")
        assert [one.clause for one in test.criteria] == ["the record"]
        assert (test.verdict, test.unchecked) == (verdict, False)

    def test_the_figures_and_the_reason_name_the_unit_outside(self, judged: Callable[..., JudgedBatch]) -> None:
        test = only(judged([row("disintegration", "1200 s; 22; 31 min")], base=Base.FATTY), "disintegration")
        assert test.figures == {"least_min": 20.0, "greatest_min": 31.0, "at_least_min": None, "at_most_min": 30.0}
        assert test.n == 3
        assert all_words(test.reasons) == (
            '"disintegration": 31 min does not meet the limit of ph-eur-2.9.2, at most 30 min.',
            "The limit comes from memory: until it is compared with the text in force, this stays open.",
        )
        assert all_words(test.working) == (
            "1200 s = 20.0000 min; 22 min; 31 min against at most 30 min (ph-eur-2.9.2).",
        )

    def test_a_result_that_lies_partly_inside_is_left_open_and_named(self, judged: Callable[..., JudgedBatch]) -> None:
        test = only(judged([row("disintegration", "21; 22; > 20 min")], base=Base.FATTY), "disintegration")
        assert (test.verdict, test.missing) == (OPEN, 'exact figures for "disintegration"')
        assert all_words(test.reasons) == (
            '"disintegration": more than 20 min does not say whether the limit of ph-eur-2.9.2, at most 30 min, is '
            "met. Type the figure itself.",
        )

    def test_a_form_without_a_limit_needs_one_beside_the_result(self, judged: Callable[..., JudgedBatch]) -> None:
        without = judged([row("disintegration", "8 min")], dosage_form="troches", rules="default")
        assert only(without, "disintegration").verdict is OPEN
        assert only(without, "disintegration").missing == 'a limit for "disintegration"'
        beside = judged([row("disintegration", "8 min", "10 min")], dosage_form="troches", rules="default")
        assert only(beside, "disintegration").verdict is COMPLIES

    def test_a_set_that_asks_for_it_is_undecided_without_it(
        self, judged: Callable[..., JudgedBatch], tmp_path: Path
    ) -> None:
        path = tmp_path / "house.toml"
        path.write_text('[set]\nadds = ["ph-eur-2.9.2"]\n')
        open_ = judged([], rules=path, base=Base.FATTY, active=None)
        assert only(open_, "disintegration").missing == 'a row "disintegration" on the Checks sheet'
        assert open_.verdict is BatchVerdict.UNDECIDED
        done = judged([row("disintegration", "9 min")], rules=path, base=Base.FATTY, active=None)
        assert done.verdict is BatchVerdict.COMPLIES


class TestBareFigures:
    """A unit of measure may stand in the name of the check, or nowhere; a failing result counts either way."""

    @pytest.mark.parametrize(
        ("name", "result", "limit", "verdict"),
        [
            ("Disintegration (min)", "30", "30", COMPLIES),
            ("Disintegration (min)", "30.1", "30", FAILS),
            ("Disintegration (min)", "35", None, FAILS),
            ("Disintegration (min)", "35", "30 min", FAILS),
            ("Disintegration (s)", "1801", None, FAILS),
            ("Disintegration (s)", "1800", None, COMPLIES),
            ("Disintegration", "35", "30", FAILS),
            ("Disintegration", "25", "30", OPEN),
            ("Disintegration", "25; 26; 35", "30", FAILS),
            ("Disintegration", "35 min", "20", FAILS),
            ("Disintegration", "25 min", "20", OPEN),
            ("Disintegration", "35", None, OPEN),
        ],
    )
    def test_a_known_test(
        self, judged: Callable[..., JudgedBatch], name: str, result: str, limit: str | None, verdict: Verdict
    ) -> None:
        assert only(judged([row(name, result, limit)], base=Base.FATTY), "disintegration").verdict is verdict

    @pytest.mark.parametrize(
        ("name", "result", "limit", "verdict"),
        [
            ("Drop time (min)", "35", "at most 30", FAILS),
            ("Drop time, min", "30", "at most 30", COMPLIES),
            ("Drop time in min", "1801 s", "at most 30", FAILS),
            ("Drop time", "35", "at most 30", FAILS),
            ("Drop time", "30", "at most 30", COMPLIES),
            ("Drop time", "30", "at most 30 min", OPEN),
        ],
    )
    def test_any_other_check(
        self, judged: Callable[..., JudgedBatch], name: str, result: str, limit: str, verdict: Verdict
    ) -> None:
        assert only(judged([row(name, result, limit)]), "release-check").verdict is verdict

    def test_the_reasons_say_what_was_compared_and_what_was_not(self, judged: Callable[..., JudgedBatch]) -> None:
        found = judged([row("Disintegration", "35", "30")], base=Base.FATTY)
        test = only(found, "disintegration")
        assert all_words(test.reasons) == (
            '"Disintegration": 35 does not meet the limit, at most 30.',
            '"Disintegration": the result has no unit of measure and the limit is in "min"; they cannot be compared. '
            "Type the result in min.",
            "The one time entered is read as that of the last of 3 units.",
        )
        assert found.verdict is BatchVerdict.DOES_NOT_COMPLY


@pytest.mark.parametrize(
    ("check", "verdict"),
    [
        (row("softening time", "9.9 min", "10 min"), COMPLIES),
        (row("softening time", "10 min", "10 min"), COMPLIES),
        (row("softening time", "10.1 min", "10 min"), FAILS),
        (row("softening time", "10 min"), OPEN),
        (row("resistance to rupture", "599 g", "600 g"), FAILS),
        (row("resistance to rupture", "600 g", "600 g"), COMPLIES),
        (row("resistance to rupture", "601; 650 g", "600 g"), COMPLIES),
        (row("resistance to rupture", "0.6 kg", "at least 600 g"), COMPLIES),
    ],
)
def test_a_test_without_a_published_limit_takes_it_from_its_row(
    judged: Callable[..., JudgedBatch], check: Check, verdict: Verdict
) -> None:
    test = only(judged([check]), check.name.replace(" ", "-"))
    assert test.verdict is verdict


def test_a_test_for_another_base_is_remarked_on(judged: Callable[..., JudgedBatch]) -> None:
    result = judged([row("softening time", "9 min", "10 min")], base=Base.WATER_SOLUBLE)
    assert [words(notice.text) for notice in result.notices if notice.where == "Checks, softening time"] == [
        "Softening time of lipophilic suppositories is a test for a fatty base; the base of this batch is "
        "water-soluble."
    ]


class TestFreeFormChecks:
    @pytest.mark.parametrize(
        ("result", "limit", "verdict", "required"),
        [
            ("5.49", "5.5 to 6.5", FAILS, True),
            ("5.5", "5.5 to 6.5", COMPLIES, True),
            ("6.5", "5.5 to 6.5", COMPLIES, True),
            ("6.51", "5.5 to 6.5", FAILS, True),
            ("complies", None, COMPLIES, True),
            ("Complies.", "complies", COMPLIES, True),
            ("fails", "complies", FAILS, True),
            ("white", "white", COMPLIES, True),
            ("white", "white, smooth", OPEN, False),
            ("not satisfactory", "white, smooth", FAILS, True),
            ("white", None, OPEN, False),
            ("6.2", None, OPEN, False),
            ("6.2", "as monograph", OPEN, False),
            (None, None, OPEN, False),
            (None, "5.5 to 6.5", OPEN, True),
            (None, "complies", OPEN, True),
            ("6.2", "6", OPEN, True),
            ("6.2 mg", "5.5 to 6.5 min", OPEN, True),
            ("6.2 so or so 3", "5.5 to 6.5", OPEN, True),
            ("< 7", "at most 6.5", OPEN, True),
        ],
    )
    def test_what_a_row_says(
        self,
        judged: Callable[..., JudgedBatch],
        result: str | None,
        limit: str | None,
        verdict: Verdict,
        required: bool,
    ) -> None:
        test = only(judged([row("pH", result, limit)]), "release-check")
        assert (test.verdict, test.required, test.subject, test.rule) == (verdict, required, "pH", "release-check")
        assert bool(test.missing) is (verdict is OPEN)

    def test_units_that_differ_are_named_with_the_mend(self, judged: Callable[..., JudgedBatch]) -> None:
        test = only(judged([row("time", "6.2", "at most 7 min")]), "release-check")
        assert all_words(test.reasons) == (
            '"time": the result has no unit of measure and the limit is in "min"; they cannot be compared. '
            "Type the result in min.",
        )

    def test_a_result_that_rounding_would_save_is_said_to_be_so(self, judged: Callable[..., JudgedBatch]) -> None:
        test = only(judged([row("residue", "2.04 %", "at most 2.0 %")]), "release-check")
        assert test.verdict is FAILS
        assert all_words(test.reasons) == (
            '"residue": 2.04 % does not meet the limit, at most 2.0 %. Rounded to 1 decimal, as the limit is written, '
            "it would; results are compared unrounded here.",
        )

    def test_one_that_rounding_would_not_save_has_no_such_remark(self, judged: Callable[..., JudgedBatch]) -> None:
        test = only(judged([row("residue", "2.05 %", "at most 2.0 %")]), "release-check")
        assert all_words(test.reasons) == ('"residue": 2.05 % does not meet the limit, at most 2.0 %.',)


class TestVerdictOfTheBatch:
    @pytest.mark.parametrize(
        ("check", "verdict"),
        [
            (row("pH", "6.0", "5.5 to 6.5"), BatchVerdict.COMPLIES),
            (row("pH", "7.0", "5.5 to 6.5"), BatchVerdict.DOES_NOT_COMPLY),
            (row("pH", None, "5.5 to 6.5"), BatchVerdict.UNDECIDED),
            (row("pH", None, None), BatchVerdict.COMPLIES),
            (row("odour", "faint", "faint or none"), BatchVerdict.COMPLIES),
        ],
    )
    def test_a_check_entered_fails_or_delays_a_sound_batch(
        self, judged: Callable[..., JudgedBatch], check: Check, verdict: BatchVerdict
    ) -> None:
        assert judged([check]).verdict is verdict

    def test_a_check_alone_makes_no_batch_comply(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row("pH", "6.0", "5.5 to 6.5")], masses=(), contents=("100",) * 3, rules="ph-eur-2.9.5")
        assert [test.verdict for test in result.tests if test.id == "release-check"] == [COMPLIES]
        assert result.verdict is BatchVerdict.UNDECIDED

    def test_what_is_left_open_is_named_on_page_one(self, judged: Callable[..., JudgedBatch]) -> None:
        steps = all_words(judged([row("pH", None, "5.5 to 6.5"), row("odour", "faint", "none")]).next_steps)
        assert 'Enter the result of "pH": its limit stands on the Checks sheet.' in steps
        assert (
            'Left to the signer: "odour" was found: "faint". The limit is "none". Words are not compared '
            "here; the person who signs judges them."
        ) in steps


def drug(assay: str | None = None, name: str = "drug") -> Active:
    return Active(name=name, label_claim_mg=Decimal(100), batch_assay_percent=None if assay is None else Decimal(assay))


class TestAssayOfTheBatch:
    """The pooled assay and the mean of single units, rounded once as the limit is written, at 90.0 to 110.0."""

    AT_THE_LIMITS = pytest.mark.parametrize(
        ("assay", "verdict"),
        [
            ("89.94", FAILS),
            ("89.95", COMPLIES),
            ("90.0", COMPLIES),
            ("110.0", COMPLIES),
            ("110.04", COMPLIES),
            ("110.05", FAILS),
        ],
    )

    @AT_THE_LIMITS
    def test_the_limits_typed_in_its_row(
        self, judged: Callable[..., JudgedBatch], assay: str, verdict: Verdict
    ) -> None:
        test = only(judged([row("Assay", None, "90.0 to 110.0 %")], actives=(drug(assay),)), "batch-assay")
        assert (test.verdict, test.active, test.rule) == (verdict, "drug", "stated-assay")

    @AT_THE_LIMITS
    def test_the_mean_of_the_units_is_laid_against_them_too(
        self, judged: Callable[..., JudgedBatch], assay: str, verdict: Verdict
    ) -> None:
        contents = (str(Decimal(assay) - 1), str(Decimal(assay) + 1)) * 5
        limited = replace(drug(), assay_limits_percent="90.0 to 110.0")
        test = only(judged([], contents=contents, actives=(limited,)), "batch-assay")
        assert (test.verdict, test.n, test.figures["mean_percent"]) == (verdict, 10, float(assay))

    @pytest.mark.parametrize(
        ("limits", "assay", "verdict"),
        [
            ("90 to 110", "89.6", FAILS),
            ("90 to 110", "89.95", COMPLIES),
            ("at least 98.50 %", "98.495", COMPLIES),
            ("at least 98.50 %", "98.494", FAILS),
            ("95.0 to 105.0 mg", "100", OPEN),
            ("as in the monograph", "100", OPEN),
        ],
    )
    def test_as_many_decimals_as_the_limit_is_written_with_and_one_at_least(
        self, judged: Callable[..., JudgedBatch], limits: str, assay: str, verdict: Verdict
    ) -> None:
        limited = replace(drug(assay), assay_limits_percent=limits)
        assert only(judged([], actives=(limited,)), "batch-assay").verdict is verdict

    def test_the_published_illustration_of_rounding(self, judged: Callable[..., JudgedBatch]) -> None:
        """Nine rows of USP, General Notices: rounded, and whether they conform, as printed."""
        path = Path(__file__).parents[1] / "reference" / "acceptance" / "rounding-illustration.toml"
        record = tomllib.loads(path.read_text(encoding="utf-8"), parse_float=Decimal)
        rows = zip(record["inputs"]["limits"], record["inputs"]["unrounded"], strict=True)
        for (limit, figure), rounded, conforms in zip(
            rows, record["printed"]["rounded"], record["printed"]["conforms"], strict=True
        ):
            limited = replace(drug(str(figure)), assay_limits_percent=f"{limit} %")
            test = only(judged([], actives=(limited,)), "batch-assay")
            assert (test.criteria[0].figure, test.verdict is COMPLIES) == (rounded, conforms), figure

    def test_both_must_lie_within(self, judged: Callable[..., JudgedBatch]) -> None:
        limited = replace(drug("99"), assay_limits_percent="95.0 to 105.0")
        test = only(judged([], contents=("86",) * 10, actives=(limited,)), "batch-assay")
        assert test.verdict is FAILS
        assert [(line.what, line.met) for line in test.criteria] == [("pooled_assay", True), ("mean_of_units", False)]
        assert all_words(test.reasons)[0] == (
            "Mean content of 10 units: 86.0 % (95 % interval 86.0 to 86.0 if all are alike); the limit is 95.0 to "
            "105.0 %, not met."
        )

    def test_a_figure_that_rounding_saves_stands_beside_it_unrounded(self, judged: Callable[..., JudgedBatch]) -> None:
        limited = replace(drug("110.04"), assay_limits_percent="90.0 to 110.0")
        test = only(judged([], actives=(limited,)), "batch-assay")
        assert all_words(test.reasons) == (
            "Assay of the pooled sample: 110.0 % (110.04); the limit is 90.0 to 110.0 %, met.",
        )
        assert (test.criteria[0].figure, test.figures["pooled_percent"]) == (Decimal("110.0"), 110.04)

    def test_without_a_limit_the_mean_and_its_interval_are_given_and_decide_nothing(
        self, judged: Callable[..., JudgedBatch]
    ) -> None:
        result = judged([], contents=("98", "102") * 5)
        test = only(result, "batch-assay")
        assert (test.verdict, test.required, result.verdict) == (OPEN, False, BatchVerdict.COMPLIES)
        assert [(line.what, line.figure, line.limit, line.met) for line in lines(test.criteria)] == [
            (
                "mean content of 10 units",
                "100.0 % (95 % interval 98.5 to 101.5 if all are alike)",
                "no limit given",
                None,
            )
        ]
        # t of 9 degrees of freedom at 95 % is 2.2622; SD √(40/9) over √10 is 0.66667.
        assert test.figures["mean_low_percent"] == pytest.approx(100 - 2.2622 * 2 / 3, abs=1e-4)

    @pytest.mark.parametrize(("pooled", "named"), [("104.5", False), ("104.6", True), ("95.7", False), ("95.6", True)])
    def test_a_pooled_assay_far_from_the_mean_of_the_units_is_a_finding(
        self, judged: Callable[..., JudgedBatch], pooled: str, named: bool
    ) -> None:
        """√(2 x 4.4444/10 + (1 % of the assay)²) is 1.3 to 1.4; t at 99 % and 9 degrees of freedom 3.2498."""
        result = judged([], contents=("98", "102") * 5, actives=(drug(pooled),))
        told = [step for step in all_words(result.next_steps) if "differ by more than" in step]
        assert bool(told) is named
        assert result.verdict is BatchVerdict.COMPLIES

    def test_the_mean_is_that_of_the_sample_of_the_dosage_unit_test(self, judged: Callable[..., JudgedBatch]) -> None:
        contents, stages = (*("100",) * 10, *("70",) * 2), (*(1,) * 10, 0, 0)
        result = judged([], contents=contents, stages=stages, rules="harmonised")
        assert only(result, "batch-assay").figures["mean_percent"] == 100.0

    @pytest.mark.parametrize(
        ("assay", "verdict"),
        [("89.94", FAILS), ("90.0", COMPLIES), ("110.0", COMPLIES), ("110.05", FAILS), (None, OPEN)],
    )
    def test_the_rule_for_compounded_preparations_when_a_house_asks_for_it(
        self, judged: Callable[..., JudgedBatch], tmp_path: Path, assay: str | None, verdict: Verdict
    ) -> None:
        path = tmp_path / "house.toml"
        path.write_text('[set]\nbuilds_on = "ph-eur"\nadds = ["compounded-assay"]\n')
        test = only(judged([], rules=path, actives=(drug(assay),)), "batch-assay")
        assert (test.verdict, test.rule, test.required) == (verdict, "compounded-assay", True)

    @pytest.mark.parametrize(
        ("limits", "bounds", "unchecked"),
        [
            (None, [(90, 110)], True),
            ("95 to 105", [(95, 105)], False),
            ("90 to 110", [(90, 110)], False),
            ("85 to 105", [(90, 110), (85, 105)], True),
        ],
    )
    def test_a_limit_of_the_record_that_is_no_wider_takes_the_place_of_the_one_from_memory(
        self, judged: Callable[..., JudgedBatch], limits: str | None, bounds: list[tuple[int, int]], unchecked: bool
    ) -> None:
        active = replace(drug("98.0"), assay_limits_percent=limits)
        result = judged([], rules="compounded-assay", actives=(active,))
        test = only(result, "batch-assay")
        assert ([limit.bound for limit in test.criteria], test.unchecked) == (bounds, unchecked)
        assert (test.verdict, result.basis) == (COMPLIES, Basis.MASS_AND_CONTENT)

    def test_no_set_asks_for_it_unless_it_is_named(self) -> None:
        for id in set_ids():
            assert "compounded-assay" not in rule_book(id).rules

    def test_an_assay_asked_for_without_an_active_is_not_forgotten(
        self, judged: Callable[..., JudgedBatch], tmp_path: Path
    ) -> None:
        path = tmp_path / "house.toml"
        path.write_text('[set]\nadds = ["compounded-assay"]\n')
        result = judged([], rules=path, actives=())
        assert only(result, "batch-assay").missing == "the active and its batch assay, on the Actives sheet"
        assert result.verdict is BatchVerdict.UNDECIDED

    def test_two_figures_that_differ_are_not_judged(self, judged: Callable[..., JudgedBatch]) -> None:
        test = only(judged([row("Assay", "97.0 %", "90 to 110 %")], actives=(drug("98.4"),)), "batch-assay")
        assert (test.verdict, test.missing) == (OPEN, "one assay of the pooled sample")
        same = only(judged([row("Assay", "98.40 %", "90 to 110 %")], actives=(drug("98.4"),)), "batch-assay")
        assert same.verdict is COMPLIES

    def test_each_active_has_its_own_row(self, judged: Callable[..., JudgedBatch]) -> None:
        actives = (drug("98.4", "drug"), drug("80", "other drug"))
        result = judged(
            [row("Assay, other drug", None, "90 to 110 %"), row("Assay", None, "90 to 110 %")], actives=actives
        )
        tests = {test.active: test for test in result.tests if test.id == "batch-assay"}
        assert tests["other drug"].verdict is FAILS
        assert tests[None].missing == 'the active that "Assay" is about'


class TestPacking:
    LINES = (
        "each unit wrapped",
        "container closed and protected from light",
        "count agrees with the record",
        "label: name, strength, form, quantity",
        "label: batch, use-by date, storage",
        "label: route of use, cautions",
    )

    def test_every_line_ticked_complies(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row(line, "yes") for line in self.LINES])
        assert only(result, "packing-checklist").verdict is COMPLIES
        assert result.verdict is BatchVerdict.COMPLIES

    def test_a_line_that_does_not_apply_is_ticked(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row(line, "n.a." if "wrapped" in line else "yes") for line in self.LINES])
        assert only(result, "packing-checklist").verdict is COMPLIES

    def test_one_no_keeps_the_batch_from_complying(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row(self.LINES[0], "no"), *(row(line, "yes") for line in self.LINES[1:])])
        test = only(result, "packing-checklist")
        assert (test.verdict, result.verdict) == (FAILS, BatchVerdict.DOES_NOT_COMPLY)
        assert all_words(test.reasons) == ("Answered no: each unit wrapped or in its own sealed cavity.",)

    def test_a_checklist_begun_and_not_ticked_through_leaves_the_batch_undecided(
        self, judged: Callable[..., JudgedBatch]
    ) -> None:
        result = judged([row(line, "yes") for line in self.LINES[:5]])
        assert result.verdict is BatchVerdict.UNDECIDED
        assert only(result, "packing-checklist").required is True
        assert "Packing and label, not ticked yet: label: route of use, cautions." in all_words(result.next_steps)

    def test_a_checklist_that_is_asked_for_is_named_once(
        self, judged: Callable[..., JudgedBatch], tmp_path: Path
    ) -> None:
        path = tmp_path / "house.toml"
        path.write_text('[set]\nadds = ["packing-checklist"]\n')
        result = judged([row(line, "yes") for line in self.LINES[:5]], rules=path)
        assert result.verdict is BatchVerdict.UNDECIDED
        assert [step for step in all_words(result.next_steps) if "cautions" in step] == [
            "Packing and label, not ticked yet: label: route of use, cautions."
        ]

    def test_a_checklist_not_begun_is_one_line(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row("pH", "6", "5 to 7")])
        assert result.packing is not None
        assert packing_checklist(result.packing) == "The packing and label checklist was not entered."
        assert not [test for test in result.tests if test.id == "packing-checklist"]
        assert not [step for step in all_words(result.next_steps) if "ticked" in step]

    @pytest.mark.parametrize(
        ("entry", "verdict"), [("30 of 30", "yes"), ("29 of 30", "no"), ("see note", "not readable")]
    )
    def test_a_count_is_an_answer(self, judged: Callable[..., JudgedBatch], entry: str, verdict: str) -> None:
        result = judged([row("count agrees with the record", entry)])
        assert result.packing is not None
        (line,) = (line for line in result.packing.lines if line.item == "count")
        assert (line.answer, line.entered, line.done_by) == (verdict, entry, "technician A")

    @pytest.mark.parametrize(
        ("entry", "named"), [("40 of 40", False), ("20 of 20", False), ("30 of 30", True), ("yes", False)]
    )
    def test_a_count_of_other_units_than_there_are_is_a_finding(
        self, judged: Callable[..., JudgedBatch], entry: str, named: bool
    ) -> None:
        result = judged([row("count agrees with the record", entry)], masses=("2.0",) * 20, units_poured=40)
        told = [one for one in all_words([notice.text for notice in result.notices]) if "entered as" in one]
        assert bool(told) is named
        assert not named or told == [
            f'"count agrees with the record" was entered as {entry}, and by the other entries there are 40 units, 40 '
            "of them left: see which count is right."
        ]

    def test_two_rows_on_one_line_count_as_the_graver(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row("label: strength", "no"), row("label: name, strength, form, quantity", "yes")])
        assert result.packing is not None
        answers = {line.item: line.answer for line in result.packing.lines}
        assert (answers["label-strength"], answers["label-name"]) == ("no", "yes")

    def test_a_line_of_the_house_stands_at_the_end(self, judged: Callable[..., JudgedBatch], tmp_path: Path) -> None:
        path = tmp_path / "house.toml"
        path.write_text('[[packing]]\nid = "leaflet"\ntext = "leaflet enclosed"\n')
        result = judged([row("Leaflet enclosed", "yes")], rules=path)
        assert result.packing is not None
        assert (result.packing.lines[-1].text, result.packing.lines[-1].answer) == ("leaflet enclosed", "yes")

    def test_a_row_with_a_figure_for_its_limit_is_a_check(self, judged: Callable[..., JudgedBatch]) -> None:
        result = judged([row("count", "29 units", "at least 30 units")])
        assert only(result, "release-check").verdict is FAILS


@settings(max_examples=200)
@given(
    st.sampled_from(["disintegration", "softening time", "pH", "Assay", "Assay, other drug", "resistance to rupture"]),
    st.one_of(
        st.none(), st.text(max_size=20), st.sampled_from(["20; 21; 22 min", "12 min", "complies", "6.2", "97 %"])
    ),
    st.one_of(st.none(), st.text(max_size=20), st.sampled_from(["30 min", "5 to 7", "complies", "90 to 110 %"])),
)
def test_any_row_gets_a_verdict_with_a_reason(name: str, result: str | None, limit: str | None) -> None:
    """No entry ends the run, and nothing is "not assessed" without the one thing that is missing."""
    actives = (drug("97"), drug(None, "other drug"))
    batch = Batch(units=(), actives=actives, base=Base.FATTY)
    found, _ = judge_checks(batch, [row(name, result, limit)], form="suppositories", actives=actives, asked=())
    assert [test for test in found if test.subject == name or test.id == "batch-assay"]
    for test in found:
        assert test.reasons
        assert bool(test.missing) is (test.verdict in (OPEN, Verdict.TOO_FEW_UNITS))
        assert test.rule in rule_ids()


@pytest.mark.parametrize(
    ("assay", "limits", "verdict"),
    [
        ("89.9", "90.0 to 110.0", Verdict.DOES_NOT_COMPLY),
        ("90.0", "90.0 to 110.0", Verdict.COMPLIES),
        ("110.0", "90.0 to 110.0 %", Verdict.COMPLIES),
        ("110.1", "90.0 to 110.0", Verdict.DOES_NOT_COMPLY),
    ],
)
def test_a_batch_assay_is_judged_by_the_limits_beside_the_active(
    assay: str, limits: str, verdict: Verdict, make_batch: Callable[..., Batch], judge: Callable[..., JudgedBatch]
) -> None:
    active = Active(
        name="drug", label_claim_mg=Decimal(100), batch_assay_percent=Decimal(assay), assay_limits_percent=limits
    )
    (test,) = [one for one in judge(make_batch(active=active)).tests if one.id == "batch-assay"]
    assert (test.active, test.verdict) == ("drug", verdict)


def test_limits_without_a_batch_assay_ask_for_nothing(
    make_batch: Callable[..., Batch], judge: Callable[..., JudgedBatch]
) -> None:
    active = Active(name="drug", label_claim_mg=Decimal(100), assay_limits_percent="90.0 to 110.0")
    assert "batch-assay" not in [one.id for one in judge(make_batch(active=active)).tests]
