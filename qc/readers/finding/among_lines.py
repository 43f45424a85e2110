"""Lines among the masses that a balance printed, or next to them, which hold none: each may be one gone wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

from qc.fields.remarks import parts_groups, says_of_some
from qc.fields.words import every_word, heading_of, plain_words, summary_of, words_known
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import SheetCell
from qc.readers.finding.lines import PART, Doubtful
from qc.readers.finding.printed import PrintedLine, figure_said, is_clock, unit_number, without_clock

Line = tuple[int, list[SheetCell], str, PrintedLine | None]
"""Row, cells and text of a line, and what it says where that is a mass."""

_DIGIT, _LETTERS = pattern(r"\d+"), pattern(r"[^\W\d_]{2,}")
# Without it a day may be a number with a second point.
_YEAR = pattern(r"\d{4}|:")
# Signs that may say of one line that its value is negative, or that the balance was not at rest.
_SIGNS = (
    (pattern(r"[^.,]*\d\s*[-\u2013\u2212]\s+\d"), "a dash before its value that may be a minus"),
    (pattern(r".*\*"), "a sign * beside its value"),
)
_MEND = "Type the mass, or take the line out if it is no unit"


def doubts_among(read: Sequence[Line]) -> Iterator[Doubtful]:
    """What no mass was taken from between the first and the last of them, or right above or below them.

    Parameters
    ----------
    read : sequence of Line
        All lines of the sheet.
    """
    masses = [(spot, line) for spot, (*_, line) in enumerate(read) if line is not None]
    if not masses:
        return
    often = Counter(_made(joined) for _, _, joined, line in read if line is None or not line.grams)
    first, last = masses[0][0], masses[-1][0]
    # Gross mass and tare are printed with each net one.
    nets = sum(line.sign == "net" for _, line in masses) or len(masses)
    nameless = not any(line.number or line.label for _, line in masses)
    for spot, (row, cells, joined, line) in enumerate(read):
        # What is printed with every other value, as the day and a zero are, parts nothing and is no unit.
        if 2 * often[_made(joined)] >= nets or (line is not None and line.grams):
            continue
        counts = unit_number(joined) and not (nameless and joined.strip().isdigit())
        # A word with a percentage is a figure, as the relative standard deviation is.
        in_percent = _LETTERS.search(joined) and joined.rstrip().endswith("%")
        if line is None and (figure_said(joined)[0] or counts or in_percent):
            continue
        within, end = first < spot < last, first if spot < first else last
        next_to = nameless and abs(spot - end) == 1 >= abs(row - read[end][0])
        if within and (parts_groups(joined) or is_clock(joined)):
            found = f"{cells[0].quoted} stands among the masses, and may part those above it from those below it"
            yield Doubtful(cell=cells[0], found=found, mend=PART)
        elif within or line is not None or (next_to and not _is_title(joined, count=len(masses), below=spot > last)):
            found = f"{quoted(joined.strip())} stands among the masses, and holds no mass that is understood"
            yield Doubtful(cell=cells[0], found=found, mend=_MEND)
    for sign, told in _SIGNS:
        signed = [cells for _, cells, joined, line in read if line is not None and sign.match(joined)]
        for cells in signed if 2 * len(signed) < len(masses) else ():
            found = f"{cells[0].quoted} has {told}, and most lines have none"
            yield Doubtful(cell=cells[0], found=found, mend="Weigh that unit again, or take the sign out")


def counted_without_mass(read: Sequence[Line], names: Sequence[str]) -> Iterator[Doubtful]:
    """Lines that begin with a number which the names of the units leave out, between them or next to their ends."""
    made, often = next(iter(Counter(map(_made, names)).most_common(1)), ("", 0))
    taken = {int("".join(_DIGIT.findall(name))) for name in names if _made(name) == made and _DIGIT.search(name)}
    for _, cells, joined, _ in read if taken and 2 * often > len(names) else ():
        word = joined.split()[0].rstrip(".:)")
        number = int("".join(_DIGIT.findall(word)) or -1) if _made(word) == made else -1
        if number not in taken and min(taken) - 1 <= number <= max(taken) + 1:
            found = f"{quoted(joined.strip())} is counted like a unit, and holds no mass that is understood"
            yield Doubtful(cell=cells[0], found=found, mend=_MEND)


def _made(text: str) -> str:
    """How a text is made: its numbers left out."""
    return _DIGIT.sub("", text)


def _is_title(text: str, *, count: int, below: bool) -> bool:
    """Whether a line next to the masses is a figure, a title of several words or, above them, a heading or a place.

    "20 units" over twenty masses says how many there are; "Serie 1", "Mould B" and a day say which these are.
    """
    words, known = _LETTERS.findall(text.casefold()), words_known().remark
    day = _YEAR.search(text) and not any(map(str.isalnum, without_clock(text)))
    named = summary_of(text) or known.plain & {*words} or (not below and heading_of(text) is not None)
    if not below and not named:
        every = plain_words(text)
        whole, number = words_known().heading.whole, next(iter(every), "")
        places = whole["batch"] | whole["mould"] | known.weighed | known.who
        named = bool(day) or (number == str(count) and not words_known().heading.unit.isdisjoint(every))
        # On the first line a word that is not known is the maker of the balance, and told.
        named = named or (bool(words) and every_word().isdisjoint(every))
        named = named or (not places.isdisjoint(every) and not says_of_some(text))
        return bool(len(words) > 1 or named)
    return len(words) > 1 or bool(day or (words and named))
