"""The names of verdicts, tests, causes and marks as they are shown."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from qc.results import BatchVerdict, Message, TestResult, TrendFlag, Verdict
from qc.rules.built_in import load_rule, rule_ids
from qc.rules.records import Mark
from qc.say.numbers import probability
from qc.say.text import listed

CAUTION = (
    "This judges a sample; it releases no batch. The pharmacopoeia in force, local rules and the licensed person who "
    "signs decide."
)
BATCH_VERDICT = {
    BatchVerdict.COMPLIES: "Complies",
    BatchVerdict.DOES_NOT_COMPLY: "Does not comply",
    BatchVerdict.UNDECIDED: "Undecided",
}
# A shape beside each word, so that neither colour nor reading speed carries the verdict by itself.
BATCH_SIGN = {
    BatchVerdict.COMPLIES: "\N{CHECK MARK}",
    BatchVerdict.DOES_NOT_COMPLY: "\N{MULTIPLICATION X}",
    BatchVerdict.UNDECIDED: "?",
}
OPEN_SIGN = "!"
"""Beside a batch whose tests are met and that is not to be released as it stands."""
VERDICT = {
    Verdict.COMPLIES: "complies",
    Verdict.DOES_NOT_COMPLY: "does not comply",
    Verdict.SECOND_STAGE: "second stage due",
    Verdict.TOO_FEW_UNITS: "too few units",
    Verdict.NOT_ASSESSED: "not assessed",
}
TOO_FEW_LEFT = "advice.too_few_left"
LEFT_TO_SIGNER = "left to the signer"
"""Beside a test that no rule decides."""
TEST = {
    "mass-uniformity": "Uniformity of mass",
    "content-uniformity": "Uniformity of content",
    "dosage-unit-uniformity": "Uniformity of dosage units",
    "large-sample-uniformity": "Uniformity of dosage units, large sample",
    "mean-mass": "Mean mass against plan",
    "disintegration": "Disintegration",
    "softening-time": "Softening time",
    "resistance-to-rupture": "Resistance to rupture",
    "batch-assay": "Assay of the batch",
    "visual-inspection": "Visual inspection",
    "critical-defects": "Critical defects",
    "reconciliation": "Reconciliation",
    "release-check": "Release check",
    "packing-checklist": "Packing and label",
    "superseded-input": "Superseded input",
}
SHORT_TEST = {
    "mass-uniformity": "Mass",
    "content-uniformity": "Content",
    "dosage-unit-uniformity": "Dosage units",
    "large-sample-uniformity": "Large sample",
    "mean-mass": "Mean mass",
    "batch-assay": "Batch assay",
    "release-check": "",
    "packing-checklist": "Packing",
    "superseded-input": "Input",
}
"""What a line of a terminal has room for; a check goes by the name it was entered under."""
CAUSE = {
    "sound": "ordinary variation without a fault",
    "settling-in-pour": "active settled in the melt during the pour",
    "settling-in-unit": "active settled inside the units before they set",
    "poor-mixing": "active poorly mixed into the melt",
    "uneven-fill": "cavities filled unevenly",
    "cavity-differences": "cavities of different size",
    "wrong-displacement": "wrong displacement value or base density",
    "active-lost": "active lost before or during the pour",
    "active-excess": "too much active in the melt",
    "assay-bias": "assays off by one factor or label claim wrong",
    "balance-drift": "balance drifted while weighing",
    "balance-scale": "balance or tare off throughout",
    "leaking-mould": "a cavity or mould that leaks or is filled short",
    "melt-thickening": "melt thickened during the pour",
    "slip-of-pen": "a transcription error in the record",
    "something-else": "an unlisted cause",
}
CAUSE_EFFECT = {
    "sound": "Masses, contents and parts vary as those of a well made batch do, in no order.",
    "settling-in-pour": "Concentration rises from the first unit to the last; masses follow only as far as the active "
    "is denser than the base; some of the active stays in the dish.",
    "settling-in-unit": "Tip, middle and end of a unit differ; whole units do not, so only assays of parts can show "
    "it.",
    "poor-mixing": "Concentration differs between units, singly or in streaks; what rise or fall it shows is chance; "
    "masses are steady.",
    "uneven-fill": "Masses scatter and contents scatter with them; the concentration is steady.",
    "cavity-differences": "Masses repeat by cavity or mould, round after round, contents with them; base-only pours "
    "show the same.",
    "wrong-displacement": "Mean mass and mean content are off their plan in the same proportion; the concentration is "
    "as planned.",
    "active-lost": "Mean content is low by the same share in every unit; masses change only by what the lost active "
    "weighed.",
    "active-excess": "Mean content is high by the same share in every unit; masses change only by what the active in "
    "excess weighs.",
    "assay-bias": "Every assay of an active is off by the same share, high or low; masses do not follow at all.",
    "balance-drift": "Masses change smoothly in the order of weighing; contents do not follow them.",
    "balance-scale": "Every mass is off its plan by the same share, high or low; contents are not.",
    "leaking-mould": "The units of one cavity or of one mould are light, contents with them; base-only pours from "
    "before the leak do not show it.",
    "melt-thickening": "Masses fall from the first unit to the last and contents fall with them; the concentration is "
    "steady.",
    "slip-of-pen": "One or two numbers lie far from the others; one wrong, exchanged or shifted digit makes each fit.",
    "something-else": "Masses or contents are off, scatter or wander in a way that none of the causes modelled "
    "describes.",
}
TREND = {
    TrendFlag.CLEAR: "clear change",
    TrendFlag.POSSIBLE: "possible change",
    TrendFlag.NONE_SEEN: "no change seen",
    TrendFlag.CANNOT_TELL: "inconclusive",
}
WORK = {
    "European Pharmacopoeia": "Ph. Eur.",
    "United States Pharmacopeia": "USP",
    "Japanese Pharmacopoeia": "JP",
    "International Pharmacopoeia": "Ph. Int.",
    "Pharmacopoeia of the People’s Republic of China": "ChP",
}
"""How a pharmacist cites a work."""
MET = {True: "yes", False: "no", None: "open"}
MARK = {
    Mark.SEEN: "read in the text",
    Mark.FROM_MEMORY: "to be checked first",
    Mark.OUR_READING: "no text settles it",
    Mark.COMMON_PRACTICE: "no published limit",
    Mark.HOUSE: "a limit of this house",
}


ON_PAGE_ONE = {
    Mark.SEEN: "checked",
    Mark.FROM_MEMORY: "unchecked",
    Mark.COMMON_PRACTICE: "usual",
}
"""What page one calls a mark that has no room beside a verdict, or could be taken there for what is said of a test."""
BRIEFLY = {
    Mark.FROM_MEMORY: "limit from memory, to be compared",
    Mark.COMMON_PRACTICE: "practice, unpublished",
}


def mark_in_short(mark: str) -> str:
    """What a report calls the mark of a rule; one that is none of ours stays as it is.

    Examples
    --------
    >>> mark_in_short("seen"), mark_in_short("house rule")
    ('checked', 'house rule')
    """
    return ON_PAGE_ONE.get(Mark(mark), mark) if mark in {*Mark} else mark


def marks_told(marks: Iterable[str], *, page_one: bool = False) -> str:
    """What the marks of rules mean, those that occur, each once, by the words that page one has for them or their own.

    Examples
    --------
    >>> marks_told(["seen", "house rule", "seen"])
    'Seen: read in the text. House rule: a limit of this house.'
    >>> marks_told(["from memory"])
    'From memory: to be checked first.'
    >>> marks_told(["from memory"], page_one=True)
    'Unchecked: limit from memory, to be compared.'
    """
    occur, short = frozenset(marks), ON_PAGE_ONE if page_one else {}
    told = MARK | (BRIEFLY if page_one else {})
    return " ".join(f"{short.get(mark, mark).capitalize()}: {told[mark]}." for mark in MARK if mark in occur)


def cited(work: str, section: str) -> str:
    """Where a rule stands, each work beside its section.

    Examples
    --------
    >>> cited("European Pharmacopoeia; United States Pharmacopeia", "2.9.40; <905>")
    'Ph. Eur. 2.9.40; USP <905>'
    """
    works, sections = work.split("; "), section.split("; ")
    if len(works) != len(sections):
        return f"{work} {section}"
    return "; ".join(f"{WORK.get(one, one)} {place}" for one, place in zip(works, sections, strict=True))


def rules_cited(rules: Sequence[str]) -> str:
    """Where rules stand, by their ids; a rule of the house has no other name than its id.

    Examples
    --------
    >>> rules_cited(["ph-eur-2.9.6-b", "harmonised-udu"])
    'Ph. Eur. 2.9.6, test B and Ph. Eur. 2.9.40 / USP <905> / JP 6.02'
    """
    references = {rule: load_rule(rule).reference for rule in rules if rule in rule_ids()}
    places = {rule: cited(one.work, one.section).replace("; ", " / ") for rule, one in references.items()}
    return listed([places.get(rule, rule) for rule in rules])


def any_of(causes: Sequence[str], probabilities: Sequence[float] = (), *, most: int = 3, lead: str = "") -> str:
    """Causes that cannot be told apart, as one; past `most` of them the rest is counted.

    Each has its probability behind it where those are given [0 to 1]; `lead` stands before the first.

    Examples
    --------
    >>> any_of(["active-lost", "assay-bias"])
    'active lost before or during the pour, or assays off by one factor or label claim wrong'
    >>> any_of(["sound", "poor-mixing", "settling-in-unit", "active-lost"], most=1)
    'ordinary variation without a fault, or any of 3 others'
    >>> any_of(["active-lost", "assay-bias"], [0.72, 0.28], lead="probability ")
    'active lost before or during the pour, probability 72 %, or assays off by one factor or label claim wrong, 28 %'
    """
    if len(causes) == most + 1:
        most += 1
    named, chances = [in_words(cause, CAUSE) for cause in causes[:most]], [*probabilities[:most]]
    if len(causes) > most:
        named.append(f"any of {len(causes) - most} others")
        chances += [sum(probabilities[most:])] if probabilities else []
    ends = [f", {lead if place == 0 else ''}{probability(chance)}" for place, chance in enumerate(chances)]
    return ", or ".join(f"{name}{end}" for name, end in zip(named, ends or [""] * len(named), strict=True))


def in_words(identifier: str, known: dict[str, str]) -> str:
    """The words for an id, or the id itself spelt out where it has none yet.

    Examples
    --------
    >>> in_words("mass-uniformity", TEST), in_words("time-to-soften", TEST)
    ('Uniformity of mass', 'Time to soften')
    """
    return known.get(identifier, identifier.replace("-", " ").capitalize())


def verdict_of(test: TestResult) -> str:
    """The verdict of a test in words; one that asks for units that are not there says so."""
    if test.verdict is Verdict.NOT_ASSESSED and test.subject and not test.required:
        return LEFT_TO_SIGNER
    if test.verdict is Verdict.SECOND_STAGE and isinstance(test.missing, Message) and test.missing.id == TOO_FEW_LEFT:
        return f"{VERDICT[test.verdict]}, too few units left"
    return VERDICT[test.verdict]


def test_title(test: TestResult) -> str:
    """What page one calls a test, with its active, or with the line of the Checks sheet that it is about."""
    return titled(test.id, about=test.active or test.subject)


def titled(id: str, *, about: str | None) -> str:
    """The title of a test by its id and what it is about."""
    if id == "release-check" and about:
        return capital(about)
    title = in_words(id, TEST)
    return f"{title}: {about}" if about and about.casefold() != title.casefold() else title


def short_title(test: TestResult) -> str:
    """What a line of a terminal calls a test.

    Examples
    --------
    >>> from qc.results import Verdict
    >>> dose = TestResult(id="content-uniformity", rule="ph-eur-2.9.6-b", verdict=Verdict.COMPLIES, active="zinc oxide")
    >>> check = TestResult(id="release-check", rule="release-check", verdict=Verdict.COMPLIES, subject="pH")
    >>> short_title(dose), short_title(check)
    ('Content, zinc oxide', 'pH')
    """
    title, about = in_words(test.id, TEST | SHORT_TEST), test.active or test.subject
    named = [part for part in (title, about) if part and (part is title or part.casefold() != title.casefold())]
    return capital(", ".join(named))


def capital(name: str) -> str:
    """A name at the head of a line; one that is not all in small letters stays as it was written.

    Examples
    --------
    >>> capital("appearance of the units"), capital("pH")
    ('Appearance of the units', 'pH')
    """
    return name[:1].upper() + name[1:] if name.split(" ")[0].islower() else name


test_title.__test__ = False  # type: ignore[attr-defined]  # not a test of pytest's
