"""Which of the tables found is the batch: the moulds of one batch together, else the one that the call names."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from itertools import pairwise, repeat

from msgspec.structs import replace

from qc.fields.field import same_name
from qc.fields.remarks import parts_groups
from qc.fields.words import meant_by
from qc.problems import quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import Noted, SheetCell, row_of
from qc.readers.command import in_quotes
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.from_grids import without_measure
from qc.readers.finding.grids import is_place, weighed_again
from qc.readers.finding.lines import PART, Doubtful, FoundLine
from qc.readers.finding.printed import numbers_told
from qc.readers.finding.unread import what_it_says
from qc.readers.finding.view import value_in, written_at
from qc.readers.options import ReadOptions, ready
from qc.readers.plausible import place_of

MOST_LISTED = 12


def one_batch(candidates: list[Candidate]) -> list[Candidate]:
    """The tables of a sheet as one where they are the moulds of a batch, or a list that goes on in the next columns."""
    candidates = _each_once(candidates)
    if len(candidates) < 2 or len({one.measure for one in candidates} - {""}) > 1:
        return candidates
    own = [_own_mould(one) for one in candidates]
    labels = [same_name(one.label) or mould for one, mould in zip(candidates, own, strict=True)]
    as_moulds = [label for label in labels if label and (label in own or (is_place(label) and not parts_groups(label)))]
    moulds = len(set(as_moulds)) == len(labels) and not any(map(_names_batch, labels))
    names = [same_name(line.cells["name"].text) for one in candidates for line in one.units if "name" in line.cells]
    every = sum(len(one.units) for one in candidates)
    batches = set(filter(_names_batch, labels))
    titled = [label for label in labels[1:] if parts_groups(label) and not numbers_told(label)]
    # The product over one block and the number of its lot over another are titles of one batch.
    beside = len({min(map(row_of, one.masses)) for one in candidates if one.masses}) == 1
    titled = [] if beside and all(labels) and sum(map(_names_batch, labels)) == 1 and len(labels) == 2 else titled
    goes_on = (
        len(set(names)) == len(names) == every
        and all(one.units for one in candidates)
        and not as_moulds
        and len(batches) < 2
        and not titled
    )
    goes_on = goes_on and all(_number(after, 0) == _number(before, -1) + 1 for before, after in pairwise(candidates))
    if not (moulds or goes_on):
        return candidates
    return [_joined(candidates, [one.label for one in candidates] if moulds else [])]


def _each_once(candidates: Sequence[Candidate]) -> list[Candidate]:
    """The tables but for a column that holds the masses of another one in mg, to the last digit, or repeats them."""
    found: list[Candidate] = []
    for one in candidates:
        masses = {row_of(cell): value_in(cell) for cell in one.masses}
        in_g = {at: {row_of(cell): value_in(cell) * 1000 for cell in other.masses} for at, other in enumerate(found)}
        at = next((at for at, other in in_g.items() if masses == other and found[at].measure == "g"), None)
        if again := _with_contents_of(one, found):
            found = again
        elif at is None or one.measure != "mg":
            found.append(one)
        else:
            found[at] = replace(found[at], used=found[at].used | one.used)
    return found


def _with_contents_of(one: Candidate, found: Sequence[Candidate]) -> list[Candidate]:
    """The tables found, one of them with the contents of a table that repeats the masses of its units; else none.

    Of the units assayed the mass may stand again beside the content.
    """
    named = {same_name(line.cells["name"].shown): line for line in one.units if "name" in line.cells and line.mass}
    contents = {name: {at: line.cells[at] for at in CONTENTS if at in line.cells} for name, line in named.items()}
    for spot, other in enumerate(found if any(contents.values()) and len(named) == len(one.units) else ()):
        units = {same_name(line.cells["name"].shown): line for line in other.units if "name" in line.cells}
        held = any(at in line.cells for line in other.units for at in CONTENTS)
        same = [name in units and _mass(units[name]) == _mass(line) for name, line in named.items()]
        if not held and 2 * sum(same) > len(same) and len(units) == len(other.units) and one.measure == other.measure:
            lines = [replace(line, cells={**line.cells, **contents.get(name, {})}) for name, line in units.items()]
            whole = replace(
                other,
                units=tuple(lines),
                asides=(*other.asides, *one.asides),
                doubtful=(*other.doubtful, *one.doubtful, *_other_masses(named, units)),
                used=other.used | one.used,
            )
            return [*found[:spot], whole, *found[spot + 1 :]]
    return []


def _other_masses(again: Mapping[str, FoundLine], units: Mapping[str, FoundLine]) -> Iterator[Doubtful]:
    for name, line in again.items():
        first = units[name].mass if name in units else None
        if line.mass is not None and (first is None or value_in(first) != value_in(line.mass)):
            told = f"{first.quoted} in {first.address}" if first is not None else "none"
            found = f"the mass beside the content is {line.mass.quoted}, and that of the same unit is {told}"
            mend = "Keep the mass that is right, or head a second weighing Weighed again (g)"
            yield Doubtful(cell=line.mass, found=found, mend=mend)


def _mass(line: FoundLine) -> Decimal | None:
    return None if line.mass is None else value_in(line.mass)


def _joined(candidates: Sequence[Candidate], moulds: Sequence[str]) -> Candidate:
    """Several tables of one batch as one, the units of each in its mould where moulds are named."""
    doubtful = [doubt for one in candidates for doubt in one.doubtful]
    by_name = [
        {same_name(line.cells["name"].shown): line.mass for line in one.units if "name" in line.cells and line.mass}
        for one in candidates
    ]
    if moulds and (again := weighed_again(by_name)) is not None:
        found = "the masses of two tables go up and down together, like two weighings of the same units"
        mend = "Keep the weighing that counts, or name the units apart"
        doubtful.append(Doubtful(cell=again, found=found, mend=mend))
    if not moulds and (text := _parting(candidates)) is not None:
        found = f"{text.quoted} stands among the masses, and may part those above it from those below it"
        doubtful.append(Doubtful(cell=text, found=found, mend=PART))
    named = zip(candidates, map(without_measure, moulds) if moulds else repeat(""), strict=False)
    return Candidate(
        view=candidates[0].view,
        units=tuple(_in_mould(line, mould) if mould else line for one, mould in named for line in one.units),
        asides=tuple(aside for one in candidates for aside in one.asides),
        doubtful=tuple(doubtful),
        measure=max(one.measure for one in candidates),
        used=frozenset().union(*(one.used for one in candidates)),
    )


def _parting(candidates: Sequence[Candidate]) -> SheetCell | None:
    """A text in a row of its own between tables that may part them."""
    view, used = candidates[0].view, frozenset[str]().union(*(one.used for one in candidates))
    rows = [row_of(cell) for one in candidates for cell in one.masses]
    between = (cells.values() for row, cells in view.rows.items() if min(rows) < row < max(rows))
    alone = (cells for cells in between if not any(cell.address in used for cell in cells))
    return next((cell for cells in alone for cell in cells if parts_groups(cell.typed)), None)


def _own_mould(candidate: Candidate) -> str:
    """The one mould that stands in every row of a table, under a heading of its own; empty where none does."""
    moulds = {same_name(line.cells["mould"].shown) if "mould" in line.cells else "" for line in candidate.units}
    return next(iter(moulds)) if len(moulds) == 1 else ""


def _number(candidate: Candidate, at: int) -> int:
    """The number in the name of its first or last unit; 0 where there is none."""
    digits = re.sub(r"\D", "", candidate.units[at].cells["name"].shown)
    return int(digits or 0)


def _in_mould(line: FoundLine, label: str) -> FoundLine:
    """A unit with the mould it came from."""
    mould = written_at(next(iter(line.cells.values())), label)
    return replace(line, cells={"mould": mould, **line.cells})


def _names_batch(label: str) -> bool:
    return meant_by(re.sub(r"\d+", " ", label)) == "batch"


def chosen(found: list[Candidate], *, options: ReadOptions, file: str, findings: Noted) -> Candidate | None:
    """The table of the batch; None (and a problem that lists what was found and the call for each) where it is open."""
    if options.batch is not None:
        every = frozenset().union(*(one.used for one in found))
        found = [replace(one, used=every) for one in found if _has_batch(one, options.batch)] or found
    if options.cells:
        within = [one for one in found if _lies_in(one, options.cells)]
        named = {same_name(one.label): quoted(one.label) for one in within if parts_groups(one.label)}
        if not _alike(within) or len(named) > 1:
            what = "no table of weights lies" if not within else "tables in g and in mg lie"
            what = f"tables of {' and of '.join(named.values())} lie" if len(named) > 1 else what
            _refuse_several(found, options, file, findings, why=f"{what} in {options.cells}; ")
            return None
        # The blocks of one batch that bear no name of a mould are counted.
        found = [_joined(within, [str(at) for at, _ in enumerate(within, start=1)])] if len(within) > 1 else within
    if len(found) > 1:
        _refuse_several(found, options, file, findings)
        return None
    (candidate,) = found
    batches = Counter(line.cells["batch"].shown for line in candidate.units if "batch" in line.cells)
    if len({same_name(name) for name in batches}) <= 1:
        if options.batch is not None and not _has_batch(candidate, options.batch):
            told = (
                f"it names {quoted(next(iter(batches)))}" if batches else "no column and no title there names a batch"
            )
            found_text = f"the call asks for batch {quoted(options.batch)}, but {told}"
            findings.refuse(candidate.table, candidate.where, found=found_text, mend="Leave out --batch, or mend it")
            return None
        # In the first row alone it is that of all.
        rows = [line.mass for line in candidate.units if line.mass is not None and "batch" not in line.cells]
        if sum(batches.values()) > 1 and rows:
            said = f"no batch in {len(rows)} of {len(candidate.units)} rows, {next(iter(batches))} in the others"
            findings.tell(candidate.table, rows, said)
        return candidate
    nameless = next((line for line in candidate.units if "batch" not in line.cells), None)
    if nameless is not None:
        cell = next(iter(nameless.cells.values()))
        found_text = f"the row of {cell.quoted} names no batch, and other rows name several"
        findings.refuse(candidate.table, cell.address, found=found_text, mend="Write its batch in every row")
        return None
    kept = tuple(
        line for line in candidate.units if same_name(line.cells["batch"].shown) == same_name(options.batch or "")
    )
    if not kept:
        asked = "" if options.batch is None else f"no row names batch {quoted(options.batch)}; "
        listed = [f"{quoted(name)} ({count} rows)" for name, count in batches.items()]
        found_text = f"{asked}the table holds {len(batches)} batches: {_listed(listed)}"
        findings.choices += [("batch", name) for name in batches]
        mend = f"Say which is to be judged: {_calls(options, findings)}"
        findings.refuse(candidate.table, candidate.where, found=found_text, mend=mend)
        return None
    return replace(candidate, units=kept)


def _has_batch(candidate: Candidate, batch: str) -> bool:
    wanted = same_name(batch)
    named = {same_name(line.cells["batch"].shown) for line in candidate.units if "batch" in line.cells}
    return wanted in named or wanted in (same_name(candidate.label), same_name(candidate.label).rpartition(" ")[2])


def _calls(options: ReadOptions, findings: Noted) -> str:
    """The call for each of the batches found."""
    return " or ".join(ready(options, f"--{fact} {in_quotes(said)}") for fact, said in findings.choices[:MOST_LISTED])


def _listed(told: Sequence[str]) -> str:
    rest = len(told) - MOST_LISTED
    return ", ".join(told[:MOST_LISTED]) + (f" and {rest} more" if rest > 0 else "")


def _lies_in(candidate: Candidate, cells: str) -> bool:
    """Whether the masses of a table lie within a range of cells."""
    (left, top), (right, bottom) = map(place_of, cells.split(":"))
    spots = [place_of(cell.address) for cell in candidate.masses]
    return bool(spots) and all(top <= row <= bottom and left <= column <= right for column, row in spots)


def _alike(found: Sequence[Candidate]) -> bool:
    """Whether some tables, one at least, are in the same unit of mass."""
    return len(found) > 0 and len({one.measure for one in found} - {""}) < 2


def _box(found: Sequence[Candidate]) -> str:
    """The range in which the masses of some tables lie."""
    spots = [place_of(cell.address) for one in found for cell in one.masses]
    return ":".join(f"{end(column for column, _ in spots)[1]}{end(row for _, row in spots)}" for end in (min, max))


def _refuse_several(
    found: Sequence[Candidate], options: ReadOptions, file: str, findings: Noted, why: str = ""
) -> None:
    told = _listed([one.told for one in found])
    sheets = list(dict.fromkeys(one.table.sheet for one in found))
    labels = [one.label for one in found]
    if len(sheets) > 1:
        findings.choices += [("sheet", sheet) for sheet in sheets]
    elif all(labels) and len(set(map(same_name, labels))) == len(labels) and not any(map(what_it_says, labels)):
        findings.choices += [("batch", label) for label in labels]
    mend = f"Say which is the batch: {_calls(options, findings)}"
    if not findings.choices:
        sheet = f"{sheets[0]}!" if sheets[0] else ""
        one, *others = (
            ready(options, f"--sheet {in_quotes(sheet + cells)}")
            for cells in (_box(found), *(_box([at]) for at in found))
        )
        together = f"a block a mould: {one}" if _alike(found) else "write all masses in the same unit"
        mend = f"If they are one batch, {together}; if one of them is the batch: {_listed(others)}"
        mend = f"If it is the batch: {one}" if len(found) == 1 else mend
    count = "one table of weights was" if len(found) == 1 else f"{len(found)} tables of weights were"
    findings.refuse_input(file, found=f"{why}{count} found ({told})", mend=mend)
