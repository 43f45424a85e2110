"""Which entries are one product, which stand, and what a series is made of."""

from __future__ import annotations

import json
from typing import Any

import msgspec
import pytest
from msgspec.structs import replace
from stored_batches import checked

from qc.document import as_text
from qc.history.entries import Confirmed, Event
from qc.history.figures import BatchFigures, WithinBatch, figures_of
from qc.history.products import products, rules_for, series_of, within

USUAL = WithinBatch(n=24, mean=2.1, sd=0.02)


def batch(named: str, **changed: Any) -> BatchFigures:
    usual: dict[str, Any] = {
        "result_sha256": f"{named}{changed.get('judged_at', '')}",
        "verdict": "complies",
        "number": named,
        "product": "Paracetamol suppositories",
        "strength": "250 mg",
        "made_on": f"2026-01-{int(named):02d}",
        "planned_g": 2.1,
        "mass": USUAL,
    }
    return BatchFigures(**{**usual, **changed})


def found(*figures: Any) -> list[Any]:
    return products((place, one) for place, one in enumerate(figures, start=1))


def test_the_figures_of_a_batch_are_those_of_its_document() -> None:
    document = checked("two-actives").sealed()
    figures = figures_of(document, report="here")
    tests: Any = document["tests"]
    one = next(test for test in tests if test["id"] == "dosage-unit-uniformity")
    content = figures.contents["metronidazole"]
    assert (content.n, content.mean, content.sd) == (10, one["figures"]["mean_percent"], one["figures"]["sd_percent"])
    assert content.acceptance_value == one["figures"]["acceptance_value"]
    assert content.limit == 15.0
    assert figures.strength == "500 mg / 100 mg"
    assert figures.mass is not None
    assert figures.mass.mean == pytest.approx(3.24, abs=0.01)
    assert (figures.made_by, figures.report, figures.verdict) == ("technician A", "here", "complies")


def test_whatever_a_document_says_of_a_batch_is_kept() -> None:
    """Each figure from where the document has it; what it does not say is empty."""
    document: Any = json.loads(as_text(checked("two-actives").sealed()))
    batch, seal = document["batch"], document["seal"]
    batch["label_claims_mg"] = {"a": 500, "b": None, "c": 0.25}
    batch |= {"active_lots": {"a": "L1", "b": None}, "base_lot": "B7", "quantity_released": "20 pessaries"}
    document |= {"supersedes": {"result_sha256": "earlier", "because": "weighed again"}, "verdict": "undecided"}
    document["causes"] = [{"cause": name, "probability": p} for name, p in (("x", 0.05), ("y", 0.049), ("z", 0.9))]
    document["planned_mass"] = {"planned_g": 3.2}
    found = figures_of(document, report="here")
    assert msgspec.structs.replace(found, mass=None, contents={}) == BatchFigures(
        result_sha256=seal["result_sha256"],
        verdict="undecided",
        input_sha256=document["input"]["sha256"],
        number=batch["number"],
        product=batch["product"],
        strength="500 mg / 0.25 mg",
        form="pessaries",
        made_on=batch["made_on"],
        judged_at=seal["judged_at"],
        basis=document["basis"],
        planned_g=3.2,
        failed=tuple(one["id"] for one in document["tests"] if one["verdict"] == "does-not-comply"),
        causes={"x": 0.05, "z": 0.9},
        made_by="technician A",
        base_lot="B7",
        active_lots={"a": "L1"},
        rules={id: rule["edition"] for id, rule in seal["rules"].items()},
        qc_version=document["qc_version"],
        supersedes="earlier",
        because="weighed again",
        released="20 pessaries",
        report="here",
    )
    said = ("number", "product", "made_on", "made_by", "dosage_form", "label_claims_mg", "active_lots", "base_lot")
    batch |= dict.fromkeys((*said, "quantity_released"))
    document |= {"supersedes": None, "input": None, "planned_mass": None, "causes": []}
    bare = msgspec.structs.replace(figures_of(document), mass=None, contents={})
    kept = {"result_sha256", "verdict", "judged_at", "basis", "rules", "qc_version", "failed"}
    assert {name for name in bare.__struct_fields__ if getattr(bare, name)} <= kept


def test_a_product_spelt_in_two_ways_is_one_and_two_strengths_are_two() -> None:
    made = found(
        batch("1"),
        batch("2", product="PARACETAMOL  suppositories "),
        batch("3", strength="125 mg"),
    )
    assert [(one.name, one.strength, len(one.batches)) for one in made] == [
        ("Paracetamol suppositories", "250 mg", 2),
        ("Paracetamol suppositories", "125 mg", 1),
    ]


def test_a_later_result_of_the_same_batch_takes_the_place_of_the_earlier() -> None:
    first = batch("1", verdict="undecided", judged_at="2026-01-02")
    (made,) = found(first, batch("2"), batch("1", judged_at="2026-01-09"))
    assert [(one.number, one.verdict) for one in made.batches] == [("1", "complies"), ("2", "complies")]
    assert [one.entry for one in made.batches] == [3, 2]
    ((earlier, later),) = [(one.earlier, one.later) for one in made.superseded]
    assert (earlier.verdict, later.judged_at) == ("undecided", "2026-01-09")


def test_a_correction_of_the_number_supersedes_by_the_digest_it_names() -> None:
    wrong = batch("7")
    (made,) = found(wrong, batch("8", supersedes=wrong.result_sha256, because="number typed wrongly"))
    assert [one.number for one in made.batches] == ["8"]
    assert made.superseded[0].later.because == "number typed wrongly"


def test_what_a_later_result_replaces_stands_in_the_order_of_the_numbers_in_every_process() -> None:
    """A report judged again under a number that another batch had: ten times, so that no order of a set passes."""
    pairs = [(batch(f"{one}", made_on=""), batch(f"{one + 10}", made_on="")) for one in range(10, 20)]
    later = [replace(two, judged_at="later", supersedes=one.result_sha256, result_sha256=f"x{two.number}")
             for one, two in pairs]  # fmt: skip
    (made,) = found(*(one for pair in pairs for one in pair), *later)
    assert [one.earlier.number for one in made.superseded] == [one.number for pair in pairs for one in pair]


def test_batches_without_a_number_are_never_taken_for_one_another() -> None:
    first, second = batch("1", number="", input_sha256="a"), batch("2", number="", input_sha256="b")
    (made,) = found(first, second, batch("3", number=""), batch("4", number=""))
    assert len(made.batches) == 4
    # The same input again is the same batch.
    (made,) = found(first, second, replace(first, result_sha256="x"))
    assert len(made.batches) == 2


def test_batches_stand_in_the_order_in_which_they_were_made_and_a_review_takes_its_days() -> None:
    (made,) = found(batch("9"), batch("3"), batch("5"), Event(day="2026-01-04", text="new mould"))
    assert [one.number for one in made.batches] == ["3", "5", "9"]
    part = within(made, first="2026-01-04", last="2026-01-08")
    assert ([one.number for one in part.batches], [one.entry for one in part.batches], len(part.events)) == (
        ["5"],
        [3],
        1,
    )
    assert within(made, first="", last="").batches == made.batches
    both = within(made, first="2026-01-03", last="2026-01-05")
    assert ([one.number for one in both.batches], [one.entry for one in both.batches], len(both.events)) == (
        ["3", "5"],
        [2, 3],
        1,
    )
    assert within(made, first="2026-01-04", last="2026-01-04").events == made.events
    month = within(made, first="2026-01", last="2026-01")
    assert (len(month.batches), month.events) == (3, made.events)
    # From a day on, without a last one.
    later = within(made, first="2026-01-04", last="")
    assert ([one.number for one in later.batches], [one.entry for one in later.batches]) == (["5", "9"], [3, 1])
    assert [one.number for one in within(made, first="", last="2026-01-04").batches] == ["3"]


def test_a_review_of_some_days_tells_what_was_superseded_of_their_batches_alone() -> None:
    again = [batch(day, judged_at="2026-02-01") for day in ("3", "5", "9")]
    (made,) = found(*map(batch, ("3", "5", "9")), *again)
    part = within(made, first="2026-01-05", last="2026-01-05")
    assert [one.later for one in part.superseded] == [again[1]]
    assert [one.later.number for one in within(made, first="2026-01-05", last="").superseded] == ["5", "9"]
    assert len(within(made, first="", last="2026-01-05").superseded) == 2


def test_a_confirmed_cause_stands_beside_its_batch() -> None:
    one = batch("1")
    (made,) = found(one, Confirmed(result_sha256=one.result_sha256, number="1", cause="uneven-fill"))
    assert made.confirmed == {one.result_sha256: "uneven-fill"}


def test_masses_stand_against_the_plan_where_every_batch_has_one_and_in_grams_else() -> None:
    (planned,) = found(batch("1"), batch("2", planned_g=2.0))
    mean, sd = series_of(planned)
    assert (mean.unit, [point.value for point in mean.points]) == ("% of plan", [100.0, 105.0])
    # The mean of 24 units scatters by a root of 24 less than they do.
    assert [point.size for point in mean.points] == [1 / 24] * 2
    assert [point.within for point in mean.points] == pytest.approx([(100 * 0.02 / 2.1) ** 2, 1.0])
    assert sd.shown(sd.points[1].value * (1 - 2 / (9 * 23))) == pytest.approx(1.0)
    (mixed,) = found(batch("1"), batch("2", planned_g=None))
    assert (series_of(mixed)[0].unit, series_of(mixed)[0].points[0].value) == ("g", 2.1)


def test_a_batch_that_lacks_a_figure_is_left_out_of_that_chart_alone() -> None:
    content = {"paracetamol": WithinBatch(n=10, mean=99.0, sd=2.0)}
    (made,) = found(batch("1", contents=content), batch("2", mass=replace(USUAL, sd=0.0)), batch("3"))
    places = {(one.id, one.of): one.places for one in series_of(made)}
    assert places == {
        ("mass-mean", ""): (0, 2),
        ("mass-sd", ""): (0, 2),
        ("content-mean", "paracetamol"): (0,),
        ("content-sd", "paracetamol"): (0,),
    }


def test_more_series_have_wider_limits() -> None:
    few, many = rules_for(2), rules_for(40)
    assert all(getattr(few, name) < getattr(many, name) for name in ("point", "ewma", "cusum", "split"))
