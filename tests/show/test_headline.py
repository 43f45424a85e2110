"""How far a verdict reaches: a batch judged on masses alone is not simply said to comply."""

from __future__ import annotations

import pytest
from msgspec.structs import replace

from qc.batch import Assay, Batch, Part, Unit
from qc.results import BatchVerdict, JudgedBatch, Message, TestResult, Verdict, message
from qc.show.headline import assayed, headline, sign

MASS = TestResult(id="mass-uniformity", rule="m", verdict=Verdict.COMPLIES)
BATCH = replace(MASS, id="batch-assay", active="a")
UNWEIGHED = replace(MASS, verdict=Verdict.NOT_ASSESSED)


def content(verdict: Verdict, *, active: str | None = None, id: str = "content-uniformity") -> TestResult:
    return TestResult(id=id, rule="c", verdict=verdict, active=active)


def judged(*tests: TestResult, verdict: BatchVerdict = BatchVerdict.COMPLIES) -> JudgedBatch:
    return JudgedBatch(batch=Batch(units=()), rule_set="default", verdict=verdict, tests=tests)


@pytest.mark.parametrize(
    ("tests", "words"),
    [
        ((MASS,), "Complies on mass alone of the units judged"),
        ((MASS, content(Verdict.COMPLIES)), "Complies on mass and content of the units judged"),
        ((content(Verdict.COMPLIES),), "Complies on content of the units judged"),
        ((UNWEIGHED, content(Verdict.COMPLIES)), "Complies on content of the units judged; mass not assessed"),
        (
            (UNWEIGHED, content(Verdict.COMPLIES, active="a"), content(Verdict.NOT_ASSESSED, active="b")),
            "Complies on content of the units judged; mass not assessed; content of b not assessed",
        ),
        ((), "Complies; content not assessed"),
        ((MASS, content(Verdict.NOT_ASSESSED)), "Complies on mass of the units judged; content not assessed"),
        ((content(Verdict.NOT_ASSESSED),), "Complies; content not assessed"),
        ((MASS, BATCH), "Complies on mass of the units judged and on the mean content"),
        ((BATCH,), "Complies on the mean content; uniformity of content not assessed"),
        (
            (MASS, content(Verdict.NOT_ASSESSED), BATCH),
            "Complies on mass of the units judged and on the mean content; uniformity of content not assessed",
        ),
        ((MASS, content(Verdict.COMPLIES), BATCH), "Complies on mass and content of the units judged"),
        (
            (MASS, content(Verdict.COMPLIES, active="a"), content(Verdict.NOT_ASSESSED, active="b")),
            "Complies on mass and content of the units judged; content of b not assessed",
        ),
        (
            (MASS, content(Verdict.COMPLIES), content(Verdict.NOT_ASSESSED, id="dosage-unit-uniformity")),
            "Complies on mass and content of the units judged; content against the label not assessed",
        ),
    ],
)
def test_the_headline_says_how_far_compliance_reaches(tests: tuple[TestResult, ...], words: str) -> None:
    assert headline(judged(*tests)) == words


@pytest.mark.parametrize(
    ("steps", "words", "mark"),
    [
        ((message("advice.nothing_more"),), "", "✓"),
        ((message("advice.look_into", matters=["a", "b"]),), "; 1 thing to do before release", "!"),
        ((message("checks.left_to_signer"),), "; 1 thing to do before release", "!"),
        (
            (message("advice.print_out"), message("advice.open_finding", finding="x")),
            "; 2 things to do before release",
            "!",
        ),
        (
            (message("advice.none_left"), message("advice.look_into", matters=["a"])),
            "; no unit is left to release",
            "!",
        ),
    ],
)
def test_what_is_open_before_release_stands_in_the_headline_and_takes_the_check_mark(
    steps: tuple[Message, ...], words: str, mark: str
) -> None:
    complies = replace(judged(MASS, content(Verdict.COMPLIES)), next_steps=steps)
    assert headline(complies) == f"Complies on mass and content of the units judged{words}"
    assert sign(complies) == mark
    assert sign(replace(complies, verdict=BatchVerdict.UNDECIDED)) == "?"


def test_a_failure_is_a_failure_whatever_was_not_assessed() -> None:
    failed = judged(MASS, content(Verdict.NOT_ASSESSED), verdict=BatchVerdict.DOES_NOT_COMPLY)
    assert headline(failed) == "Does not comply"


def test_units_assayed_in_parts_are_counted_apart() -> None:
    whole = tuple(Assay(unit=str(n), active="a") for n in range(1, 11))
    parts = tuple(Assay(unit=unit, active="a", part=part) for unit in ("21", "22") for part in (Part.TIP, Part.END))
    units = tuple(Unit(name=str(n)) for n in range(1, 25))
    assert assayed(Batch(units=units, assays=whole)) == "10 assayed"
    assert assayed(Batch(units=units, assays=(*whole, *parts))) == "10 assayed whole, 2 in parts"
