"""What was found in each unit: averaged determinations, and the label that joins mg and percent for all who ask."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from fractions import Fraction

import pytest
from msgspec.structs import replace

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.causes.rows import RowKind, rows_of
from qc.causes.weigh import weigh_causes
from qc.contents import Scale, contents_found, scale_of
from qc.judging.judge import judge_batch
from qc.pour.analysis import analyse_pour
from qc.pour.within_unit import within_units
from qc.rules.rule_books import rule_book
from qc.say.messages import words


def test_contents_are_exact_percents_of_the_label_with_duplicates_averaged() -> None:
    batch = Batch(
        units=tuple(Unit(name=name) for name in "1234"),
        assays=(
            Assay(unit="1", active="A", content_mg=Decimal("57.5")),
            Assay(unit="2", active="A", content_percent=Decimal(98)),
            Assay(unit="2", active="A", content_mg=Decimal("49.5")),
            Assay(unit="3", active="A", part=Part.TIP, content_percent=Decimal(90)),
            Assay(unit="4", active="B", content_mg=Decimal(10)),
        ),
    )
    found = {
        one.unit: one.percent for one in contents_found(batch, active=Active(name="A", label_claim_mg=Decimal(50)))
    }
    assert found == {"1": Fraction(115), "2": Fraction(197, 2)}
    assert [one.percent for one in contents_found(batch, active=Active(name="B"))] == [None]
    copy = replace(batch, note="a copy with the same assays")
    assert contents_found(copy, active=Active(name="B")) is contents_found(batch, active=Active(name="B"))


def test_a_judged_batch_bounds_the_units_outside_by_its_own_contents() -> None:
    """Of ten drawn from 24 one lies at 85 % and one beyond it; the other active was assayed in two units more."""
    contents = ["84.9", "85", *["100"] * 7, "101"]
    batch = Batch(
        units=tuple(Unit(name=str(place)) for place in range(1, 25)),
        assays=(
            *(
                Assay(unit=str(place), active="A", content_percent=Decimal(percent))
                for place, percent in enumerate(contents, start=1)
            ),
            *(Assay(unit=str(place), active="B", content_percent=Decimal(99 + place % 2)) for place in (11, 12)),
        ),
        actives=(Active(name="A"), Active(name="B")),
        dosage_form="suppositories",
        units_poured=24,
    )
    judged = judge_batch(batch, book=rule_book("harmonised"))
    (found,) = [one for one in judged.assurance if one.active == "A"]
    # Hypergeometric: one or none among the ten with a chance of 5.07 % at 8 outside of the 24, of 2.4 % at 9.
    assert (found.units_left, found.left_within, found.outside_at_most) == (12, 6, 8)


LABELLED = Active(name="A", label_claim_mg=Decimal(1000), amount_weighed_g=Decimal(25))
CONTENTS = ("91.2", "93.1", "95.4", "97.0", "98.9", "101.3", "102.8", "105.1", "107.2", "108.9")
PARTS = {Part.TIP: "34.1", Part.MIDDLE: "33.2", Part.END: "32.0"}

Entered = Callable[[int], bool]
"""Whether the determination in a row is entered in mg."""

ENTERED: dict[str, Entered] = {
    "in mg": lambda row: True,
    "in % of label": lambda row: False,
    "mixed": lambda row: row % 2 == 0,
    "mostly in %": lambda row: row == 3,
}


def entered(in_mg: Entered, *, active: Active = LABELLED) -> Batch:
    """Ten units assayed whole, the third of them twice, and three in parts; 1 % of label is 10 mg."""
    found = [(str(2 * place), Part.WHOLE, content) for place, content in enumerate(CONTENTS, start=1)]
    found += [("6", Part.WHOLE, "96.6")]
    found += [(unit, part, content) for unit in ("21", "22", "23") for part, content in PARTS.items()]
    return Batch(
        units=tuple(
            Unit(name=str(place), pour_order=place, mass_g=Decimal(3000 + place % 3).scaleb(-3))
            for place in range(1, 25)
        ),
        assays=tuple(
            Assay(
                unit=unit,
                active="A",
                part=part,
                part_mass_g=None if part is Part.WHOLE else Decimal(1),
                content_mg=Decimal(content) * 10 if in_mg(row) else None,
                content_percent=None if in_mg(row) else Decimal(content),
            )
            for row, (unit, part, content) in enumerate(found)
        ),
        actives=(active,),
        dosage_form="suppositories",
        planned_mass_g=Decimal(3),
        units_obtained=24,
    )


class TestOneScaleForAll:
    """The same batch entered in mg, in % of label or mixed is the same batch."""

    @pytest.mark.parametrize("how", ["in % of label", "mixed", "mostly in %"])
    def test_the_trend_is_the_same(self, how: str) -> None:
        def shown(batch: Batch) -> list[tuple[float | None, ...]]:
            trend = analyse_pour(batch, seed=1).trend
            return [
                (one.n, one.p_value, one.change_percent, one.change_low_percent, one.detectable_percent)
                for one in (trend.content["A"], trend.concentration["A"])
            ]

        for one, other in zip(shown(entered(ENTERED[how])), shown(entered(ENTERED["in mg"])), strict=True):
            assert one == pytest.approx(other, rel=1e-9)

    @pytest.mark.parametrize("how", ["in % of label", "mixed", "mostly in %"])
    def test_the_causes_are_the_same(self, how: str) -> None:
        def shown(batch: Batch) -> dict[str, float]:
            return {one.cause: one.probability for one in weigh_causes(batch).causes}

        assert shown(entered(ENTERED[how])) == pytest.approx(shown(entered(ENTERED["in mg"])), abs=1e-9)

    @pytest.mark.parametrize("how", ["in % of label", "mixed", "mostly in %"])
    def test_the_verdicts_and_the_balance_of_the_active_are_the_same(self, how: str) -> None:
        one, other = (judge_batch(entered(ENTERED[name]), book=rule_book()) for name in (how, "in mg"))
        assert [test.verdict for test in one.tests] == [test.verdict for test in other.tests]
        assert [test.figures.get("mean_percent") for test in one.tests] == [
            test.figures.get("mean_percent") for test in other.tests
        ]
        assert one.unit_rows == other.unit_rows
        assert one.reconciliation == other.reconciliation

    @pytest.mark.parametrize("how", ["in % of label", "mixed"])
    def test_the_parts_of_a_unit_compare_the_same(self, how: str) -> None:
        ratios = [one.ratio for one in within_units(entered(ENTERED[how]))]
        assert ratios == pytest.approx([one.ratio for one in within_units(entered(ENTERED["in mg"]))])


class TestWithoutALabelClaim:
    """Nothing joins mg and % of label, so that nobody takes the one for the other or goes by the greater part."""

    unlabelled = replace(LABELLED, label_claim_mg=None)

    def test_the_scale_is_that_of_the_entries_and_none_where_they_are_mixed(self) -> None:
        scales = {
            how: scale_of(entered(in_mg, active=self.unlabelled), active=self.unlabelled)
            for how, in_mg in ENTERED.items()
        }
        assert scales == {
            "in mg": Scale(unit="mg", label=None),
            "in % of label": Scale(unit="% of label", label=Fraction(100)),
            "mixed": None,
            "mostly in %": None,
        }

    def test_a_unit_that_does_not_count_does_not_mix_the_scales(self) -> None:
        mixed = entered(ENTERED["mostly in %"], active=self.unlabelled)
        assert scale_of(mixed, active=self.unlabelled, less=["8"]) == Scale(unit="% of label", label=Fraction(100))

    def test_mixed_contents_are_not_followed_along_the_pour_and_it_is_said(self) -> None:
        analysis = analyse_pour(entered(ENTERED["mostly in %"], active=self.unlabelled), seed=1)
        assert "A" not in analysis.trend.content
        assert [(notice.where, words(notice.text)) for notice in analysis.notices] == [
            (
                "active A",
                "Some contents of A are in mg and some in % of label; the label claim that joins them is missing, so "
                "that they are left out of the pour-order analysis. Enter the label claim (mg).",
            )
        ]

    def test_mixed_parts_are_not_compared_and_it_is_said(self) -> None:
        (found,) = within_units(entered(ENTERED["mixed"], active=self.unlabelled))
        assert (found.n, found.ratio) == (0, None)
        assert words(found.sentence) == (
            "Some parts of units of A are in mg and some in % of label; the label claim that joins them is missing, so "
            "that they are not compared. Enter the label claim (mg)."
        )

    def test_mixed_contents_say_nothing_of_the_causes(self) -> None:
        rows = rows_of(entered(ENTERED["mixed"], active=self.unlabelled))
        assert {row.kind for row in rows.rows} == {RowKind.MASS}

    def test_parts_without_whole_units_are_compared_with_their_own_mean(self) -> None:
        made = entered(ENTERED["in mg"], active=self.unlabelled)
        parts = tuple(assay for assay in made.assays if assay.part is not Part.WHOLE)
        rows = rows_of(replace(made, assays=parts))
        contents = rows.value[rows.of(RowKind.PART)]
        assert len(contents) == 9
        assert float(contents.mean()) == pytest.approx(0.0, abs=0.01)

    def test_parts_typed_on_another_scale_than_whole_units_are_left_out(self) -> None:
        made = entered(lambda row: row > 10, active=self.unlabelled)
        rows = rows_of(made)
        assert rows.of(RowKind.CONTENT).sum() == 11
        assert rows.of(RowKind.PART).sum() == 0

    def test_the_mean_content_is_not_that_of_the_units_in_mg_alone(self) -> None:
        judged = judge_batch(entered(ENTERED["mixed"], active=self.unlabelled), book=rule_book())
        assert judged.reconciliation is not None
        assert judged.reconciliation.actives == ()
