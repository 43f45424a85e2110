"""What the data of a batch cannot show, however its tests turned out."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from qc.batch import Batch, Part
from qc.fields.words import meant_by
from qc.pour.lots import lot_of
from qc.results import BATCH_ASSAY, CONTENT_TESTS, OF_MASS, Message, TestResult, Verdict, message
from qc.rules.built_in import load_rule
from qc.rules.kinds.check import CheckRule
from qc.rules.measured import BESIDE_THE_TEST

DISINTEGRATION, PACKING = "ph-eur-2.9.2", "packing-checklist"


def cannot_say(batch: Batch, tests: Sequence[TestResult], *, form: str, seed: int) -> tuple[Message, ...]:
    """What these data cannot show.

    Parameters
    ----------
    batch : Batch
    tests : sequence of TestResult
    form : str
        Name of the dosage form; empty when it is not known.
    seed : int
        Of everything drawn at random, by which it is known whether a sample is the one that was drawn here.

    Returns
    -------
    tuple of Message
    """
    assayed = any(assay.part is Part.WHOLE for assay in batch.assays)
    pooled = any(test.id == BATCH_ASSAY and test.verdict is not Verdict.NOT_ASSESSED for test in tests)
    found = [] if assayed else [message("advice.pooled_alone") if pooled else message("advice.masses_alone")]
    found += _of_few_units(batch, tests)
    found += _how_drawn(batch, tests, seed=seed)
    if any(test.id == "content-uniformity" and test.verdict is not Verdict.NOT_ASSESSED for test in tests) and not any(
        test.id == "dosage-unit-uniformity" and test.figures for test in tests
    ):
        found.append(message("advice.no_label_claim"))
    # What was measured although the rule set asks for no test of it: nobody is to take it for judged.
    by_mass = {"mass-uniformity"} if assayed else {"mass-uniformity", "dosage-unit-uniformity"}
    if batch.weighed and not any(test.id in by_mass for test in tests):
        found.append(message("advice.masses_not_judged"))
    if assayed and not any(test.id in CONTENT_TESTS for test in tests):
        found.append(message("advice.assays_not_judged"))
    if not any(unit.pour_order is not None for unit in batch.units):
        weighed_in_order = any(unit.weighing_order is not None for unit in batch.units)
        found.append(message("advice.no_pour_order") if weighed_in_order else message("advice.no_order"))
    if form and (usual := _not_entered(batch, tests, form=form)):
        found.append(message("advice.not_entered", form=form, checks=usual))
    return tuple(found)


def _not_entered(batch: Batch, tests: Sequence[TestResult], *, form: str) -> list[str]:
    """What a form usually has looked at before release (common practice), and of which nothing stands in the record."""
    found, done = [], {test.id for test in tests}
    rule = load_rule(DISINTEGRATION)
    if isinstance(rule, CheckRule) and rule.test not in done and any(form in row.forms for row in rule.limits):
        found.append(rule.names[0])
    looked_at = any(unit.seen for unit in batch.units) or any(meant_by(check.name) == "seen" for check in batch.checks)
    return [*found, *([] if looked_at else ["appearance"]), *([] if PACKING in done else ["packing and label"])]


def _how_drawn(batch: Batch, tests: Sequence[TestResult], *, seed: int) -> Iterator[Message]:
    """Of samples of fewer units than there are, whether they are the units on which the lot fell here."""
    lot = lot_of(batch, seed=seed)
    whole = [one for one in batch.assays if one.part is Part.WHOLE and one.stage != BESIDE_THE_TEST]
    samples = {
        "mass": {name for test in tests if test.id == OF_MASS for name in test.sample},
        "content": {name for test in tests if test.id in CONTENT_TESTS for name in test.sample}
        or {one.unit for one in whole},
    }
    drawn = {of: {*lot[: len(units)]} == units for of, units in samples.items() if 0 < len(units) < len(batch.units)}
    if drawn:
        by_lot, unsaid = ([of for of, was in drawn.items() if was is wanted] for wanted in (True, False))
        yield message("advice.how_drawn", drawn=by_lot, unsaid=unsaid)


def _of_few_units(batch: Batch, tests: Sequence[TestResult]) -> list[Message]:
    """How many units the assays speak of, and how many of those are the sample of a test."""
    of_contents = [test for test in tests if test.id in CONTENT_TESTS and test.n > 0]
    assayed = {
        active: len({one.unit for one in batch.assays if one.active == active and one.part is Part.WHOLE})
        for active in dict.fromkeys(test.active for test in of_contents if test.active is not None)
    }
    found = [
        message(
            "advice.of_assayed_units",
            actives=[active for active, units in assayed.items() if units == count],
            assayed=count,
            units=len(batch.units),
        )
        for count in dict.fromkeys(assayed.values())
        if 0 < count < len(batch.units)
    ]
    for active, count in assayed.items():
        resting = [test for test in of_contents if test.active == active and test.n < count]
        for size in dict.fromkeys(test.n for test in resting):
            rules = [test.rule for test in resting if test.n == size]
            found.append(message("advice.of_the_sample", active=active, sample=size, assayed=count, rules=rules))
    return found
