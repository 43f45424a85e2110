"""The tests of single units: why a sample complies or not, what is still open, and what is missing."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc.results import Limit, Message, Verdict
from qc.say.limits import allowed_range, at_most, centre, line, reach, where
from qc.say.messages import all_words
from qc.say.names import TEST, VERDICT, in_words
from qc.say.numbers import as_typed, fixed, plain_limit
from qc.say.sentences import both_masses
from qc.say.text import counted, listed, units_named

_OF_ALL = "Of all {of} weighed {beyond} deviate by more than {percent:f} % from the {centre}; "

SENTENCES = {
    "both_stages": "First stage not passed. Second stage: of all {of} units {allowed:at_most_units} outside "
    "±{inner:f} % of their mean, none outside ±{outer:f} %.",
    "both_stages_dose": "First stage not passed. Second stage: AV of all {of} units at most {l1:f}, no unit outside "
    "±{l2:f} % of M.",
    "sample-not-marked": "The rule asks for {asked} units; of the {weighed} weighed nobody marked which were drawn. "
    + _OF_ALL
    + "so it hangs on which {asked} were drawn: {share:probability} of the possible samples would comply.",
    "unlikely_sample": _OF_ALL + "of the possible samples of {asked} only {share:probability} would comply, and the "
    "marked one is among them.",
    "unlikely_contents": "Of all {of} assayed {beyond} lie more than {percent:f} % from their mean; of the possible "
    "samples of {asked} only {share:probability} would comply, and the marked one is among them.",
    "unlikely_value": "{of} units were assayed; of the possible samples of {asked} of them only {share:probability} "
    "would comply, and the marked one is among them.",
    "together": "Nobody marked which of the {n} units came first: they count together, as at the second stage.",
    "which_came_first": "{number} units were measured, and nobody marked which {first} came first« (or which {whole} "
    "are those of both stages)». Write 1 or 2 under Stage, or yes under Test sample beside the units of the test.",
    "more_weighed": "The rule asks for {asked} units; all {weighed} were counted with the same allowance of {allowed}, "
    "which is stricter.",
    "no_constant": "The rule asks for {asked} units; {n} were assayed. There is no acceptability constant k for {n} "
    "units, so there is no acceptance value.",
    "too_few_for_large": "The rule is for samples of {asked} units or more by a plan laid down beforehand; {assayed} "
    "were assayed. Ten or thirty units are judged by harmonised-udu.",
    "large_sample": "a sample of {asked} units or more",
    "other_alternative": "This is alternative 1. A sample that does not meet it may meet alternative 2, whose table of "
    "units outside 85 to 115 % of T (c1) was not read here.",
    "second_alternative": "the number c1 of units that alternative 2 allows outside 85 to 115 % of T",
    "never_cleared": "No second stage can clear this sample: whatever the {left} units to come hold, AV of all stays "
    "above L1 = {l1:f}, or a unit lies outside L2.",
    "found_by": "Contents found by {by_mass:either mass variation: mass of the unit, times the batch assay, over "
    "the mean mass|assay of single units}.",
    "at_first_stage": "First stage: {reason}",
    "of_all": "All {n}: {reason}",
    "too_many_marked": "{marked} units are marked stage {stage}; the rule knows {size}. Mark those {size}, and write "
    "0 under Stage beside units that were assayed beside the test.",
    "without_a_stage": "{number:count assayed unit} without a stage, counted apart: write 2 beside what belongs to the "
    "second stage.",
    "second_stage_only": "{later:count unit} of the second stage entered and none of the first; the second stage "
    "judges all {whole} units together, so the first {first} must be there.",
    "none_weighed": "No unit was weighed.",
    "nothing_assayed": "No whole unit was assayed« for {active}».",
    "exempt": "{reason}",
    "no_mass_limit": "{work} {section} has no mass limit for {form}; give a limit and its source in a house rule file.",
    "mixed_units": "Some contents are in mg and some in % of label; the label claim that joins them is missing.",
    "compares_with_label": "The test compares with the label; the label claim (mg) is missing.",
    "route_by_dose": "Whether the mass route is open depends on the dose; the label claim (mg) is missing.",
    "route_closed": "For {form} the rule asks for the contents of single units; masses and a batch assay do not show "
    "them.« For information only, by mass AV would be {value:.2f}.»",
    "route_needs": "The mass route needs {missing}.",
    "no_mean_to_compare": "The mean cannot be laid beside the plan without {missing}.",
    # What is missing, as the next steps name it.
    "first_units": "which {size} units came first (Stage, or Test sample)",
    "drawn_sample": "which {asked} units were drawn before weighing (Test sample)",
    "how_drawn": "how the {asked} units of the test sample were drawn, or the verdict on a sample drawn anew",
    "masses": "the masses of single units",
    "nothing": "nothing",
    "mass_limit": "a mass limit for {form} with its source",
    "first_stage_missing": "the contents of the {size} units of the first stage",
    "label_claim": "the label claim",
    "batch_assay": "the batch assay",
    "plan": "the planned mass",
    "unchecked": "The limit comes from memory: until it is compared with the text in force, this stays open.",
    "dose": "the label claim or the planned mass",
    "known_form": "a known dosage form",
}

_THEREFORE = {
    Verdict.COMPLIES: "the sample complies",
    Verdict.DOES_NOT_COMPLY: "the sample does not comply",
    Verdict.SECOND_STAGE: "the first stage is not passed",
    Verdict.TOO_FEW_UNITS: "there are too few units for a verdict",
    Verdict.NOT_ASSESSED: "the test is not assessed",
}


def therefore(*, verdict: Verdict, reasons: Sequence[Message]) -> str:
    """What follows: the verdict, with the reasons where it is not that the sample complies.

    Examples
    --------
    >>> therefore(verdict=Verdict.COMPLIES, reasons=())
    'Therefore the sample complies.'
    """
    said = f"Therefore {_THEREFORE[verdict]}."
    return said if verdict is Verdict.COMPLIES else " ".join([said, *all_words(reasons)])


def beside_bound(*, limit: Limit) -> str:
    """A figure beside its bound, with the units that were counted by name."""
    told = line(limit)
    # Of units outside L2 whatever M comes to, the figure gives the names already.
    names = () if limit.what == "beyond_every_reference" else limit.values.get("names")
    found = f"{told.figure} ({units_named(names)})" if names else told.figure
    more = limit.values.get("continues")
    further = "" if more is None else f", a second stage up to {more}"
    source = f" (clause {limit.clause})" if limit.clause else ""
    return f"{told.what[0].upper()}{told.what[1:]}: {found}; {told.limit}{further}{source}."


def second_weighing(*, unreasoned: Sequence[str], checked: bool, in_a_book: bool) -> str:
    """What a second weighing lacks before its mass counts; a table by itself has no field for who checked."""
    reason = [f"the reason of the second weighing of {units_named(unreasoned)}"] if unreasoned else []
    where = "" if in_a_book else " (in the workbook that qc sheet FILE --from TABLE writes)"
    return listed([*reason, *([] if checked else [f"under Checked by somebody other than who weighed{where}"])])


def masses_differ(*, units: Sequence[str], first: Verdict, second: Verdict) -> str:
    """Units weighed twice, of which the two masses give two verdicts."""
    return (
        f"{units_named(units).capitalize()} weighed twice: by the mass that counts the verdict would be "
        f"“{VERDICT[first]}”, by the other “{VERDICT[second]}”. The test stays open until the reason stands beside the "
        "second mass, and under Checked by somebody other than who weighed."
    )


def assays_differ(
    *, units: Sequence[str], count: int, alone: Decimal | None, in_mg: bool, first: Verdict, second: Verdict
) -> str:
    """Units assayed several times, of which one determination alone gives another verdict."""
    what = "one determination of each" if alone is None else f"{as_typed(alone)} {'mg' if in_mg else '% of label'}"
    often = f"{count} times" if len(units) == 1 else "several times each"
    return (
        f"{units_named(units).capitalize()} assayed {often}: by the mean of these the verdict would be "
        f"“{VERDICT[first]}”, by {what} alone “{VERDICT[second]}”. A first result is not averaged away: the test stays "
        "open until an investigation has found which determinations count."
    )


def which_assay(*, units: Sequence[str]) -> str:
    """What is asked for where the determinations of units give more than one verdict."""
    return (
        f"which determination of {units_named(units)} counts (keep that one on Assay, and write the others with the "
        "reason under Deviation)"
    )


def corrected(
    *, test: str, active: str, masses: Sequence[tuple[str, Decimal | None, Decimal]], first: Verdict, now: Verdict
) -> str:
    """A verdict that rests on second masses, beside the one by the masses that were read first [g]."""
    what = f"{in_words(test, TEST)} of {active}" if active else in_words(test, TEST)
    return f"{what}: “{VERDICT[now]}” by the second mass of {both_masses(masses)}; by the first “{VERDICT[first]}”."


def _lie(names: Sequence[str]) -> str:
    return f"Unit {names[0]} lies" if len(names) == 1 else f"Units {listed(names)} lie"


def _lie_there(limit: Limit) -> str:
    """The units that a count names, and where they lie."""
    names = limit.values["names"]
    if limit.values.get("as_range"):
        return f"{_lie(names)} {where(limit)}"
    units = f"Unit {names[0]} deviates" if len(names) == 1 else f"Units {listed(names)} deviate"
    return f"{units} by more than {limit.values['percent']:f} % from {centre(limit)}"


def mean_beside_plan(*, limit: Limit) -> str:
    """The mean mass beside the planned one."""
    assert not isinstance(limit.bound, tuple), "one number bounds how far the mean may lie from the plan"
    return f"The mean lies {line(limit).figure} from the planned mass; the limit is {plain_limit(limit.bound)} %."


def exceeded(*, limit: Limit) -> str:
    """A limit that is not met: the units beyond it, or the mean outside its bounds."""
    if limit.what == "mean_content":
        return "No active was found in the sample."
    if limit.what == "mean_of_label":
        if limit.figure is None:
            return "The rule bounds the mean in % of label, and no label claim is given."
        return f"The mean is {line(limit).figure} of label; the rule asks for {line(limit).limit}."
    there = _lie_there(limit)
    if limit.what == "others_beyond":
        them = "it" if len(limit.values["names"]) == 1 else "them"
        return (
            f"{there} of the sample, although the test sample left {them} out; a unit known to be beyond the outer "
            "limit is not hidden."
        )
    if limit.values.get("continues") is not None:
        return f"{there}; more than {limit.values['continues']} end the test at the first stage."
    assert isinstance(limit.bound, int)
    return f"{there}; the rule allows {at_most(limit.bound)}."


def within(*, inner: Limit | None, outer: Limit) -> str:
    """Limits that are met."""
    if inner is None:
        return f"All {outer.values['of']} units within {allowed_range(outer)} of {centre(outer)}."
    return f"{_count(inner)} {where(inner)} ({line(inner).limit} allowed), {_few(outer)} {reach(outer)}."


def _count(limit: Limit) -> str:
    assert isinstance(limit.figure, int)
    return f"{counted(limit.figure, 'unit')} of {limit.values['of']}"


def _few(limit: Limit) -> str:
    return str(limit.figure or "none")


def too_few_weighed(*, asked: int, picked: int, of: int) -> str:
    """Fewer units weighed than the rule asks for, or fewer of those weighed in the test sample."""
    found = f"{picked} were weighed" if picked == of else f"{picked} of the {of} weighed are in the test sample"
    return f"The rule asks for {asked} units; {found}, so the test cannot be passed yet."


def masses_so_far(*, inner: Limit, outer: Limit, at_most_percent: float) -> str:
    """What the masses show before there are enough."""
    return (
        f"So far {_count(inner)} {reach(inner)} and {_few(outer)} {reach(outer)}; with 95 % confidence at most "
        f"{fixed(at_most_percent, decimals=0)} % of such units lie {reach(inner)}."
    )


def too_few_assayed(*, limit: Limit, inner: Limit | None, outer: Limit) -> str:
    """Fewer contents than the rule asks for."""
    so_far = f"{_count(outer)} {where(outer)}"
    if inner is not None:
        so_far = f"{_count(inner)} {where(inner)}, {_few(outer)} {reach(outer)}"
    return (
        f"The rule asks for {limit.bound} units; {limit.figure} were assayed, so the test cannot be passed yet. "
        f"So far {so_far}."
    )


def second_stage_due(*, limit: Limit, missing: int) -> str:
    """The first stage asks for a second."""
    return f"{first_stage_not_passed(limit=limit)[:-1]}; {missing} more units decide."


def first_stage_not_passed(*, limit: Limit) -> str:
    """The units because of which a second stage decides."""
    assert isinstance(limit.bound, int)
    there = f"{_count(limit)} ({listed(limit.values['names'])}) {where(limit)}"
    return f"{there}: the first stage allows {at_most(limit.bound)}."


def pooled_would_fail(*, limit: Limit) -> str:
    """A first stage that is passed, while all units together would not pass."""
    if limit.what == "acceptance_value":
        n, found = limit.values["n"], f"AV {fixed(limit.values['unrounded'], decimals=2)}"
    else:
        n, found = limit.values["of"], f"{limit.figure} {where(limit)}"
    return f"The first stage ends the test, yet all {n} units together would not meet the second stage: {found}."


def acceptance_value(*, limit: Limit, missing: int = 0) -> str:
    """The acceptance value beside L1; `missing` units of a second stage decide."""
    made_of = limit.values
    text = (
        f"AV {line(limit).figure} against L1 = {limit.bound:f} ({made_of['n']} units, mean "
        f"{fixed(made_of['mean'], decimals=2)} %, k = {made_of['k']:f}): {'met' if limit.met else 'not met'}."
    )
    if made_of["by_rounding"]:
        assert isinstance(limit.figure, Decimal)
        places = counted(-int(limit.figure.as_tuple().exponent), "decimal")
        text += f" Unrounded it is above L1; rounded to {places}, as the rule states, it is {limit.figure:f}."
    return f"{text} {missing} more units decide." if missing else text


def never_inside(*, limit: Limit) -> str:
    """Units that no further units bring inside."""
    names = limit.values["names"]
    return (
        f"No second stage can clear this sample: {units_named(names)} {'lies' if len(names) == 1 else 'lie'} more than "
        f"{limit.values['percent']:f} % from every M the rule can give."
    )
