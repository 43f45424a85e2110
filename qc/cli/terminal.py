"""A judged batch in the words of a terminal: the verdict first, then figures beside limits, at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping
from typing import Any

from qc.batch import Batch
from qc.cli.words import printable
from qc.jobs.differences import Difference
from qc.results import JudgedBatch, TestResult, Verdict
from qc.results.messages import Message
from qc.say.limits import LimitLine
from qc.say.limits import lines as limit_lines
from qc.say.messages import all_words, paragraph, words
from qc.say.names import test_title
from qc.say.numbers import signed
from qc.say.read_back import ROOMS, what_was_left, what_was_read
from qc.say.release import packing_checklist
from qc.show.headline import assayed, headline_parts, test_verdict
from qc.show.pages_text import WIDTH, plain, text_page, wrapped
from qc.show.pieces import Lines, Prose
from qc.show.sections.answers import least_sure_first, likeliest, looked_at_besides, named_cause, titled
from qc.show.sections.of_document import NO_DIFFERENCE, TITLE, which

MOST_LINES_READ = 2
_QUIET = (Verdict.COMPLIES, Verdict.NOT_ASSESSED)
MET_WORDS = {True: "met", False: "NOT MET", None: ""}


def summary(judged: JudgedBatch, *, full: bool = False) -> str:
    """The whole summary, lines of at most 80 columns, ending in a line break.

    Parameters
    ----------
    judged : JudgedBatch
    full : bool
        Whether everything that was set aside or ignored is listed.
    """
    lines = [*_read(judged.batch, full=full), *_heading(judged), ""]
    for test in judged.tests:
        lines += [*_test(judged, test), ""]
    told = [Lines(title=title, items=all_words(items)) for title, items in _told(judged).items()]
    last = Prose(text="The tool judges a sample; a person releases a batch.")
    return printable("\n".join((*map(plain, lines), text_page((*told, last))))) + "\n"


def changes(superseded: Mapping[str, Any]) -> str:
    """The `supersedes` part of a result document: which report, why, and every difference; ends in a line break."""
    differences = [str(Difference(**one)) for one in superseded["differences"]]
    told = Lines(title=TITLE, items=(*which(superseded), *(differences or [NO_DIFFERENCE])))
    return printable(text_page([told])) + "\n"


def _told(judged: JudgedBatch) -> dict[str, Iterable[Message | str]]:
    """What is said below the tests, title by title; a title under which nothing is said is not printed."""
    pour = judged.pour
    listed = None if pour is None else pour.assay_list
    return {
        "What to do now": judged.next_steps,
        "In the pour": (*judged.mould_findings, pour.sentence) if pour is not None and pour.sentence else (),
        "Which units to assay": (listed.sentence,) if listed is not None and listed.random_units else (),
        "Likeliest causes": (
            *(f"{named_cause(one)} [{one.cause}]" for one in likeliest(judged)),
            *(pair.sentence for pair in judged.cause_pairs),
        ),
        "How sure": [f"{titled(judged, one)}: {paragraph(one.said)}" for one in least_sure_first(judged)],
        "Before release": _before_release(judged),
        "What these data cannot say": judged.cannot_say,
        "Notices": [f"{notice.where}: {words(notice.text)}" for notice in judged.notices],
    }


def _before_release(judged: JudgedBatch) -> list[Message | str]:
    """What was looked at besides the tests; a checklist that was begun stands among them."""
    told: list[Message | str] = [*looked_at_besides(judged)]
    if judged.reconciliation is not None:
        told += judged.reconciliation.missing
    if judged.packing is not None and not judged.packing.started:
        told.append(packing_checklist(judged.packing))
    return told


def _read(batch: Batch, *, full: bool) -> list[str]:
    """What was read, in two lines; all of it where it was asked for in full."""
    left = what_was_left(batch, short=not full)
    if full:
        said = wrapped(what_was_read(batch, short=False), rest="  ")
        return [*said, *(line for one in left for line in wrapped(f"{one}.", first="  ", rest="    "))]
    lines: list[str] = []
    for room in ROOMS:
        for kept in range(len(left), -1, -1):
            rest = len(left) - kept
            more = f"and {rest} more: --full" if kept else f"{rest} left aside: --full"
            told = "; ".join([*left[:kept], more] if rest else left)
            lines = wrapped(f"{what_was_read(batch, room=room)} {told}", rest="  ")
            if len(lines) <= MOST_LINES_READ:
                return lines
    return lines


def _heading(judged: JudgedBatch) -> list[str]:
    batch = judged.batch
    name = ", ".join(part for part in (f"batch {batch.number}" if batch.number else "", batch.product) if part)
    # The verdict itself in capitals; what it does not reach stays in small letters.
    verdict, reach = headline_parts(judged)
    counts = f"{len(batch.units)} units entered, {len(batch.weighed)} weighed"
    return [
        *wrapped(f"{verdict.upper()}{reach}   {name}", rest="    "),
        *wrapped(f"{counts}, {assayed(batch)}; rule set: {judged.rule_set}"),
    ]


def _test(judged: JudgedBatch, test: TestResult) -> list[str]:
    verdict = test_verdict(test)
    lines = _two_columns(test_title(test), verdict if test.verdict in _QUIET else verdict.upper())
    lines += _below(f"{_source(judged, test)} [{test.rule}]")
    for criterion in limit_lines(test.criteria):
        lines += _criterion(criterion)
    if test.outside:
        outside = ", ".join(
            f"{unit.unit} ({signed(unit.deviation_percent, decimals=2)} %"
            f"{'' if unit.in_sample else ', not in the sample'})"
            for unit in test.outside
        )
        lines += _below(f"Units outside: {outside}")
    if test.verdict is not Verdict.COMPLIES:
        for reason in all_words(test.reasons):
            lines += _below(reason)
    return lines


def _source(judged: JudgedBatch, test: TestResult) -> str:
    for rule in judged.rules_used:
        if rule.id == test.rule:
            mark = "" if rule.mark == "seen" else f", {rule.mark}"
            return f"{rule.work} {rule.section} ({rule.edition}){mark}"
    return ""


def _criterion(criterion: LimitLine) -> list[str]:
    """A figure beside its limit in columns; written out where a column is too narrow for it, never cut."""
    met = MET_WORDS[criterion.met]
    line = f"  {criterion.what:<38} {criterion.figure:<17} {criterion.limit:<13} {met}".rstrip()
    if len(criterion.what) <= 38 and len(line) <= WIDTH:
        return [line]
    parts = [f"{criterion.what}: {criterion.figure}", criterion.limit, met]
    return _below("; ".join(part for part in parts if part))


def _two_columns(left: str, right: str) -> list[str]:
    room = WIDTH - len(right) - 1
    lines = textwrap.wrap(left, room)
    return [*lines[:-1], f"{lines[-1]:<{room}} {right}"]


def _below(text: str) -> list[str]:
    return wrapped(text, first="  ", rest="  ")
