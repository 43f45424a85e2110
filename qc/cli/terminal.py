"""A judged batch in the words of a terminal: the verdict first, then figures beside limits, at 80 columns."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

from qc.cli.words import printable
from qc.results import Criterion, JudgedBatch, TestResult, Verdict
from qc.say.limits import lines as limit_lines
from qc.say.messages import all_words, paragraph, words
from qc.say.names import TEST, in_words, test_title
from qc.say.release import packing_checklist, reconciliation, visual_inspection
from qc.show.answers import least_sure_first, likeliest, named_cause
from qc.show.headline import assayed, headline, test_verdict

WIDTH = 80
_QUIET = (Verdict.COMPLIES, Verdict.NOT_ASSESSED)
MET_WORDS = {True: "met", False: "NOT MET", None: ""}
# A terminal may know only the plain letters of its code page.
_PLAIN_LETTERS = str.maketrans({"\N{MINUS SIGN}": "-", "\N{MULTIPLICATION SIGN}": "x", "\N{NO-BREAK SPACE}": " "})


def summary(judged: JudgedBatch) -> str:
    """The whole summary, lines of at most 80 columns, ending in a line break."""
    lines = [*_heading(judged), ""]
    for test in judged.tests:
        lines += [*_test(judged, test), ""]
    lines += _section("What to do now", all_words(judged.next_steps))
    lines += [*_found(judged)]
    lines += _section("Before release", _before_release(judged))
    lines += _section("What these data cannot say", all_words(judged.cannot_say))
    lines += _section("Notices", [f"{notice.where}: {words(notice.text)}" for notice in judged.notices])
    lines += textwrap.wrap("The tool judges a sample; a person releases a batch.", WIDTH)
    return printable("\n".join(lines).translate(_PLAIN_LETTERS)) + "\n"


def _heading(judged: JudgedBatch) -> list[str]:
    batch = judged.batch
    name = ", ".join(part for part in (f"batch {batch.number}" if batch.number else "", batch.product) if part)
    counts = f"{len(batch.units)} units entered, {len(batch.weighed)} weighed"
    return [
        *textwrap.wrap(f"{_in_capitals(headline(judged))}   {name}", WIDTH, subsequent_indent="    "),
        *textwrap.wrap(f"{counts}, {assayed(batch)}; rule set: {judged.rule_set}", WIDTH),
    ]


def _in_capitals(words: str) -> str:
    """The verdict itself in capitals; what it does not reach stays in small letters."""
    for before in (" on mass", ";"):
        verdict, mark, rest = words.partition(before)
        if mark:
            return f"{verdict.upper()}{mark}{rest}"
    return words.upper()


def _test(judged: JudgedBatch, test: TestResult) -> list[str]:
    verdict = test_verdict(test)
    lines = _two_columns(test_title(test), verdict if test.verdict in _QUIET else verdict.upper())
    lines += _wrapped(f"{_source(judged, test)} [{test.rule}]", indent=2)
    for criterion in limit_lines(test.criteria):
        lines += _criterion(criterion)
    if test.outside:
        outside = ", ".join(
            f"{unit.unit} ({unit.deviation_percent:+.2f} %{'' if unit.in_sample else ', not in the sample'})"
            for unit in test.outside
        )
        lines += _wrapped(f"Units outside: {outside}", indent=2)
    if test.verdict is not Verdict.COMPLIES:
        for reason in all_words(test.reasons):
            lines += _wrapped(reason, indent=2)
    return lines


def _source(judged: JudgedBatch, test: TestResult) -> str:
    for rule in judged.rules_used:
        if rule.id == test.rule:
            mark = "" if rule.mark == "seen" else f", {rule.mark}"
            return f"{rule.work} {rule.section} ({rule.edition}){mark}"
    return ""


def _criterion(criterion: Criterion) -> list[str]:
    """A figure beside its limit in columns; written out where a column is too narrow for it, never cut."""
    met = MET_WORDS[criterion.met]
    line = f"  {criterion.what:<38} {criterion.figure:<17} {criterion.limit:<13} {met}".rstrip()
    if len(criterion.what) <= 38 and len(line) <= WIDTH:
        return [line]
    parts = [f"{criterion.what}: {criterion.figure}", criterion.limit, met]
    return _wrapped("; ".join(part for part in parts if part), indent=2)


def _found(judged: JudgedBatch) -> list[str]:
    lines: list[str] = []
    if judged.pour is not None and judged.pour.sentence:
        lines += _section("In the pour", all_words([*judged.mould_findings, judged.pour.sentence]))
    if judged.pour is not None and judged.pour.assay_list is not None and judged.pour.assay_list.random_units:
        lines += _section("Which units to assay", [words(judged.pour.assay_list.sentence)])
    named = [f"{named_cause(one)} [{one.cause}]" for one in likeliest(judged)]
    lines += _section("Likeliest causes", [*named, *all_words(pair.sentence for pair in judged.cause_pairs)])
    titles = {(test.id, test.active): test_title(test) for test in judged.tests}
    sure = least_sure_first(judged)
    lines += _section(
        "How sure",
        [f"{titles.get((one.test, one.active), in_words(one.test, TEST))}: {paragraph(one.said)}" for one in sure],
    )
    return lines


def _before_release(judged: JudgedBatch) -> list[str]:
    """What was looked at besides the tests; a checklist that was begun stands among them."""
    sentences = [] if judged.visual is None else [visual_inspection(judged.visual)]
    if judged.reconciliation is not None:
        sentences += [reconciliation(judged.reconciliation), *all_words(judged.reconciliation.missing)]
    if judged.packing is not None and not judged.packing.started:
        sentences.append(packing_checklist(judged.packing))
    return sentences


def _section(title: str, sentences: Iterable[str]) -> list[str]:
    kept = list(sentences)
    if not kept:
        return []
    lines = [title]
    for sentence in kept:
        lines += textwrap.wrap(sentence, WIDTH, initial_indent="  - ", subsequent_indent="    ", break_on_hyphens=False)
    return [*lines, ""]


def _two_columns(left: str, right: str) -> list[str]:
    room = WIDTH - len(right) - 1
    lines = textwrap.wrap(left, room)
    return [*lines[:-1], f"{lines[-1]:<{room}} {right}"]


def _wrapped(text: str, *, indent: int) -> list[str]:
    margin = " " * indent
    return textwrap.wrap(text, WIDTH, initial_indent=margin, subsequent_indent=margin, break_on_hyphens=False)
