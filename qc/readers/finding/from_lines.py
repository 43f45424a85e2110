"""From the lines that a balance prints, or that somebody pasted, to units."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from decimal import Decimal
from itertools import pairwise
from statistics import median

from msgspec.structs import replace

from qc.fields.remarks import is_plain, other_masses
from qc.fields.words import measure_of, names_mould, summary_of
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import CellKind, SheetCell, SheetTable
from qc.readers.finding.among_lines import Line, counted_without_mass, doubts_among
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.figures import FEWEST_TO_COMPARE, figure_called
from qc.readers.finding.grids import is_place
from qc.readers.finding.lines import IF_SINGLE, MOST_FROM_STRENGTH, NEAR, Aside, Doubtful, FoundLine
from qc.readers.finding.printed import PrintedLine, figure_said, holds_masses, printed_line, unit_number
from qc.readers.finding.unread import what_it_says
from qc.readers.finding.view import SheetView, like_a_mass, meant_in, number_in, value_in, written_at

# A cell of masses alone; what parts the lines of a text pasted into one cell, and a word before all of them.
_ONLY_MASSES = pattern(r"\s*(?:\d{1,5}[.,]\d{1,6}\s+){2,}\d{1,5}[.,]\d{1,6}\s*", re.ASCII)
# After how many lines of bare numbers in several cells each a sheet is no print-out.
ENOUGH = 8
# A word, and a number with decimals.
_LONG_WORD, _FINE = pattern(r"[^\W\d_]{3,}"), pattern(r"[.,]\d{2}")
IF_CONTENT = 'Write "Unit" over the names of the units and "Content (mg)" over what they hold'
_Line = tuple[int, list[SheetCell], PrintedLine]
_WHOLE = pattern(r"\s*\d{1,5}\s*", re.ASCII)
_LINE_ENDS, _HEAD = pattern(r"[\r\n;|]+"), pattern(r"^[^\d\n]*:")


def of_lines(upright: SheetView) -> Iterator[Candidate]:
    """The lines of a balance, one a row: either in one cell, or spread over several."""
    typed = [cell for row in upright.table.rows for cell in row.cells.values() if cell.kind is CellKind.TEXT]
    if not any(measure_of(cell.text) or any(map(str.isdigit, cell.text)) for cell in typed):
        return
    found: list[_Line] = []
    doubtful: list[Doubtful] = []
    asides: list[Aside] = []
    number, label, pasted, headed = "", "", True, set[int]()
    if not (read := _read_lines(upright.table)):
        return
    whole = _without_decimals([(joined, line) for *_, joined, line in read])
    read = [
        (*one[:3], PrintedLine(value=one[2].strip(), measure="") if place in whole else one[3])
        for place, one in enumerate(read)
    ]
    for row_number, texts, joined, line in read:
        if line is not None:
            bare = not (line.number or line.label)
            headed |= {row_number} if bare and label else set()
            found.append((row_number, texts, replace(line, number=number, label=label) if bare else line))
            label, pasted = "", pasted and len(texts) == 1 and texts[0].kind is CellKind.TEXT
        elif holds_masses(joined) or any(meant_in(cell) is not None for cell in texts):
            told = f"{texts[0].quoted} holds more than one mass, or something beside it that is not understood"
            doubtful.append(Doubtful(cell=texts[0], found=told, mend="Write one mass a row"))
        else:
            number = unit_number(joined) or number
            # A letter alone heads no value of the next line.
            heads = len(joined.split()[0]) > 1 and summary_of(joined) and not any(map(str.isdigit, joined))
            label = joined.strip() if heads else ""
            if (said := figure_said(joined))[0]:
                figure = Aside(cells=(written_at(texts[0], said[1]),), label=said[0], kind=summary_of(said[0]))
                asides.append(figure)
    # Over the first mass a mould is that of those below it, and so is each further one.
    headed_by = {row: texts[0] for row, texts, joined, line in read if line is None and _heads_mould(joined)}
    headed_by = headed_by if headed_by and found and min(headed_by) < found[0][0] else {}
    found = _with_sd_named(_in_one_column(_without_prose(found), printed=bool(upright.table.separator)))
    kept = {row for row, *_ in found}
    strength = found[0][0] if _states_the_strength(found) else 0
    asked = [one for one in read if one[0] not in {*headed_by, strength}]
    first = min(kept, default=0)
    doubtful += doubts_among([(*one[:3], one[3] if one[0] in kept or one[0] > first else None) for one in asked])
    if strength:
        _, texts, line = found.pop(0)
        value = written_at(texts[0], f"{line.value} {line.measure}")
        asides.append(Aside(cells=(value,), label=line.label.strip(" :="), kind="reference"))
    names = [line.number or line.label.strip(" :=") for *_, line in found]
    doubtful += counted_without_mass(read, names)
    doubts, remarks = _heads_of_pasted(read, count=len(found))
    doubtful, asides = doubtful + doubts, asides + remarks
    used = {cell for _, texts, _ in found for cell in texts}
    others = sum(like_a_mass(cell) and cell not in used for row in upright.table.rows for cell in row.cells.values())
    if not (pasted or all(line.measure for *_, line in found)) or len(found) <= others:
        return
    lines: list[FoundLine] = []
    netted = any(line.sign == "net" for *_, line in found)
    # Among lines without names even x and s head a figure.
    nameless = not any(line.number or (line.label and not summary_of(line.label)) for *_, line in found)
    for row_number, texts, line in found:
        cell = _value_cell(texts, line)
        if nameless and line.label:
            shown, kind = written_at(cell, f"{line.value} {line.measure}".strip()), summary_of(line.label)
            rest = [written_at(_value_cell(there, one), one.value) for _, there, one in found if not one.label]
            middle = median(value_in(one) for one in rest) if rest else Decimal(0)
            near = middle and middle / NEAR <= line.grams <= NEAR * middle
            if row_number in headed and near and not figure_called(written_at(cell, line.value), rest):
                told = (
                    f"{cell.quoted} stands below {quoted(line.label.strip(' :='))}, weighs like a unit, and may be one"
                )
                mend = "Take that line out if it is a title; write a figure behind its word, on one line"
                doubtful.append(Doubtful(cell=cell, found=told, mend=mend))
                continue
            asides.append(Aside(cells=(shown,), label=line.label.strip(" :="), kind=kind))
            continue
        cells = {"mass_g": written_at(cell, f"{line.value} {line.measure}".strip())}
        if line.number or line.label:
            cells["name"] = written_at(cell, line.number or line.label.strip(" :="))
        if headed_by:
            cells["mould"] = headed_by[max(row for row in headed_by if row < row_number)]
        if line.sign == "tare" or (line.sign == "gross" and netted) or not line.grams:
            asides.append(Aside(cells=(cell,), label=line.sign or line.value, kind="reference"))
            continue
        if what_it_says(line.label) == "content" and not any(one.mend == IF_CONTENT for one in doubtful):
            told = f"{cell.quoted} stands behind {quoted(line.label)}, which says content, not mass"
            doubtful.append(Doubtful(cell=cell, found=told, mend=IF_CONTENT))
        if line.sign in ("moving", "gross"):
            told = "was printed before the balance came to rest" if line.sign == "moving" else "is a gross mass"
            mend = "Weigh that unit again" if line.sign == "moving" else "Give the net mass"
            doubtful.append(Doubtful(cell=cell, found=f"{cell.quoted} {told}", mend=mend))
        lines.append(FoundLine(number=row_number, cells=cells))
    yield Candidate.of_lines(upright, lines, asides=asides, doubtful=doubtful, used=used)


def _heads_of_pasted(read: Sequence[Line], *, count: int) -> tuple[list[Doubtful], list[Aside]]:
    """What stands before masses that were pasted into one line: in doubt where it may say other masses, else told."""
    lines = Counter(row for row, *_ in read)
    first = {row: texts[0] for row, texts, *_ in reversed(read) if lines[row] > 1}
    heads = [written_at(cell, said[0].strip(" :")) for cell in first.values() if (said := _HEAD.match(cell.text))]
    doubtful: list[Doubtful] = []
    for cell in heads:
        if other := other_masses(cell.shown, count=count, title=True):
            found = f"{cell.quoted} stands before masses, and what {quoted(other)} says of them is not understood"
            doubtful.append(Doubtful(cell=cell, found=found, mend=IF_SINGLE))
    return doubtful, [Aside(cells=(cell,), label=cell.shown) for cell in heads if not is_plain(cell.shown)]


def _heads_mould(text: str) -> bool:
    """Whether a line says nothing but which mould comes next."""
    return names_mould(text) and is_place(text)


def _read_lines(table: SheetTable) -> list[Line]:
    """The lines of a sheet as they are read; none where the first of them are bare numbers in several cells each."""
    read: list[Line] = []
    apart = 0
    for row_number, texts, joined in _pasted_apart(table):
        line = printed_line(joined)
        read.append((row_number, texts, joined, line))
        if line is not None and apart < ENOUGH:
            is_printed = bool(line.measure) or (apart == 0 and len(texts) == 1 and texts[0].kind is CellKind.TEXT)
            apart = ENOUGH if is_printed else apart + 1
            if apart == ENOUGH and not is_printed:
                return []
    return read


def _without_decimals(lines: Sequence[tuple[str, PrintedLine | None]]) -> set[int]:
    """The places of whole numbers among bare masses that lie between them in size and do not count upward."""
    masses = {
        place: line.grams
        for place, (_, line) in enumerate(lines)
        if line is not None and not (line.number or line.label or line.measure)
    }
    whole = {place: int(text) for place, (text, _) in enumerate(lines) if _WHOLE.fullmatch(text)}
    if not masses or (len(whole) > 1 and all(before < after for before, after in pairwise(whole.values()))):
        return set()
    within = min(masses.values()), max(masses.values())
    between = min(masses), max(masses)
    return {
        place for place, number in whole.items() if within[0] <= number <= within[1] and between[0] < place < between[1]
    }


def _value_cell(texts: Sequence[SheetCell], line: PrintedLine) -> SheetCell:
    return next((cell for cell in texts if line.value in re.sub(r"\s", "", cell.text)), texts[0])


def _in_one_column(found: list[_Line], *, printed: bool) -> list[_Line]:
    """The lines whose value stands in the column of most others; a print-out goes straight down.

    What was `printed` with units of measure is aligned by blanks, and its last number is the value.
    """
    printed = printed and any(line.measure for *_, line in found) and all(len(texts) > 1 for _, texts, _ in found)
    cells = [(_value_cell(texts, line), texts) for _, texts, line in found]
    last = [next((one for one in reversed(texts) if any(map(str.isdigit, one.text))), cell) for cell, texts in cells]
    columns = [0 if printed and cell is end else cell.column for (cell, _), end in zip(cells, last, strict=True)]
    often = Counter(columns)
    most = max(often.values(), default=0)
    return [one for one, column in zip(found, columns, strict=True) if often[column] == most]


def _states_the_strength(found: list[_Line]) -> bool:
    """Whether the first line is a title with what a unit should weigh: "Suppositories 2 g" over "2.013"."""
    if len(found) < FEWEST_TO_COMPARE or found[0][2].number or not _LONG_WORD.search(found[0][2].label):
        return False
    first, *rest = (line for *_, line in found)
    middle = median(line.grams for line in rest)
    fine = all(_FINE.search(line.value) for line in rest)
    return fine and first.value.isdigit() and bool(first.measure) and abs(first.grams / middle - 1) < MOST_FROM_STRENGTH


def _with_sd_named(found: list[_Line]) -> list[_Line]:
    """The lines, where the sign of rest of one is the SD of those before it: "s 0.0187 g"."""
    least = median(line.grams for *_, line in found) / 10 if found else 0
    return [
        (row, texts, replace(line, label="s"))
        if 0 < line.grams < least and not (line.number or line.label) and texts[0].typed.casefold().startswith("s")
        else (row, texts, line)
        for row, texts, line in found
    ]


def _without_prose(found: list[_Line]) -> list[_Line]:
    """The lines but for sentences whose value is no mass like the others: the strength in a title."""
    values = [line.grams for *_, line in found if not line.is_prose]
    ends = (min(values) / 2, 2 * max(values)) if values else (0, 0)
    return [one for one in found if not one[2].is_prose or ends[0] <= one[2].grams <= ends[1]]


def _pasted_apart(table: SheetTable) -> Iterator[tuple[int, list[SheetCell], str]]:
    """The lines of a sheet with the cells they stand in: a row each, or a line each of a text pasted into one cell."""
    for row in table.rows:
        texts = [cell for cell in row.cells.values() if cell.kind in (CellKind.TEXT, CellKind.NUMBER)]
        text = _HEAD.sub("", texts[0].text) if texts else ""
        each = [text, *(cell.text for cell in texts[1:])]
        if len(texts) > 1 and text != texts[0].text and all(map(printed_line, each)):
            # "Weights (g): 2.113, 2.098, ..." on one line.
            yield from ((row.number, [cell], part) for cell, part in zip(texts, each, strict=True))
            continue
        text = text if len(texts) == 1 else ""
        parts = text.split() if _ONLY_MASSES.fullmatch(text) else _LINE_ENDS.split(text)
        ends = (end for end in range(1, len(texts)) if printed_line("  ".join(cell.text for cell in texts[:end])))
        end = next(ends, len(texts))
        # A word right before a number is about that number, and a number behind the value is not of the line.
        while end < len(texts) and not any(number_in(cell) is not None for cell in texts[end : end + 2]):
            end += 1
        texts = texts[:end]
        for part in parts if len(parts) > 1 else ["  ".join(cell.text for cell in texts)]:
            if part.strip():
                yield row.number, texts, part
