"""A class kit: blind batches graded in difficulty, what students fill in, and the keys apart from them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from msgspec import Struct
from msgspec.structs import replace

from qc.causes.model import TAUGHT
from qc.causes.priors import builtin_priors
from qc.results import CauseFound, JudgedBatch, named_together
from qc.say.messages import paragraph
from qc.say.names import BATCH_VERDICT, CAUSE
from qc.say.numbers import plain_limit, probability
from qc.say.telling_apart import TRACES, telling_apart
from qc.show.filing import Filing, file_together, refuse_over
from qc.teach.lesson import Lesson, LessonProblem, make_lesson
from qc.teach.on_request import laboratory_table
from qc.workbook.page import HEADER, SMALL, TEXT, TITLE, WRAPPED, Pages, workbook_of

if TYPE_CHECKING:
    import numpy as np

SOUND = "sound"
EFFORTS = ("weighing", "base_pour", "assay", "cut_and_assay")
MOST_STUDENTS = 400
UNITS = 36
"""Ten assayed and three cut leave more than the twenty units that a second stage takes."""
TRIES = 12
MANY_CARDS = 60
"""From so many batches on, other processes help: they take a second to start."""
ALSO_LIKELY = 0.2
"""A cause that the tool gives this probability or more on a blind batch is no wrong answer there [-]."""


class Difficulty(Struct, frozen=True, kw_only=True):
    """How hard a batch is: strength of its faults [-], and how probable the tool must find one of them [-]."""

    name: str
    strength: float
    least: float
    two_faults: bool = False


GRADES = (
    Difficulty(name="1", strength=1.5, least=0.9),
    Difficulty(name="2", strength=1.0, least=0.6),
    Difficulty(name="3", strength=0.8, least=0.3, two_faults=True),
)


class Card(Struct, frozen=True, kw_only=True):
    """What is dealt to a student: the faults of a batch, how hard it is, and the seed it is drawn by."""

    student: str
    grade: Difficulty
    faults: tuple[str, ...]
    seed: int


class ClassBatch(Struct, frozen=True, kw_only=True):
    """One blind batch of one student."""

    student: str
    grade: Difficulty
    lesson: Lesson
    judged: JudgedBatch

    @property
    def also_likely(self) -> tuple[str, ...]:
        """Causes that are not at work and that its measurements do not rule out."""
        return tuple(
            one.cause
            for one in _ordered(self.judged)
            if one.probability >= ALSO_LIKELY and one.cause not in self.lesson.faults
        )


def write_class(
    students: int, *, seed: int, out: Path, progress: Callable[[str], None] | None = None
) -> tuple[Path, ...]:
    """Write a class kit into a folder, `students` to be handed out and `keys` to be kept; all of it or nothing.

    Parameters
    ----------
    students : int
        How many; each is given three batches.
    seed : int
        The same seed gives the same kit; nothing in the folder of the students tells it.
    out : Path
        Made when it is not there.
    progress : callable, optional
        Told which student's batches are being poured.

    Returns
    -------
    tuple of Path
        The folder of the students, the page of the keys, the marking table.

    Raises
    ------
    LessonProblem
        When no class has so many students.
    qc.show.filing.ReportExists
        When a kit stands there already.
    """
    if not 1 <= students <= MOST_STUDENTS:
        raise LessonProblem(f"a class of {students} cannot be made up: choose 1 to {MOST_STUDENTS} students.")
    refuse_over(out, ("students", "keys"))
    batches = list(class_batches(students, seed=seed, progress=progress))
    handed_out, keys = out / "students", out / "keys"
    own = {name: [one for one in batches if one.student == name] for name in dict.fromkeys(b.student for b in batches)}
    filings = [Filing(folder=handed_out, files={"worksheet.html": worksheet_page().encode()})]
    for name, some in own.items():
        files = {f"{one.lesson.number}.xlsx": one.lesson.workbook for one in some}
        filings.append(Filing(folder=handed_out / name, files={"guesses.xlsx": guess_sheet(name, some), **files}))
    document = json.dumps([key_entry(one) for one in batches], indent=1, ensure_ascii=False) + "\n"
    page = keys_page(batches, seed=seed).encode()
    filings.append(
        Filing(folder=keys, files={"keys.html": page, "keys.json": document.encode(), "marking.xlsx": marking(batches)})
    )
    asked = {f"{one.lesson.number}.csv": laboratory_table(one.lesson).encode() for one in batches}
    file_together([*filings, Filing(folder=keys / "laboratory", files=asked)])
    return handed_out, keys / "keys.html", keys / "marking.xlsx"


def class_batches(students: int, *, seed: int, progress: Callable[[str], None] | None = None) -> Iterator[ClassBatch]:
    """The batches of a class, three a student; causes are dealt like cards, so that each comes about equally often."""
    import numpy as np

    chance = np.random.default_rng([seed, 400])
    decks = [_dealt(grade, chance) for grade in GRADES]
    names = [f"{number:0{max(2, len(str(students)))}d}" for number in range(1, students + 1)]
    cards = [
        Card(student=name, grade=grade, faults=next(deck), seed=int(chance.integers(2**40)))
        for name in names
        for grade, deck in zip(GRADES, decks, strict=True)
    ]
    taken: set[str] = set()
    for card, made in zip(cards, _each(cards), strict=True):
        if progress is not None and card.grade is GRADES[0]:
            progress(f"Student {card.student} of {students}")
        while made.lesson.number in taken:
            card = replace(card, seed=card.seed + 1)
            made = suited(card)
        taken.add(made.lesson.number)
        yield made


def _each(cards: Sequence[Card]) -> Iterator[ClassBatch]:
    """A batch for each card, in their order; those of a large class on all processors."""
    if len(cards) < MANY_CARDS:
        yield from map(suited, cards)
        return
    from concurrent.futures import ProcessPoolExecutor
    from multiprocessing import get_context

    with ProcessPoolExecutor(mp_context=get_context("spawn")) as pool:
        yield from pool.map(suited, cards, chunksize=len(GRADES))


def _dealt(grade: Difficulty, chance: np.random.Generator) -> Iterator[tuple[str, ...]]:
    """Cards without end: every cause once and sound twice; of a grade with two faults half of the cards are pairs."""
    while True:
        cards: list[tuple[str, ...]] = [(id,) for id in (*_dealt_causes(), SOUND)]
        if grade.two_faults:
            pairs = _pairs()
            cards += [pairs[int(at)] for at in chance.permutation(len(pairs))[: len(cards)]]
        yield from (cards[int(at)] for at in chance.permutation(len(cards)))


def _dealt_causes() -> tuple[str, ...]:
    """Those that the steps of the worksheet lead to: all but assays that are off by one factor."""
    return SOUND, *(step.cause for step in telling_apart().steps)


def _pairs() -> list[tuple[str, ...]]:
    """Two faults that are not taken for each other."""
    causes = telling_apart().causes
    faults = [id for id in _dealt_causes() if id != SOUND]
    alike = {frozenset((id, one.cause)) for id in faults for one in causes[id].alike}
    return [(a, b) for at, a in enumerate(faults) for b in faults[at + 1 :] if frozenset((a, b)) not in alike]


def suited(card: Card) -> ClassBatch:
    """A batch in which the tool finds one of the faults as probable as the grade asks; else the best of those tried."""
    import numpy as np

    chance, tried = np.random.default_rng([card.seed, 500]), list[tuple[float, ClassBatch]]()
    for _ in range(TRIES):
        seed = int(chance.integers(2**40))
        lesson = make_lesson(card.faults, units=UNITS, seed=seed, strength=card.grade.strength)
        made = ClassBatch(student=card.student, grade=card.grade, lesson=lesson, judged=lesson.judged())
        groups = (group for group in named_together(made.judged.causes) if {*card.faults} & {*group.ids})
        tried.append((max(group.probability for group in groups), made))
        if tried[-1][0] >= card.grade.least:
            break
    return max(tried, key=lambda one: one[0])[1]


def _ordered(judged: JudgedBatch) -> list[CauseFound]:
    return sorted(judged.causes, key=lambda one: -one.probability)


def key_entry(one: ClassBatch) -> dict[str, Any]:
    """What a teacher needs of one batch: whose it is, the answer, what the tool says of it, its whole key."""
    lesson, causes = one.lesson, telling_apart().causes
    separating = [f"{CAUSE[alike.cause]}: {alike.measure}" for id in lesson.faults for alike in causes[id].alike]
    return {
        "student": one.student,
        "batch": lesson.number,
        "grade": one.grade.name,
        "verdict": one.judged.verdict.value,
        "also_likely": [*one.also_likely],
        "tool_says": [(found.cause, found.probability) for found in _ordered(one.judged)[:3]],
        "separating": separating,
        "whole_key": f"qc lesson {lesson.fault} --units {UNITS} --seed {lesson.seed} "
        f"--strength {plain_limit(lesson.strength)} --out key-{lesson.number}",
        **lesson.key(),
    }


def worksheet_page() -> str:
    """The page of every student: the task, the measurements that may be asked for, how causes are told apart."""
    effort = {name: plain_limit(builtin_priors().number("effort", name)) for name in EFFORTS}
    return _page("worksheet.html", records=telling_apart(), names=CAUSE, units=UNITS, effort=effort, traces=TRACES)


def keys_page(batches: Sequence[ClassBatch], *, seed: int) -> str:
    """The page of the teacher: how the two hours go, the answer to every batch, each with the steps of the decision."""
    from qc.teach.page import against_limits

    shown = [
        key_entry(one)
        | {
            "verdict_in_words": BATCH_VERDICT[one.judged.verdict],
            "tool_in_words": [
                f"{CAUSE[found.cause]} ({probability(found.probability)})" for found in _ordered(one.judged)[:2]
            ],
            "also_in_words": [CAUSE[id] for id in one.also_likely],
            "story_in_words": paragraph(one.lesson.drawn.story),
        }
        for one in batches
    ]
    return _page("keys.html", batches=shown, seed=seed, names=CAUSE, against=against_limits)


def _page(template: str, **values: Any) -> str:
    from qc.show.pages_html import pages
    from qc.teach.page import TEMPLATES

    return pages(TEMPLATES).get_template(template).render(**values)


def guess_sheet(student: str, batches: Sequence[ClassBatch]) -> bytes:
    """The sheet that a student fills in, a row a batch, causes picked from a list."""
    heads = (
        "Batch",
        "Grade",
        "Verdict",
        "Cause",
        "Second cause, if any",
        "Speaks for it",
        "Speaks against it",
        "One measurement more",
    )
    rows = [(one.lesson.number, one.grade.name, *[None] * 6) for one in batches]
    return _table(f"Guesses of student {student}", heads, rows, widths=(12, 8, 18, 24, 24, 34, 34, 34))


def marking(batches: Sequence[ClassBatch]) -> bytes:
    """The marking table: the answer to every batch beside what was guessed, and the points.

    A single fault is worth 2, a cause that its measurements do not rule out 1; of two faults each named is worth 1.
    The verdict is worth 1 more.
    """
    heads = (
        "Batch",
        "Student",
        "Verdict",
        "Cause",
        "Second cause, if any",
        "Also worth a point",
        "Verdict guessed",
        "Cause guessed",
        "Second cause guessed",
        "Points",
    )
    rows: list[tuple[str | None, ...]] = []
    for row, one in enumerate(batches, start=4):
        first, second = [*one.lesson.faults, None][:2]
        named = f"MIN(1,COUNTIF(H{row}:I{row},D{row}))"
        single = f'IF(H{row}=D{row},2,IF(AND(H{row}<>"",ISNUMBER(SEARCH(" "&H{row}&" ",F{row}))),1,0))'
        cause = single if second is None else f"{named}+MIN(1,COUNTIF(H{row}:I{row},E{row}))"
        also = f" {' '.join(one.also_likely)} "
        verdict = BATCH_VERDICT[one.judged.verdict]
        points = f"={cause}+IF(G{row}=C{row},1,0)"
        rows.append((one.lesson.number, one.student, verdict, first, second, also, None, None, None, points))
    return _table("Marking table", heads, rows, widths=(12, 9, 18, 22, 22, 30, 18, 22, 22, 9))


def _table(title: str, heads: Sequence[str], rows: Sequence[Sequence[str | None]], *, widths: Sequence[float]) -> bytes:
    """A workbook of one sheet; causes and verdicts are picked from lists, a text that begins with = is a formula."""
    lists = {"Verdict": [*BATCH_VERDICT.values()], "Cause": [*TAUGHT], "Second cause": [*TAUGHT]}

    def write(pages: Pages) -> None:
        page = pages.page("Sheet", header_row=2)
        page.put(0, 0, title, TITLE)
        page.put(1, 0, "Causes by their ids, as the worksheet lists them.", SMALL)
        page.headers(2, 0, heads, HEADER)
        page.set_widths(*widths)
        for at, head in enumerate(heads):
            words = next((lists[name] for name in lists if head.startswith(name)), None)
            for row, cells in enumerate(rows, start=3):
                text = cells[at]
                if text is not None and text.startswith("="):
                    page.sheet.write_formula(row, at, text, pages.shown(TEXT), 0)
                else:
                    page.put(row, at, text, TEXT if text else {**WRAPPED, "locked": False})
                    if words and text is None:
                        page.sheet.data_validation(row, at, row, at, {"validate": "list", "source": words})

    return workbook_of(title, write)
