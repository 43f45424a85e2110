"""The words at the head of page one and of the terminal: what a verdict rests on, and on how many units."""

from __future__ import annotations

from datetime import date

from msgspec.structs import replace

from qc.batch import Batch, Part
from qc.fields.days import days_meant
from qc.results import BATCH_ASSAY, CONTENT_TESTS, OF_MASS, BatchVerdict, JudgedBatch, Message, Verdict, message
from qc.say.names import BATCH_SIGN, BATCH_VERDICT, OPEN_SIGN
from qc.say.text import counted, listed, shortened

OF_CONTENT = CONTENT_TESTS
TESTED = " of the units judged"
EXPIRED = "record.expired"
NO_MATTERS = ("advice.nothing_more", "advice.none_left")
"""What to do now that leaves nothing open."""
_CLOSING = ("more_units", "assay", "look_into", "act_too", "mean_content", "usual_checks", "unchecked")
FOR_RELEASE = (*NO_MATTERS, *(f"advice.{step}" for step in _CLOSING))
"""What is done so that units can be released."""
NEVER_RELEASED = (EXPIRED, "advice.cannot_be_shown")


def judged_on(judged: JudgedBatch, *, day: date | None) -> JudgedBatch:
    """What was judged, as it stands on the day of the answer: past its expiry no unit can be released."""
    days = days_meant(judged.batch.expiry)
    if day is None or days is None or day <= days[1]:
        return judged
    others = (step for step in judged.next_steps if not (isinstance(step, Message) and step.id in FOR_RELEASE))
    return replace(judged, next_steps=(message("record.expired", expiry=judged.batch.expiry), *others))


def never_released(judged: JudgedBatch) -> bool:
    """Whether nothing that is still to come lets a unit be released."""
    return any(isinstance(step, Message) and step.id in NEVER_RELEASED for step in judged.next_steps)


def headline(judged: JudgedBatch) -> str:
    """The verdict of the batch in words; one that complies says on what.

    Parameters
    ----------
    judged : JudgedBatch

    Returns
    -------
    str
        For example "Complies on mass and content of the units judged; 2 things to do before release".
    """
    return "".join(headline_parts(judged))


def sign(judged: JudgedBatch) -> str:
    """The sign beside the verdict: no check mark where something is open before release, or no unit left to release."""
    return OPEN_SIGN if open_before_release(judged) else BATCH_SIGN[judged.verdict]


def open_before_release(judged: JudgedBatch) -> str:
    """What keeps units of a batch that complies from being released, in words; empty where nothing does."""
    steps = [step for step in judged.next_steps if isinstance(step, Message)]
    if judged.verdict is not BatchVerdict.COMPLIES:
        return ""
    if any(step.id == EXPIRED for step in steps):
        return "; expired, so that no unit can be released"
    if any(step.id == "advice.none_left" for step in steps):
        return "; no unit is left to release"
    matters = sum(step.id not in NO_MATTERS for step in steps)
    left = judged.ledger is None or judged.ledger.left_for_release
    return f"; {counted(matters, 'thing')} to do{' before release' if left else ''}" if matters else ""


def headline_parts(judged: JudgedBatch) -> tuple[str, str]:
    """The verdict itself, and what it rests on, does not reach and leaves open where it complies; empty otherwise."""
    word = BATCH_VERDICT[judged.verdict]
    if judged.verdict is not BatchVerdict.COMPLIES:
        return word, ""
    return word, f"{_reach(judged)}{open_before_release(judged)}"


def _reach(judged: JudgedBatch) -> str:
    """What was tested, and which content was not."""
    of_content = [test for test in judged.tests if test.id in OF_CONTENT]
    without = [test for test in of_content if test.verdict is Verdict.NOT_ASSESSED]
    met = {test.id for test in judged.tests if test.verdict is Verdict.COMPLIES}
    kinds = {"mass": (OF_MASS,), "content": OF_CONTENT}
    kinds_met = [kind for kind, ids in kinds.items() if met & {*ids}]
    mean_met = BATCH_ASSAY in met and "content" not in kinds_met
    on = f" on {' and '.join(kinds_met)}{TESTED}" if kinds_met else ""
    if kinds_met == ["content"] and any(test.id == OF_MASS for test in judged.tests):
        on += "; mass not assessed"
    if len(without) == len(of_content):
        if mean_met:
            on += f"{' and' if on else ''} on the mean content"
            return f"{on}; uniformity of content not assessed" if without or not kinds_met else on
        return f"{on}; content not assessed" if without or not on else f" on mass alone{TESTED}"
    if not without:
        return on
    assessed = {test.active for test in of_content if test.verdict is not Verdict.NOT_ASSESSED}
    actives = list(dict.fromkeys(test.active for test in without if test.active and test.active not in assessed))
    if actives:
        return f"{on}; content of {listed([shortened(active, most=30) for active in actives], most=2)} not assessed"
    return f"{on}; {listed(list(dict.fromkeys(_OPEN[test.id] for test in without)))} not assessed"


_OPEN = {
    "content-uniformity": "content against its mean",
    "dosage-unit-uniformity": "content against the label",
    "large-sample-uniformity": "content of the large sample",
}


def assayed(batch: Batch) -> str:
    """How many units were assayed whole, and how many more only in parts.

    Parameters
    ----------
    batch : Batch

    Returns
    -------
    str
        For example "10 assayed" or "10 assayed whole, 3 in parts".
    """
    whole = {assay.unit for assay in batch.assays if assay.part is Part.WHOLE}
    in_parts = {assay.unit for assay in batch.assays if assay.part is not Part.WHOLE}
    return f"{len(whole)} assayed whole, {len(in_parts)} in parts" if in_parts else f"{len(whole)} assayed"
