"""What bears on release, below the tests of page one: what to do, which units, where in the pour, why, what else."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from qc.judging.advice import names_units
from qc.problems import BY_CALL
from qc.results import (
    SOUND,
    Assurance,
    CauseGroup,
    JudgedBatch,
    TestResult,
    Trend,
    Verdict,
    named_together,
)
from qc.results.messages import Message, message
from qc.say.in_short import CALLED_FIRST
from qc.say.messages import all_words, words
from qc.say.names import TEST, TREND, VERDICT, any_of, in_words, test_title
from qc.say.numbers import probability
from qc.say.release import reconciliation, unit_ledger, visual_inspection
from qc.say.text import brief, listed, sentence, shortened, within_a_sentence
from qc.say.worst import TITLE as WORST_UNIT
from qc.say.worst import of_each_quantity
from qc.show.pieces import Lines

UNITS_NAMED = 10
CAUSES_NAMED = 3
# From which probability on a cause is named beside the likeliest, at the terminal and on page one [-].
WORTH_A_WORD, LEAST_REST = 0.02, 0.015
SERIES_NAMED = 3
FIGURES = (
    *("causes.tip_end", "causes.content_scatter", "causes.mass_scatter", "causes.mould_range", "causes.cavity_range"),
    *("causes.mean_content", "causes.mean_mass", "causes.outlier", "causes.apart"),
)
"""Facts whose figure stands beside the likeliest cause; a change along the pour is told of the pour."""
SENTENCES, STEPS_NAMED = 4, 9
TO_DO, HOW_DRAWN, NAME_IT = "What to do now", "advice.how_drawn", "advice.name_it"
_ONE_WAY = (
    *("nothing_more", "none_left", "say_how_drawn", "record_lacks", "deviation", "assay", "enter", "enter_for_content"),
    *("enter_for_second", "enter_on_checks", "cannot_be_shown"),
)
ENDS_ONE_WAY = (NAME_IT, "record.expired", "packing.to_tick", *(f"advice.{step}" for step in _ONE_WAY))
LONGEST_NAME = 24
LONGEST_SENTENCE = 420


def findings(judged: JudgedBatch) -> tuple[Lines, ...]:
    """What bears on release, question by question, in the order of asking."""
    answers = {
        # Without a name nobody can sign, whatever else is done.
        TO_DO: on_page_one(
            sorted(judged.next_steps, key=lambda step: not (isinstance(step, Message) and step.id == NAME_IT)),
            first=STEPS_NAMED,
        )
        or ("Nothing further is asked by the tests.",),
        WORST_UNIT: _first(of_each_quantity(judged)),
        "In the pour": where(judged),
        "Likeliest causes": causes(judged),
        "Also on record": (
            *on_page_one(corrected(judged)),
            *map(_short, looked_at_besides(judged)),
            *all_words([one for one in judged.cannot_say if _of_the_lot(one)]),
            *left_out(judged),
            *_notices(judged),
        ),
    }
    told = (Lines(title=title, items=items) for title, items in answers.items() if items)
    acts, asked = bool(judged.next_steps), _asks(judged)
    return tuple(replace(one, to_initial=acts, note=asked) if one.title == TO_DO else one for one in told)


def _asks(judged: JudgedBatch) -> str:
    """How an act is ticked that can end in two ways; empty where nothing is asked."""
    asked = any(not isinstance(step, Message) or step.id not in ENDS_ONE_WAY for step in judged.next_steps)
    return "Strike out the outcome that did not occur." if asked else ""


def _of_the_lot(told: Message | str) -> bool:
    """Whether it says which samples were drawn here; of those that were not, the record is asked for."""
    return isinstance(told, Message) and told.id == HOW_DRAWN and bool(told.values["drawn"])


def _of_the_record(told: Message | str) -> bool:
    """Whether what the data cannot say is what page one tells of the record."""
    return isinstance(told, Message) and told.id in ("advice.not_entered", HOW_DRAWN)


def on_page_one(
    told: Sequence[Message | str], *, most: int = LONGEST_SENTENCE, first: int = SENTENCES
) -> tuple[str, ...]:
    """The first sentences of many, long ones cut, and how many more there are."""
    return _first(tuple(_short(one, most=most) for one in told), most=first)


def corrected(judged: JudgedBatch) -> list[Message]:
    """Verdicts and findings that are others by the masses that were read first."""
    said = (*(one for test in judged.tests for one in test.reasons), *(one.text for one in judged.notices))
    return [one for one in said if isinstance(one, Message) and one.id in ("tests.corrected", "remarks.corrected")]


def left_out(judged: JudgedBatch) -> tuple[str, ...]:
    """The units left out with their reasons, and what the verdicts would be without them."""
    rows = [row for row in judged.unit_rows if row.left_out_because is not None]
    named = [f"{shortened(row.unit, most=LONGEST_NAME)} ({row.left_out_because})" for row in rows]
    changed = [
        f"{shortened(test_title(test), most=60)} “{VERDICT[without.verdict]}”"
        for test in judged.tests
        if (without := test.without_left_out) is not None and without.verdict is not test.verdict
    ]
    told = (f"Left out by the record: {listed(named, most=UNITS_NAMED)}.",) if named else ()
    return (
        *told,
        *((f"Without them: {listed(changed, most=4)}; the verdict of record counts them.",) if changed else ()),
    )


def _notices(judged: JudgedBatch) -> tuple[str, ...]:
    """What the call left out of account, and what the notices are about."""
    read = judged.batch.read
    by_call = [one.cells for one in (read.ignored if read else ()) if one.what == BY_CALL]
    told = (f"Left out of account by --ignore: {listed(by_call, most=UNITS_NAMED)}.",) if by_call else ()
    places = [shortened(one.where, most=LONGEST_NAME) for one in judged.notices if not _among_the_facts(one.text)]
    return (*told, *((f"The annex has notices on {listed([*dict.fromkeys(places)], most=4)}.",) if places else ()))


def _among_the_facts(said: Message | str) -> bool:
    """Whether a notice says no more than stands beside the planned mass."""
    return isinstance(said, Message) and said.id == "remarks.no_limit_for_mean"


def where(judged: JudgedBatch) -> tuple[str, ...]:
    """What was found of a change over the pour, in a sentence; moulds that stand out first."""
    moulds = tuple(_short(finding) for finding in all_words(judged.mould_findings))
    if judged.pour is None:
        return (*moulds, "The pour was not followed: no masses or contents in a pour order.")
    if judged.pour.sentence:
        return (*moulds, _short(judged.pour.sentence))
    trend = judged.pour.trend
    named: list[tuple[str, Trend]] = [
        ("Masses", trend.mass),
        *((f"Contents of {active}", one) for active, one in trend.content.items()),
    ]
    ordered = sorted(named, key=lambda item: CALLED_FIRST.index(item[1].flag))
    told = (one.sentence or f"{shortened(name, most=50)}: {TREND[one.flag]}" for name, one in ordered[:SERIES_NAMED])
    return (*moulds, *map(_short, told))


def causes(judged: JudgedBatch) -> tuple[str, ...]:
    """The likeliest causes, whose facts stand on the next page."""
    if judged.blind:
        return ("Left out, as was asked with --blind.",)
    if not judged.causes:
        return ("No causes were weighed: too little was measured.",)
    first, *others = likeliest(judged)
    shown = next((one for one in first.causes[0].evidence if isinstance(one, Message) and _speaks(one)), None)
    by = "" if shown is None or first.ids[0] == SOUND else f": {within_a_sentence(words(shown))}"
    rest = 1 - sum(sum(group.probabilities) for group in (first, *others))
    beside = [f"all others together, {probability(rest)}"] if rest > LEAST_REST else []
    named = {id for group in (first, *others) for id in group.ids}
    unnamed = [one.probability for one in judged.causes if one.cause not in named]
    # More than a cause that is named needs a word: none of them is likelier.
    if beside and unnamed and rest > min(one.probability for one in (first, *others)):
        beside = [f"{len(unnamed)} others, each at most {probability(max(unnamed))}, {probability(rest)} together"]
    return ("; ".join([named_causes(first) + by, *map(named_causes, others), *beside]) + ".",)


def _speaks(fact: Message) -> bool:
    """Whether a fact has a figure that speaks for a cause: a spread that is usual speaks for nothing."""
    usual = fact.values.get("usual")
    return fact.id in FIGURES and (usual is None or fact.values["rsd"] > usual[1])


def likeliest(judged: JudgedBatch) -> list[CauseGroup]:
    """The causes worth a word, the most probable first: that one, and those that still have a chance beside it."""
    groups = named_together(judged.causes)
    return [one for place, one in enumerate(groups) if place == 0 or one.probability >= WORTH_A_WORD][:CAUSES_NAMED]


def named_causes(one: CauseGroup) -> str:
    """Causes that cannot be told apart, each with its probability."""
    return any_of(one.ids, one.probabilities)


def next_pour(judged: JudgedBatch) -> tuple[Message | str, ...]:
    """What to change of the next pour, and how that is meant; nothing where no cause is sure enough."""
    told = tuple(one.sentence for one in judged.next_pour)
    return (*told, message("remedies.note")) if told else ()


def titled(judged: JudgedBatch, one: Assurance) -> str:
    """How the test is called that an assurance is about."""
    known = (test_title(test) for test in judged.tests if (test.id, test.active) == (one.test, one.active))
    return next(known, in_words(one.test, TEST))


def least_sure_first(judged: JudgedBatch) -> list[Assurance]:
    """What is assured of each test, those that were not met first, then by the chance to pass again."""
    verdicts = {(test.id, test.active): test.verdict for test in judged.tests}

    def place(one: Assurance) -> tuple[bool, float]:
        failed = verdicts.get((one.test, one.active)) is Verdict.DOES_NOT_COMPLY
        return not failed, -1.0 if one.pass_chance is None else one.pass_chance

    return sorted((one for one in judged.assurance if one.said), key=place)


def looked_at_besides(judged: JudgedBatch) -> tuple[str, ...]:
    """What was seen, whether the balances add up, and where the units went, one sentence each."""
    seen = () if judged.visual is None else (visual_inspection(judged.visual),)
    balance = () if judged.reconciliation is None else (reconciliation(judged.reconciliation),)
    if judged.ledger is None:
        return (*seen, *balance)
    return (*seen, *balance, unit_ledger(judged.ledger, asked=names_units(judged.next_steps)))


def cannot_say(judged: JudgedBatch) -> tuple[str, ...]:
    """What these data cannot say, and which test lacks what."""
    missing = dict.fromkeys(
        sentence(f"{_named(test)} was not assessed; missing: {words(test.missing)}")
        for test in judged.tests
        # Lines of a checklist that are not ticked are named under what to do now; that a mean has no limit, beside it.
        if test.verdict is Verdict.NOT_ASSESSED
        and test.missing
        and test.id != "packing-checklist"
        and not (test.id == "batch-assay" and test.figures)
    )
    told = (*map(sentence, all_words([one for one in judged.cannot_say if not _of_the_record(one)])), *missing)
    return told or ("Whether units that were not measured are like those that were.",)


def _named(test: TestResult) -> str:
    """A check by its own name, a test of units by its kind, whatever its active."""
    return test_title(test) if test.subject else in_words(test.id, TEST)


def _first(lines: tuple[str, ...], *, most: int = SENTENCES) -> tuple[str, ...]:
    if len(lines) <= most:
        return lines
    return (*lines[:most], f"And {len(lines) - most} more, listed in the annex.")


def _short(told: Message | str, *, most: int = LONGEST_SENTENCE) -> str:
    return sentence(brief(sentence(words(told)), most=most))
