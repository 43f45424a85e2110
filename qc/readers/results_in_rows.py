"""A list of one result a row, masses and contents in one column, as laboratory systems give it out: told apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence

from msgspec import Struct
from msgspec.structs import replace

from qc.fields.words import (
    heading_of,
    meant_by,
    measure_of,
    plain_words,
    says_content,
    says_mass,
    says_of_label,
    summary_of,
    words_known,
)
from qc.problems import all_in_full, quoted
from qc.readers.cells import CellKind, Noted, SheetCell, SheetRow, SheetTable
from qc.readers.determinations import counts_determinations
from qc.readers.finding.unaccounted import like_the_label
from qc.readers.finding.unread import active_in_mg, what_it_says
from qc.readers.finding.view import decimals_in, number_in
from qc.readers.located import in_runs

# Our own headings, by what a result is of and in.
_HEADINGS = {
    ("mass_g", "g"): "Mass (g)",
    ("mass_g", "mg"): "Mass (mg)",
    ("content_mg", "mg"): "Content (mg)",
    ("content_percent", "%"): "Content (% of label)",
}
_OTHER, _FIGURE = "other", "figure"


class ResultRows(Struct, frozen=True, kw_only=True):
    """The rows of such a list by what each is a result of, "Weight (g)", "Content (mg)".

    Parameters
    ----------
    head : SheetRow
        The row of its headings.
    values : int
        The column of the results; 0 where that cannot be told.
    names, tests : int
        The columns of the names of the units, and of what a result is of.
    said : frozenset of int
        The columns that say what a result is of, and in which unit of measure.
    kinds : dict
        The rows of each kind.
    """

    head: SheetRow
    values: int
    names: int
    tests: int
    said: frozenset[int]
    kinds: dict[str, list[SheetRow]]

    def told_apart(self, table: SheetTable, findings: Noted) -> list[SheetTable]:
        """The masses of the list, its contents, or both, each under our own headings; none where a kind is in doubt."""
        ours = {kind: self._ours(kind) for kind in self.kinds}
        figures = [kind for kind in ours if _is_figure(self.kinds[kind][0].cells[self.tests].typed)]
        ours |= dict.fromkeys(figures, _FIGURE)
        masses, contents, others = (
            [kind for kind, heading in ours.items() if heading in some]
            for some in ([*_HEADINGS.values()][:2], [*_HEADINGS.values()][2:], [_OTHER])
        )
        if (
            not self.values
            or max(len(masses), len(contents)) > 1
            or len(masses + contents + others + figures) < len(ours)
        ):
            return []
        self._tell(table, contents, others, findings)
        # What else stands on the sheet stays with the first of them.
        own = {row.number for rows in self.kinds.values() for row in rows} | {self.head.number}
        rest = [row for row in table.rows if row.number not in own]
        found: list[SheetTable] = []
        for kind in masses + contents:
            of_it = [one for one in figures if says_content(one) == (kind in contents) or not (masses and contents)]
            rows = self._under(ours[kind], self.kinds[kind]) + tuple(row for one in of_it for row in self._called(one))
            every = tuple(sorted([*rest, *rows], key=lambda row: row.number))
            found.append(replace(table, rows=rows, merges=(), apart=()) if found else replace(table, rows=every))
        return found

    def _ours(self, kind: str) -> str:
        """Our own heading for a kind; "other" for what is neither mass nor content; empty where that is in doubt."""
        said, cells = heading_of(kind), [one for row in self.kinds[kind] if (one := row.cells.get(self.values))]
        if said is not None and said.attribute == "content_percent" and not says_of_label(kind):
            return _HEADINGS["content_percent", "%"] if like_the_label(cells) else ""
        meant = ("content_mg", "mg") if active_in_mg(kind) else (said.attribute, said.measure) if said else ("", "")
        if _is_mass(self.kinds[kind][0].cells[self.tests].typed):
            meant = "mass_g", measure_of((plain_words(kind) or ("",))[-1])
        if meant in _HEADINGS:
            return _HEADINGS[meant]
        # A hardness, a colour, a time.
        plainly = not words_known().plainly.isdisjoint(plain_words(kind)) or (said and said.attribute == "seen")
        return _OTHER if plainly and not (what_it_says(kind) or any(map(says_mass, (kind,)))) else ""

    def _tell(self, table: SheetTable, contents: Sequence[str], others: Sequence[str], findings: Noted) -> None:
        for kind in contents:
            cells = [row.cells[self.values] for row in self.kinds[kind]]
            if active_in_mg(kind):
                findings.tell(table, cells, f"contents under {quoted(kind)}")
            elif not says_of_label(kind) and "%" in kind:
                findings.tell(table, cells, f"{quoted(kind)} as % of label")
        for kind in others:
            cells = [cell for row in self.kinds[kind] if (cell := row.cells.get(self.values)) is not None]
            said = f"{quoted(kind)} {all_in_full(cell.typed for cell in cells)}"
            findings.ignore(table, "", f"Not read: {said}.", cells=cells, what="other results", said=said)

    def _called(self, figure: str) -> Iterator[SheetRow]:
        """The rows of a figure by its name."""
        for row in self.kinds[figure]:
            name = replace(row.cells[self.names], text=row.cells[self.tests].text, kind=CellKind.TEXT, number=None)
            cells = {**row.cells, self.names: name}
            yield replace(row, cells={spot: one for spot, one in cells.items() if spot not in self.said})

    def _under(self, heading: str, rows: list[SheetRow]) -> tuple[SheetRow, ...]:
        cell = self.head.cells[self.values]
        every = [replace(self.head, cells={**self.head.cells, self.values: replace(cell, text=heading)}), *rows]
        return tuple(
            replace(row, cells={spot: one for spot, one in row.cells.items() if spot not in self.said}) for row in every
        )


def results_in_rows(table: SheetTable) -> ResultRows | None:
    """The list of a sheet in which one column holds the masses or other results of units; None where there is none."""
    for at, head in enumerate(table.rows):
        if len(head.cells) < 2 or any(number_in(cell) is not None for cell in head.cells.values()):
            continue
        below = table.rows[at + 1 :]
        for tests in head.cells:
            rows = [row for row in below if tests in row.cells and number_in(row.cells[tests]) is None]
            often = Counter(row.cells[tests].typed for row in rows)
            counts = [
                sum(often[text] for text in often if is_kind(text))
                for is_kind in (_is_mass, lambda text: what_it_says(text) == "content")
            ]
            names = _names(head, rows, but=tests) if max(counts) > 1 else 0
            if names:
                found = _of(head, rows, tests, names)
                # Under a heading of their own the results of one kind are found without it.
                if len(found.kinds) > 1 or (found.values and not what_it_says(head.cells[found.values].typed)):
                    return found
    return None


def _is_mass(text: str) -> bool:
    """Whether a test is that of masses: "Net weight", "Uniformity of mass"."""
    known, words = words_known(), {*plain_words(text)}
    plainly = known.heading.mass | known.heading.unit | known.heading.filler | known.remark.plain
    return (
        len(text) > 2
        and (meant_by(text) == "mass_g" or (says_mass(text) and words <= plainly))
        and not summary_of(text)
    )


def _is_figure(text: str) -> bool:
    return summary_of(text) not in ("", "reference")


def _names(head: SheetRow, rows: list[SheetRow], *, but: int) -> int:
    """The column that names the unit of each row; 0 where there is none."""
    headed = (spot for spot, cell in head.cells.items() if spot != but and meant_by(cell.typed) == "name")
    named = (
        spot
        for spot in headed
        if all(at in row.cells and not measure_of(row.cells[at].typed) for at in (spot,) for row in rows)
    )
    return next(named, 0)


def _of(head: SheetRow, rows: list[SheetRow], tests: int, names: int) -> ResultRows:
    columns = {spot: [cell for row in rows if (cell := row.cells.get(spot)) is not None] for spot in head.cells}
    texts = {spot: cells for spot, cells in columns.items() if not any(number_in(cell) is not None for cell in cells)}
    # Of a hardness in N no mass is asked.
    measures = {
        spot for spot, cells in texts.items() if spot != tests and 2 * sum(map(_is_measure, cells)) >= len(rows)
    }
    kinds: dict[str, list[SheetRow]] = {}
    for row in rows:
        kinds.setdefault(" ".join(_kind(row.cells, tests, measures)), []).append(row)
    numbers = {
        spot: cells
        for spot, cells in columns.items()
        if 2 * sum(number_in(cell) is not None for cell in cells) > len(rows)
        and meant_by(head.cells[spot].typed) == ""
        and not counts_determinations(head.cells[spot].typed)
    }
    fine = {spot: cells for spot, cells in numbers.items() if 2 * sum(map(bool, map(decimals_in, cells))) > len(rows)}
    found = fine or numbers
    values = next(iter(found)) if len(found) == 1 and len(measures) < 2 else 0
    said = frozenset({tests, *measures})
    return ResultRows(head=head, values=values, names=names, tests=tests, said=said, kinds=kinds)


def _kind(cells: Mapping[int, SheetCell], tests: int, measures: set[int]) -> Iterator[str]:
    yield cells[tests].typed
    yield from (f"({cells[spot].typed})" for spot in measures if spot in cells)


def _is_measure(cell: SheetCell) -> bool:
    return bool(measure_of(cell.typed) or says_of_label(cell.typed))


def refuse_results(listed: ResultRows, table: SheetTable, findings: Noted) -> None:
    """Refuse a list of masses and contents in one column that cannot be told apart, with the rows of each kind."""
    told = (f"{quoted(kind)} in {_in(rows)}" for kind, rows in listed.kinds.items())
    found = f"masses and other results stand in one column: {', '.join(told)}"
    mend = 'Write each kind of result into a column of its own, under "Mass (g)" and "Content (mg)" or '
    mend += '"Content (% of label)", one row a unit, and leave out what is neither'
    findings.refuse(table, next(iter(listed.head.cells.values())).address, found=found, mend=mend)


def _in(rows: list[SheetRow]) -> str:
    return ("row " if len(rows) == 1 else "rows ") + in_runs([row.number for row in rows])
