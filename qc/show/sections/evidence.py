"""The later pages: pictures with the tables behind them, then the working, the rules, the notices and the source."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from functools import partial

import qc
from qc.fields.entries import Cell, Row, entries_of
from qc.fields.sheets import ACTIVES
from qc.results import JudgedBatch, Message, RuleUsed, Trend
from qc.say.messages import all_words, words
from qc.say.names import test_title
from qc.say.numbers import NOTHING, as_typed
from qc.say.read_back import what_was_left, what_was_read
from qc.say.text import counted, shortened, shown_text
from qc.show.content import plane_picture, scatter_picture
from qc.show.headline import test_verdict
from qc.show.pieces import Lines, Piece, Prose, Section, column, facts, lines, section, table
from qc.show.sections import findings, release, tables
from qc.show.series import content_picture, mass_picture
from qc.show.tray import tray_picture

LONGEST_TITLE = 90


def sections(judged: JudgedBatch) -> tuple[Section, ...]:
    """All later pages in order; a part with nothing to say is not there.

    A new part is one more function in `_PARTS`.
    """
    return tuple(section for part in _PARTS for section in part(judged))


def masses(judged: JudgedBatch) -> tuple[Section, ...]:
    """Tray, masses in pour order, the unit table."""
    return section(
        "masses-section",
        "The units and their masses",
        tray_picture(judged),
        mass_picture(judged),
        *_beside_the_change(judged.pour_trend.mass if judged.pour_trend else None),
        tables.unit_table(judged),
    )


def contents(judged: JudgedBatch) -> tuple[Section, ...]:
    """One part an active: contents in pour order, mass against content, the plane, and their tables."""
    actives = dict.fromkeys(
        [active.name for active in judged.batch.actives]
        + [active for row in judged.unit_rows for active in row.contents]
        + [edge.active for edge in judged.boundaries]
    )
    if not any(row.contents for row in judged.unit_rows):
        text = "No pictures of contents, because no whole unit was assayed."
        return section("contents-section", "Contents", Prose(text=text))
    made: list[Section] = []
    for place, active in enumerate(actives, start=1):
        made += section(
            f"contents-section-{place}",
            f"Contents of {shortened(shown_text(active), most=LONGEST_TITLE)}",
            content_picture(judged, active, place=place),
            *_beside_the_change(judged.pour_trend.content.get(active) if judged.pour_trend else None),
            tables.content_table(judged, active),
            scatter_picture(judged, active, place=place),
            plane_picture(judged, active, place=place),
            tables.plane_table(judged, active),
        )
    return tuple(made)


def _beside_the_change(trend: Trend | None) -> tuple[Lines, ...]:
    """What belongs under the picture of a series: how cavity differences were dealt with, and what is not excluded."""
    return () if trend is None else lines(trend.correction, *trend.not_excluded)


def determinations(judged: JudgedBatch) -> tuple[Section, ...]:
    """Every assay as it was entered."""
    return section("assays", "All determinations", tables.assay_table(judged))


def plan(judged: JudgedBatch) -> tuple[Section, ...]:
    """The planned mass, its arithmetic, and the calibration pours."""
    working = "" if judged.planned_mass is None else judged.planned_mass.working
    return section(
        "plan",
        "Planned mass",
        *lines(working, title="Working", calculation=True),
        tables.planned_mass_table(judged),
        tables.calibration_table(judged),
    )


def working(judged: JudgedBatch) -> tuple[Section, ...]:
    """Each test with its reasons and its calculation, line by line."""
    pieces: list[Piece] = []
    for test in judged.tests:
        title = f"{shortened(shown_text(test_title(test)), most=LONGEST_TITLE)}: {test_verdict(test)}"
        further: tuple[Message | str, ...] = (
            f"Rule {test.rule}, n = {test.n}",
            *test.reasons,
            f"Not assessed: {words(test.missing)}" if test.missing else "",
            f"{counted(test.more_units, 'more unit')} needed" if test.more_units else "",
            f"Units to take, drawn at random with seed {judged.seed}: {', '.join(test.next_units)}"
            if test.next_units
            else "",
        )
        pieces += [*lines(*further, title=title), *lines(*test.working, calculation=True)]
    return section("working", "The working, test by test", *pieces)


def rules(judged: JudgedBatch) -> tuple[Section, ...]:
    """Every rule with its source, its mark and its clauses in the project's words."""
    restated = Prose(
        text="Each clause is a restatement, not the wording of the book. The mark says how the numbers came to "
        "this tool: seen (read on the page), from memory, our reading, common practice, or house rule. Check "
        "against the edition in force."
    )
    if not judged.rules_used:
        return ()
    return section("rules", "Rules used", restated, *map(_rule, judged.rules_used))


def _rule(rule: RuleUsed) -> Lines:
    source = f"{rule.work}, section {rule.section}, edition {rule.edition}. Mark: {rule.mark}."
    return Lines(title=f"{rule.id}: {rule.title}", items=(source, *all_words(rule.clauses)))


def other_checks(judged: JudgedBatch) -> tuple[Section, ...]:
    """Other tests and release checks as they were entered."""
    checks = table(
        "Other checks as entered",
        judged.batch.checks,
        column("Check", lambda check: check.name),
        column("Result", lambda check: check.result or None),
        column("Limit", lambda check: check.limit or None),
        column("Done by", lambda check: check.done_by or None),
        column("Note", lambda check: check.note or None),
    )
    return section("checks", "Other checks", checks)


def remarks(judged: JudgedBatch) -> tuple[Section, ...]:
    """All notices, all steps and all that cannot be said."""
    notices = table(
        f"{counted(len(judged.notices), 'notice')}, in the order they arose",
        judged.notices,
        column("Where", lambda notice: notice.where),
        column("Notice", lambda notice: words(notice.text)),
    )
    return section(
        "notices",
        "Notices",
        notices if judged.notices else Prose(text="No notices."),
        *lines(*judged.next_steps, title="What to do now"),
        *lines(*judged.cannot_say, title="What these data cannot say"),
        *(Lines(title="Note in the batch record", items=(note,)) for note in (judged.batch.note,) if note),
    )


def record(judged: JudgedBatch) -> tuple[Section, ...]:
    """The facts of the batch record as they were entered, and what is known of each active."""
    entered = entries_of(judged.batch)
    told = ((name, _as_entered(value)) for name, value in entered.batch.items())
    return section(
        "record",
        "The batch record",
        facts("Facts of the batch as entered", ((name, value) for name, value in told if value is not None)),
        table(
            "Actives as entered",
            entered.actives,
            *(column(field.heading, partial(_entered_under, field.heading)) for field in ACTIVES.entered),
            filled_alone=True,
        ),
    )


def _entered_under(heading: str, row: Row) -> str | None:
    return _as_entered(row[heading])


def _as_entered(value: Cell) -> str | None:
    if isinstance(value, Decimal):
        return as_typed(value)
    return None if value is None else str(value)


def source(judged: JudgedBatch) -> tuple[Section, ...]:
    """What was read, by which version, under which set of rules."""
    origin = judged.batch.source
    made_from = {
        "Product": judged.batch.product or "not named",
        "Input": origin.name if origin else "made in memory, not read from a file",
        "SHA-256 of the input": origin.sha256 if origin else NOTHING,
        "What was read": what_was_read(judged.batch, short=False) or NOTHING,
        "Set aside or ignored": "; ".join(what_was_left(judged.batch, short=False)) or "nothing",
        "Rule set": judged.rule_set,
        "Seed of random draws": str(judged.seed),
        "Version of qc": qc.__version__,
    }
    return section("source", "Input and version", facts("What this report was made from", made_from.items()))


_PARTS: tuple[Callable[[JudgedBatch], tuple[Section, ...]], ...] = (
    masses,
    contents,
    findings.pour_order,
    findings.doses_from_mass,
    findings.assay_list,
    findings.within_units,
    findings.causes,
    findings.assurance,
    determinations,
    plan,
    record,
    other_checks,
    release.release,
    working,
    rules,
    remarks,
    source,
)
