"""What was read, in words: from which cells, how many units, which masses, what was set aside or ignored."""

from __future__ import annotations

from statistics import mean

from msgspec.structs import replace

from qc.batch import Batch, SetAside
from qc.contents import typed
from qc.fields.remarks import says_of_some, telling_part
from qc.fields.sheets import BATCH
from qc.fields.words import summary_of
from qc.judging.weighed_again import with_counting_masses
from qc.patterns import pattern
from qc.problems import BY_CALL, COLUMNS, MOST_QUOTED, TEXT, TITLES, TOLD, IgnoredCells, in_full
from qc.readers.finding.figures import COMPARED
from qc.readers.finding.lines import NEAR
from qc.say.numbers import as_typed, fixed, padded
from qc.say.text import ELLIPSIS, counted, shortened, shortened_inside

_KNOWN_BY = {
    "heading": "by the heading",
    "cells": "by the cells",
    "call": "as the call says",
    "size": "by what a unit weighs",
}
# How long the names of a file and a sheet and the cells may be in a short line, down to the shortest [characters].
ROOMS = ((28, 20, 24), (20, 14, 16), (12, 10, 12), (8, 7, 9))
READ = "Read"
LONGEST_WHAT, MOST_DOUBTFUL = 48, 2
# How long what is told past these may be, each and in all [characters].
LONGEST_BRIEF, LONGEST_LINE = 24, 100
# What is told of many cells in one line.
_SUMMED = (TITLES, COLUMNS)
# Texts as the readers quote them, and more than three of them one behind the other.
_QUOTED, _MANY = pattern(r'"[^"]*"'), pattern(r'("[^"]*"(?: "[^"]*"){2})(?: "[^"]*")+(?: and \d+ more)?')
# Digits behind the point of a number that a formula of the file worked out.
MOST_SHOWN = 6


def what_was_read(batch: Batch, *, short: bool = True, room: tuple[int, int, int] = ROOMS[0], lead: str = READ) -> str:
    """File, sheet and cells, the count of units, first, last and mean mass in the unit of the file; empty if unknown.

    Parameters
    ----------
    batch : Batch
    short : bool
        Whether long names of files and sheets are cut.
    room : three of int
        To how many characters file, sheet and cells are cut.
    lead : str
        How the sentence begins where masses were read.
    """
    read = batch.read
    if read is None:
        return ""
    places = (
        (batch.source.name if batch.source else "", room[0]),
        (f"sheet {read.sheet}" if read.sheet else "", room[1]),
        (read.cells, room[2]),
    )
    where = ", ".join(shortened(place, most=most) if short else place for place, most in places if place)
    units = counted(read.units, "unit") + (" (numbered here)" if read.numbered else "")
    batch = with_counting_masses(batch)
    if not batch.weighed:
        return f"Read {where}: {units}, no masses."
    weighed = "" if len(batch.weighed) == read.units else f", {len(batch.weighed)} with a mass"
    mark = f", decimal {read.decimal}" if read.decimal else ""
    known = _KNOWN_BY.get(read.mass_unit_known_by or "", "")
    known = known if lead == READ or not known else f"unit of mass {known}"
    return f"{lead} {where}: {units}{weighed}, {masses_read(batch)} ({known}{mark})."


def masses_read(batch: Batch) -> str:
    """First, last and mean of the masses that count, in the unit of the file."""
    unit = batch.read.mass_unit if batch.read is not None and batch.read.mass_unit else "g"
    power = 3 if unit == "mg" else 0
    weighed = with_counting_masses(batch).weighed
    values = {unit.name: unit.mass_g.scaleb(power) for unit in weighed if unit.mass_g is not None}
    ends = batch.read.ends if batch.read is not None and {*batch.read.ends} <= values.keys() else ()
    shown = padded([*(values[name] for name in ends or (*values,)[:: max(len(values) - 1, 1)]), *values.values()])
    digits = len(shown[0].partition(".")[2])
    # Beside the mean of a sample it is said of which units this one is.
    whole = " of all" if any(unit.test_sample for unit in weighed) else ""
    middle = fixed(mean(values.values()), decimals=digits + 1)
    return f"first {shown[0]} {unit}, last {shown[1]} {unit}, mean{whole} {middle} {unit}"


def what_was_left(batch: Batch, *, short: bool = True) -> tuple[str, ...]:
    """What was set aside and what was ignored, each with its cells; short enough for a line, or in full."""
    read = batch.read
    if read is None:
        return ()
    most = LONGEST_WHAT if short else None
    by_call = [f"{one.cells} left out of account by --ignore" for one in read.ignored if one.what == BY_CALL]
    figures = [_set_aside(one, short=short, most=most) for one in read.set_aside if not _is_told(one)]
    rest = [
        f"{one.cells} {_in_short(one.what, most=most)}{'' if short or not one.said else f' {one.said}'} ignored"
        for one in read.ignored
        if _is_plain(one)
    ]
    told = told_of_units(batch, short=short)
    titles = [
        f"{one.what} {_in_short(one.said, most=LONGEST_LINE if short else None)} ignored"
        for one in read.ignored
        if one.what in _SUMMED
    ]
    return (*by_call, *told[:MOST_DOUBTFUL], *titles, *told[MOST_DOUBTFUL:], *figures, *rest)


def told_of_units(batch: Batch, *, short: bool = True) -> tuple[str, ...]:
    """What of the file may be about units and was not read as one, each with its cells and what stands there."""
    asides, words = _told(batch)
    most = LONGEST_WHAT if short else None
    told = [f"{one.cells} {_in_short(one.said, most=most)}{'' if one.what == TOLD else ' ignored'}" for one in words]
    return (*(_set_aside(one, short=short, most=most) for one in asides), *dict.fromkeys(told))


def told_in_brief(batch: Batch, *, past: int) -> str:
    """The numbers and words of these that stand past the first of what was left, as far as a line holds them."""
    asides, words = _told(batch)
    past -= _left_by_call(batch) + _titled(batch)
    numbers = [f"{as_typed(one.value)} in {one.cells}" if one.value is not None else one.cells for one in asides]
    texts = dict.fromkeys(f"{_in_short(one.said, most=LONGEST_BRIEF)} in {one.cells}" for one in words)
    told = [*numbers, *texts][past:]
    fitting = (told[:count] for count in range(len(told), 0, -1))
    return next((said for some in fitting if len(said := ", ".join(some)) <= LONGEST_LINE), "")


def _told(batch: Batch) -> tuple[list[SetAside], list[IgnoredCells]]:
    """Numbers and words that may be about units: first what weighs like one, and what says that something was wrong."""
    if batch.read is None:
        return [], []
    usual = _usual(batch)
    asides = sorted(
        filter(_is_told, batch.read.set_aside), key=lambda one: (not says_of_some(one.said), _far(one, usual=usual))
    )
    ignored = [one for one in batch.read.ignored if one.said and one.what not in (*_SUMMED, TEXT)]
    return asides, sorted(ignored, key=lambda one: not says_of_some(one.said))


def note_with_what_was_told(batch: Batch) -> str | None:
    """The note of a batch with what its file says of units that was read as none: for a workbook written from it."""
    if batch.read is None or batch.source is None:
        return batch.note
    # What a known field says is written into that field.
    kept = {field.noun for field in BATCH.fields}
    others = tuple(one for one in batch.read.ignored if one.what not in kept)
    told = told_of_units(replace(batch, read=replace(batch.read, ignored=others)), short=False)
    if not told:
        return batch.note
    return "; ".join(filter(None, (batch.note, *told, f"all this was left aside in {batch.source.name}")))


def _is_told(one: SetAside) -> bool:
    """Whether it is a figure that is not ours, or is held against none."""
    return one.ours is not None or not _is_compared(one)


def _is_plain(one: IgnoredCells) -> bool:
    return one.what != BY_CALL and (one.what == TEXT or not one.said)


def _set_aside(one: SetAside, *, short: bool, most: int | None) -> str:
    """Cells, label and number or words of what was set aside; in a short line no figure that is ours."""
    value = ""
    if one.value is not None and not (short and one.ours is None and _is_compared(one)):
        fine = -int(one.value.as_tuple().exponent) > MOST_SHOWN
        value = as_typed(round(one.value, MOST_SHOWN) if fine else one.value)
    said = _in_short(in_full(one.said), most=most) if one.said else value
    end = "set aside" if one.ours is None else f"but the {one.of} read have {as_typed(one.ours)}"
    what = " ".join(filter(None, (one.cells, _in_short(one.what, most=most), said)))
    return f"{what} {end}" if one.ours is None else f"{what}, {end}"


def _usual(batch: Batch) -> dict[str, float]:
    """The mean of the masses that count, in the unit of the file, and that of the contents as they were typed."""
    power = 3 if batch.read is not None and batch.read.mass_unit == "mg" else 0
    masses = [unit.mass_g.scaleb(power) for unit in batch.weighed if unit.mass_g is not None]
    contents = [value for assay in batch.assays if (value := typed(assay)) is not None]
    return {of: float(mean(values)) for of, values in (("masses", masses), ("contents", contents)) if values}


def _far(one: SetAside, *, usual: dict[str, float]) -> tuple[bool, bool, float]:
    """Whether a number is unlike those read and ours, whether it is no figure of ours, and how near it is."""
    value, middle = float(one.value or 0), float(usual.get(one.of, 0))
    near = any(of and of / NEAR <= value <= NEAR * of for of in (middle, float(one.ours or 0)))
    unlike = "%" in one.what or not near
    # The file's own mean or least that is not ours says that a mass was changed or missed.
    far = abs(value / float(one.ours) - 1) if one.ours else 0.0 if unlike else abs(value / middle - 1)
    return unlike, one.ours is None, -far


def _in_short(text: str, *, most: int | None) -> str:
    """Text with, of each long text quoted in it, the part that tells most; whole where `most` is None."""
    if most is None:
        return text
    text = _MANY.sub(r"\1 ...", text)
    quoted = _QUOTED.findall(text) if len(text) > most else []
    # The first of several tells most.
    room = most - len(_QUOTED.sub('""', text)) if len(quoted) < 2 else min(MOST_QUOTED, most - text.index('"') - 2)
    text = _QUOTED.sub(lambda one: f'"{_cut(one[0][1:-1], most=room)}"', text) if quoted else text
    return _cut(text, most=most).replace(2 * ELLIPSIS, ELLIPSIS)


def _cut(text: str, *, most: int) -> str:
    """Text cut to its part that tells most, at its end, or within where its end says that something was wrong."""
    if '"' not in text:
        text = telling_part(text, most=most)
    cut = shortened(text, most=most)
    return shortened_inside(text, most=most) if says_of_some(text) and not says_of_some(cut) else cut


def _is_compared(one: SetAside) -> bool:
    """Whether a number that was set aside is a figure that is held against ours, or none at all."""
    return (one.value is None and not one.said) or summary_of(one.what) in COMPARED


def never_cut(batch: Batch) -> int:
    """How many of these stand in the shortest answer: what the call ignores, the first of what may be about units."""
    return min(len(told_of_units(batch)), MOST_DOUBTFUL) + _left_by_call(batch) + _titled(batch)


def _titled(batch: Batch) -> int:
    return sum(one.what in _SUMMED for one in batch.read.ignored) if batch.read is not None else 0


def _left_by_call(batch: Batch) -> int:
    return sum(one.what == BY_CALL for one in batch.read.ignored) if batch.read is not None else 0
