"""The words of the report for verdicts, tests, causes and marks; and user text made safe to show."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Sequence

from qc.results import BatchVerdict, TestResult, TrendFlag, Verdict

CAUTION = (
    "A sample was judged by the rules named here; that does not release a batch. The pharmacopoeia in force, local law "
    "and local procedure come first, and the licensed person who signs decides."
)
BATCH_VERDICT = {
    BatchVerdict.COMPLIES: "Complies",
    BatchVerdict.DOES_NOT_COMPLY: "Does not comply",
    BatchVerdict.UNDECIDED: "Undecided",
}
# A shape beside each word, so that neither colour nor reading speed carries the verdict alone.
BATCH_SIGN = {
    BatchVerdict.COMPLIES: "\N{CHECK MARK}",
    BatchVerdict.DOES_NOT_COMPLY: "\N{MULTIPLICATION X}",
    BatchVerdict.UNDECIDED: "?",
}
VERDICT = {
    Verdict.COMPLIES: "complies",
    Verdict.DOES_NOT_COMPLY: "does not comply",
    Verdict.SECOND_STAGE: "second stage due",
    Verdict.TOO_FEW_UNITS: "too few units",
    Verdict.NOT_ASSESSED: "not assessed",
}
TEST = {
    "mass-uniformity": "Uniformity of mass",
    "content-uniformity": "Uniformity of content",
    "dosage-unit-uniformity": "Uniformity of dosage units",
    "mean-mass": "Mean mass against plan",
    "disintegration": "Disintegration",
    "softening-time": "Softening time",
    "resistance-to-rupture": "Resistance to rupture",
    "batch-assay": "Assay of the pooled sample",
    "visual-inspection": "Visual inspection",
    "reconciliation": "Reconciliation",
    "release-check": "Release check",
    "packing-checklist": "Packing and label checklist",
}
CAUSE = {
    "sound": "nothing wrong: a sound batch",
    "settling-in-pour": "active settled in the melt during the pour",
    "settling-in-unit": "active settled inside the units before they set",
    "poor-mixing": "active poorly mixed into the melt",
    "uneven-fill": "cavities filled unevenly",
    "cavity-differences": "cavities of different size",
    "wrong-displacement": "wrong displacement value in the calculation",
    "active-lost": "active lost before or during the pour",
    "balance-drift": "balance drifted while weighing",
    "slip-of-pen": "a slip of the pen in the record",
}
TREND = {
    TrendFlag.CLEAR: "clear change",
    TrendFlag.POSSIBLE: "possible change",
    TrendFlag.NONE_SEEN: "no change seen",
    TrendFlag.CANNOT_TELL: "cannot tell",
}
MET = {True: "yes", False: "no", None: "open"}
REPLACED = "\N{REPLACEMENT CHARACTER}"
ELLIPSIS = "\N{HORIZONTAL ELLIPSIS}"
_TURNERS = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


def in_words(identifier: str, known: dict[str, str]) -> str:
    """The words for an id, or the id itself spelt out where it has none yet.

    Examples
    --------
    >>> in_words("mass-uniformity", TEST), in_words("time-to-soften", TEST)
    ('Uniformity of mass', 'Time to soften')
    """
    return known.get(identifier) or identifier.replace("-", " ").capitalize()


def test_title(test: TestResult) -> str:
    """What page one calls a test, with its active, or with the line of the Checks sheet that it is about."""
    title = in_words(test.id, TEST)
    about = test.active or test.subject
    return f"{title}: {about}" if about and about.casefold() != title.casefold() else title


test_title.__test__ = False  # type: ignore[attr-defined]  # not a test of pytest's


def shown_text(text: str) -> str:
    """User text as it may be shown: no control characters, nothing that turns the reading direction around it.

    Examples
    --------
    >>> shown_text("Unit\\x07 5")
    'Unit\ufffd 5'
    >>> shown_text("two\\nlines")
    'two lines'
    """
    if text.isascii() and text.isprintable():
        return text
    kept = []
    for character in text:
        if character in "\t\n\r\u2028\u2029":
            kept.append(" ")
        elif (
            character in _TURNERS
            or unicodedata.category(character) in ("Cc", "Cs")
            or ord(character) & 0xFFFE == 0xFFFE
        ):
            kept.append(REPLACED)
        else:
            kept.append(character)
    return "".join(kept)


def shortened(text: str, *, most: int) -> str:
    """Text cut to a number of characters, with an ellipsis where something was cut.

    Examples
    --------
    >>> shortened("Paracetamol", most=6), shortened("Zinc", most=6)
    ('Parac…', 'Zinc')
    """
    return text if len(text) <= most else text[: most - 1].rstrip() + ELLIPSIS


def listed(items: Sequence[str], *, most: int | None = None) -> str:
    """Items in a sentence, with "and"; past `most` of them the rest is counted.

    Examples
    --------
    >>> listed(["7"]), listed(["7", "9"]), listed(["7", "9", "12"]), listed(["1", "2", "3", "4"], most=2)
    ('7', '7 and 9', '7, 9 and 12', '1, 2 and 2 more')
    """
    if most is not None and len(items) > most:
        return f"{', '.join(items[:most])} and {len(items) - most} more"
    return " and ".join(part for part in (", ".join(items[:-1]), items[-1] if items else "") if part)


_HYPHEN_OF_A_NUMBER = re.compile(r"(?<![^\s(\[±=])-(?=\d)")


def true_minus(text: str) -> str:
    """Text in which a hyphen before a number is a minus sign; hyphens inside words, ranges and ids stay.

    Examples
    --------
    >>> true_minus("-1.8 % (interval -5.4 to +1.7 %), rule ph-eur-2.9.5, S-2611-11")
    '−1.8 % (interval −5.4 to +1.7 %), rule ph-eur-2.9.5, S-2611-11'
    """
    return _HYPHEN_OF_A_NUMBER.sub("\N{MINUS SIGN}", text)


def brief(text: str, *, most: int) -> str:
    """Text that is cut at a word, with an ellipsis, where it is too long.

    Examples
    --------
    >>> brief("It rises.", most=16), brief("It rises from end to end.", most=16)
    ('It rises.', 'It rises from…')
    """
    return text if len(text) <= most else text[: most - 1].rsplit(" ", 1)[0].rstrip(" ,;:") + ELLIPSIS


def said(text: str) -> str:
    """A sentence of the judge as it is shown: ended, and with true minus signs."""
    return sentence(true_minus(text))


def counted(number: int, one: str, many: str = "") -> str:
    """A count with its noun.

    Examples
    --------
    >>> counted(1, "unit"), counted(3, "unit"), counted(2, "assay", "assays")
    ('1 unit', '3 units', '2 assays')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def sentence(text: str) -> str:
    """Text that ends like a sentence.

    Examples
    --------
    >>> sentence("Weigh ten more units"), sentence("Done.")
    ('Weigh ten more units.', 'Done.')
    """
    return text if not text or text.endswith((".", "?", "!", ELLIPSIS)) else f"{text}."
