"""What to do now, what the data cannot say, and remarks on common mistakes: full sentences for page one."""

from __future__ import annotations

from collections.abc import Sequence

from qc.batch import Active, Batch, DisplacementConvention, Part
from qc.judging.mass import overfull
from qc.judging.next_units import whole_assays
from qc.problems import Notice
from qc.results import BatchVerdict, CauseFound, PlannedMass, PourTrend, TestResult, TrendFlag, Verdict
from qc.rules.display import counted, listed, plain

CONTENT_TESTS = ("content-uniformity", "dosage-unit-uniformity")
STATED_CHECK = "release-check"
LIKELY = 0.5
SETTLING = {
    "settling-in-unit": "settling inside the units, which tests of whole units do not see",
    "settling-in-pour": "settling in the melt during the pour",
}


def next_steps(
    tests: Sequence[TestResult], *, verdict: BatchVerdict, to_assay: Sequence[str] = (), beside: Sequence[str] = ()
) -> tuple[str, ...]:
    """What to do now, the most pressing first.

    Parameters
    ----------
    tests : sequence of TestResult
    verdict : BatchVerdict
    to_assay : sequence of str
        Units drawn at random for a test of content.
    beside : sequence of str
        What to look at before release although the tests are met, as the object of "look at".
    """
    steps: list[str] = []
    failed = verdict is BatchVerdict.DOES_NOT_COMPLY
    if failed:
        steps.append(
            "Hold the batch. Look for the cause before anything is weighed or assayed again; a second sample is a new "
            "record and does not replace this one."
        )
    else:
        steps += [*_not_to_be_cleared(tests), *_further_units(tests)]
    lacking = [] if failed else _content_to_find(tests, to_assay=to_assay)
    steps += [*lacking, *_inputs_to_enter(tests)]
    if verdict is BatchVerdict.COMPLIES:
        steps += [_before_release(matter, lacking=bool(lacking)) for matter in beside]
        if not lacking and not beside:
            steps.append("These tests ask for nothing more. Go on to the other checks of release.")
    return tuple(steps)


def _further_units(tests: Sequence[TestResult]) -> list[str]:
    """One step for each draw of further units, with every rule that it serves."""
    served: dict[tuple[str | None, tuple[str, ...]], list[TestResult]] = {}
    for test in tests:
        if test.more_units:
            served.setdefault((test.active, test.next_units), []).append(test)
    return [_more_units(together) for together in served.values()]


def _not_to_be_cleared(tests: Sequence[TestResult]) -> list[str]:
    """A second stage that is due and cannot be passed any more."""
    return [
        f"Hold the batch: no second stage can clear {test.active} ({test.rule}), so no further units are asked for. "
        "Look for the cause."
        for test in tests
        if test.verdict is Verdict.SECOND_STAGE and any(line.met is False for line in test.criteria)
    ]


def _content_to_find(tests: Sequence[TestResult], *, to_assay: Sequence[str]) -> list[str]:
    """What a test of content lacks that the set asks for only where contents are there."""
    open_tests = [
        test
        for test in tests
        if test.id in CONTENT_TESTS and test.verdict is Verdict.NOT_ASSESSED and not test.required
    ]
    unknown = [test for test in open_tests if test.reasons and str(test.reasons[0]).startswith("The dose is not known")]
    if unknown:
        rules = listed(list(dict.fromkeys(test.rule for test in unknown)))
        return [f"{unknown[0].reasons[0]} Enter the label claim and the planned mass ({rules})."]
    lacking: dict[tuple[str | None, str], list[str]] = {}
    for test in open_tests:
        if test.missing:
            lacking.setdefault((test.active, test.missing), []).append(test.rule)
    return [
        _content_step(active, missing=missing, rules=rules, to_assay=to_assay)
        for (active, missing), rules in lacking.items()
    ]


def _content_step(active: str | None, *, missing: str, rules: Sequence[str], to_assay: Sequence[str]) -> str:
    of = f" of {active}" if active else ""
    rule_names = listed(list(dict.fromkeys(rules)))
    if not missing.startswith("contents of"):
        return f"The content{of} was not assessed: enter {missing} ({rule_names})."
    size = missing.removeprefix("contents of ")
    which = f", drawn at random: {listed(to_assay)}" if to_assay and size.startswith(f"{len(to_assay)} ") else ""
    return f"The content{of} was not assessed. Assay {size}{which} ({rule_names})."


def beside_the_tests(causes: Sequence[CauseFound], *, trend: PourTrend) -> tuple[str, ...]:
    """What the pharmacist should look at before release although every test is met."""
    matters = [
        f"{SETTLING[cause.cause]} (probability {_percent(cause.probability)})"
        for cause in causes
        if cause.cause in SETTLING and cause.probability > LIKELY
    ]
    series = (("mass", trend.mass), *((f"content of {active}", one) for active, one in trend.content.items()))
    matters += [f"the clear change of the {name} along the pour" for name, one in series if one.flag is TrendFlag.CLEAR]
    return tuple(matters)


def _before_release(matter: str, *, lacking: bool) -> str:
    met = "The tests that were judged are met" if lacking else "The tests are met"
    return f"{met}. Beside them, look at {matter} before release."


def _percent(probability: float) -> str:
    return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"


def _inputs_to_enter(tests: Sequence[TestResult]) -> list[str]:
    """One step for each thing that is missing, with every rule that asks for it."""
    rules: dict[str, list[str]] = {}
    for test in tests:
        lacks_its_input = test.verdict is Verdict.NOT_ASSESSED and test.required
        if lacks_its_input or (test.verdict is Verdict.TOO_FEW_UNITS and test.missing):
            thing = f"{test.missing} for {test.active}" if test.active else test.missing
            rules.setdefault(thing, []).append(test.rule)
    return [
        f"Enter {thing}: its limit stands on the Checks sheet."
        if asking == [STATED_CHECK]
        else f"Enter {thing}: the rules ask for it ({', '.join(asking)})."
        for thing, asking in rules.items()
    ]


def _more_units(together: Sequence[TestResult]) -> str:
    """One draw of units, for every test that it serves; the test that asks for most says how many."""
    test = max(together, key=lambda one: one.more_units)
    verb, done = ("Assay", "assayed") if test.active is not None else ("Weigh", "weighed")
    of = f" for {test.active}" if test.active else ""
    rules = listed(list(dict.fromkeys(one.rule for one in together)))
    text = f"{verb} {counted(test.more_units, 'more unit')}{of} ({f'for {rules}' if len(together) > 1 else rules})"
    if not test.next_units:
        return f"{text}; every unit entered is {done} already, so enter further units of the batch if there are any."
    if len(test.next_units) < test.more_units:
        return f"{text}; only {len(test.next_units)} are left: {listed(test.next_units)}."
    return f"{text}, drawn at random: {listed(test.next_units)}."


def cannot_say(batch: Batch, tests: Sequence[TestResult]) -> tuple[str, ...]:
    """What these data cannot show, however the tests turned out."""
    sentences: list[str] = []
    if not whole_assays(batch):
        sentences.append(
            "Masses alone do not show the dose: a batch can pass on mass and fail on content. No unit was assayed."
        )
    of_contents = [test for test in tests if test.active is not None and not test.subject and test.n > 0]
    units_of = {
        active: {one.unit for one in batch.assays if one.active == active and one.part is Part.WHOLE}
        for active in dict.fromkeys(test.active for test in of_contents if test.active is not None)
    }
    for count in dict.fromkeys(len(units) for units in units_of.values()):
        if 0 < count < len(batch.units):
            actives = listed([active for active, units in units_of.items() if len(units) == count])
            of = f"{count} of {len(batch.units)} units"
            sentences.append(f"{actives}: {of} were assayed; the tests speak of these, not of every unit.")
    for active, units in units_of.items():
        assayed = len(units)
        resting = [test for test in of_contents if test.active == active and test.n < assayed]
        for size in dict.fromkeys(test.n for test in resting):
            rules = listed([test.rule for test in resting if test.n == size])
            sentences.append(
                f"{active}: {size} of the {assayed} assayed units are the sample of {rules}; the others were held "
                "against the outer limits alone."
            )
    if any(test.id == "content-uniformity" and test.verdict is not Verdict.NOT_ASSESSED for test in tests) and not any(
        test.id == "dosage-unit-uniformity" and test.figures for test in tests
    ):
        sentences.append(
            "The content test compares units with their own mean; nothing here compares with the label claim, so it is "
            "not said whether the mean is right."
        )
    sentences += _not_asked_for(batch, tests)
    if not any(unit.pour_order is not None for unit in batch.units):
        sentences.append("No pour order was entered, so nothing can be said of where in the pour a unit lies.")
    return tuple(sentences)


def _not_asked_for(batch: Batch, tests: Sequence[TestResult]) -> list[str]:
    """What was measured although the rule set asks for no test of it: nobody is to take it for judged."""
    sentences = []
    by_mass = {"mass-uniformity"} if whole_assays(batch) else {"mass-uniformity", "dosage-unit-uniformity"}
    if batch.weighed and not any(test.id in by_mass for test in tests):
        sentences.append("The rules in use ask for no mass test of single units: the masses were not judged.")
    if whole_assays(batch) and not any(test.id in CONTENT_TESTS for test in tests):
        sentences.append("The rules in use ask for no content test of this form and dose: the assays were not judged.")
    return sentences


def remarks(
    batch: Batch, *, actives: Sequence[Active], tests: Sequence[TestResult], plan: PlannedMass | None
) -> tuple[Notice, ...]:
    """Remarks on mistakes that are common in practice, and on units left out."""
    notices = [_convention(active) for active in actives]
    notices += [_left_out(batch)]
    for test in tests:
        if test.without_left_out is not None:
            other = test.without_left_out
            changed = "the same" if other.verdict is test.verdict else "a different verdict"
            notices.append(
                Notice(
                    where=f"{test.id}{f', {test.active}' if test.active else ''}",
                    text=f"The verdict of record counts every unit: {test.verdict}. Without "
                    f"{'unit' if len(other.units) == 1 else 'units'} {listed(other.units)} it would be: "
                    f"{other.verdict} ({changed}).",
                )
            )
    if overfull(batch):
        notices.append(
            Notice(
                where="planned mass",
                text=f"The doses would displace more base than the {batch.nominal_mass_g} g that a cavity holds, so no "
                "planned mass was worked out. See whether a displacement number belongs to the other convention.",
            )
        )
    notices += [_balance(batch, tests=tests), _too_few_left(batch, tests=tests)]
    if plan is not None and plan.limit_percent is None and plan.difference_percent is not None:
        notices.append(
            Notice(
                where="planned mass",
                text=f"The mean lies {plan.difference_percent:+.2f} % from the planned mass. The rules in use set no "
                "limit for that; a house rule can.",
            )
        )
    return tuple(notice for notice in notices if notice is not None)


def _convention(active: Active) -> Notice | None:
    number = active.displacement
    if number is None:
        return None
    value_below_one = number.convention is DisplacementConvention.VALUE and number.given < 1
    factor_above_one = number.convention is DisplacementConvention.FACTOR and number.given > 1
    if not (value_below_one or factor_above_one):
        return None
    other = "displacement factor" if value_below_one else "displacement value"
    return Notice(
        where=f"Actives, {active.name}",
        text=f"The number {plain(number.given)} was taken as {number.convention.value}, so the active is lighter than "
        f"the base. Most are heavier: see whether the source means the {other}.",
    )


def _left_out(batch: Batch) -> Notice | None:
    left_out = [unit.name for unit in batch.units if unit.left_out_because]
    if not left_out:
        return None
    share = 100 * len(left_out) / len(batch.units)
    return Notice(
        where="Units",
        text=f"{counted(len(left_out), 'unit')} of {len(batch.units)} ({share:.0f} %) marked to be left out: "
        f"{listed(left_out)}. They stay in the record.",
    )


def _balance(batch: Batch, *, tests: Sequence[TestResult]) -> Notice | None:
    for test in tests:
        mean_g, limit = test.figures.get("mean_g"), test.figures.get("limit_percent")
        if test.id != "mass-uniformity" or not mean_g or not limit or batch.balance_readability_g is None:
            continue
        allowed_g = mean_g * limit / 100
        step_g = float(batch.balance_readability_g)
        # A tenth of the allowed deviation is our own reading; no pharmacopoeia names a figure for this use.
        if step_g * 10 >= allowed_g:
            return Notice(
                where="Batch, Balance readability (g)",
                text=f"The balance reads in steps of {plain(batch.balance_readability_g)} g, which is "
                f"{100 * step_g / allowed_g:.0f} % of the allowed deviation of {allowed_g:.4f} g: too coarse to judge "
                "a unit near the limit.",
            )
    return None


def _too_few_left(batch: Batch, *, tests: Sequence[TestResult]) -> Notice | None:
    short = [test for test in tests if test.more_units and len(test.next_units) < test.more_units]
    if not short:
        return None
    return Notice(
        where=short[0].id,
        text=f"The test asks for {short[0].more_units} more units, and {len(short[0].next_units)} are left in this "
        "batch: the test cannot be finished as written. How to judge so small a batch is for local procedure.",
    )
