"""What to do now, and what the data cannot say."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc.results import Limit, Message
from qc.say.limits import line
from qc.say.messages import all_words
from qc.say.names import TEST, any_of, in_words, rules_cited
from qc.say.numbers import grams
from qc.say.text import counted, listed, runs, units_named, within_a_sentence

_TO_CHECK = "the raw record, label claim, formula, weighing of the active, filling and assay"
_WHOLE_UNITS = "{number} whole units«, or {mass_route} for the mass route»"

SENTENCES = {
    "contents": "contents of " + _WHOLE_UNITS,
    "assay": "The content« of {active}» was not assessed. Assay " + _WHOLE_UNITS + "«, drawn at random: "
    "{drawn:listed}» ({rules:cited}).",
    "too_few_left": "{asked:count further unit}, of which {left} {left:one is|are} left",
    "print_out": "Look at the raw record of the {kind} of unit {unit}: {typed} was entered, {percent:+.1f} % from the "
    "median. Confirm it under Remarks, or correct it and make a new report.",
    "open_finding": "Clear this up{release:either  before release, with the outcome under Remarks|}: {finding}",
    "undivided": "see that the label forbids dividing a unit, as its parts differ: if it does, this is closed; if not, "
    "correct the label or do not release",
    "check_records": "check "
    + _TO_CHECK
    + ": if each stands, this is closed; if not, correct it and make a new report",
    "record_lacks": "The record lacks the number of units poured, without which it is not known how many can be "
    "released: enter it and make a new report.",
    "none_left": "No unit is left to release: close the record of this batch.",
    "dose_unknown": "The dose is not known, so whether the content test is asked for is not known.",
    "depends_on_dose": "Whether the test is asked of {active} depends on its dose and its share of the unit's mass; "
    "enter the label claim in mg and the planned mass.",
    "asked_by_name": "{title} is not the rule's own test for {form}; it was asked for by name.",
    "enter_for_content": "The content« of {active}» was not assessed: enter {missing} ({rules:cited}).",
    "enter": "Enter {missing}« for {active}»: the rules ask for it ({rules:cited}).",
    "enter_for_second": "Enter {missing}: without it a second weighing does not count (common practice).",
    "enter_on_checks": "Enter {missing}« for {active}»: its limit stands on the Checks sheet.",
    "clear_change": "the clear change of the {series}« of {active}» along the pour",
    "few_poured": "{units:count unit} planned, and {rules:cited} may ask for {needed}, both stages together: too "
    "few for a second stage. Pour at least {needed}, or settle beforehand how so small a batch is judged.",
    "nothing_more": "These tests ask for nothing more. Go on to the other checks of release.",
    "mean_content": "No limits are known for the mean content of {unlimited:listed}: compare with those of the "
    "monograph, or enter Assay limits and make a new report.",
    "melt_unaccounted": "No limit is given for what of the melt is not accounted for, {percent:.1f} %: write under "
    "Remarks what became of it, or enter a limit of the house and make a new report.",
    "usual_checks": "Nothing is on record of {checks:listed}, which {form} usually have: enter the outcome and "
    "make a new report, or write under Remarks why none is needed.",
    "not_entered": "Nothing was entered of {checks:listed}, which {form} usually have.",
    "pooled_alone": "A pooled assay does not show how units differ in content: no unit was assayed by itself.",
    "masses_alone": "Masses by themselves do not show the dose: a batch can pass on mass and fail on content. "
    "No unit was assayed.",
    "of_assayed_units": "{actives:listed}: {assayed} of {units} units were assayed; the tests speak of these, not of "
    "every unit.",
    "of_the_sample": "{active}: {sample} of the {assayed} assayed units are the sample of {rules:cited}; the others "
    "were compared with the outer limits only.",
    "no_label_claim": "The content test compares units with their own mean; nothing here compares with the label "
    "claim, so it is not said whether the mean is right.",
    "masses_not_judged": "The rules in use ask for no mass test of single units: the masses were not judged.",
    "assays_not_judged": "The rules in use ask for no uniformity of content of this form and dose: "
    "single contents were not judged.",
    "no_pour_order": "No pour order was entered, so nothing can be said of where in the pour a unit lies.",
    "no_order": "Neither the order of pouring nor that of weighing is on record, so settling in the pour and a "
    "drifting balance cannot be detected; where the rows stand in that order, give --order pour, weighing or both.",
}


def weigh_again(*, units: Sequence[str], within_g: Decimal | None) -> str:
    """Units to weigh on another balance, and what follows from their masses [g]."""
    near = "what the two balances repeat to" if within_g is None else f"{grams(within_g)} g"
    return (
        f"weigh {units_named(units)} again on another balance: if each mass agrees with its first within {near}, the "
        "balance is not at fault; if not, enter the second masses with the reason and make a new report"
    )


def assay_ends(*, units: Sequence[str], percent: Decimal | None) -> str:
    """Units to assay for what no test saw, and what follows from their contents [% of the mean]."""
    limits = (
        "meets the limits of the content test" if percent is None else f"lies within ±{percent:f} % of the mean content"
    )
    return (
        f"assay {units_named(units)}: if each content {limits}, the cause has not reached the dose and this is closed; "
        "if not, reject the batch"
    )


def cause(*, causes: Sequence[str], probabilities: Sequence[float], apart: str = "", closing: bool = False) -> str:
    """A likely cause, or several; what tells them apart, unless acts are named that close the matter."""
    telling = "" if closing and not apart else _apart(causes, apart)
    return any_of(causes, probabilities, lead="probability ") + (f" ({telling})" if telling else "")


def _apart(causes: Sequence[str], measurement: str) -> str:
    """What tells causes apart: a measurement, in a sentence; beside a fault that is not modelled, else the papers."""
    if measurement:
        return f"to distinguish them, {within_a_sentence(measurement)}"
    if "something-else" not in causes:
        return ""
    return f"{'to distinguish them, ' if len(causes) > 1 else ''}check {_TO_CHECK}"


def hold(*, causes: Sequence[str], probabilities: Sequence[float], apart: str = "") -> str:
    """Hold the batch, and which cause to look for."""
    where = f" ({_apart(causes, apart)})" if apart else ""
    return (
        f"Hold the batch and look for the cause{where}. Reject it unless an error of measurement is proved; a "
        "second sample does not replace this record."
    )


def hold_for(*, tests: Sequence[str], reasons: Sequence[Message | str] = ()) -> str:
    """Hold the batch for what nobody measured, by the names of the tests, with why they are not met."""
    named = listed([in_words(id, TEST).casefold() for id in tests])
    lead = f"Hold the batch until this is cleared up in writing, and reject it if it cannot be: {named}."
    return " ".join([lead, *all_words(reasons)])


def more_units(
    *, number: int, active: str | None, rules: Sequence[str], several: bool, units: Sequence[str], last: bool = False
) -> str:
    """Further units to weigh, or to assay for an active; `several` where the draw serves more than one test.

    `last` where an assay of them would leave none to be released.
    """
    verb, done = ("Assay", "assayed") if active is not None else ("Weigh", "weighed")
    of = f" for {active}" if active else ""
    by = f" ({'for ' if several else ''}{rules_cited(rules)})"
    text = f"{verb} {counted(number, 'more unit')}{of}{by}"
    if not units:
        return f"{text}; every unit entered is {done} already, so enter further units of the batch if there are any."
    if len(units) < number:
        rest = number - len(units)
        return f"{text}: {listed(units)}, and {rest} of the batch not entered yet."
    if last:
        return (
            f"Reject the batch, or {verb.lower()} {counted(number, 'more unit')}{of} to learn whether it complies{by}: "
            f"{runs(units)}. Either way none is left to release."
        )
    return f"{text}, drawn at random: {listed(units)}."


def cannot_be_shown(*, active: str | None, rules: Sequence[str], asked: int, left: int, whole: int, total: int) -> str:
    """A test that asks for more units than are left, and since when that was so."""
    what, further = "The batch" if active is None else active, counted(asked, "further unit")
    told = f"{what} cannot be shown to comply by {rules_cited(rules)}: it asks for {further}, and {left} can be had."
    since = f"once {whole - left} of the {whole} units had been measured, used up or left out."
    if whole < total:
        since = f"from the pour: the test takes {total} units, and {whole} were poured."
    return f"{told} That was so {since} Reject the batch, or judge it by another test that is authorised."


def look_into(*, matters: Sequence[Message], acts: Sequence[Message] = (), release: bool = True) -> str:
    """Why a batch is looked into, whatever its tests say: before its release, with the acts that close it.

    Where no unit will be left there are none, and `release` is false: its cause matters to the next pour.
    """
    likely = "; ".join(all_words([one for one in matters if one.id == "advice.cause"]))
    changes = listed(all_words([one for one in matters if one.id != "advice.cause"]))
    if release:
        because, act = ", and ".join(filter(None, [likely, changes])), "; ".join(all_words(acts))
        return f"Before release, because of {because}: {act}. The outcome goes under Remarks."
    of = f" of {changes}" if changes else ""
    return f"Before the next pour establish the cause{of}{'; most likely ' if likely else ''}{likely}."


_HAPPENED = {
    "failed": "what is not met",
    "left_out": "the units that were left out",
    "weighed_again": "the masses that were weighed again",
}


def act_too(*, acts: Sequence[Message]) -> str:
    """A further act that closes the same matters."""
    return f"Before release also {'; '.join(all_words(acts))}."


def unchecked(*, tests: Sequence[str], rules: Sequence[str], failed: bool, of_checks: Sequence[Limit] = ()) -> str:
    """Tests whose limits nobody read in the text; a batch that fails by one is not rejected by it alone.

    `of_checks` are the limits where each of the tests is a line of the Checks sheet, which holds the limit read.
    """
    named = listed([in_words(id, TEST).casefold() for id in tests])
    named += f", {listed([line(one).limit for one in of_checks])}," if of_checks else ""
    limit, comes = ("limit", "comes") if len(of_checks) == 1 else ("limits", "come")
    text = f"the text in force ({rules_cited(rules)})"
    then = f"compare them with {text}; the outcome goes under Remarks"
    if failed:
        then = f"compare with {text} before the batch is rejected"
    elif of_checks:
        same = f"write under Remarks that the {limit} {'is' if len(of_checks) == 1 else 'are'} the same"
        then = f"read {text} and {same}, or enter its {limit} among the checks and make a new report"
    return f"The {limit} of {named} {comes} from memory: {then}."


_SAMPLES = {"mass": "units of the mass test", "content": "units of the content test"}


def how_drawn(*, drawn: Sequence[str], unsaid: Sequence[str]) -> str:
    """How the units of samples were drawn."""
    by_lot, others = (listed([_SAMPLES[one] for one in some]) for some in (drawn, unsaid))
    told = [f"The {by_lot} are those drawn at random by this program."] if drawn else []
    return " ".join([*told, *([f"How the {others} were drawn is not on record."] if unsaid else [])])


def say_how_drawn(*, samples: Sequence[str]) -> str:
    """Samples of which nobody can see how they were drawn."""
    return f"Write under Remarks how the {listed([_SAMPLES[one] for one in samples])} were drawn."


def name_it(*, facts: Sequence[str]) -> str:
    """What names the batch, and nobody entered."""
    named, it = listed([_FACTS[fact] for fact in facts]), "it" if len(facts) == 1 else "them"
    return (
        f"Write the {named} into the blanks above before this is signed or filed, or enter {it} and make a new report."
    )


_FACTS = {"product": "product", "number": "batch number"}


def deviation(*, happened: Sequence[str]) -> str:
    """What happened that a deviation report is about, where no number of one was entered."""
    named = listed([_HAPPENED[one] for one in happened])
    return f"Open a deviation for {named}; its number goes under Remarks."


def form_unknown(*, form: str, near: str) -> str:
    """No limits without a known dosage form; `near` is the form that may be meant, or ""."""
    if not form:
        return "The limits go by dosage form, and none was entered (Batch sheet, or --form for a bare table)."
    hint = f' Did you mean "{near}"?' if near else ""
    return f'No rule here names the dosage form "{form}".{hint}'
