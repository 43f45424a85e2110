"""Page one: the verdict, what it rests on, what it cannot say, what to do now, and where to sign."""

from __future__ import annotations

from qc.results import BatchVerdict, JudgedBatch, RuleUsed, TestResult, Verdict
from qc.say.limits import LimitLine, lines
from qc.say.messages import words
from qc.say.names import BATCH_SIGN, MET, VERDICT, test_title
from qc.say.numbers import NOTHING, typed_or_worked_out
from qc.say.read_back import what_was_read
from qc.say.text import counted, listed, sentence, shortened
from qc.show.headline import assayed, headline, test_verdict
from qc.show.pieces import Compared, PageOne, Tested
from qc.show.sections.answers import columns

LONGEST_FACT = 60
LONGEST_SOURCE = 150
LONGEST_PRODUCT = 110
NOT_ENTERED = "not entered"
UNDECIDED = (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)


def page_one(judged: JudgedBatch) -> PageOne:
    """Everything on page one, in words and rounded figures.

    Parameters
    ----------
    judged : JudgedBatch
        What was judged.

    Returns
    -------
    PageOne
        The page before it is laid out.
    """
    batch = judged.batch
    left, right = columns(judged)
    return PageOne(
        product=shortened(batch.product or "Product not named", most=LONGEST_PRODUCT),
        number=batch_number(judged),
        facts=_facts(judged),
        verdict=headline(judged),
        verdict_kind=judged.verdict.value,
        sign=BATCH_SIGN[judged.verdict],
        basis=" ".join(filter(None, (basis(judged), what_was_read(batch)))),
        tests=_tests(judged),
        left=left,
        right=right,
        signatures=(
            ("Weighed by", shortened(batch.weighed_by or "", most=LONGEST_FACT)),
            ("Checked by", shortened(batch.checked_by or "", most=LONGEST_FACT)),
            ("Responsible pharmacist", ""),
        ),
    )


def batch_number(judged: JudgedBatch) -> str:
    """The batch number, or that none was given."""
    return shortened(judged.batch.number or "not numbered", most=40)


def basis(judged: JudgedBatch) -> str:
    """How many tests, with what outcome, in two short sentences; the books stand in the table."""
    judged_tests = [test for test in judged.tests if test.verdict is not Verdict.NOT_ASSESSED]
    if not judged_tests:
        return "No test could be judged with what was entered."
    failed = [test for test in judged_tests if test.verdict is Verdict.DOES_NOT_COMPLY]
    undecided = [test for test in judged_tests if test.verdict in UNDECIDED]
    total = counted(len(judged_tests), "test")
    if judged.verdict is BatchVerdict.COMPLIES:
        said = f"The sample meets {total} judged" if len(judged_tests) > 1 else "The sample meets the one test judged"
    elif failed:
        said = f"{len(failed)} of {total} not met: {listed([_begun_small(test) for test in failed], most=2)}"
    elif undecided:
        waiting = [f"{_begun_small(test)} ({test_verdict(test)})" for test in undecided]
        said = f"{len(undecided)} of {total} not decided yet: {listed(waiting, most=2)}"
    else:
        said = "A required test lacks its inputs"
    return f"{sentence(said)} Sources: see the table."


def _begun_small(test: TestResult) -> str:
    title = shortened(test_title(test), most=60)
    return title[0].lower() + title[1:]


def _facts(judged: JudgedBatch) -> tuple[tuple[str, str], ...]:
    batch = judged.batch
    poured = [] if batch.units_poured is None else [f"{batch.units_poured} poured"]
    units = [*poured, f"{len(batch.weighed)} weighed", assayed(batch)]
    planned = judged.planned_mass.planned_g if judged.planned_mass else None
    entered = (
        ("Form", batch.dosage_form),
        ("Base", batch.base.value if batch.base else None),
        ("Units", ", ".join(units)),
        ("Made on", batch.made_on),
        ("Made by", batch.made_by),
        ("Planned mass", typed_or_worked_out(planned, decimals=4, unit="g") if planned is not None else "not known"),
    )
    return tuple((name, shortened(value or NOT_ENTERED, most=LONGEST_FACT)) for name, value in entered)


def _tests(judged: JudgedBatch) -> tuple[Tested, ...]:
    known = {rule.id: rule for rule in judged.rules_used}
    cited = [test.rule for test in judged.tests]
    return tuple(
        Tested(
            title=shortened(test_title(test), most=80),
            verdict=test_verdict(test),
            source=_cited(known[test.rule], again=test.rule in cited[:place]) if test.rule in known else test.rule,
            lines=_compared(test) or (_without_figures(test),),
        )
        for place, test in enumerate(judged.tests)
    )


def _compared(test: TestResult) -> tuple[Compared, ...]:
    return tuple(
        Compared(what=line.what, figure=line.figure, limit=line.limit, met=_met(line, test))
        for line in lines(test.criteria)
    )


def _without_figures(test: TestResult) -> Compared:
    """Why a test has no figure to show."""
    reason = words(test.reasons[0]) if test.reasons else VERDICT[test.verdict]
    told = f"missing: {words(test.missing)}" if test.missing else reason
    return Compared(what=shortened(told, most=LONGEST_SOURCE), figure=NOTHING, limit=NOTHING, met=NOTHING)


def _cited(rule: RuleUsed, *, again: bool) -> str:
    """Where the rule stands and how that is known; the work and its edition stand once on the page."""
    said = f"as above, {rule.section}" if again else f"{rule.work} {rule.section}, {rule.edition}"
    return f"{shortened(said, most=LONGEST_SOURCE)} [{rule.mark}]"


def _met(line: LimitLine, test: TestResult) -> str:
    # Open only where a stage or units are lacking; any other line without an answer is for information.
    without_answer = line.for_information or test.verdict not in UNDECIDED
    return NOTHING if line.met is None and without_answer else MET[line.met]
