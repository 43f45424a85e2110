"""Whether what one report says can be true at once: rules over messages and figures, none over sentences.

Each rule works out anew what must follow from the facts of a judged batch and compares that with what is said. It names
every pair that cannot stand side by side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping
from fractions import Fraction

from msgspec import Struct

from qc.results import (
    BATCH_ASSAY,
    CONTENT_TESTS,
    OF_MASS,
    Basis,
    BatchVerdict,
    JudgedBatch,
    Message,
    TestResult,
    TrendFlag,
    UnitRow,
    Verdict,
)
from qc.results.worst import worst_units
from qc.say.names import MET, VERDICT
from qc.say.text import counted
from qc.show.headline import NO_MATTERS
from qc.show.sections.front import RELEASED, RELEASED_CLOSED, page_one

SURE, SOUND, SLIP = 0.8, "sound", "slip-of-pen"
OF_CONTENT = ("content-uniformity", "dosage-unit-uniformity")
MEASURED = ("mass-uniformity", "mean-mass", "batch-assay", *OF_CONTENT)
ASKS_FOR_MORE = ("advice.more_units", "advice.assay", "advice.enter", "advice.enter_for_content", "packing.to_tick")
FINDINGS = (
    "assay.differ",
    "pour.one_side",
    "visual.unknown_word",
    "reconciliation.more_used",
    "record.expiry",
    "record.one_person",
    "record.out_of_order",
    "remarks.marks_passed_over",
    "tests.pooled_would_fail",
)

Rule = Callable[[JudgedBatch], Iterator[str]]


def contradictions(judged: JudgedBatch) -> list[str]:
    """Every pair of a report that cannot stand side by side."""
    return [f"{rule.__name__}: {found}" for rule in RULES for found in rule(judged)]


def messages(value: object) -> Iterator[Message]:
    """Every message that a judged batch holds, those within others too."""
    match value:
        case Message():
            yield value
            yield from messages(value.values)
        case Struct():
            for name in value.__struct_fields__:
                yield from messages(getattr(value, name))
        case Mapping():
            for one in value.values():
                yield from messages(one)
        case tuple() | list():
            for one in value:
                yield from messages(one)


def steps(judged: JudgedBatch) -> dict[str, list[Message]]:
    """What to do now, by the ids of the messages."""
    found: dict[str, list[Message]] = {}
    for step in judged.next_steps:
        assert isinstance(step, Message)
        found.setdefault(step.id, []).append(step)
    return found


def likely(judged: JudgedBatch) -> list[str]:
    """The causes above 80 %, sound apart."""
    return [one.cause for one in judged.causes if one.probability > SURE and one.cause != SOUND]


def verdict_and_tests(judged: JudgedBatch) -> Iterator[str]:
    """The verdict of the batch is that of its tests together."""
    verdicts = {test.verdict for test in judged.tests}
    fails = Verdict.DOES_NOT_COMPLY in verdicts
    if fails is not (judged.verdict is BatchVerdict.DOES_NOT_COMPLY):
        yield f"the batch {judged.verdict.value}, tests {sorted(verdicts)}"
    open_tests = [
        test.id
        for test in judged.tests
        if test.verdict in (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)
        or (test.verdict is Verdict.NOT_ASSESSED and test.required)
    ]
    if judged.verdict is BatchVerdict.COMPLIES and open_tests:
        yield f"the batch complies beside {open_tests}"


def test_and_limits(judged: JudgedBatch) -> Iterator[str]:
    """A test complies where no limit of it is missed, and fails where one is."""
    for test in judged.tests:
        missed = [limit.what for limit in test.criteria if limit.met is False]
        if missed and test.verdict in (Verdict.COMPLIES, Verdict.SECOND_STAGE):
            yield f"{test.id} {test.verdict.value} beside {missed}"
        if test.verdict is Verdict.DOES_NOT_COMPLY and not missed:
            yield f"{test.id} fails and no limit is missed"
        if test.without_left_out is not None and test.verdict is Verdict.COMPLIES and not test.reasons:
            yield f"{test.id} has no reason"


test_and_limits.__test__ = False  # type: ignore[attr-defined]  # a rule, no test of pytest's


def advice_and_verdict(judged: JudgedBatch) -> Iterator[str]:
    """A batch that fails is held and asked nothing of; one that complies is not held; one that is open is asked."""
    said = steps(judged)
    held = {"advice.hold", "advice.hold_for"} & said.keys()
    if bool(held) is not (judged.verdict is BatchVerdict.DOES_NOT_COMPLY):
        yield f"{judged.verdict.value} beside {sorted(held)}"
    if held and (asked := {*ASKS_FOR_MORE, "advice.nothing_more", "advice.look_into"} & said.keys()):
        yield f"hold the batch beside {sorted(asked)}"
    if "advice.hold_for" in said:
        named = set(said["advice.hold_for"][0].values["tests"])
        failed = {test.id for test in judged.tests if test.verdict is Verdict.DOES_NOT_COMPLY}
        if named != failed or named & set(MEASURED):
            yield f"put right {sorted(named)} where {sorted(failed)} fail"
    if judged.verdict is BatchVerdict.UNDECIDED and not said:
        yield "undecided, and nothing to do"
    if (
        judged.verdict is BatchVerdict.COMPLIES
        and {"packing.to_tick", "advice.enter", "advice.cannot_be_shown"} & said.keys()
    ):
        yield f"complies beside {sorted(said)}"


def nothing_more(judged: JudgedBatch) -> Iterator[str]:
    """Nothing more is asked: beside no other step, no likely cause, no clear change, no finding, no stage due."""
    said = steps(judged)
    if "advice.nothing_more" not in said:
        return
    if others := said.keys() - {"advice.nothing_more", "checks.left_to_signer"}:
        yield f"beside {sorted(others)}"
    if likely(judged):
        yield f"beside the likely {likely(judged)}"
    if judged.pour_trend is not None and judged.pour_trend.clearly_changed:
        yield "beside a clear change"
    if found := {one.id for one in messages((judged.tests, judged.notices, judged.mould_findings))} & set(FINDINGS):
        yield f"beside {sorted(found)}"
    if any(test.more_units for test in judged.tests):
        yield "beside a stage that is due"


def samples_and_what_is_left(judged: JudgedBatch) -> Iterator[str]:
    """A sample is not both drawn here and drawn nobody knows how; what is left was neither assayed nor lost."""
    for one in messages(judged.cannot_say):
        if one.id == "advice.how_drawn" and {*one.values["drawn"]} & {*one.values["unsaid"]}:
            yield f"{one.values}"
    left = set() if judged.ledger is None else {*judged.ledger.not_assayed}
    if gone := left & ({assay.unit for assay in judged.batch.assays} | judged.batch.lost):
        yield f"{sorted(gone)} are left, and gone"
    both = {test.id for test in judged.tests for one in test.reasons if one.id.startswith("tests.both_stages")}
    if other := both - {test.id for test in judged.tests if test.verdict is Verdict.SECOND_STAGE}:
        yield f"the limits of a second stage that is not due: {sorted(other)}"


def what_stays_open_is_asked(judged: JudgedBatch) -> Iterator[str]:
    """A batch told to be released is asked for what its record leaves open, and for nothing that its record has."""
    said, judged_by = steps(judged), {test.rule for test in judged.tests if test.verdict is not Verdict.NOT_ASSESSED}
    assays = [test for test in judged.tests if test.id == "batch-assay" and test.active and not test.required]
    stays_open = {
        "advice.mean_content": any(test.verdict is Verdict.NOT_ASSESSED for test in assays),
        "advice.usual_checks": any(one.id == "advice.not_entered" for one in messages(judged.cannot_say)),
        "advice.unchecked": any(rule.mark == "from memory" and rule.id in judged_by for rule in judged.rules_used),
        "advice.name_it": not (judged.batch.product and judged.batch.number),
        "advice.record_lacks": judged.batch.units_poured is None and judged.batch.units_obtained is None,
        "advice.say_how_drawn": any(
            one.values["unsaid"] for one in messages(judged.cannot_say) if one.id == "advice.how_drawn"
        ),
    }
    done = [name for name, is_open in stays_open.items() if name in said and not is_open]
    if done or ("advice.deviation" in said and judged.batch.deviation):
        yield f"asked for although it is there: {done}"
    missed = [name for name, is_open in stays_open.items() if is_open and name not in said]
    if missed and judged.verdict is BatchVerdict.COMPLIES and "advice.none_left" not in said:
        yield f"complies, and nobody is asked for {missed}"
    fails = judged.verdict is BatchVerdict.DOES_NOT_COMPLY
    if fails and not judged.batch.deviation and "advice.deviation" not in said:
        yield "does not comply, and no deviation is asked for"


def headline_and_list(judged: JudgedBatch) -> Iterator[str]:
    """The counts at the head of page one are those of the tests, the steps and the units listed below it."""
    front, ledger = page_one(judged), judged.ledger
    failed = [test for test in front.tests if any(line.met == MET[False] for line in test.lines)]
    if failed != [test for test in front.tests if test.verdict == VERDICT[Verdict.DOES_NOT_COMPLY]]:
        yield f"{len(failed)} tests have a limit that is not met, and other tests do not comply"
    if failed and not front.basis.startswith(f"{counted(len(failed), 'test')} not met"):
        yield f"{len(failed)} not met beside “{front.basis}”"
    met = [test for test in front.tests if test.verdict == VERDICT[Verdict.COMPLIES]]
    met_tests = counted(sum(test.of for test in met), "test")
    if judged.verdict is BatchVerdict.COMPLIES and met_tests not in front.basis:
        yield f"{met_tests} met beside “{front.basis}”"
    asked = sum(step.id not in NO_MATTERS for step in messages_of(judged))
    if "to do before release" in front.verdict and f"; {counted(asked, 'thing')} to do" not in front.verdict:
        yield f"{asked} steps beside “{front.verdict}”"
    known = 0 if ledger is None else len(ledger.not_assayed) + ledger.whole - len(judged.batch.units)
    if ledger is not None and ledger.left_for_release > known:
        yield f"{ledger.left_for_release} left to release of {len(ledger.not_assayed)} listed"


def messages_of(judged: JudgedBatch) -> list[Message]:
    """What to do now, step by step."""
    return [step for many in steps(judged).values() for step in many]


def head_and_fault(judged: JudgedBatch) -> Iterator[str]:
    """The head of page one says what a verdict does not settle: a likely fault, an open limit, an active unassayed."""
    front, complies = page_one(judged), judged.verdict is BatchVerdict.COMPLIES
    faults = [cause for cause in likely(judged) if cause != SLIP]
    if complies and faults and "probably has a fault" not in front.basis:
        yield f"complies beside the likely {faults}"
    unchecked = any(test.unchecked and test.verdict is Verdict.COMPLIES for test in judged.tests)
    said = "nobody compared" in front.basis if complies else any("[unchecked]" in test.source for test in front.tests)
    if unchecked and not said:
        yield "a limit that nobody compared is not said to be unchecked"
    assayed = {assay.active for assay in judged.batch.assays}
    unassayed = {test.active for test in judged.tests if test.id in OF_CONTENT and test.active} - assayed
    required = {test.active for test in judged.tests if test.required and test.verdict is Verdict.NOT_ASSESSED}
    if unassayed - required and "not assayed" not in front.not_covered:
        yield f"{sorted(map(str, unassayed))} were not assayed, and the verdict is not said to leave them out"
    none_left = judged.ledger is not None and not judged.ledger.left_for_release
    offered = {RELEASED, RELEASED_CLOSED} & {*front.choices}
    if offered and (not complies or none_left):
        yield f"{judged.verdict.value}, none left: {none_left}, and offered for release"
    matters = [one for one in steps(judged) if one not in NO_MATTERS]
    if offered and offered != {RELEASED_CLOSED if matters else RELEASED}:
        yield f"{matters} are open, and the batch is offered as {offered}"
    if "nothing left to release" in front.choices and not (complies and none_left):
        yield "offered as nothing left"


def likely_causes_are_named(judged: JudgedBatch) -> Iterator[str]:
    """A cause above 80 % stands in the advice, a slip with the record to look at."""
    said = steps(judged)
    asked = [one for one in messages(said.get("advice.look_into", [])) if one.id == "advice.cause"]
    looked = {cause for one in asked for cause in one.values["causes"]}
    for cause in likely(judged):
        if cause == SLIP:
            named = "advice.print_out" in said
        elif "advice.hold" in said:
            named = cause in said["advice.hold"][0].values["causes"]
        else:
            named = cause in looked or "advice.hold_for" in said
        if not named:
            yield cause


def records_that_are_looked_at(judged: JudgedBatch) -> Iterator[str]:
    """The record named for a slip is that of a unit of the batch, with the number that was typed."""
    batch = judged.batch
    for step in steps(judged).get("advice.print_out", []):
        unit, typed = step.values["unit"], str(step.values["typed"]).split()[0]
        masses = (mass for one in batch.units if one.name == unit for mass in (one.mass_g, one.weighed_again_g))
        numbers = {f"{mass:f}" for mass in masses if mass is not None}
        numbers |= {
            f"{number:f}"
            for one in batch.assays
            if one.unit == unit
            for number in (one.content_mg, one.content_percent)
            if number is not None
        }
        if typed not in numbers:
            yield f"unit {unit}: {typed} is none of {sorted(numbers)}"


def what_can_be_supplied(judged: JudgedBatch) -> Iterator[str]:
    """No more units are asked for than the batch has, and none that is used up, weighed for the test, or left out."""
    batch, ledger = judged.batch, judged.ledger
    assayed = {assay.unit for assay in batch.assays}
    for test in judged.tests:
        gone = assayed | batch.lost
        if not any(assay.active == test.active for assay in batch.assays):
            gone |= {unit.name for unit in batch.weighed}
        if wrong := set(test.next_units) & gone:
            yield f"{test.id} asks for {sorted(wrong)}"
        if ledger is not None and test.more_units > ledger.whole - len(gone):
            yield f"{test.id} asks for {test.more_units} more of {ledger.whole}"
        if test.more_units and judged.verdict is BatchVerdict.DOES_NOT_COMPLY:
            yield f"{test.id} asks a failed batch for more"
    said = steps(judged)
    for step in said.get("advice.cannot_be_shown", []):
        if step.values["left"] >= step.values["asked"]:
            yield f"{step.values['left']} are left of {step.values['asked']} asked for"
    for step in said.get("advice.more_units", []):
        if len(step.values["units"]) > step.values["number"]:
            yield "more units are named than asked for"
    if ledger is not None and any(step.values["number"] > ledger.whole for step in said.get("advice.assay", [])):
        yield "more are to be assayed than there are"


def units_outside(judged: JudgedBatch) -> Iterator[str]:
    """A unit counted outside in one place is outside in each: in the counts and in the table of units."""
    for test in judged.tests:
        outside = {one.unit: one for one in test.outside}
        sample = {one.unit for one in test.outside if one.in_sample}
        for limit in test.criteria:
            names, percent = limit.values.get("names"), limit.values.get("percent")
            if names is None or percent is None or limit.what == "beyond_every_reference" or test.id not in MEASURED:
                continue
            others = limit.what == "others_beyond"
            there = {
                name
                for name, one in outside.items()
                if (name not in sample) is others and abs(one.deviation_percent) > float(percent) + 1e-9
            }
            near = {name for name, one in outside.items() if abs(abs(one.deviation_percent) - float(percent)) <= 1e-9}
            if there - near != set(names) - near:
                yield f"{test.id}, {limit.what}: {sorted(names)} and {sorted(there)}"
            if limit.figure != len(names):
                yield f"{test.id}, {limit.what}: {limit.figure} of {len(names)} named"
    rows = {row.unit: row for row in judged.unit_rows}
    masses = [test for test in judged.tests if test.id == "mass-uniformity" and test.figures]
    for one in masses[0].outside if masses else ():
        shown = rows[one.unit].deviation_percent
        if shown is None or not math.isclose(shown, one.deviation_percent, abs_tol=1e-9):
            yield f"unit {one.unit} lies {one.deviation_percent} and {shown} % off"


def worst_unit_was_judged(judged: JudgedBatch) -> Iterator[str]:
    """The worst judged unit is one that a test of its quantity rests on or fails for, and none of these is worse."""
    for one in worst_units(judged):
        tests = [test for test in judged.tests if test.active == one.active and test.id in (OF_MASS, *CONTENT_TESTS)]
        away = {
            row.unit: row.deviation_percent if one.active is None else _from_mean(row, one.active)
            for row in judged.unit_rows
        }
        resting = {unit for test in tests for unit in test.sample}
        failing = {found.unit for test in tests for found in test.outside if found.beyond_outer}
        if one.judged and one.worst.unit not in resting | failing:
            yield f"unit {one.worst.unit} is the worst of {one.active or 'the masses'}, and no test judged it"
        first = next((test.sample for test in tests if test.sample), ())
        farther = [unit for unit in first if abs(away.get(unit) or 0.0) > abs(one.worst.deviation_percent) + 1e-9]
        if one.judged and farther and one.worst.centre != "M":
            yield f"units {farther} of the sample lie farther off than unit {one.worst.unit}"


def _from_mean(row: UnitRow, active: str) -> float | None:
    found = row.contents.get(active)
    return None if found is None or found.percent_of_mean is None else found.percent_of_mean - 100.0


def figures_agree(judged: JudgedBatch) -> Iterator[str]:
    """One figure is one figure, in whatever place it stands."""
    pairs: list[tuple[str, object, object]] = []
    by_id: dict[tuple[str, str | None], TestResult] = {
        (test.id, test.active): test for test in judged.tests if test.figures
    }
    for (id, active), test in by_id.items():
        if id == "dosage-unit-uniformity" and test.figures.get("acceptance_value") is not None:
            names = ("mean_percent", "sd_percent", "k", "reference_percent")
            mean, sd, k, m = (float(test.figures[name] or 0) for name in names)
            pairs.append((f"AV of {active}", test.figures["acceptance_value"], abs(m - mean) + k * sd))
        assay = by_id.get(("batch-assay", active))
        if id == "dosage-unit-uniformity" and assay is not None and assay.n == test.n:
            pairs.append((f"mean content of {active}", assay.figures["mean_percent"], test.figures["mean_percent"]))
    mass, plan = by_id.get(("mass-uniformity", None)), judged.planned_mass
    if mass is not None and plan is not None and plan.mean_g is not None:
        pairs.append(("mean mass", mass.figures["mean_g"], plan.mean_g))
    facts = {one.id: one.values for cause in judged.causes for one in cause.evidence if isinstance(one, Message)}
    content = facts.get("causes.mean_content")
    if content is not None and (assay := by_id.get(("batch-assay", content["active"]))) and assay.n == content["n"]:
        pairs.append(("mean content of the causes", content["percent"], assay.figures["mean_percent"]))
    scatter = facts.get("causes.mass_scatter")
    if scatter is not None and mass is not None and mass.n == scatter["n"] == len(judged.batch.weighed):
        pairs.append(("RSD of the masses", scatter["rsd"], mass.figures["rsd_percent"]))
    for what, one, other in pairs:
        first, second = (
            float(value) if isinstance(value, float | int | Fraction) else math.nan for value in (one, other)
        )
        if not math.isclose(first, second, rel_tol=1e-9, abs_tol=1e-9):
            yield f"{what}: {first} and {second}"


def ledger_closes(judged: JudgedBatch) -> Iterator[str]:
    """The fates of the units add up to all of them, and no more are released than can be."""
    found = judged.ledger
    if found is None:
        return
    used = found.assayed + found.other_tests + found.rejected + found.retained
    if used <= found.whole and used + found.weighed_and_kept + found.left != found.whole:
        yield f"{used} + {found.weighed_and_kept} + {found.left} are not {found.whole}"
    failed = judged.verdict is BatchVerdict.DOES_NOT_COMPLY
    if not failed and (found.released or 0) > found.released_at_most:
        yield f"{found.released} released of {found.released_at_most}, and the batch {judged.verdict.value}"
    if "reconciliation.more_used" in {one.id for one in messages(judged.notices)} and used <= found.whole:
        yield "more used than there are"


def what_is_left_to_release(judged: JudgedBatch) -> Iterator[str]:
    """No word of release stands where no unit is left for it, and none is said to be left where one is."""
    found, said = judged.ledger, steps(judged)
    if found is None or found.used > found.whole or judged.verdict is BatchVerdict.DOES_NOT_COMPLY:
        return
    none = found.left_for_release == 0
    for step in (*said.get("advice.look_into", []), *said.get("advice.open_finding", [])):
        if step.values.get("release", True) is (none or "advice.cannot_be_shown" in said):
            yield f"{step.id} before release, {found.left_for_release} left"
    if ("advice.none_left" in said) is not (none and judged.verdict is BatchVerdict.COMPLIES):
        yield f"{sorted(said)} beside {found.left_for_release} left"
    if "advice.nothing_more" in said and none:
        yield "go on to release, and none is left"
    if any(
        step.values.get("last", False) is not none
        for step in said.get("advice.more_units", [])
        if step.values["active"]
    ):
        yield f"the last units are asked for, and {found.left_for_release} are left"


def what_cannot_be_shown(judged: JudgedBatch) -> Iterator[str]:
    """Where a second stage cannot be supplied, nothing is left to decide and nothing to release."""
    front, never = page_one(judged), "advice.cannot_be_shown" in steps(judged)
    if never and (front.releasable != "none" or any("release" in one or "decided" in one for one in front.choices)):
        yield f"cannot be shown to comply beside {front.choices} and “{front.releasable}”"


def open_tests_counted(judged: JudgedBatch) -> Iterator[str]:
    """The box of page one counts every test that leaves the batch undecided."""
    found = page_one(judged).basis
    waiting = [test for test in judged.tests if test.verdict in (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)]
    waiting += [test for test in judged.tests if test.verdict is Verdict.NOT_ASSESSED and test.required]
    at_least = int(found.split()[0]) if "not decided yet" in found else len(waiting)
    if judged.verdict is BatchVerdict.UNDECIDED and judged.batch.superseded is None and at_least < len(waiting):
        yield f"{len(waiting)} open tests beside “{found}”"


def worst_unit_allowed(judged: JudgedBatch) -> Iterator[str]:
    """A unit outside a limit is called allowed by its test alone where that complies."""
    mass = [test.verdict for test in judged.tests if test.id == OF_MASS]
    told = [item for block in page_one(judged).findings for item in block.items if item.startswith("Mass: ")]
    if any("as the test allows" in item for item in told) and Verdict.COMPLIES not in mass:
        yield "beyond a limit, as the test allows, beside a mass test that is not met"


def basis_and_contents(judged: JudgedBatch) -> Iterator[str]:
    """What the verdict rests on is what was measured."""
    said = {one.id for one in messages(judged.cannot_say)}
    if judged.basis is Basis.MASS_AND_CONTENT and "advice.masses_alone" in said:
        yield "mass and content, and no unit was assayed"
    of_content = [test for test in judged.tests if test.id in (*OF_CONTENT, BATCH_ASSAY)]
    of_units = [test for test in of_content if test.id in OF_CONTENT]
    judged_contents = any(test.verdict is not Verdict.NOT_ASSESSED for test in of_content)
    if judged.basis is Basis.MASS_AND_CONTENT and not judged_contents:
        yield "mass and content, and no test of content"
    if "advice.assays_not_judged" in said and any(test.verdict is not Verdict.NOT_ASSESSED for test in of_units):
        yield "single contents were not judged, and a test of them was"
    if "advice.masses_alone" in said and any(assay.part.value == "whole" for assay in judged.batch.assays):
        yield "no unit was assayed"


def pour_and_causes(judged: JudgedBatch) -> Iterator[str]:
    """A cause above 80 % that moves a series along the pour does not stand beside "no change was seen" in it."""
    trend = judged.pour_trend
    if trend is None:
        return
    sure = likely(judged)
    flags = [one.flag for one in trend.content.values()] + [one.flag for one in trend.concentration.values()]
    if "settling-in-pour" in sure and flags and all(flag is TrendFlag.NONE_SEEN for flag in (*flags, trend.mass.flag)):
        yield "active settled in the pour, and no change of anything was seen"


def one_series_one_flag(judged: JudgedBatch) -> Iterator[str]:
    """A content that only possibly changed is nowhere said to have changed, nor the other way round."""
    for said in messages(judged.mould_findings):
        if said.id == "pour.filling" and judged.pour_trend is not None:
            flag = judged.pour_trend.content[said.values["active"]].flag
            if said.values["clearly"] is not (flag is TrendFlag.CLEAR):
                yield f"{said.values} beside {flag.value}"


def units_outside_and_causes(judged: JudgedBatch) -> Iterator[str]:
    """A unit of the sample beyond the outer limit does not stand beside "nothing wrong" as the likeliest cause."""
    beyond = {one.unit for test in judged.tests for one in test.outside if one.beyond_outer and one.in_sample}
    if beyond and judged.causes and judged.causes[0].cause == SOUND:
        yield f"{sorted(beyond)} beyond the outer limit, and nothing wrong {judged.causes[0].probability:.2f}"


def assurance_and_verdict(judged: JudgedBatch) -> Iterator[str]:
    """A test that fails is not assured to pass another time."""
    verdicts = {(test.id, test.active): test.verdict for test in judged.tests}
    for one in judged.assurance:
        failed = verdicts.get((one.test, one.active)) is Verdict.DOES_NOT_COMPLY
        if failed and one.pass_chance_low is not None and one.pass_chance_low > SURE:
            yield f"{one.test} fails, and another sample passes with {one.pass_chance_low}"


def superseded_and_second_masses(judged: JudgedBatch) -> Iterator[str]:
    """A batch whose report was superseded does not comply by this file; a second mass counts with reason and check."""
    batch = judged.batch
    if batch.superseded is not None and judged.verdict is BatchVerdict.COMPLIES:
        yield "complies, and a later report supersedes this one"
    for row in judged.unit_rows:
        if row.second_mass_counts and not (row.weighed_again_because and batch.checked_by):
            yield f"the second mass of unit {row.unit} counts without a reason, or nobody checked"


def each_active_of_the_pour(judged: JudgedBatch) -> Iterator[str]:
    """What is said of the pour names each active that was followed; one that changed is not said to be unchanged."""
    trend = judged.pour_trend
    said = None if judged.pour is None else judged.pour.sentence
    if trend is None or not isinstance(said, Message) or len(trend.content) < 2:
        return
    parts = list(messages(said))
    told = {name for one in parts for name in (one.values.get("active"), *(of[1] for of in _series(one))) if name}
    if missing := set(trend.content) - told:
        yield f"{sorted(missing)} not named"
    for _, active, flag in said.values.get("rest", ()):
        if trend.content[active].flag is not flag or flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE):
            yield f"content of {active} {flag.value} beside {trend.content[active].flag.value}"


def _series(told: Message) -> list[tuple[str, ...]]:
    return [one for key in ("series", "others", "rest") for one in told.values.get(key, ()) if not isinstance(one, str)]


RULES: tuple[Rule, ...] = (
    superseded_and_second_masses,
    each_active_of_the_pour,
    verdict_and_tests,
    test_and_limits,
    advice_and_verdict,
    nothing_more,
    samples_and_what_is_left,
    what_stays_open_is_asked,
    headline_and_list,
    head_and_fault,
    likely_causes_are_named,
    records_that_are_looked_at,
    what_can_be_supplied,
    units_outside,
    worst_unit_was_judged,
    figures_agree,
    ledger_closes,
    what_is_left_to_release,
    what_cannot_be_shown,
    open_tests_counted,
    worst_unit_allowed,
    basis_and_contents,
    pour_and_causes,
    one_series_one_flag,
    units_outside_and_causes,
    assurance_and_verdict,
)
