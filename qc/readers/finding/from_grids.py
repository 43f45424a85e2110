"""From a block of numbers without headings to units by their places, with what is in doubt there."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from itertools import pairwise
from math import prod

from msgspec.structs import replace

from qc.fields.remarks import batch_named
from qc.fields.words import (
    are_phases,
    heading_of,
    meant_by,
    measure_of,
    names_mould,
    not_understood,
    plain_words,
    says_content,
    says_mass,
    summary_of,
    words_known,
)
from qc.patterns import pattern
from qc.problems import quoted
from qc.readers.cells import CellKind, SheetCell, row_of
from qc.readers.finding.candidate import Candidate
from qc.readers.finding.figures import figure_called, sums_up
from qc.readers.finding.grids import Grid, counts_along, is_place, weighed_again
from qc.readers.finding.lines import IF_SINGLE, MOST_SHARE, Aside, Doubtful, FoundLine
from qc.readers.finding.printed import is_clock, numbers_told, printed_line
from qc.readers.finding.view import SheetView, Spot, meant_in, number_in, value_in, written_at

# From how many numbers on masses rise from one to the next in one of 40,000 lines (their orders are 1 in 8!).
FEWEST_RISING = 8
# Over how many columns parts of a pour stand at least: two may be two weighings of the same units.
FEWEST_COLUMNS = 3
# The rows of a mould, where one is named over them.
_SIDES = frozenset(
    plain_words(
        "l r left right top bottom front back links rechts oben unten vorne hinten gauche droite haut bas izquierda "
        "derecha arriba abajo sinistra destra sopra sotto esquerda direita linker rechter boven onder lewa prawa"
    )
)
# The unit of mass behind a label.
_MEASURED = pattern(r"[\s,]*[(\[]?\b(?:mg|g)\b[)\]]?\s*$")


def of_grid(upright: SheetView, grid: Grid) -> Candidate:
    """A grid as units: the place of each is its row and column, a mould is what the label above says."""
    many = len(grid.columns) > 1
    label = ""
    if many and len(grid.above) == 1:
        # What stands over one column alone is a title.
        label = next(iter(grid.above.values())).shown
        grid = replace(grid, above={}, over=(*grid.over, *grid.above.values()))
    elif many and grid.above and grid.beside:
        # The corner between the labels is one for all.
        label = upright.text((row_of(next(iter(grid.above.values()))), next(iter(grid.beside.values())).column))
    # Over them all stands the name of the mould.
    title = [*upright.rows.get(row_of(next(iter(grid.above.values()))) - 1, {}).values()] if grid.above else []
    in_mould = many and len(title) == 1 and names_mould(title[0].shown)
    label = title[0].shown if in_mould and not label else label
    edges = [(cell, {"row": row}) for row, cell in grid.beside.items()]
    edges += [(cell, {"column": column}) for column, cell in grid.above.items() if many]
    # In the last row a figure may stand behind its word, below the columns before it.
    ends = [cell for cell in grid.inside if row_of(cell) == grid.rows[-1] and cell.column < grid.columns[-1]]
    figures = grid.line(row=grid.rows[-1])
    edges += [(cell, {"row": grid.rows[-1]}) for cell in ends if [cell.column + 1] == [one.column for one in figures]]
    # A label behind a list, or below a row, is about the one number where that has no name.
    last = max((row for row, _ in grid.masses), default=0)
    below = [cell for cell in upright.rows.get(last + 1, {}).values() if number_in(cell) is not None]
    one_row = many and len({row for row, _ in grid.masses}) == 1 and all(summary_of(cell.shown) for cell in below)
    for row, column in grid.masses if one_row or not many else ():
        cell = upright.at((row + 1, column) if one_row else (row, column + 1))
        if cell is None or cell.kind is not CellKind.TEXT or (column in grid.above if one_row else row in grid.beside):
            continue
        after = None if one_row else upright.at((row, column + 2))
        followed = after is not None and number_in(after) is not None
        if not followed and not printed_line(cell.text):
            edges.append((cell, {"column": column} if one_row else {"row": row}))
    phases = len(grid.above) >= FEWEST_COLUMNS and are_phases(cell.shown for cell in grid.above.values())
    asides = [
        Aside(cells=(label, *grid.line(**where)), label=label.shown, kind=kind)
        for label, where in edges
        if not (phases and label in grid.above.values())
        if (len(label.shown) > 1 or not label.shown.isascii()) and (kind := summary_of(label.shown))
    ]
    left_out = {cell.address for aside in asides for cell in aside.cells}
    named = {column: cell for column, cell in grid.above.items() if cell.address not in left_out}
    grid = replace(
        grid,
        masses={spot: cell for spot, cell in grid.masses.items() if cell.address not in left_out},
        inside=tuple(cell for cell in grid.inside if cell.address not in left_out),
        beside={row: cell for row, cell in grid.beside.items() if cell.address not in left_out},
        above=named,
    )
    of_contents = len(grid.rows) == 1 and says_content(" ".join(cell.shown for cell in grid.beside.values()))
    heads = [cell for cell in grid.beside.values() if of_contents or says_mass(cell.shown)]
    if many and (of_contents or len(grid.rows) > 1) and len(grid.beside) == len(heads) == 1:
        # Before the first row alone stands what all are.
        grid = replace(grid, beside={}, over=(*grid.over, *heads))
    counted = _counted_units(grid)
    grid = replace(
        grid, above=named if many else {}, over=[one for one in grid.over if not counted or one not in named.values()]
    )
    batches = {column: _batch_in(cell.shown) for column, cell in grid.above.items()}
    batches = batches if all(batches.values()) and grid.beside else {}
    in_rows, in_columns, headed_so = _batches_along(upright, grid) if many and grid.above else ({}, {}, None)
    batches = batches or {column: cell.shown for column, cell in in_columns.items()}
    lines: list[FoundLine] = []
    places_of = grid.masses if batches or in_rows else {**grid.masses, **dict.fromkeys(_empty_places(grid))}
    for (row, column), mass in sorted(places_of.items(), key=lambda one: one[0]):
        cells = {} if mass is None else {"mass_g": mass}
        edge = (grid.beside.get(row), grid.above.get(column))
        parts = [cell for cell in (reversed(edge) if phases else edge) if cell is not None]
        if row in in_rows:
            cells["batch"] = in_rows[row]
            parts = [cell for cell in parts if cell is not grid.beside.get(row) or names_mould(cell.shown)]
        if batches and column in grid.above:
            cells["batch"] = written_at(grid.above[column], batches[column])
            parts = parts[:1]
        moulds: list[str] = []
        places: list[str] = []
        for part in parts:
            (moulds if names_mould(part.shown) else places).append(without_measure(part.shown))
        at = parts[0] if len(parts) == 1 or mass is None else mass
        if moulds:
            cells["mould"] = written_at(mass or at, " ".join(moulds))
        if (row, column) in counted and mass is not None:
            cells["name"] = written_at(mass, counted[row, column])
        elif parts:
            cells["name"] = written_at(at, " ".join((*moulds, *places, *_counted(grid, row, column, many=many))))
        if parts and many and not (batches or in_rows or counted or phases):
            cells["cavity"] = written_at(at, " ".join(places or moulds))
        # The last of the row; where that is the mass, it holds no word.
        end = next(reversed(upright.rows[row].values()))
        lines.append(
            FoundLine(number=row, cells=cells, unsure=(end,) if not many and end.kind is CellKind.TEXT else ())
        )
    used = [*grid.masses.values(), *grid.beside.values(), *grid.above.values()]
    used += [cell for cell in grid.over if many and measure_of(cell.typed)]
    used += [cell for one in asides for cell in one.cells] + [*in_rows.values()]
    used += [headed_so] if headed_so is not None else []
    doubted = replace(grid, beside={}, over=()) if in_rows else grid
    doubtful = list(_doubts_of(doubted, batches=bool(batches) or phases, in_mould=in_mould))
    for cell in [headed_so] if headed_so is not None and not (batches or in_rows) else ():
        found = f"{cell.quoted} stands between rows and columns, and which of them are batches is not said"
        doubtful.append(Doubtful(cell=cell, found=found, mend="Keep the units of one batch on a sheet"))
    said = heading_of(label) if many and grid.beside else None
    if said is not None and said.attribute == "name" and not (batches or in_rows or counted or phases):
        doubtful += _columns_of_one_unit(grid, label)
    return Candidate.of_lines(
        upright, lines, asides=asides, doubtful=doubtful, measure=grid.measure, used=used, label=label
    )


def _empty_places(grid: Grid) -> set[tuple[int, int]]:
    """The places between named rows or columns at which nothing stands: units without a mass."""
    rows, columns = grid.beside or {row for row, _ in grid.masses}, grid.above or grid.columns
    taken = grid.masses.keys() | {(row_of(cell), cell.column) for cell in grid.inside}
    places = len(rows) * len(columns) if grid.beside or grid.above else 0
    return {(row, column) for row in rows for column in columns} - taken if places > len(grid.masses) else set()


def _counted(grid: Grid, row: int, column: int, *, many: bool) -> list[str]:
    """Its place along a row or column that alone has a name, where several units would bear that one."""
    if not many or (row in grid.beside) == (column in grid.above):
        return []
    if row in grid.beside:
        return [str(grid.columns.index(column) + 1)]
    return [str(grid.rows.index(row) + 1)] if len(grid.rows) > 1 else []


def without_measure(label: str) -> str:
    """A label of a place without the unit of mass behind it."""
    return _MEASURED.sub("", label) or label


def _batches_along(view: SheetView, grid: Grid) -> tuple[dict[int, SheetCell], dict[int, SheetCell], SheetCell | None]:
    """The batch of each row, or of each column, where a heading before the units says so; and that heading.

    Units are numbered, "1" or "Unit 1", batches are named otherwise, and are fewer.
    """
    head = row_of(next(iter(grid.above.values())))
    before = [cell for column, cell in view.rows.get(head, {}).items() if column < min(grid.columns)]
    heading = next((cell for cell in before if meant_by(cell.typed) == "batch"), None)
    if heading is None:
        return {}, {}, None
    rows = {row: cell for row in grid.rows if (cell := view.at((row, heading.column))) is not None}
    numbered = [all(_is_numbered(cell.shown) for cell in some.values()) for some in (rows, grid.above)]
    more = len(grid.rows) - len(grid.above)
    # "L1" under "Lot".
    named = all(cell.shown[:1].casefold() == heading.shown[:1].casefold() for cell in rows.values())
    in_rows = len(rows) == 1 or (more < 0 and (numbered == [False, True] or (named and not any(numbered))))
    if len(rows) == len(grid.rows) and in_rows:
        return rows, {}, heading
    return ({}, grid.above, heading) if numbered == [True, False] and more > 0 else ({}, {}, heading)


def _is_numbered(label: str) -> bool:
    """Whether a label is the number of a unit: "1", "Unit 1"."""
    *words, number = plain_words(label) or ("",)
    return number.isdecimal() and words_known().heading.unit >= {*words}


def _batch_in(label: str) -> str:
    """The batch that a label names, "Batch 101 (g)"; empty where it names none."""
    if (named := batch_named(label)) and says_mass(label):
        return named
    words = _MEASURED.sub("", label).split()
    return words[-1] if meant_by(" ".join(words[:-1])) == "batch" else ""


def _counted_units(grid: Grid) -> dict[Spot, str]:
    """The numbers of units by their spots where the name of each line counts those in it, "11 to 20"; else none."""
    lines = [((row, 0), cell) for row, cell in grid.beside.items()]
    lines += [((0, column), cell) for column, cell in grid.above.items()]
    found: dict[Spot, str] = {}
    for line, cell in lines:
        if not counts_along(cell.shown):
            return {}
        spots = [spot for spot in sorted(grid.masses) if spot[0] == line[0] or spot[1] == line[1]]
        if first := counts_along(cell.shown, len(spots)):
            found |= {spot: str(number) for number, spot in enumerate(spots, start=first)}
    return found if found.keys() == grid.masses.keys() and len({*found.values()}) == len(found) else {}


def _doubts_of(grid: Grid, *, batches: bool, in_mould: bool) -> Iterator[Doubtful]:
    """What of a block of numbers without headings nobody can tell.

    `batches` when its columns are batches or parts of the pour, `in_mould` when its title names a mould, which has a
    left and a right.
    """
    mend = 'Write "Unit" over the names of the units and "Mass (g)" over the one column of masses'
    many, first = len(grid.columns) > 1, next(iter(grid.masses.values()), None)
    if first is None:
        return
    for cell in [*(grid.beside.values() if many else ()), *grid.above.values()] if not batches else ():
        along = grid.line(row=row_of(cell)) if cell in grid.beside.values() else grid.line(column=cell.column)
        side = in_mould and words_known().row_or_column | _SIDES >= {*plain_words(cell.shown)}
        # At which time of the pour units were taken.
        taken = cell in grid.beside.values() and bool(grid.above) and is_clock(cell.shown)
        if not (side or taken or is_place(cell.shown) or counts_along(cell.shown, len(along))):
            found = f"{cell.quoted} stands at the edge of a block of numbers and names no place of a mould"
            if says_mass(cell.shown):
                found = f"{cell.quoted} heads one of {len(grid.columns)} columns of masses"
            yield Doubtful(cell=cell, found=found, mend=f"{mend}, or name the rows and columns of the mould")
    labels = [number for cell in grid.beside.values() if (number := number_in(cell)) is not None]
    if many and 0 < len(labels) < len(grid.beside):
        cell = next(cell for cell in grid.beside.values() if number_in(cell) is not None)
        yield Doubtful(cell=cell, found=f"{cell.quoted} stands among labels that are no numbers", mend=mend)
    if many and len(labels) > 2 * len(grid.columns) and len(grid.above) < len(grid.columns):
        found = "the columns beside the numbers of the units have no names, and may be of the same units"
        mend_so = "Head the masses Mass (g), a second weighing Weighed again (g), contents Content (mg)"
        yield Doubtful(cell=first, found=found, mend=f"{mend_so}; or name each column by its mould")
    for names, lines, line in ((grid.beside, grid.rows, "row"), (grid.above, grid.columns, "column")):
        nameless = [one for one in lines if one not in names]
        if many and 0 < 2 * len(nameless) < len(lines):
            cell = grid.line(**{line: nameless[0]})[0]
            found = f"{cell.quoted} stands in a {line} without a name, and the others have one"
            mend_so = f"Name that {line} as the others if units stand in it, else for what it is (Mean, Check weight)"
            yield Doubtful(cell=cell, found=found, mend=mend_so)
    if many and not grid.beside and (cell := _alone_at_the_end(grid)) is not None:
        found = f"{cell.quoted} stands alone below the others, and may be a figure of theirs or a check weight"
        yield Doubtful(cell=cell, found=found, mend="Number the rows if it is a unit; if not, take it out")
    if any(after <= before for before, after in pairwise(labels)):
        cell = next(iter(grid.beside.values()))
        found = "numbers stand before a block of numbers and do not count its rows"
        yield Doubtful(cell=cell, found=found, mend=mend)
    for cell in grid.over:
        said, other = meant_by(cell.typed), not_understood(cell.typed)
        # Over a list without names, or a grid, a number may be that of all of them.
        other = "" if not grid.beside and _counts_all(other, len(grid.masses)) else other
        if other and (not said or (said == "other" and not summary_of(cell.typed))):
            found = f"{cell.quoted} stands over numbers, and what {quoted(other)} says of them is not understood"
            yield Doubtful(cell=cell, found=found, mend=IF_SINGLE)
        elif not _may_stand_over(cell) or grid.is_near(numbers_told(cell.typed)):
            found = f"{cell.quoted} stands over numbers and does not say that they are masses"
            mend_so = "Write Mass (g) or Mass (mg) over them if they are"
            if says_content(cell.typed):
                mend_so = "Write Unit over the names beside them, and Content (mg) or Content (% of label) over them, "
                mend_so += "if units hold that much of the active"
            yield Doubtful(cell=cell, found=found, mend=mend_so)
    # Of a line of figures one may be a whole number.
    sums = {row_of(one) for one in grid.beside.values() if summary_of(one.shown)}
    totals = {one.column for one in grid.above.values() if summary_of(one.shown)}
    for cell in (one for one in grid.inside if row_of(one) not in sums and one.column not in totals):
        found = f"{cell.quoted} stands among masses and is no number"
        yield Doubtful(cell=cell, found=found, mend="Type the mass, or clear the cell")
    rows = Counter(row for row, _ in grid.masses)
    if not (grid.beside or grid.above) and any(count < max(rows.values()) for count in [*rows.values()][:-1]):
        found = "the rows of this block are not equally long"
        yield Doubtful(cell=first, found=found, mend=mend)
    if grid.is_mixed:
        found = "the numbers of this block differ by more than masses of one kind of unit do"
        yield Doubtful(cell=first, found=found, mend=mend)
    elif many and any(weighed_again(pair) for lines in grid.lines for pair in pairwise(lines)):
        found = "two columns or rows go up and down together, like two weighings of the same units"
        yield Doubtful(cell=first, found=found, mend=mend)
    elif many and (cell := _rises(grid)) is not None:
        found = f"the numbers from {cell.quoted} on rise from one to the next, as names, places and times do"
        yield Doubtful(cell=cell, found=found, mend=mend)
    elif many and (cell := grid.unlike) is not None:
        found = f"the line from {cell.quoted} on is not like the one beside it, and none of them has a name"
        yield Doubtful(cell=cell, found=found, mend=mend)
    elif many and (cell := _sums_up(grid)) is not None:
        found = f"the line of {cell.quoted} holds figures of the others"
        yield Doubtful(cell=cell, found=found, mend="Name that line for what it is, or take it out")


def _alone_at_the_end(grid: Grid) -> SheetCell | None:
    """The one number of the last row, where it is a figure of the others or stands below another column than the first.

    Rows fill from the left, and of two columns either may be the longer one.
    """
    last = grid.line(row=grid.rows[-1])
    lengths = {len(grid.line(column=column)) for column in grid.columns if column != last[0].column}
    above = [cell for cell in grid.masses.values() if cell is not last[0]]
    own = [cell for cell in above if cell.column == last[0].column]
    behind = len(grid.columns) > 2 and last[0].column != grid.columns[0] and lengths == {len(own)}
    alone = len(last) == 1 and (behind or figure_called(last[0], above) or sums_up(last[0], own))
    return last[0] if alone else None


def _counts_all(words: str, count: int) -> bool:
    """Whether words say nothing but how many masses there are, "20" or "4 x 6 mould" over twenty and four by six."""
    numbers = [int(word) for word in words.split() if word.isdecimal()]
    rest = [word for word in words.split() if not word.isdecimal()]
    return prod(numbers) == count and all(word in ("x", "\u00d7") or names_mould(word) for word in rest)


def _columns_of_one_unit(grid: Grid, label: str) -> Iterator[Doubtful]:
    """Columns of masses that name no places, where a heading says that each row is one unit: "T0 (g)", "T6 (g)"."""
    known = words_known().heading.whole["cavity"]
    for cell in grid.above.values():
        place = without_measure(cell.shown)
        named = len(place) == 1 or place.isdigit() or names_mould(place) or not known.isdisjoint(plain_words(place))
        if place != cell.shown and not named:
            found = f"each row is one unit under {quoted(label)}, and {cell.quoted} heads one of several masses of it"
            mend = "Keep one column of masses and head a second weighing Weighed again (g)"
            yield Doubtful(cell=cell, found=found, mend=f"{mend}; or name the columns by mould or cavity")


def _may_stand_over(cell: SheetCell) -> bool:
    """Whether what stands over a list says mass or names its units, is a measure of mass, or a title."""
    if number_in(cell) is not None or meant_in(cell) is not None:
        return False
    said, words = heading_of(cell.typed), plain_words(cell.typed)
    if said is not None and (said.measure or any(len(word) > 2 for word in words)):
        return said.attribute in ("mass_g", "name", "mould", "cavity") and said.measure in ("", "g", "mg")
    in_other = bool(words) and measure_of(words[-1]) not in ("", "g", "mg")
    # A title has letters; "1..500" is a mass that went wrong.
    letters, digits = any(map(str.isalpha, cell.typed)), any(map(str.isdigit, cell.typed))
    return not in_other and letters and (len(words) > 2 or digits)


def _rises(grid: Grid) -> SheetCell | None:
    """The first cell of a line of which each number is greater than the one before."""
    for line in (line for lines in grid.lines for line in lines if len(line) >= FEWEST_RISING):
        numbers = [value_in(cell) for cell in line.values()]
        if all(before < after for before, after in pairwise(numbers)):
            return next(iter(line.values()))
    return None


def _sums_up(grid: Grid) -> SheetCell | None:
    """The first cell of a last row or column of which most numbers are figures of the others."""
    columns = grid.columns
    rows: dict[int, list[SheetCell]] = {}
    for (row, _), cell in sorted(grid.masses.items(), key=lambda one: one[0]):
        rows.setdefault(row, []).append(cell)
    row_lines = [(rows[max(rows)], [grid.line(column=column)[:-1] for column in columns])]
    column_lines = [(grid.line(column=columns[-1]), [cells[:-1] for cells in rows.values()])]
    for cells, others in row_lines + column_lines:
        pairs = list(zip(cells, others, strict=False))
        summed = sum(sums_up(cell, other) for cell, other in pairs)
        if summed > 1 and MOST_SHARE * len(pairs) < summed:
            return cells[0]
    return None
