"""The lines that a balance prints or that people paste: number of the unit, sign, value, unit of mass, in any order."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cached_property

from msgspec import Struct

from qc.fields.words import balance_sign, measure_of, summary_of
from qc.patterns import pattern

# Beside the value of a unit stand its name and perhaps a word for it.
MOST_WORDS = 2
_VALUE = pattern(
    r"(?<![\w.,:/-])([+-]?\s{0,8}\d{1,5}(?:[.,]\d{1,6})?)\s*(mg|gr?|grams?)\b(?!/)", re.IGNORECASE | re.ASCII
)
_PLAIN = pattern(r"\s*(?:(\d{1,4})(?:[):;\s]|\.\s)\s*)?([+-]?\d{1,5}[.,]\d{1,6})\s*", re.ASCII)
_OTHER = pattern(r"(?<![\w-])\d+[.,]\d+(?!\s*%)", re.ASCII)
_CLOCK = pattern(
    r"(?<!\d)(?:\d{1,4}([-./])\d{1,2}\1\d{1,4}|\d{1,2}:\d{2}(?::\d{2})?(?:\s*[ap]m)?)(?!\d)", re.IGNORECASE | re.ASCII
)
# A bound is no value.
_BOUND = pattern(r"[<>~\u2248\u2264\u2265]\s*\d")
# Behind a value it says of how many units it is.
_TIMES = pattern(r"\s*(?:[x\u00d7]\s*\d|\(\s*\d+\s*\)|/\s*\d)", re.IGNORECASE)
# What parts the number of a unit from its mass: "7: 2.013", "Unit 7 = 2.013 g", "7 - 2.013".
_PARTED = pattern(r"^(\s*(?:[^\W\d]+\.?\s*)?\d{1,4})(?:\s*[:=]\s*|\s+[-\u2013]\s+)(?=\d)")
_NUMBER = pattern(r"(?:unit|sample|no|nr|id|#)?\s*[.:]?\s*(\d{1,4})\s*[.:)]?", re.IGNORECASE | re.ASCII)


# A number with decimals, letters that look like digits among them: "l.5OO".
_TOLD = pattern(r"(?<![\w.])[\dOolI]{1,5}[.,][\dOolI]{1,6}(?![\dOolI]|[.,]\d)(?!\s*%)", re.ASCII)
_LOOKALIKES = str.maketrans("OolI", "0011")
# What parts what is said in one text, and what joins two numbers that are said of one thing.
_CLAUSES = pattern(r"[;,]\s|;")
_JOINS = frozenset({"", "to", "bis", "a", "\u00e0", "tot", "do", "and", "und", "et", "y", "e", "g", "mg"})
_FIGURE = pattern(r"\s*(\D*?)\s*[:=]?\s*(\d{1,5}(?:[.,]\d{1,6})?)\s*([a-z]{1,5}|%)?\.?\s*", re.IGNORECASE | re.ASCII)


class PrintedLine(Struct, frozen=True, kw_only=True, dict=True):
    """What a line says: `label` is what stands beside the value and is neither a time nor a sign of the balance.

    `sign` is "moving" where the balance was not at rest, else "net", "gross" or "tare" where one of these is said.
    """

    value: str
    measure: str
    number: str = ""
    label: str = ""
    sign: str = ""

    @cached_property
    def grams(self) -> Decimal:
        """The value [g]; as it is written where no unit of mass stands behind it."""
        return Decimal(self.value.replace(",", ".")).scaleb(-3 if self.measure == "mg" else 0)

    @property
    def is_prose(self) -> bool:
        """Whether words stand beside the value that neither head a figure nor number a unit."""
        words = self.label.split()
        named = len(words) <= MOST_WORDS and (any(map(str.isdigit, self.label)) or len(self.label) <= MOST_WORDS)
        return bool(words) and not named and not summary_of(self.label)


def printed_line(text: str) -> PrintedLine | None:
    """A line with one value of mass; None where it holds none, or several.

    Examples
    --------
    >>> printed_line("  7   + 2.0134 g  S  12:31:07")
    PrintedLine(value='2.0134', measure='g', number='7', label='', sign='')
    >>> printed_line("N   2.0134 g").sign, printed_line("Mean  2.0131 g").label, printed_line("14.03.2026 12:31")
    ('net', 'Mean', None)
    >>> {printed_line(text) for text in ("1:1.981g", "Unit 1 = 1.981 g")}
    {PrintedLine(value='1.981', measure='g', number='1', label='', sign='')}
    """
    # A long text without a figure is not searched.
    if not re.search(r"\d", text):
        return None
    text = text.replace("*", " ")
    bare = _CLOCK.sub(" ", " ".join(text.split()) if "\u00a0" in text or "\u202f" in text else text)
    bare = _PARTED.sub(r"\1 ", bare)
    if match := _PLAIN.fullmatch(bare):
        return PrintedLine(value=match.group(2), measure="", number=match.group(1) or "")
    found = list(_VALUE.finditer(bare))
    if len(found) != 1 or _BOUND.search(bare):
        return None
    (match,) = found
    if _TIMES.match(bare, match.end()):
        return None
    around = f"{bare[: match.start()]} {bare[match.end() :]}".strip(" \t,;|+")
    if _OTHER.search(around):
        return None
    words = re.split(r"[\s,;|+]+", around)
    signs = {word: balance_sign(word) for word in words}
    said = [sign for sign in signs.values() if sign and sign != "rest"]
    spoken = " ".join(words)
    rest = spoken if len(words) > 1 and summary_of(spoken) else " ".join(word for word in words if not signs[word])
    number = _NUMBER.fullmatch(rest)
    return PrintedLine(
        value=re.sub(r"\s", "", match.group(1)).lstrip("+"),
        measure=measure_of(match.group(2)),
        number=number.group(1) if number else "",
        label="" if number else rest,
        sign="moving" if "moving" in said or rest.endswith("?") else next(iter(said), ""),
    )


def unit_number(text: str) -> str:
    """The number of a unit on a line of its own, "ID 7"; empty where a line says something else."""
    match = _NUMBER.fullmatch(text.strip())
    return match.group(1) if match else ""


def figures_said(text: str) -> list[tuple[str, str]]:
    """The labels and values of a line that says a mean, a sum, an SD, an RSD or a count, or several, parted by commas.

    Examples
    --------
    >>> figures_said("n = 24, s dev 0.0153 g; Batch 7")
    [('n', '24'), ('s dev', '0.0153 g')]
    """
    return [said for clause in _CLAUSES.split(text.lstrip("# ")) if (said := figure_said(clause))[0]]


def figure_said(text: str) -> tuple[str, str]:
    """The label and the value of a line that says a mean, a sum, an SD, an RSD or a count; empty where it says none.

    Examples
    --------
    >>> figure_said("n = 24"), figure_said("s dev  0.0153 g"), figure_said("Mean 20 %"), figure_said("Batch 7")
    (('n', '24'), ('s dev', '0.0153 g'), ('', ''), ('', ''))
    """
    match = _FIGURE.fullmatch(text)
    if match is None:
        return "", ""
    label, value, measure = match.group(1), match.group(2), measure_of(match.group(3) or "")
    # "N47" is the number of a batch.
    counts = summary_of(label) == "count" and not measure and value.isdigit() and label + value not in text
    in_mass = measure in ("g", "mg") or not (match.group(3) or value.isdigit())
    weighs = summary_of(label) in ("mean", "sum", "sd") and in_mass
    relative = summary_of(label) == "rsd" and measure == "%"
    return (label, f"{value} {measure}".strip(" %")) if counts or weighs or relative else ("", "")


def numbers_labelled(text: str, *, before: str = "") -> list[tuple[str, str]]:
    """Each number of a text that may be a mass, with what stands between it and the one before it.

    Parameters
    ----------
    text : str
    before : str
        What stands before the text, and so before its first number.

    Examples
    --------
    >>> numbers_labelled("n = 21, min 1.404 g; Limits 1.906 - 2.106 (30.11.2026)")
    [('min', '1.404 g'), ('Limits', '1.906'), ('Limits', '2.106')]
    >>> numbers_labelled("5 % under the mean; unit 21: 1404 mg")
    [('unit 21', '1404 mg')]
    """
    bare = _CLOCK.sub(" ", text)
    # The sign before the second end of a range is a dash.
    spans = {match.start(): (match.end(), match.group().translate(_LOOKALIKES)) for match in _TOLD.finditer(bare)}
    for match in _VALUE.finditer(bare):
        start = match.start() + len(match.group()) - len(match.group().lstrip("+- \t"))
        spans[start] = (match.end(), f"{match.group(1).lstrip('+- ')} {match.group(2)}")
    found, last, label = list[tuple[str, str]](), 0, before
    for start, (end, value) in sorted(spans.items()):
        if start < last or not any(map(str.isdigit, bare[start:end])):
            continue
        between = _CLAUSES.split(bare[last:start])[-1].strip(" -\u2013(=:\u00b1")
        # Two ends of a range share what stands before the first.
        label = label if between.casefold() in _JOINS else between
        found.append((label, value))
        last = end
    return found


def is_clock(text: str) -> bool:
    """Whether a text is a day or a time."""
    return _CLOCK.fullmatch(text.strip()) is not None


def without_clock(text: str) -> str:
    """A text without the days and times in it."""
    return _CLOCK.sub(" ", text)


def holds_masses(text: str) -> bool:
    """Whether a line holds values with a unit of mass."""
    return _VALUE.search(without_clock(text)) is not None


def numbers_told(text: str) -> list[Decimal]:
    """The numbers with decimals that a text holds, those of days and clauses left out.

    Examples
    --------
    >>> numbers_told("Unit 7: 2.010 g, then 1,500 g (Ph. Eur. 2.9.5)")
    [Decimal('2.010'), Decimal('1.500')]
    """
    found = (one for one in _TOLD.findall(_CLOCK.sub(" ", text)) if any(map(str.isdigit, one)))
    return [Decimal(one.translate(_LOOKALIKES).replace(",", ".")) for one in found]
