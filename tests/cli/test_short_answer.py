"""The answer without --full: fourteen lines of eighty columns whatever the batch, and nothing beside the document."""

from __future__ import annotations

import random
import re
from collections.abc import Callable, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
from msgspec.structs import replace
from typer.testing import Result

from qc.batch import Batch, Unit
from qc.causes.drawing import draw_batch
from qc.causes.model import TAUGHT
from qc.cli.terminal import MOST_LINES, short_summary
from qc.document import result_document
from qc.jobs.check import check_batch
from qc.judging.advice import acts_of
from qc.judging.judge import judge_batch
from qc.judging.to_assay import marked_for_assay
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.results import BatchVerdict, CauseFound, JudgedBatch, Limit, Outside, TestResult, Verdict
from qc.rules.rule_books import rule_book
from qc.say.messages import all_words, words
from qc.say.numbers import fixed, probability
from qc.show.headline import open_before_release
from qc.teach.lesson import Tray, lesson_recipe

Call = Callable[..., Result]
SAMPLES = Path(__file__).parents[2] / "sample_data"
BARE = ReadOptions(form="suppositories", label_mg=Decimal(250))
SAID = {"complies": "COMPLIES", "does-not-comply": "DOES NOT COMPLY", "undecided": "UNDECIDED"}
LONG = "Zinc oxide, bismuth subgallate and resorcinol compound suppositories for the second ward on the left "
CONTENT = ("content-uniformity", "dosage-unit-uniformity")


@pytest.fixture(scope="module")
def samples() -> list[JudgedBatch]:
    """Every sample that can be read, judged."""
    found = []
    for path in sorted(SAMPLES.iterdir()):
        if path.suffix in (".xlsx", ".csv") or (path / "units.csv").exists():
            try:
                found.append(check_batch(path, options=BARE if path.suffix == ".csv" else ReadOptions()).judged)
            except InputProblems:
                continue
    return found


def lessons() -> list[JudgedBatch]:
    """A teaching batch of every cause, of many sizes, with and without assays."""
    found, book = [], rule_book(None)
    for place, cause in enumerate(TAUGHT):
        tray = Tray(moulds=1 + place % 3, assays=(10, 0, 30, 5)[place % 4], base_pours=2 * (place % 2))
        recipe = lesson_recipe(units=(24, 12, 60, 20)[place % 4], seed=place, tray=tray)
        drawn = draw_batch([cause], recipe=recipe, seed=place, strength=1.0)
        found.append(judge_batch(replace(drawn.batch, number=f"T-{place}"), book=book, seed=place))
    return found


def generated(real: Sequence[JudgedBatch], *, number: int) -> list[JudgedBatch]:
    """Batches put together from what was found of real ones: the tests of one, the pour and the causes of another."""
    draw, found = random.Random(13), []
    for _ in range(number):
        tests = [test for one in draw.sample(real, draw.randint(1, 3)) for test in one.tests]
        draw.shuffle(tests)
        named = (
            replace(test, active=LONG * draw.randint(1, 2)) if test.active and draw.random() < 0.2 else test
            for test in tests
        )
        pour, causes, steps = (draw.choice(real) for _ in range(3))
        failed = any(test.verdict is Verdict.DOES_NOT_COMPLY for test in tests)
        base = draw.choice(real)
        found.append(
            replace(
                base,
                batch=replace(base.batch, product=LONG * draw.randint(0, 3)),
                tests=tuple(named),
                verdict=BatchVerdict.DOES_NOT_COMPLY if failed else draw.choice(list(BatchVerdict)),
                pour=pour.pour,
                mould_findings=pour.mould_findings,
                causes=causes.causes,
                cause_pairs=causes.cause_pairs,
                next_steps=steps.next_steps * draw.randint(0, 2),
            )
        )
    return found


def refuted(judged: JudgedBatch, *, beside: int) -> list[str]:
    """What the short answer of a batch says otherwise than its document, or does not say at all."""
    text, document = short_summary(judged, beside=beside), result_document(judged)
    lines, wrong = text.splitlines(), []
    if len(lines) + beside > MOST_LINES:
        wrong.append(f"{len(lines)} lines")
    wrong += [line for line in lines if len(line) > 80]
    heads = [line for line in lines if line.startswith(tuple(SAID.values()))]
    content = any(test["id"] in CONTENT for test in document["tests"] if test["verdict"] == "complies")
    said = SAID[document["verdict"]]
    if not heads or not heads[0].startswith(said):
        return [*wrong, f"the verdict is not {said}"]
    on, _, beyond = heads[0].partition("   batch")[0].partition(";")
    if document["verdict"] == "complies" and (content is not ("content" in on) or not (" on " in on or beyond)):
        wrong.append(f"basis: {heads[0]}")
    failing = [test for test in document["tests"] if test["verdict"] == "does-not-comply"]
    shown = [line for line in lines if line.startswith("FAILS ")]
    hidden = sum(int(n) for n in re.findall(r"^and (\d+) more: --full$", text, flags=re.MULTILINE))
    if not len(failing) - hidden <= len(shown) <= len(failing):
        wrong.append(f"{len(shown)} of {len(failing)} failing tests shown, {hidden} said to be hidden")
    flat = " ".join(text.split())
    means = [test["figures"]["mean_g"] for test in document["tests"] if test["id"] == "mass-uniformity" and test["n"]]
    if "Mean: " in flat and means and f"mass {fixed(means[0], decimals=4)} g, RSD " not in flat:
        wrong.append(f"mean {means[0]}")
    told = re.search("Likeliest: [^%]*, (.*? %)", flat)
    if "Likeliest: " in flat and (told is None or told[1] != probability(first_of_likeliest(document["causes"]))):
        wrong.append("cause")
    return wrong


def first_of_likeliest(causes: Sequence[dict[str, Any]]) -> float:
    """Of the causes that the document says cannot be told apart the likeliest group, and of that the first cause."""
    alone = {one["cause"] for one in causes if "sound" in (one["cause"], *one["alike"]) or one["probability"] < 0.01}
    left, groups = [*causes], []
    while left:
        first, *rest = left
        alike = {first["cause"]} if first["cause"] in alone else {first["cause"], *first["alike"]} - alone
        together = [first, *(one for one in rest if one["cause"] in alike)]
        groups.append([one["probability"] for one in together])
        left = [one for one in rest if one not in together]
    return max(groups, key=sum)[0]


def test_fourteen_lines_hold_every_sample_lesson_and_generated_batch_and_say_what_the_document_says(
    samples: list[JudgedBatch],
) -> None:
    real = [*samples, *lessons()]
    for place, judged in enumerate([*real, *generated(real, number=100)]):
        assert refuted(judged, beside=place % 6) == [], short_summary(judged, beside=place % 6)


def test_the_samples_have_room_for_mean_spread_cause_and_what_to_do(samples: list[JudgedBatch]) -> None:
    for judged in samples:
        text = short_summary(judged, beside=2)
        assert all(part in text for part in ("Mean: mass ", ", RSD ", "In the pour: ", "Likeliest: ", "To do: ")), text


def test_each_sample_with_open_matters_says_what_closes_them_and_counts_the_units_that_this_takes(
    samples: list[JudgedBatch],
) -> None:
    acts = {
        judged.batch.number: list(all_words(acts_of(judged.next_steps)))
        for judged in samples
        if open_before_release(judged) and acts_of(judged.next_steps)
    }
    within = (
        "if each content lies within ±15 % of the mean content, the cause has not reached the dose and this is closed"
    )
    assert acts == {
        "S-2611-07": [
            "see that the label forbids dividing a unit, as its parts differ: if it does, this is closed; if not, "
            "correct the label or do not release"
        ],
        "S-2611-11": [
            "weigh units 1, 5, 8, 11, 16 and 22 again on another balance: if each mass agrees with its first "
            "within 0.004 g, the balance is not at fault; if not, enter the second masses with the reason and "
            "make a new report",
            f"assay units 1 and 22: {within}; if not, reject the batch",
        ],
        "S-2611-14": [f"assay units 2 and 23: {within}; if not, reject the batch"],
    }
    told = [words(step) for judged in samples for step in judged.next_steps if acts_of([step])]
    assert not any("to distinguish them" in step for step in told)
    (step,) = (judged for judged in samples if judged.batch.number == "S-2611-14")
    assert step.ledger is not None
    assert (step.ledger.released_at_most, step.ledger.still_asked_for) == (11, 2)
    listed = marked_for_assay(step)
    assert listed is not None
    to_come = [one.unit for one in listed.assays if one.content_mg is None and one.content_percent is None]
    assert to_come[:2] == ["2", "23"]


def failing(count: int, **changes: object) -> JudgedBatch:
    tests = tuple(
        TestResult(
            id="content-uniformity",
            rule="ph-eur-2.9.6-b",
            active=f"active {place}",
            verdict=Verdict.DOES_NOT_COMPLY,
            criteria=(
                Limit(what="beyond_inner", figure=4, bound=1, met=False, values=_counts("15")),
                Limit(what="beyond_outer", figure=1, bound=0, met=False, values=_counts("25")),
            ),
            outside=(Outside(unit="7", deviation_percent=-19.02), Outside(unit="23", deviation_percent=34.23)),
        )
        for place in range(1, count + 1)
    )
    batch = Batch(units=(Unit(name="1"),), number="B1")
    found = JudgedBatch(batch=batch, rule_set="default", verdict=BatchVerdict.DOES_NOT_COMPLY, tests=tests)
    return replace(found, **changes)  # type: ignore[arg-type]


def _counts(percent: str) -> dict[str, object]:
    return {"of": 10, "percent": Decimal(percent), "centre": "mean", "as_range": True}


def test_a_failing_test_is_a_line_with_figure_and_limit() -> None:
    assert short_summary(failing(1)) == (
        "DOES NOT COMPLY   batch B1\nFAILS Content, active 1: 4 of 10 outside 85 to 115 % of the mean; at most 1\n"
    )


@pytest.mark.parametrize(("count", "told"), [(13, ""), (14, "and 2 more: --full"), (40, "and 28 more: --full")])
def test_what_there_is_no_room_for_is_counted(count: int, told: str) -> None:
    lines = short_summary(failing(count)).splitlines()
    assert len(lines) == MOST_LINES
    assert lines[-1].startswith("FAILS ") if not told else lines[-1] == told


def test_failing_and_undecided_tests_come_before_causes_and_steps_where_room_is_short() -> None:
    causes = (CauseFound(cause="poor-mixing", probability=0.9),)
    judged = failing(3, causes=causes, next_steps=("Hold the batch. " * 20,))
    lines = short_summary(judged, beside=9).splitlines()
    assert [line.split()[0] for line in lines] == ["DOES", "FAILS", "and", "To", "batch."]
    assert (lines[2], lines[-1][-14:]) == ("and 2 more: --full", "… more: --full")


def test_a_rule_set_other_than_the_default_is_named() -> None:
    assert short_summary(failing(0, rule_set="chp")) == "DOES NOT COMPLY (chp)   batch B1\n"


def test_paths_and_what_to_add_are_counted_among_the_lines(
    tmp_path: Path, qc: Call, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    call = ("check", str(SAMPLES / "second-stage.xlsx"), "--report", "report", "--workbook", "book.xlsx")
    lines = qc(*call).stdout.splitlines()
    assert len(lines) <= MOST_LINES
    assert lines[-3:] == [
        "Report: report/report.pdf and report/report.html",
        "To assay: report/to-assay.xlsx",
        "Workbook: book.xlsx",
    ]
    assert len(qc("check", str(SAMPLES / "weights-only.csv"), "--no-report").stdout.splitlines()) <= MOST_LINES


def test_units_left_out_are_named_with_their_reasons(samples: list[JudgedBatch]) -> None:
    batch = next(one.batch for one in samples if one.verdict is BatchVerdict.COMPLIES)
    first, *rest = batch.units
    judged = judge_batch(
        replace(batch, units=(replace(first, left_out_because="dropped"), *rest)), book=rule_book(None)
    )
    assert f"Left out by the record: {first.name} (dropped)." in short_summary(judged)
