"""What was found in each unit: averaged determinations, and the label that joins mg and percent."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.judging.judge import judge_batch
from qc.judging.samples import percents_of_label
from qc.rules.rule_books import rule_book


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
    actives = (Active(name="A", label_claim_mg=Decimal(50)), Active(name="B"))
    assert percents_of_label(batch, actives=actives) == {"A": {"1": Fraction(115), "2": Fraction(197, 2)}, "B": {}}


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
    assert (found.units_left, found.left_within, found.outside_at_most) == (12, 12, 8)
