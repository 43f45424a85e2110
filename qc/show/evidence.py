"""The later pages: pictures with the tables behind them, then the working, the rules, the notices and the source."""

from __future__ import annotations

from collections.abc import Callable, Mapping

import qc
from qc.results import JudgedBatch, TrendFlag
from qc.say.messages import all_words, words
from qc.say.names import counted, sentence, shortened, shown_text, test_title
from qc.say.numbers import NOTHING
from qc.show import findings, pour_findings, release, tables
from qc.show.headline import test_verdict
from qc.show.pictures import (
    content_picture,
    mass_picture,
    mould_pictures,
    plane_picture,
    scatter_picture,
    tray_picture,
)
from qc.show.view import Column, Lines, Piece, Prose, Section, Table

LONGEST_TITLE = 90


def sections(judged: JudgedBatch) -> tuple[Section, ...]:
    """All later pages in order; a part with nothing to say is not there.

    A new part is one more function in `_PARTS`.
    """
    return tuple(section for part in _PARTS for section in part(judged))


def masses(judged: JudgedBatch) -> tuple[Section, ...]:
    """Tray, masses in pour order and mould by mould, the unit table."""
    trend = judged.pour_trend.mass if judged.pour_trend else None
    return (
        Section(
            id="masses-section",
            title="The units and their masses",
            pieces=(
                tray_picture(judged),
                mass_picture(judged),
                *findings.beside_the_change(trend),
                tables.unit_table(judged),
                *mould_pictures(judged, None, place=0),
            ),
        ),
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
        return (Section(id="contents-section", title="Contents", pieces=(Prose(text=text),)),)
    made = []
    for place, active in enumerate(actives, start=1):
        trend = judged.pour_trend.content.get(active) if judged.pour_trend else None
        called = trend is not None and trend.flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE)
        pieces: list[Piece | None] = [
            content_picture(judged, active, place=place),
            *findings.beside_the_change(trend),
            tables.content_table(judged, active),
            *(mould_pictures(judged, active, place=place) if called else ()),
            scatter_picture(judged, active, place=place),
            plane_picture(judged, active, place=place),
            tables.plane_table(judged, active),
        ]
        there = tuple(piece for piece in pieces if piece is not None)
        title = f"Contents of {shortened(shown_text(active), most=LONGEST_TITLE)}"
        made.append(Section(id=f"contents-section-{place}", title=title, pieces=there))
    return tuple(made)


def determinations(judged: JudgedBatch) -> tuple[Section, ...]:
    """Every assay as it was entered."""
    table = tables.assay_table(judged)
    return () if table is None else (Section(id="assays", title="All determinations", pieces=(table,)),)


def plan(judged: JudgedBatch) -> tuple[Section, ...]:
    """The planned mass, its arithmetic, and the calibration pours."""
    pieces: list[Piece] = []
    table = tables.planned_mass_table(judged)
    if judged.planned_mass is not None:
        if judged.planned_mass.working:
            pieces.append(Lines(items=(judged.planned_mass.working,), title="Working", calculation=True))
        if table is not None:
            pieces.append(table)
    pours = tables.calibration_table(judged)
    if pours is not None:
        pieces.append(pours)
    return (Section(id="plan", title="Planned mass", pieces=tuple(pieces)),) if pieces else ()


def working(judged: JudgedBatch) -> tuple[Section, ...]:
    """Each test with its reasons and its calculation, line by line."""
    pieces: list[Piece] = []
    for test in judged.tests:
        title = f"{shortened(shown_text(test_title(test)), most=LONGEST_TITLE)}: {test_verdict(test)}"
        said = [sentence(reason) for reason in all_words(test.reasons)]
        if test.missing:
            said.append(sentence(f"Not assessed: {test.missing}"))
        if test.more_units:
            said.append(f"{counted(test.more_units, 'more unit')} needed.")
        if test.next_units:
            said.append(f"Units to take, drawn at random with seed {judged.seed}: {', '.join(test.next_units)}.")
        pieces.append(Lines(items=(f"Rule {test.rule}, n = {test.n}.", *said), title=title))
        if test.working:
            pieces.append(Lines(items=all_words(test.working), calculation=True))
    return (Section(id="working", title="The working, test by test", pieces=tuple(pieces)),) if pieces else ()


def rules(judged: JudgedBatch) -> tuple[Section, ...]:
    """Every rule with its source, its mark and its clauses in the project's words."""
    pieces: list[Piece] = [
        Prose(
            text="Each clause is a restatement, not the wording of the book. The mark says how the numbers came to "
            "this tool: seen (read on the page), from memory, our reading, common practice, or house rule. Check "
            "against the edition in force."
        )
    ]
    for rule in judged.rules_used:
        head = f"{rule.id}: {rule.title}"
        source = f"{rule.work}, section {rule.section}, edition {rule.edition}. Mark: {rule.mark}."
        pieces.append(Lines(title=head, items=(source, *rule.clauses)))
    return (Section(id="rules", title="Rules used", pieces=tuple(pieces)),) if judged.rules_used else ()


def other_checks(judged: JudgedBatch) -> tuple[Section, ...]:
    """Other tests and release checks as they were entered."""
    checks = judged.batch.checks
    if not checks:
        return ()
    table = Table(
        caption="Other checks as entered",
        columns=tuple(Column(head=head) for head in ("Check", "Result", "Limit", "Done by", "Note")),
        rows=tuple(
            (check.name, *(part or NOTHING for part in (check.result, check.limit, check.done_by, check.note)))
            for check in checks
        ),
    )
    return (Section(id="checks", title="Other checks", pieces=(table,)),)


def remarks(judged: JudgedBatch) -> tuple[Section, ...]:
    """All notices, all steps and all that cannot be said."""
    pieces: list[Piece] = []
    if judged.notices:
        pieces.append(
            Table(
                caption=f"{counted(len(judged.notices), 'notice')}, in the order they arose",
                columns=(Column(head="Where"), Column(head="Notice")),
                rows=tuple((notice.where, words(notice.text)) for notice in judged.notices),
            )
        )
    else:
        pieces.append(Prose(text="No notices."))
    if judged.next_steps:
        pieces.append(Lines(title="What to do now", items=all_words(judged.next_steps)))
    if judged.cannot_say:
        pieces.append(Lines(title="What these data cannot say", items=judged.cannot_say))
    if judged.batch.note:
        pieces.append(Lines(title="Note in the batch record", items=(judged.batch.note,)))
    return (Section(id="notices", title="Notices", pieces=tuple(pieces)),)


def source(judged: JudgedBatch) -> tuple[Section, ...]:
    """What was read, by which version, under which set of rules."""
    origin = judged.batch.source
    facts: Mapping[str, str] = {
        "Product": judged.batch.product or "not named",
        "Input": origin.name if origin else "made in memory, not read from a file",
        "SHA-256 of the input": origin.sha256 if origin else NOTHING,
        "Rule set": judged.rule_set,
        "Seed of random draws": str(judged.seed),
        "Version of qc": qc.__version__,
    }
    table = Table(
        caption="What this report was made from",
        columns=(Column(head="What"), Column(head="Value")),
        rows=tuple(facts.items()),
    )
    return (Section(id="source", title="Input and version", pieces=(table,)),)


_PARTS: tuple[Callable[[JudgedBatch], tuple[Section, ...]], ...] = (
    masses,
    contents,
    findings.pour_order,
    pour_findings.doses_from_mass,
    pour_findings.assay_list,
    pour_findings.within_units,
    findings.causes,
    findings.assurance,
    determinations,
    plan,
    other_checks,
    release.release,
    working,
    rules,
    remarks,
    source,
)
