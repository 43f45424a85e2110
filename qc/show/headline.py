"""The words at the head of page one and of the terminal: what a verdict rests on, and on how many units."""

from __future__ import annotations

from qc.batch import Batch, Part
from qc.results import BATCH_ASSAY, OF_MASS, BatchVerdict, JudgedBatch, Message, Verdict
from qc.say.names import BATCH_SIGN, BATCH_VERDICT, OPEN_SIGN
from qc.say.text import counted, listed, shortened

OF_CONTENT = ("content-uniformity", "dosage-unit-uniformity")
TESTED = " of the units judged"
NO_MATTERS = ("advice.nothing_more", "advice.none_left")
"""What to do now that leaves nothing open."""


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
    if any(step.id == "advice.none_left" for step in steps):
        return "; no unit is left to release"
    matters = sum(step.id not in NO_MATTERS for step in steps)
    return f"; {counted(matters, 'thing')} to do before release" if matters else ""


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
    kinds = {"mass": (OF_MASS,), "content": OF_CONTENT, "mean content": (BATCH_ASSAY,)}
    kinds_met = [kind for kind, ids in kinds.items() if met & {*ids}]
    if "content" in kinds_met:
        kinds_met = [kind for kind in kinds_met if kind != "mean content"]
    on = f" on {' and '.join(kinds_met)}{TESTED}" if kinds_met else ""
    if kinds_met == ["content"] and any(test.id == OF_MASS for test in judged.tests):
        on += "; mass not assessed"
    if len(without) == len(of_content):
        if kinds_met[-1:] == ["mean content"]:
            return f"{on}; uniformity of content not assessed" if without or len(kinds_met) == 1 else on
        return f"{on}; content not assessed" if without or not on else f" on mass alone{TESTED}"
    if not without:
        return on
    assessed = {test.active for test in of_content if test.verdict is not Verdict.NOT_ASSESSED}
    actives = list(dict.fromkeys(test.active for test in without if test.active and test.active not in assessed))
    if actives:
        return f"{on}; content of {listed([shortened(active, most=30) for active in actives], most=2)} not assessed"
    return f"{on}; {listed(list(dict.fromkeys(_OPEN[test.id] for test in without)))} not assessed"


_OPEN = {"content-uniformity": "content against its mean", "dosage-unit-uniformity": "content against the label"}


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
