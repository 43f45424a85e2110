"""A judged batch in the words of a terminal, at 80 columns: the answer in a few lines, or everything."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from qc.batch import Batch
from qc.cli.words import printable
from qc.jobs.differences import Difference
from qc.results import BatchVerdict, JudgedBatch, TestResult, Verdict
from qc.results.messages import Message
from qc.rules.rule_books import DEFAULT_SET
from qc.say import worst
from qc.say.in_short import grouped, means, not_met, pour_in_short
from qc.say.limits import LimitLine
from qc.say.limits import lines as limit_lines
from qc.say.messages import all_words, words
from qc.say.names import test_title, verdict_of
from qc.say.numbers import signed
from qc.say.read_back import ROOMS, never_cut, told_in_brief, what_was_left, what_was_read
from qc.say.release import defects_seen, packing_checklist, releasable
from qc.say.text import ELLIPSIS, brief, shortened
from qc.show.headline import assayed, headline_parts, never_released
from qc.show.pages_text import WIDTH, plain, text_page, wrapped
from qc.show.pieces import Lines, Prose
from qc.show.sections import answers
from qc.show.sections.of_document import DIGITS_OF_DIGEST, NO_DIFFERENCE, TITLE, which

MOST_LINES = 14
"""Of an answer that was not asked for in full, the paths of what was written among them."""
MOST_LINES_READ = 2
LEAST_NAME = 12
MET_WORDS = {True: "met", False: "NOT MET", None: ""}
_QUIET = (Verdict.COMPLIES, Verdict.NOT_ASSESSED)
_MORE, _WHOLE = "more: --full", "all in full: --full"
# What differs from a superseded report and is told first.
_VERDICT, _MEASURED = ("batch", "verdict"), ("mass_g", "contents", "weighed_again_g", "left_out_because")
_MARKS = {True: "FAILS ", False: "OPEN  "}
# Where there is not room for all, parts give way in this order, each down to so many lines.
_GIVES_WAY = (
    *(("steps", 3), ("why", 2), ("met", 2), ("means", 2), ("open", 4), ("pour", 1), ("steps", 2), ("why", 1)),
    *(("corrected", 3), ("left", 1), ("seen", 1), ("worst", 1), ("unasked", 1)),
    *(("met", 1), ("unasked", 0), ("means", 1), ("open", 2), ("pour", 0), ("means", 0), ("why", 0), ("steps", 1)),
    *(("open", 1), ("corrected", 1)),
)


def short_summary(judged: JudgedBatch, *, beside: int = 0) -> str:
    """The answer in at most fourteen lines of 80 columns, ending in a line break.

    Parameters
    ----------
    judged : JudgedBatch
    beside : int
        How many lines are printed below it: of the fourteen they leave so many fewer.
    """
    lines = [*_read(judged.batch), *_short_heading(judged)]
    parts = _short_parts(judged)
    room = {name: len(_fitted(*part)) for name, part in parts.items()}
    for name, least in _GIVES_WAY:
        over = sum(room.values()) + len(lines) + beside - MOST_LINES
        room[name] -= max(min(over, room[name] - least), 0)
    lines += [line for name, part in parts.items() for line in _fitted(*part, most=room[name])]
    return printable("\n".join(map(plain, lines))) + "\n"


def _short_heading(judged: JudgedBatch) -> list[str]:
    """The verdict with its basis, never cut, and which batch it is."""
    verdict, reach = headline_parts(judged)
    said = f"{verdict.upper()}{reach}{'' if judged.rule_set == DEFAULT_SET else f' ({judged.rule_set})'}"
    name = ", ".join(part for part in (judged.batch.number, judged.batch.product) if part)
    lines = wrapped(said, rest="  ")
    room = WIDTH - len(lines[-1]) - len("   batch ")
    beside = f"   batch {shortened(name, most=room)}" if name and room >= LEAST_NAME else ""
    return [*lines[:-1], lines[-1] + beside]


def _short_parts(judged: JudgedBatch) -> dict[str, tuple[str, str, list[str]]]:
    """What the answer says, part by part: the words before it, what stands between its items, and those."""
    of: dict[str, list[TestResult]] = {"met": [], "unasked": [], "open": []}
    for test in judged.tests:
        unasked = test.verdict is Verdict.NOT_ASSESSED and not test.required
        of["met" if test.verdict is Verdict.COMPLIES else "unasked" if unasked else "open"].append(test)
    fails = judged.verdict is BatchVerdict.DOES_NOT_COMPLY
    failing = sorted(of["open"], key=lambda test: (test.verdict is not Verdict.DOES_NOT_COMPLY, not test.required))
    marks = [_MARKS[test.verdict is Verdict.DOES_NOT_COMPLY] for test in failing]
    told = [f"{mark}{not_met(test, most=WIDTH - len(mark))}" for mark, test in zip(marks, failing, strict=True)]
    pour = () if judged.pour_trend is None else pour_in_short(judged.pour_trend)
    why = [
        *map(answers.named_causes, answers.likeliest(judged)),
        *(words(pair.sentence) for pair in judged.cause_pairs),
    ]
    return {
        "open": ("", "\n", told),
        "corrected": ("", "\n", [*all_words(answers.corrected(judged))]),
        "left": ("", " ", [*answers.left_out(judged)[:1]]),
        "seen": ("Seen: ", "; ", list(defects_seen(judged.visual)) if judged.visual is not None and not fails else []),
        "worst": (f"{worst.IN_SHORT}: ", "; ", list(worst.in_short(judged))),
        "means": ("Mean: ", "; ", list(means(judged))),
        "met": ("Met: ", "; ", list(grouped(of["met"]))),
        "unasked": ("Left open: ", "; ", list(grouped(of["unasked"]))),
        "pour": ("In the pour: ", "; ", [*(one.rstrip(".") for one in all_words(judged.mould_findings)), *pour]),
        "why": ("Likeliest: ", "; ", why),
        "steps": ("To do: ", " ", [*all_words(judged.next_steps)]),
    }


def _fitted(lead: str, between: str, items: Sequence[str], most: int | None = None) -> list[str]:
    """Items in lines, in so many of them; where they do not all fit, how many more there are."""
    for kept in range(len(items), 0, -1) if most != 0 else ():
        more = [f"and {len(items) - kept} {_MORE}"] if kept < len(items) else []
        told = between.join([*items[:kept], *more]).split("\n")
        lines = [line for one in told for line in wrapped(f"{lead}{one}", rest="  ")]
        if most is None or len(lines) <= most:
            return lines
    for letters in range(WIDTH * (most or 0), 0, -1) if items else ():
        cut = brief(items[0], most=letters).removesuffix(ELLIPSIS)
        lines = wrapped(f"{lead}{cut}{ELLIPSIS} {_MORE}", rest="  ")
        if most is not None and len(lines) <= most:
            return lines
    return []


def summary(judged: JudgedBatch) -> str:
    """Everything the answer holds, lines of at most 80 columns, ending in a line break."""
    lines = [*_all_read(judged.batch), *_heading(judged), ""]
    for test in judged.tests:
        lines += [*_test(judged, test), ""]
    told = [Lines(title=title, items=all_words(items)) for title, items in _told(judged).items()]
    last = Prose(text="The tool judges a sample; a person releases a batch.")
    return printable("\n".join((*map(plain, lines), text_page((*told, last))))) + "\n"


def changes(superseded: Mapping[str, Any], *, full: bool = True) -> str:
    """The `supersedes` part of a result document: which report, why, and every difference; ends in a line break."""
    differences = [str(Difference(**one)) for one in superseded["differences"]]
    if not full:
        # A verdict that turned, and the measured values behind it, are what a correction is looked at for.
        found = [Difference(**one) for one in superseded["differences"]]
        gravest = sorted(found, key=lambda one: ((one.where, one.what) != _VERDICT, one.what not in _MEASURED))
        lead = f"Supersedes report {superseded['result_sha256'][:DIGITS_OF_DIGEST]}: "
        return printable("\n".join(_fitted(lead, "; ", list(map(str, gravest)) or [NO_DIFFERENCE], most=2))) + "\n"
    told = Lines(title=TITLE, items=(*which(superseded), *(differences or [NO_DIFFERENCE])))
    return printable(text_page([told])) + "\n"


def _told(judged: JudgedBatch) -> dict[str, Iterable[Message | str]]:
    """What is said below the tests, title by title; a title under which nothing is said is not printed."""
    pour, sure = judged.pour, answers.least_sure_first(judged)
    listed = None if pour is None else pour.assay_list
    return {
        "Weighed again": answers.corrected(judged),
        worst.TITLE: worst.of_each_quantity(judged),
        "What to do now": judged.next_steps,
        "In the pour": ()
        if pour is None or not pour.sentence
        else (
            *judged.mould_findings,
            pour.sentence,
            *dict.fromkeys(words(one) for trend in pour.trend.called for one in trend.not_excluded),
        ),
        "Which units to assay": (listed.sentence,) if listed is not None and listed.random_units else (),
        "Likeliest causes": (
            *(f"{answers.named_causes(one)} [{', '.join(one.ids)}]" for one in answers.likeliest(judged)),
            *(pair.sentence for pair in judged.cause_pairs),
        ),
        "The next pour": answers.next_pour(judged),
        "How sure": [
            *(f"{answers.titled(judged, one)}: {words(one.said[0])}" for one in sure),
            *dict.fromkeys(words(caveat) for one in sure for caveat in one.caveats),
        ],
        "Before release": _before_release(judged),
        "What these data cannot say": judged.cannot_say,
        "Notices": [f"{notice.where}: {words(notice.text)}" for notice in judged.notices],
    }


def _before_release(judged: JudgedBatch) -> list[Message | str]:
    """What was looked at besides the tests; a checklist that was begun stands among them."""
    told: list[Message | str] = [*answers.looked_at_besides(judged)]
    if judged.ledger is not None:
        told.append(f"To release: {'none' if never_released(judged) else releasable(judged.ledger, judged.verdict)}.")
    if judged.reconciliation is not None:
        told += judged.reconciliation.missing
    if judged.packing is not None and not judged.packing.started:
        told.append(packing_checklist(judged.packing))
    return told


def _all_read(batch: Batch) -> list[str]:
    """What was read, all that was set aside or ignored in a line of its own."""
    said = wrapped(what_was_read(batch, short=False), rest="  ")
    return [
        *said,
        *(line for one in what_was_left(batch, short=False) for line in wrapped(f"{one}.", first="  ", rest="    ")),
    ]


def _read(batch: Batch) -> list[str]:
    """What was read, in two lines; what may be about units, which is never cut, in those below."""
    least = never_cut(batch)
    left, lines = what_was_left(batch), list[str]()
    for room in ROOMS:
        for kept in range(len(left), least - 1, -1):
            rest, beside = len(left) - kept, told_in_brief(batch, past=kept)
            more = f"{f'also {beside}; ' if beside else ''}and {rest} {_MORE}" if kept else f"{rest} left aside: --full"
            cut = any(ELLIPSIS in one for one in left)
            told = "; ".join([*left[:kept], more] if rest else [*left, *([_WHOLE] if cut else [])])
            lines = wrapped(f"{what_was_read(batch, room=room)} {told}", rest="  ")
            if len(lines) <= MOST_LINES_READ + least + bool(beside):
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
    verdict = verdict_of(test)
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
