"""Page one: the verdict, what it rests on, what it cannot say, what to do now, and where to sign."""

from __future__ import annotations

from collections.abc import Sequence

from qc.report.numbers import NOTHING, as_typed, fixed, signed_beside
from qc.report.view import Block, FrontLine, PageOne, Signature
from qc.report.words import (
    BATCH_SIGN,
    BATCH_VERDICT,
    CAUSE,
    MET,
    TEST,
    TREND,
    VERDICT,
    counted,
    in_words,
    listed,
    sentence,
    shortened,
    test_title,
)
from qc.results import BatchVerdict, JudgedBatch, Outside, RuleUsed, TestResult, Verdict

UNITS_NAMED = 10
CAUSES_NAMED = 3
LEAST_PROBABILITY = 0.02
SENTENCES = 4
LONGEST_NAME = 24
LONGEST_SENTENCE = 330
LONGEST_FACT = 60
LONGEST_SOURCE = 150
LONGEST_PRODUCT = 110
NOT_ENTERED = "not entered"
CAUTION = (
    "This report judges a sample by the rules named in it; it does not release a batch. The pharmacopoeia in force, "
    "local law and local procedure come first, and the licensed person who signs decides."
)
CHOICES = ("released", "rejected", "further testing")


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
    return PageOne(
        product=shortened(batch.product or "Product not named", most=LONGEST_PRODUCT),
        number=batch_number(judged),
        facts=_facts(judged),
        verdict=BATCH_VERDICT[judged.verdict],
        verdict_kind=judged.verdict.value,
        sign=BATCH_SIGN[judged.verdict],
        basis=basis(judged),
        lines=_lines(judged),
        left=_found(judged),
        right=_to_do(judged),
        signatures=(
            Signature(role="Weighed by", name=shortened(batch.weighed_by or "", most=LONGEST_FACT)),
            Signature(role="Checked by", name=shortened(batch.checked_by or "", most=LONGEST_FACT)),
            Signature(role="Responsible pharmacist", name=""),
        ),
        decision="Decision of the responsible pharmacist",
        choices=CHOICES,
        caution=CAUTION,
    )


def batch_number(judged: JudgedBatch) -> str:
    """The batch number, or that none was given."""
    return shortened(judged.batch.number or "not numbered", most=40)


def basis(judged: JudgedBatch) -> str:
    """One sentence: how many tests, with what outcome, by which books."""
    judged_tests = [test for test in judged.tests if test.verdict is not Verdict.NOT_ASSESSED]
    if not judged_tests:
        return "No test could be judged with what was entered."
    failed = [test for test in judged_tests if test.verdict is Verdict.DOES_NOT_COMPLY]
    undecided = [test for test in judged_tests if test.verdict in (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)]
    total = counted(len(judged_tests), "test")
    if judged.verdict is BatchVerdict.COMPLIES:
        said = f"The sample meets {total} judged" if len(judged_tests) > 1 else "The sample meets the one test judged"
    elif failed:
        titles = [shortened(test_title(test), most=60) for test in failed]
        said = f"{len(failed)} of {total} not met: {listed(titles, most=4)}"
    elif undecided:
        said = (
            f"{len(undecided)} of {total} not decided yet: {listed([_open_test(test) for test in undecided], most=3)}"
        )
    else:
        said = "A required test lacks its inputs"
    books = dict.fromkeys(f"{rule.work} {rule.section} ({rule.edition})" for rule in _rules_of(judged, judged_tests))
    return sentence(f"{said}. Judged by {listed(list(books), most=4)}" if books else said)


def _open_test(test: TestResult) -> str:
    title = shortened(test_title(test), most=60)
    return f"{title} ({VERDICT[test.verdict]})"


def _rules_of(judged: JudgedBatch, tests: Sequence[TestResult]) -> list[RuleUsed]:
    known = {rule.id: rule for rule in judged.rules_used}
    return [known[test.rule] for test in tests if test.rule in known]


def _facts(judged: JudgedBatch) -> tuple[tuple[str, str], ...]:
    batch = judged.batch
    weighed = len(batch.weighed)
    assayed = sum(bool(row.contents) for row in judged.unit_rows)
    units = [counted(weighed, "weighed", "weighed"), counted(assayed, "assayed", "assayed")]
    if batch.units_poured is not None:
        units.insert(0, counted(batch.units_poured, "poured", "poured"))
    planned = judged.planned_mass.planned_g if judged.planned_mass else None
    entered = (
        ("Form", batch.dosage_form),
        ("Base", batch.base.value if batch.base else None),
        ("Units", ", ".join(units)),
        ("Made on", batch.made_on),
        ("Made by", batch.made_by),
        ("Planned mass", as_typed(planned, unit="g") if planned is not None else "not known"),
    )
    return tuple((name, shortened(value or NOT_ENTERED, most=LONGEST_FACT)) for name, value in entered)


def _lines(judged: JudgedBatch) -> tuple[FrontLine, ...]:
    known = {rule.id: rule for rule in judged.rules_used}
    made: list[FrontLine] = []
    for test in judged.tests:
        rule = known.get(test.rule)
        source = f"{_cited(rule)} [{rule.mark}]" if rule else test.rule
        rows = [(line.what, line.figure, line.limit, _met(line.met, test)) for line in test.criteria]
        if not rows:
            reason = test.reasons[0] if test.reasons else VERDICT[test.verdict]
            said = f"missing: {test.missing}" if test.missing else reason
            rows = [(shortened(said, most=LONGEST_SOURCE), NOTHING, NOTHING, NOTHING)]
        for place, (what, figure, limit, met) in enumerate(rows):
            made.append(
                FrontLine(
                    test=shortened(test_title(test), most=80),
                    verdict=VERDICT[test.verdict],
                    source=source,
                    what=what,
                    figure=figure,
                    limit=limit,
                    met=met,
                    first=place == 0,
                    span=len(rows),
                )
            )
    return tuple(made)


def _cited(rule: RuleUsed) -> str:
    return shortened(f"{rule.work} {rule.section}, {rule.edition}", most=LONGEST_SOURCE)


def _met(met: bool | None, test: TestResult) -> str:
    # In a test that is decided, a line without an answer is for information.
    open_still = test.verdict in (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS)
    return NOTHING if met is None and not open_still else MET[met]


def _found(judged: JudgedBatch) -> tuple[Block, ...]:
    blocks = [Block(title="Units outside", lines=_outside(judged))]
    where = _where(judged)
    if where:
        blocks.append(Block(title="Where in the pour", lines=where))
    if judged.causes:
        ordered = sorted(judged.causes, key=lambda found: -found.probability)
        shown = [found for found in ordered if found.probability >= LEAST_PROBABILITY][:CAUSES_NAMED] or ordered[:1]
        lines = [
            f"{fixed(found.probability * 100, decimals=0)} % {in_words(found.cause, CAUSE)}"
            + (f": {_short(found.evidence[0])}" if found.evidence and place == 0 else "")
            for place, found in enumerate(shown)
        ]
        blocks.append(Block(title="Likeliest causes", lines=tuple(lines)))
    return tuple(blocks)


def _outside(judged: JudgedBatch) -> tuple[str, ...]:
    lines = []
    for test in judged.tests:
        if not test.outside:
            continue
        worst = sorted(test.outside, key=lambda unit: -abs(unit.deviation_percent))
        named = listed([_outside_unit(unit, judged, test) for unit in worst], most=UNITS_NAMED)
        lines.append(f"{shortened(test_title(test), most=60)}: {named}.")
        if test.without_left_out is not None:
            without = test.without_left_out
            units = listed([shortened(unit, most=LONGEST_NAME) for unit in without.units], most=4)
            lines.append(
                f"Without the left-out {units}: {VERDICT[without.verdict]}; the verdict of record counts them."
            )
    judged_any = any(test.verdict is not Verdict.NOT_ASSESSED for test in judged.tests)
    return tuple(lines[:6]) or (("None.",) if judged_any else ("No limit was judged.",))


def _outside_unit(unit: Outside, judged: JudgedBatch, test: TestResult) -> str:
    limits = (
        (judged.mass_limit_percent, judged.mass_outer_percent)
        if test.id == "mass-uniformity"
        else (judged.content_inner_percent, judged.content_outer_percent)
    )
    shown = signed_beside(unit.deviation_percent, limits=limits, decimals=1)
    remarks = [
        *(["beyond the outer limit"] if unit.beyond_outer else []),
        *([] if unit.in_sample else ["not in the sample"]),
    ]
    remark = f", {', '.join(remarks)}" if remarks else ""
    return f"unit {shortened(unit.unit, most=LONGEST_NAME)} ({shown} %{remark})"


def _where(judged: JudgedBatch) -> tuple[str, ...]:
    if judged.pour_trend is None:
        return ()
    trend = judged.pour_trend
    named = [("Masses", trend.mass), *((f"Contents of {active}", found) for active, found in trend.content.items())]
    return tuple(_short(found.sentence or f"{shortened(name, most=50)}: {TREND[found.flag]}") for name, found in named)[
        :3
    ]


def _to_do(judged: JudgedBatch) -> tuple[Block, ...]:
    steps = tuple(_short(step) for step in judged.next_steps)
    sure = tuple(_short(found.sentence) for found in judged.assurance if found.sentence)
    limits_of_data = tuple(_short(remark) for remark in judged.cannot_say)
    missing = dict.fromkeys(
        _short(f"{in_words(test.id, TEST)} was not assessed; missing: {test.missing}")
        for test in judged.tests
        if test.verdict is Verdict.NOT_ASSESSED and test.missing
    )
    return (
        Block(title="What to do now", lines=_first(steps) or ("Nothing further is asked by the tests.",)),
        *((Block(title="How sure", lines=sure[:2]),) if sure else ()),
        Block(
            title="What these data cannot say",
            lines=_first((*limits_of_data, *missing))
            or ("Whether units that were not measured are like those that were.",),
        ),
        Block(title="Notices", lines=(_notices(judged),)),
    )


def _first(sentences: tuple[str, ...]) -> tuple[str, ...]:
    if len(sentences) <= SENTENCES:
        return sentences
    return (*sentences[:SENTENCES], f"And {len(sentences) - SENTENCES} more, listed on the later pages.")


def _short(text: str) -> str:
    return sentence(shortened(text, most=LONGEST_SENTENCE))


def _notices(judged: JudgedBatch) -> str:
    if not judged.notices:
        return "None."
    return f"{counted(len(judged.notices), 'notice')} on the input and the judging, listed on the later pages."
