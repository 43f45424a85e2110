"""The later pages: how it came about and how sure that is, then the annex with units, working, rules and the record."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import partial

from msgspec.structs import replace

import qc
from qc.batch import Check
from qc.fields.entries import Cell, Row, entries_of
from qc.fields.sheets import ACTIVES
from qc.results import JudgedBatch, Message, RuleUsed, TestResult, Verdict
from qc.say.limits import of_page_one
from qc.say.messages import all_words, words
from qc.say.names import VERDICT, mark_in_short, marks_told, test_title
from qc.say.numbers import NOTHING, as_typed
from qc.say.read_back import what_was_left, what_was_read
from qc.say.text import counted, sentence, shortened, shown_text
from qc.show.chances import chance_table
from qc.show.content import plane_picture, scatter_picture
from qc.show.pieces import Lines, Piece, Prose, Section, column, facts, lines, section, table
from qc.show.sections import findings, release, tables
from qc.show.sections.answers import STEPS_NAMED, TO_DO, on_page_one
from qc.show.sections.front import UNPUBLISHED
from qc.show.series import series_in_order
from qc.show.series_drawn import pour_picture
from qc.show.units import actives_measured

LONGEST_TITLE = 90
SHORT_VALUE = 60
MOST_DRAWN = 6
"""A picture costs as much as it takes to judge an active; of a batch of many nobody looks at all."""
RESTATED = (
    "In our words, without the clauses whose limits are printed above and met (qc rules ID has all). A figure equal to "
    "its limit meets it, save where it says less or more than [our reading]."
)
EVERY_SAMPLE = 100
"""The share of possible samples that comply, where it says nothing [%]."""
UNIT_BY_UNIT = ("working.deviation", "working.content")
"""Lines of the working on one unit each, whose figures stand in the tables of units."""
ON_PAGE_ONE = frozenset(
    (
        *("Batch number", "Product", "Dosage form", "Base", "Units poured", "Planned mass (g)", "Made on", "Made by"),
        *("Weighed by", "Checked by", "Weighed on", "Assayed on", "Assayed by", "Expiry", "Storage", "Base lot"),
        *("Quantity released", "Balance", "Balance calibrated on", "Deviation", "Lot", "Label claim (mg)"),
    )
)


def sections(judged: JudgedBatch) -> tuple[Section, ...]:
    """All later pages in order; a part with nothing to say is not there.

    A new part is one more function in `_PARTS`.
    """
    return tuple(section for part in _PARTS for section in part(judged))


def contents(judged: JudgedBatch) -> tuple[Section, ...]:
    """What page one does not draw in pour order, and of one active mass against content."""
    actives, drawn = actives_measured(judged), series_in_order(judged)[1:]
    if not any(row.contents for row in judged.unit_rows):
        text = "No pictures of contents, because no whole unit was assayed."
        return section("contents", "Contents", Prose(text=text))
    one = scatter_picture(judged, actives[0], place=1) if len(actives) == 1 else None
    pictures = (pour_picture(judged, name) for name in drawn[:MOST_DRAWN])
    return section("contents", "Contents", *pictures, one, _not_drawn(len(drawn)))


def _not_drawn(series: int) -> Prose | None:
    """That a batch of many actives has more to draw than anybody looks at."""
    if series <= MOST_DRAWN:
        return None
    text = f"Of {series} series the first {MOST_DRAWN} are drawn, those whose test is not met before the others; "
    return Prose(text=f"{text}the tables of the annex hold all.")


def units(judged: JudgedBatch) -> tuple[Section, ...]:
    """Every unit with its mass and what the eye saw, then the contents of each active."""
    actives = actives_measured(judged)
    return section(
        "units",
        "The units",
        tables.unit_table(judged),
        *(tables.content_table(judged, active) for active in actives),
        tables.assay_table(judged),
        annex=True,
    )


def against(judged: JudgedBatch) -> tuple[Section, ...]:
    """Mean and spread against the dosage-unit test, with the chances of passing; of several actives the mix too."""
    actives = actives_measured(judged)
    first = [name for name in series_in_order(judged) if name][:MOST_DRAWN]
    numbered = tuple((place, name) for place, name in enumerate(actives, start=1) if name in first)
    draws = (scatter_picture, plane_picture) if len(actives) > 1 else (plane_picture,)
    return section(
        "against",
        "The edge of acceptance",
        *(draw(judged, one, place=place) for place, one in numbered for draw in draws),
        _not_drawn(len(actives)),
        *map(chance_table, judged.operating_curves),
        annex=True,
    )


def plan(judged: JudgedBatch) -> tuple[Section, ...]:
    """The planned mass, its arithmetic, and the calibration pours."""
    working = "" if judged.planned_mass is None else judged.planned_mass.working
    return section(
        "plan",
        "Planned mass",
        *lines(working, calculation=True),
        *tables.calibration_lines(judged),
        annex=True,
    )


def working(judged: JudgedBatch, *, every_unit: bool = False) -> tuple[Section, ...]:
    """Each test with its reasons and its calculation, line by line; unit by unit where that is wanted."""
    pieces: list[Piece] = []
    for test in judged.tests:
        if test.verdict is Verdict.COMPLIES and (not test.working or (test.subject and test.id != "batch-assay")):
            continue
        verdict = "" if test.verdict is Verdict.COMPLIES else f": {VERDICT[test.verdict]}"
        title = shortened(shown_text(test_title(test)), most=LONGEST_TITLE) + verdict
        further: tuple[Message | str, ...] = (
            # Of a test that is met or only informs page one says it; what one lacks, the part on what cannot be said.
            *(() if test.verdict is Verdict.COMPLIES or _informs(test) else test.reasons),
            f"{counted(test.more_units, 'more unit')} needed" if test.more_units else "",
            f"Units to take, drawn at random with seed {judged.seed}: {', '.join(test.next_units)}"
            if test.next_units
            else "",
        )
        told = lines(*(test.working if every_unit else _beside_page_one(test)), calculation=True)
        said = lines(*further, title=title)
        pieces += [*said, *told] if said else [replace(one, title=title) for one in told]
    return section("working", "The working, test by test", *pieces, annex=True)


def _informs(test: TestResult) -> bool:
    return test.verdict is Verdict.NOT_ASSESSED and not test.required and bool(test.criteria)


def _beside_page_one(test: TestResult) -> list[Message | str]:
    """The working without the limits that page one has, what follows, and the units, which the tables hold.

    Of a test that is met the ends of its limits, which the pictures show, are not told again either.
    """
    met = test.verdict is Verdict.COMPLIES
    told = of_page_one(test.criteria)
    told += [one for one in test.criteria if met and (one.met is None or one.figure == EVERY_SAMPLE)]
    left = ("tests.therefore", *UNIT_BY_UNIT, *(["working.ends"] if met else []))
    return [
        one
        for one in test.working
        if not isinstance(one, Message)
        or (one.values["limit"] not in told if one.id == "tests.beside_bound" else one.id not in left)
    ]


def rules(judged: JudgedBatch) -> tuple[Section, ...]:
    """Every rule with its source, its mark and the clauses that page one does not say, in the project's words."""
    on_page_one = {test.rule for test in judged.tests}
    # Of a rule that nothing was compared with, and of one that stands in no text, page one has all there is to say.
    told = {rule.id: _clauses(rule, judged.tests) for rule in judged.rules_used}
    used = [rule for rule in judged.rules_used if told[rule.id] or (rule.clauses and rule.mark not in UNPUBLISHED)]
    marks = {str(one.values.get("mark", "")) for rule in used for one in told[rule.id]}
    on_page_one_too = {rule.mark for rule in judged.rules_used if rule.id in on_page_one}
    further = marks_told(marks - on_page_one_too, page_one=True)
    restated = Prose(text=" ".join(filter(None, (RESTATED, further))))
    return (
        section("rules", "Rules used", restated, *(_rule(one, told[one.id]) for one in used), annex=True)
        if used
        else ()
    )


def _clauses(rule: RuleUsed, tests: Sequence[TestResult]) -> list[Message]:
    """The clauses of a rule; where all its tests are met, without those whose limits are printed before."""
    by_it = [test for test in tests if test.rule == rule.id]
    met = all(test.verdict is Verdict.COMPLIES or _informs(test) for test in by_it)
    return [
        replace(one, values={**one.values, "mark": ""}) if one.values.get("mark") == rule.mark else one
        for one in rule.clauses
        if not (met and "clause" in one.values and one.values["clause"].limits)
    ]


def _rule(rule: RuleUsed, clauses: Sequence[Message]) -> Lines:
    source = f"{rule.work} {rule.section}, edition {rule.edition}."
    told = [replace(one, values={**one.values, "mark": mark_in_short(one.values.get("mark", ""))}) for one in clauses]
    return Lines(title=f"{rule.id} [{mark_in_short(rule.mark)}]", items=(source, *all_words(told)))


def other_checks(judged: JudgedBatch) -> tuple[Section, ...]:
    """Other tests and release checks as they were entered."""
    alike: dict[Check, list[str]] = {}
    for check in judged.batch.checks:
        alike.setdefault(replace(check, name=""), []).append(check.name)
    checks = table(
        "As entered",
        alike.items(),
        column("Check", lambda one: "; ".join(one[1])),
        column("Result", lambda one: one[0].result or None),
        column("Limit", lambda one: one[0].limit or None),
        column("Done by", lambda one: one[0].done_by or None),
        column("Note", lambda one: one[0].note or None),
        filled_alone=True,
    )
    return section("checks", "Other checks", checks, *release.packing(judged), annex=True)


def remarks(judged: JudgedBatch) -> tuple[Section, ...]:
    """All notices, the note of the record, and the steps that page one had no room for."""
    notices = table(
        counted(len(judged.notices), "notice"),
        judged.notices,
        column("Where", lambda notice: notice.where),
        column("Notice", lambda notice: words(notice.text)),
    )
    steps = tuple(map(sentence, all_words(judged.next_steps)))
    cut = not set(steps) <= set(on_page_one(judged.next_steps, first=STEPS_NAMED))
    return section(
        "notices",
        "Notices",
        notices,
        *lines(*(steps if cut else ()), title=f"{TO_DO}, in full"),
        *(Lines(title="Note in the batch record", items=(note,)) for note in (judged.batch.note,) if note),
        annex=True,
    )


def record(judged: JudgedBatch) -> tuple[Section, ...]:
    """The facts of the batch record as entered that page one does not hold, and what is known of each active."""
    entered = entries_of(judged.batch)
    told = {name: value for name, cell in entered.batch.items() if (value := _as_entered(cell)) is not None}
    held = ((name, value) for name, value in told.items() if name not in ON_PAGE_ONE or len(value) > SHORT_VALUE)
    return section(
        "record",
        "The batch record",
        facts("Facts of the batch as entered, beside those of page one", held),
        table(
            "Actives as entered",
            entered.actives,
            *(
                column(field.heading, partial(_entered_under, field.heading))
                for field in ACTIVES.entered
                if field.heading not in ON_PAGE_ONE
            ),
            filled_alone=True,
        ),
        annex=True,
    )


def _entered_under(heading: str, row: Row) -> str | None:
    return _as_entered(row[heading])


def _as_entered(value: Cell) -> str | None:
    if isinstance(value, Decimal):
        return as_typed(value)
    return None if value is None else str(value)


def source(judged: JudgedBatch, *sealed: Piece) -> tuple[Section, ...]:
    """What was read, by which version, under which set of rules; then the seal, which holds the digest of the input."""
    origin, read = judged.batch.source, what_was_read(judged.batch, short=False)
    made_from = {
        "Input": "" if sealed else origin.name if origin else "made in memory, not read from a file",
        "SHA-256 of the input": "" if sealed else origin.sha256 if origin else NOTHING,
        "What was read": "" if read == what_was_read(judged.batch) else read,
        "Set aside or ignored": "; ".join(what_was_left(judged.batch, short=False)) or "nothing",
        "Rule set": "" if sealed else judged.rule_set,
        "Seed of random draws": str(judged.seed),
        "Version of qc": qc.__version__,
    }
    told = facts("What this report was made from", ((what, value) for what, value in made_from.items() if value))
    return section("source", "Input, version and seal" if sealed else "Input and version", told, *sealed, annex=True)


_PARTS: tuple[Callable[[JudgedBatch], tuple[Section, ...]], ...] = (
    contents,
    findings.pour_order,
    findings.causes,
    findings.assurance,
    findings.limits_of_the_data,
    findings.next_pour,
    units,
    against,
    findings.doses_from_mass,
    findings.assay_list,
    findings.within_units,
    plan,
    working,
    rules,
    release.release,
    other_checks,
    remarks,
    record,
)
