"""A list of one result a row, masses and contents in one column, as laboratory systems give it out: told apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.words import heading_of, meant_by, measure_of, says_of_label
from qc.problems import quoted
from qc.readers.assays import CONTENTS
from qc.readers.cells import Noted, SheetCell, SheetRow, SheetTable
from qc.readers.finding.unread import what_it_says
from qc.readers.finding.view import decimals_in, number_in
from qc.readers.located import in_runs

# Our own headings, by what a result is of and in.
_HEADINGS = {
    ("mass_g", "g"): "Mass (g)",
    ("mass_g", "mg"): "Mass (mg)",
    ("content_mg", "mg"): "Content (mg)",
    ("content_percent", "%"): "Content (% of label)",
}


class ResultRows(Struct, frozen=True, kw_only=True):
    """The rows of such a list by what each is a result of, "Weight (g)", "Content (mg)".

    Parameters
    ----------
    head : SheetRow
        The row of its headings.
    values : int
        The column of the results; 0 where that cannot be told.
    said : frozenset of int
        The columns that say what a result is of, and in which unit of measure.
    kinds : dict
        The rows of each kind.
    """

    head: SheetRow
    values: int
    said: frozenset[int]
    kinds: dict[str, list[SheetRow]]

    def told_apart(self, table: SheetTable) -> tuple[SheetTable, SheetTable] | None:
        """The masses of the list and its contents, each under our own headings; None where a kind is not understood."""
        ours = {kind: _HEADINGS.get(_meant(kind), "") for kind in self.kinds}
        masses = [kind for kind in ours if _meant(kind)[0] == "mass_g"]
        contents = [kind for kind in ours if _meant(kind)[0] in CONTENTS]
        if not self.values or len(masses) != 1 or len(contents) != 1 or len(ours) != 2 or not all(ours.values()):
            return None
        mass, content = (self._under(ours[kind], self.kinds[kind]) for kind in (*masses, *contents))
        # What else stands on the sheet stays with the masses.
        own = {row.number for rows in self.kinds.values() for row in rows} | {self.head.number}
        rest = (row for row in table.rows if row.number not in own)
        every = sorted([*rest, *mass], key=lambda row: row.number)
        return replace(table, rows=tuple(every)), replace(table, rows=content, merges=(), apart=())

    def _under(self, heading: str, rows: list[SheetRow]) -> tuple[SheetRow, ...]:
        cell = self.head.cells[self.values]
        every = [replace(self.head, cells={**self.head.cells, self.values: replace(cell, text=heading)}), *rows]
        return tuple(
            replace(row, cells={spot: one for spot, one in row.cells.items() if spot not in self.said}) for row in every
        )


def results_in_rows(table: SheetTable) -> ResultRows | None:
    """The list of a sheet in which one column holds the masses and other results of units; None where there is none."""
    for at, head in enumerate(table.rows):
        if len(head.cells) < 2 or any(number_in(cell) is not None for cell in head.cells.values()):
            continue
        below = table.rows[at + 1 :]
        for tests in head.cells:
            rows = [row for row in below if tests in row.cells and number_in(row.cells[tests]) is None]
            often = Counter(row.cells[tests].typed for row in rows)
            masses = sum(often[text] for text in often if meant_by(text) == "mass_g")
            others = (text for text in often if meant_by(text) != "mass_g")
            other = any(often[text] > 1 or what_it_says(text) == "content" for text in others)
            if masses > 1 and other and _names(head, rows, but=tests):
                return _of(head, rows, tests)
    return None


def _names(head: SheetRow, rows: list[SheetRow], *, but: int) -> bool:
    """Whether a column names the unit of each row."""
    headed = (spot for spot, cell in head.cells.items() if spot != but and meant_by(cell.typed) == "name")
    return any(all(spot in row.cells and not measure_of(row.cells[spot].typed) for row in rows) for spot in headed)


def _of(head: SheetRow, rows: list[SheetRow], tests: int) -> ResultRows:
    columns = {spot: [cell for row in rows if (cell := row.cells.get(spot)) is not None] for spot in head.cells}
    measures = {spot for spot, cells in columns.items() if cells and spot != tests and all(map(_is_measure, cells))}
    fine = {spot for spot, cells in columns.items() if 2 * sum(decimals_in(cell) > 0 for cell in cells) > len(rows)}
    kinds: dict[str, list[SheetRow]] = {}
    for row in rows:
        kinds.setdefault(" ".join(_kind(row.cells, tests, measures)), []).append(row)
    values = next(iter(fine)) if len(fine) == 1 and len(measures) < 2 else 0
    return ResultRows(head=head, values=values, said=frozenset({tests, *measures}), kinds=kinds)


def _kind(cells: Mapping[int, SheetCell], tests: int, measures: set[int]) -> Iterator[str]:
    yield cells[tests].typed
    yield from (f"({cells[spot].typed})" for spot in measures if spot in cells)


def _is_measure(cell: SheetCell) -> bool:
    return bool(measure_of(cell.typed) or says_of_label(cell.typed))


def _meant(kind: str) -> tuple[str, str]:
    said = heading_of(kind)
    of_label = said is not None and (said.attribute != "content_percent" or says_of_label(kind))
    return (said.attribute, said.measure) if said is not None and of_label else ("", "")


def refuse_results(listed: ResultRows, table: SheetTable, findings: Noted) -> None:
    """Refuse a list of masses and contents in one column that cannot be told apart, with the rows of each kind."""
    told = (f"{quoted(kind)} in {_in(rows)}" for kind, rows in listed.kinds.items())
    found = f"masses and other results stand in one column: {', '.join(told)}"
    mend = 'Write each kind of result into a column of its own, under "Mass (g)" and "Content (mg)" or '
    mend += '"Content (% of label)", one row a unit, and leave out what is neither'
    findings.refuse(table, next(iter(listed.head.cells.values())).address, found=found, mend=mend)


def _in(rows: list[SheetRow]) -> str:
    return ("row " if len(rows) == 1 else "rows ") + in_runs([row.number for row in rows])
