"""A unit put on the balance twice: both masses are kept, and nobody weighs a batch into compliance."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.batch import Batch
from qc.causes.weigh import CausesWeighed
from qc.cli.terminal import short_summary, summary
from qc.document import result_document
from qc.judging.judge import judge_batch
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch
from qc.results import BatchVerdict, CauseFound, JudgedBatch, Verdict
from qc.rules.rule_books import rule_book
from qc.say.messages import words
from qc.show.sections.answers import corrected, findings
from qc.show.sections.tables import unit_table
from qc.workbook.recheck.write import results_workbook

HEAVY, FITS, WHY = "2.30", "2.05", "moved on the pan"
MASSES = ("2.00",) * 19
REASON = "the reason of the second weighing of unit 20"
CHECKED = "under Checked by somebody other than who weighed"
UNCHECKED = (
    f", because: {WHY}. The first mass counts until somebody other than who weighed stands under Checked by on the "
    "sheet Batch."
)
Make, Judge = Callable[..., Batch], Callable[..., JudgedBatch]


@pytest.fixture
def weigh(make_batch: Make, judge: Judge) -> Callable[..., JudgedBatch]:
    def judged(first: str, again: str, because: str | None = None, **facts: Any) -> JudgedBatch:
        twice = {"weighed_again_g": Decimal(again), "weighed_again_because": because}
        return judge(make_batch((*MASSES, first), units={"20": twice}, active=None, **facts))

    return judged


def said(judged: JudgedBatch) -> str:
    return " ".join(words(notice.text) for notice in judged.notices)


class TestAVerdictThatHangsOnIt:
    @pytest.mark.parametrize(
        ("because", "facts", "missing"),
        [
            (None, {}, f"{REASON} and {CHECKED}"),
            (WHY, {}, CHECKED),
            (None, {"checked_by": "B"}, REASON),
            (WHY, {"checked_by": "A", "weighed_by": "a "}, CHECKED),
        ],
        ids=["neither", "nobody checked", "no reason", "checked by who weighed"],
    )
    @pytest.mark.parametrize("masses", [(HEAVY, FITS), (FITS, HEAVY)], ids=["into compliance", "out of it"])
    def test_stays_open(
        self,
        masses: tuple[str, str],
        because: str | None,
        facts: dict[str, str],
        missing: str,
        weigh: Callable[..., JudgedBatch],
    ) -> None:
        judged = weigh(*masses, because, **facts)
        assert judged.verdict is BatchVerdict.UNDECIDED
        test = judged.tests[0]
        assert (test.verdict, test.required) == (Verdict.NOT_ASSESSED, True)
        assert words(test.missing) == missing

    def test_is_given_by_the_second_mass_once_reason_and_checked_by_stand_there(
        self, weigh: Callable[..., JudgedBatch]
    ) -> None:
        assert weigh(HEAVY, FITS, WHY, checked_by="B").verdict is BatchVerdict.COMPLIES
        assert weigh(FITS, HEAVY, WHY, checked_by="B").verdict is BatchVerdict.DOES_NOT_COMPLY

    def test_is_open_when_only_all_second_masses_together_change_it(self, make_batch: Make, judge: Judge) -> None:
        # By the first masses three units lie beyond 5 %; any two of them may, so that one second mass changes it.
        twice = {"weighed_again_g": Decimal("2.00")}
        masses = ("2.00",) * 16 + ("2.15",) * 4
        judged = judge(make_batch(masses, units={"19": twice, "20": twice}))
        assert judged.verdict is BatchVerdict.UNDECIDED
        assert words(judged.tests[0].reasons[0]).startswith("Units 19 and 20 weighed twice")

    def test_does_not_hang_on_it_where_both_masses_fit(self, weigh: Callable[..., JudgedBatch]) -> None:
        judged = weigh("2.01", "2.02")
        assert judged.verdict is BatchVerdict.COMPLIES
        assert judged.tests[0].figures["mean_g"] == pytest.approx(float((19 * 2 + Decimal("2.01")) / 20))

    def test_is_a_failure_where_another_unit_fails_whichever_mass_counts(self, make_batch: Make, judge: Judge) -> None:
        twice = {"weighed_again_g": Decimal(FITS)}
        judged = judge(make_batch((*MASSES[1:], HEAVY, HEAVY), units={"20": twice}))
        assert judged.verdict is BatchVerdict.DOES_NOT_COMPLY


class TestACorrectionThatTurnsAVerdict:
    SAID = (
        "Uniformity of mass: “complies” by the second mass of unit 20 (2.30 g, then 2.05 g); "
        "by the first “does not comply”."
    )

    def test_stands_on_page_one_and_in_the_short_answer(self, weigh: Callable[..., JudgedBatch]) -> None:
        judged = weigh(HEAVY, FITS, WHY, checked_by="B")
        besides = next(one for one in findings(judged) if one.title == "Also on record")
        assert self.SAID in besides.items
        for told in (short_summary(judged), short_summary(judged, beside=3), summary(judged)):
            assert self.SAID in " ".join(told.split())

    def test_of_the_mean_against_the_plan_or_of_a_reconciliation_is_said_too(
        self, make_batch: Make, tmp_path: Path
    ) -> None:
        house = tmp_path / "house.toml"
        house.write_text(
            "[[rule]]\nid = 'plan'\nbuilds_on = 'mean-mass-3'\nsource = 'procedure 7'\nlimit_percent = 2\n"
            "[[rule]]\nid = 'melt'\nbuilds_on = 'batch-balance'\nsource = 'procedure 7'\nunaccounted_percent = 1\n"
        )
        twice = {"weighed_again_g": Decimal(FITS), "weighed_again_because": WHY, "left_out_because": None}
        facts = {"planned_mass_g": Decimal("2.00"), "melt_prepared_g": Decimal("40.2"), "melt_left_g": Decimal(0)}
        facts |= {
            "trimmings_g": Decimal(0),
            "units_obtained": 20,
            "units_released": 20,
            "units_rejected": 0,
            "units_sampled": 0,
        }
        made = [make_batch((*MASSES, "3.70"), units={"20": twice}, checked_by=by, **facts) for by in ("B", None)]
        judged, unchecked = (judge_batch(one, book=rule_book(house)) for one in made)
        told = [words(one) for one in corrected(judged)]
        assert "Mean mass against plan: “complies” by the second mass of unit 20 (3.70 g, then 2.05 g)" in told[1]
        assert told[2].startswith("Reconciliation: “complies” by the second mass of unit 20 (3.70 g, then 2.05 g)")
        (balance,) = (test for test in unchecked.tests if test.id == "reconciliation")
        assert (balance.verdict, words(balance.missing)) == (Verdict.NOT_ASSESSED, CHECKED)

    def test_of_a_finding_that_turned_is_said_too(
        self, make_batch: Make, judge: Judge, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        def weighed(batch: Batch, **asked: object) -> CausesWeighed:
            cause = "sound" if all(unit.mass_g == Decimal(FITS) for unit in batch.units[-1:]) else "slip-of-pen"
            return CausesWeighed(causes=(CauseFound(cause=cause, probability=1.0),))

        monkeypatch.setattr("qc.judging.judge.weigh_causes", weighed)
        twice = {"weighed_again_g": Decimal(FITS), "weighed_again_because": WHY, "mould": "B"}
        moulds: dict[str, Any] = {str(n): {"mould": "A"} for n in range(1, 17)}
        moulds |= {str(n): {**twice, "weighed_again_g": Decimal("2.00")} for n in (17, 18, 19)}
        judged = judge(make_batch((*MASSES[:16], *["2.10"] * 4), units={**moulds, "20": twice}, checked_by="B"))
        units = "units 17 (2.10 g, then 2.00 g), 18 (2.10 g, then 2.00 g), 19 (2.10 g, then 2.00 g) and 20 (2.10 g,"
        (told,) = map(words, corrected(judged))
        assert told == (
            f"With the second mass of {units} then 2.05 g) the findings changed: by the first “likeliest cause: a "
            "transcription error in the record; All 4 units of mould B are heavy, +4.0 to +4.0 % from the mean, each "
            "by more than 2.5 %, half the limit”, by the second “likeliest cause: ordinary variation without a fault”."
        )
        besides = next(one for one in findings(judged) if one.title == "Also on record")
        assert besides.items[0].startswith("With the second mass of units 17 (2.10 g, then 2.00 g)")

    def test_is_said_of_no_other(self, weigh: Callable[..., JudgedBatch]) -> None:
        for judged in (weigh(FITS, "2.04", WHY, checked_by="B"), weigh(HEAVY, FITS, WHY)):
            assert not corrected(judged)


class TestBothMassesAreShown:
    def test_in_the_result_document(self, weigh: Callable[..., JudgedBatch]) -> None:
        document: Any = result_document(weigh(HEAVY, FITS, WHY, checked_by="B"))
        unit = document["units"][-1]
        assert (unit["mass_g"], unit["weighed_again_g"], unit["weighed_again_because"]) == (2.30, 2.05, WHY)
        assert unit["second_mass_counts"] is True
        # From the mean of the masses that count: (19 x 2.00 + 2.05) / 20 = 2.0025.
        assert unit["deviation_percent"] == pytest.approx(100 * (2.05 / 2.0025 - 1))

    def test_in_the_table_of_the_report(self, weigh: Callable[..., JudgedBatch]) -> None:
        shown = unit_table(weigh(HEAVY, FITS, WHY))
        heads = [one.head for one in shown.columns]
        last = dict(zip(heads, shown.rows[-1], strict=True))
        assert (last["Mass [g]"], last["Weighed again [g]"]) == ("2.30", "2.05")
        assert last["Remarks"] == f"weighed again: {WHY} (first mass counts)"

    def test_in_a_table_without_a_second_weighing_there_is_no_column_for_it(
        self, make_batch: Make, judge: Judge
    ) -> None:
        assert "Weighed again [g]" not in [one.head for one in unit_table(judge(make_batch())).columns]

    @pytest.mark.parametrize(("checked_by", "counts"), [(None, 2.30), ("B", 2.05)])
    def test_in_the_workbook_beside_the_one_that_counts(
        self, checked_by: str | None, counts: float, weigh: Callable[..., JudgedBatch], tmp_path: Path
    ) -> None:
        from openpyxl import load_workbook

        judged = weigh(HEAVY, FITS, WHY, checked_by=checked_by)
        path = tmp_path / "again.xlsx"
        path.write_bytes(results_workbook(judged, book=rule_book(None)))
        book = load_workbook(path, data_only=True)
        rows = [[cell.value for cell in row] for row in book["Units"].iter_rows(min_row=4)]
        unit = dict(zip(rows[0], rows[20], strict=True))
        assert (unit["Mass (g)"], unit["Weighed again (g)"], unit["Mass that counts (g)"]) == (2.30, 2.05, counts)
        assert "NO" not in [cell.value for cell in book["Summary"]["F"]]

    @pytest.mark.parametrize(
        ("because", "checked_by", "ending"),
        [
            (None, "B", ". No reason stands under Weighed again because, so the first mass counts."),
            (WHY, "B", f", because: {WHY}. The second mass counts."),
            (WHY, None, UNCHECKED),
        ],
    )
    def test_in_a_notice_that_says_which_one_counts(
        self, because: str | None, checked_by: str | None, ending: str, weigh: Callable[..., JudgedBatch]
    ) -> None:
        told = said(weigh(HEAVY, FITS, because, checked_by=checked_by)).replace("\xa0", " ")
        assert f"Weighed again: unit 20 (2.30 g, then 2.05 g){ending}" in told


class TestALostUnit:
    @pytest.mark.parametrize(
        "lost", [{"left_out_because": "fell on the floor"}, {"mass_g": None, "note": "fell on the floor"}]
    )
    def test_is_on_no_list_of_units_to_assay_or_weigh(
        self, lost: dict[str, Any], make_batch: Make, judge: Judge
    ) -> None:
        placed = {str(n): {"pour_order": n} | (lost if n in (1, 2, 3) else {}) for n in range(1, 14)}
        judged = judge(make_batch(("2.00",) * 13, units=placed))
        assert judged.pour is not None
        assert judged.pour.assay_list is not None
        listed = {*judged.pour.assay_list.random_units, *(unit for unit, _ in judged.pour.assay_list.revealing)}
        further = {unit for test in judged.tests for unit in test.next_units}
        assert listed
        assert not {"1", "2", "3"} & (listed | further)

    def test_that_was_assayed_and_noted_is_not_lost(self, make_batch: Make) -> None:
        batch = make_batch((), ("99.0",) * 3, units={"1": {"note": "chipped"}})
        assert batch.lost == frozenset()


def test_a_table_without_a_field_for_who_checked_asks_for_the_workbook(tmp_path: Path) -> None:
    table = tmp_path / "units.csv"
    rows = [f"{n},2.00,," for n in range(1, 20)]
    head = "Unit,Mass (g),Weighed again (g),Weighed again because"
    table.write_text("\n".join([head, *rows, f"20,{HEAVY},{FITS},{WHY}"]))
    judged = judge_batch(read_batch(table, options=ReadOptions(form="suppositories")), book=rule_book())
    assert words(judged.tests[0].missing) == f"{CHECKED} (in the workbook that qc sheet FILE --from TABLE writes)"


def test_what_leaving_out_a_unit_would_change_is_said_beside_an_open_test(make_batch: Make, judge: Judge) -> None:
    twice = {"weighed_again_g": Decimal(FITS), "left_out_because": "chipped"}
    (test,) = [one for one in judge(make_batch((*MASSES, "2.00", HEAVY), units={"21": twice})).tests if one.sample]
    assert (test.verdict, test.without_left_out and test.without_left_out.verdict) == (
        Verdict.NOT_ASSESSED,
        Verdict.COMPLIES,
    )
