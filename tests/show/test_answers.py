"""Page one answers the questions in their order, each in at least one line, even when nothing was found."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal

import pytest
from msgspec.structs import replace

from qc.cli.terminal import summary
from qc.results import Assurance, CauseFound, JudgedBatch, Limit, Trend, TrendFlag, Verdict
from qc.results.messages import message
from qc.rules.looks import count_limit
from qc.say.numbers import probability
from qc.show.pieces import Table
from qc.show.sections import answers, findings
from qc.show.sections.front import page_one

Batches = dict[str, Callable[[], JudgedBatch]]


def assured(test: str, chance: float | None, sentence: str, *, caveats: tuple[str, ...] = ()) -> Assurance:
    return Assurance(
        test=test,
        active=None,
        confidence=0.95,
        pass_chance=chance,
        said=(sentence,),
        caveats=caveats,
    )


def test_what_to_do_comes_first_and_every_block_has_a_line(any_name: str, batches: Batches) -> None:
    found = answers.findings(batches[any_name]())
    order = ["What to do now", "Worst unit", "In the pour", "Likeliest causes", "Also on record"]
    titles = [block.title for block in found]
    assert titles == [title for title in order if title in titles]
    assert titles[0] == "What to do now"
    assert all(block.items for block in found)


def test_a_batch_of_which_nothing_was_found_says_so(batches: Batches) -> None:
    bare = replace(batches["sound"](), pour=None, causes=(), next_steps=(), notices=(), unit_rows=())
    found = {block.title: block.items for block in answers.findings(bare)}
    assert found == {
        "What to do now": ("Nothing further is asked by the tests.",),
        "In the pour": ("The pour was not followed: no masses or contents in a pour order.",),
        "Likeliest causes": ("No causes were weighed: too little was measured.",),
    }


def test_a_unit_left_out_stands_on_page_one_with_its_reason(batches: Batches) -> None:
    found = {block.title: block.items for block in answers.findings(batches["sixty_units"]())}
    assert "Left out by the record: 18 (dropped on the bench) and 41 (dropped on the bench)." in found["Also on record"]


def test_in_full_the_terminal_says_of_each_test_how_sure_it_is_the_least_sure_first_and_a_caveat_once(
    batches: Batches,
) -> None:
    changed = "A change was seen along the pour: this holds only for units drawn at random."
    judged = replace(
        batches["sound"](),
        assurance=(
            assured("mass-uniformity", 0.99, "Another twenty units would pass.", caveats=(changed,)),
            assured("content-uniformity", 0.2, "Another ten units would pass.", caveats=(changed,)),
        ),
    )
    section = summary(judged).partition("How sure\n")[2].partition("\n\n")[0]
    assert " ".join(section.split()) == (
        "- Uniformity of content: Another ten units would pass. - Uniformity of mass: Another twenty units would pass. "
        f"- {changed}"
    )


def test_every_line_of_a_checklist_that_is_not_ticked_is_named(batches: Batches) -> None:
    lines = [
        "each unit wrapped or in its own sealed cavity",
        "container closed and protected from light",
        "count agrees with the record",
        *(f"label: {what}" for what in ("name of the product", "strength of one unit", "dosage form")),
        *(f"label: {what}" for what in ("number of units", "batch number", "use-by date", "storage", "route of use")),
        "label: cautions",
    ]
    step = message("packing.to_tick", lines=lines)
    judged = replace(batches["sound"](), next_steps=(step,))
    found = {block.title: block.items for block in answers.findings(judged)}
    (told,) = found["What to do now"]
    assert told == (
        "Packing and label, not ticked yet: each unit wrapped or in its own sealed cavity, container closed and "
        "protected from light, count agrees with the record, label: name of the product, strength of one unit, dosage "
        "form, number of units, batch number, use-by date, storage, route of use, cautions."
    )


def test_a_test_that_failed_comes_first_in_how_sure(batches: Batches) -> None:
    judged = batches["sound"]()
    first = replace(judged.tests[0], verdict=Verdict.DOES_NOT_COMPLY)
    judged = replace(
        judged,
        tests=(first, *judged.tests[1:]),
        assurance=(
            assured("content-uniformity", 0.2, "Another would pass."),
            assured(first.id, 0.9, "Another would pass."),
        ),
    )
    assert [one.test for one in answers.least_sure_first(judged)] == [first.id, "content-uniformity"]


def test_a_mould_on_one_side_stands_first_in_where_in_the_pour(batches: Batches) -> None:
    judged = replace(batches["sound"](), mould_findings=("All 10 units of mould C are light, −4.1 to −12.1 %.",))
    assert answers.where(judged)[0] == "All 10 units of mould C are light, −4.1 to −12.1 %."


def test_called_changes_come_first_as_sentences(batches: Batches) -> None:
    judged = batches["failing"]()
    assert judged.pour is not None
    trend = judged.pour.trend
    fallen = Trend(flag=TrendFlag.CLEAR, n=10, sentence="Content falls: −9.0 % (95 % interval −12.1 to −5.9 %)")
    judged = replace(judged, pour=replace(judged.pour, trend=replace(trend, content={"Paracetamol": fallen})))
    assert answers.where(judged)[0] == "Content falls: −9.0 % (95 % interval −12.1 to −5.9 %)."


@pytest.mark.parametrize("value", [0.02, 0.04, 0.5, 0.985, 0.992, 0.9999])
def test_one_probability_reads_the_same_on_page_one_in_the_tables_and_at_the_terminal(
    batches: Batches, value: float
) -> None:
    found = (CauseFound(cause="sound", probability=0.5), CauseFound(cause="poor-mixing", probability=value))
    judged = replace(batches["sound"](), causes=found)
    shown = f"active poorly mixed into the melt, {probability(value)}"
    assert any(shown in line for line in answers.causes(judged))
    assert shown in summary(judged)
    (causes,) = findings.causes(judged)
    (table,) = (piece for piece in causes.pieces if isinstance(piece, Table) and "together" in piece.caption)
    assert (probability(value), "active poorly mixed into the melt", "–") in table.rows


@pytest.mark.parametrize(("probability", "shown"), [(0.99, "99 %"), (0.991, "over 99 %"), (1.0, "over 99 %")])
def test_a_rounded_probability_is_never_a_certainty(batches: Batches, probability: float, shown: str) -> None:
    judged = replace(batches["sound"](), causes=(CauseFound(cause="poor-mixing", probability=probability),))
    assert answers.causes(judged) == (f"active poorly mixed into the melt, {shown}.",)


def test_a_figure_for_information_is_never_open(batches: Batches) -> None:
    judged = batches["sound"]()
    told = Limit(what="greatest_deviation", figure=1.9, values={"unit": "4", "limit": Decimal(5), "outer": Decimal(10)})
    waits = count_limit("beyond_inner", (), of=5, allowed=1, met=None, percent=Decimal(15), centre="mean")
    test = replace(judged.tests[0], verdict=Verdict.TOO_FEW_UNITS, criteria=(told, waits))
    lines = page_one(replace(judged, tests=(test,))).tests[0].lines
    assert [(line.what, line.met) for line in lines] == [
        (f"sample of {test.n}, mean", "–"),
        ("units beyond 15 % of the mean", "open"),
    ]


@pytest.mark.parametrize(("rsd", "told"), [(1.9, False), (2.1, True)])
def test_a_spread_that_is_usual_is_not_given_for_a_cause(rsd: float, told: bool, batches: Batches) -> None:
    usual = (Decimal("0.5"), Decimal(2))
    fact = message("causes.mass_scatter", rsd=rsd, n=24, usual=usual)
    causes = (CauseFound(cause="uneven-fill", probability=0.78, evidence=(fact,)),)
    (said,) = answers.causes(replace(batches["sound"](), causes=causes))
    fact_told = ": masses vary by 2.1 % (RSD of 24 units; 0.5 to 2 % is usual)" if told else ""
    assert said == f"cavities filled unevenly, 78 %{fact_told}; all others together, 22 %."
