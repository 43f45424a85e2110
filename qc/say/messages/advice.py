"""What to do now, and what the data cannot say."""

from __future__ import annotations

from collections.abc import Sequence

from qc.say.numbers import probability as shown
from qc.say.text import counted, listed

_SETTLING = {
    "settling-in-unit": "settling inside the units, which tests of whole units do not see",
    "settling-in-pour": "settling in the melt during the pour",
}


def hold() -> str:
    """A batch that failed."""
    return (
        "Hold the batch. Look for the cause before anything is weighed or assayed again; a second sample is a new "
        "record and does not replace this one."
    )


def cannot_be_cleared(*, active: str, rule: str) -> str:
    """A second stage that nothing can pass."""
    return (
        f"Hold the batch: no second stage can clear {active} ({rule}), so no further units are asked for. Look for the "
        "cause."
    )


def more_units(*, number: int, active: str | None, rules: Sequence[str], several: bool, units: Sequence[str]) -> str:
    """Further units to weigh, or to assay for an active; `several` where the draw serves more than one test."""
    verb, done = ("Assay", "assayed") if active is not None else ("Weigh", "weighed")
    of = f" for {active}" if active else ""
    text = f"{verb} {counted(number, 'more unit')}{of} ({'for ' if several else ''}{listed(rules)})"
    if not units:
        return f"{text}; every unit entered is {done} already, so enter further units of the batch if there are any."
    if len(units) < number:
        return f"{text}; only {len(units)} are left: {listed(units)}."
    return f"{text}, drawn at random: {listed(units)}."


def dose_unknown() -> str:
    """Whether a content test is asked for goes by the dose."""
    return "The dose is not known, so it cannot be told whether the content test is asked for."


def depends_on_dose(*, active: str) -> str:
    """Whether a test of an active is asked for goes by its dose."""
    return (
        f"Whether the test is asked of {active} depends on its dose and its share of the unit's mass; enter the label "
        "claim in mg and the planned mass."
    )


def form_unknown(*, form: str, near: str) -> str:
    """No limits without a known dosage form; `near` is the form that may be meant, or ""."""
    if not form:
        return "The limits go by dosage form, and none was entered (Batch sheet, or --form for a bare table)."
    hint = f' Did you mean "{near}"?' if near else ""
    return f'No rule here names the dosage form "{form}".{hint}'


def asked_by_name(*, title: str, form: str) -> str:
    """A rule that is asked for though it is not that of the form."""
    return f"{title} is not the rule's own test for {form}; it was asked for by name."


def enter_dose(*, reason: str, rules: Sequence[str]) -> str:
    """A dose to enter, and why."""
    return f"{reason} Enter the label claim and the planned mass ({listed(rules)})."


def contents(*, number: int, mass_route: str) -> str:
    """Contents that are missing, or what the mass route needs in their place."""
    return f"contents of {_whole_units(number, mass_route)}"


def assay(*, active: str | None, number: int, mass_route: str, drawn: Sequence[str], rules: Sequence[str]) -> str:
    """Whole units to assay; `drawn` names them where they were drawn at random."""
    which = f", drawn at random: {listed(drawn)}" if drawn else ""
    return f"{_not_assessed(active)}. Assay {_whole_units(number, mass_route)}{which} ({listed(rules)})."


def enter_for_content(*, active: str | None, missing: str, rules: Sequence[str]) -> str:
    """What to enter for a test of content."""
    return f"{_not_assessed(active)}: enter {missing} ({listed(rules)})."


def enter(*, missing: str, active: str | None, rules: Sequence[str]) -> str:
    """What to enter because rules ask for it."""
    return f"Enter {_for(missing, active)}: the rules ask for it ({', '.join(rules)})."


def enter_on_checks(*, missing: str, active: str | None) -> str:
    """What to enter because its limit was typed."""
    return f"Enter {_for(missing, active)}: its limit stands on the Checks sheet."


def before_release(*, matter: str, lacking: bool) -> str:
    """What to look at although the tests are met; `lacking` where some could not be judged."""
    met = "The tests that were judged are met" if lacking else "The tests are met"
    return f"{met}. Beside them, look at {matter} before release."


def settling(*, cause: str, probability: float) -> str:
    """A cause that tests of whole units may not see [-]."""
    return f"{_SETTLING[cause]} (probability {shown(probability)})"


def clear_change(*, series: str, active: str) -> str:
    """A change along the pour."""
    return f"the clear change of the {series}{f' of {active}' if active else ''} along the pour"


def nothing_more() -> str:
    """Nothing is open."""
    return "These tests ask for nothing more. Go on to the other checks of release."


def masses_alone() -> str:
    """No assay."""
    return "Masses alone do not show the dose: a batch can pass on mass and fail on content. No unit was assayed."


def of_assayed_units(*, actives: Sequence[str], assayed: int, units: int) -> str:
    """Fewer units assayed than entered."""
    return f"{listed(actives)}: {assayed} of {units} units were assayed; the tests speak of these, not of every unit."


def of_the_sample(*, active: str, sample: int, assayed: int, rules: Sequence[str]) -> str:
    """Fewer units in the sample of a test than assayed."""
    return (
        f"{active}: {sample} of the {assayed} assayed units are the sample of {listed(rules)}; the others were held "
        "against the outer limits alone."
    )


def no_label_claim() -> str:
    """Contents beside their own mean alone."""
    return (
        "The content test compares units with their own mean; nothing here compares with the label claim, so it is not "
        "said whether the mean is right."
    )


def masses_not_judged() -> str:
    """Masses that no rule asks for."""
    return "The rules in use ask for no mass test of single units: the masses were not judged."


def assays_not_judged() -> str:
    """Assays that no rule asks for."""
    return "The rules in use ask for no content test of this form and dose: the assays were not judged."


def no_pour_order() -> str:
    """No order of pouring."""
    return "No pour order was entered, so nothing can be said of where in the pour a unit lies."


def _not_assessed(active: str | None) -> str:
    return f"The content{f' of {active}' if active else ''} was not assessed"


def _whole_units(number: int, mass_route: str) -> str:
    return f"{number} whole units" + (f", or {mass_route} for the mass route" if mass_route else "")


def _for(missing: str, active: str | None) -> str:
    return f"{missing} for {active}" if active else missing
