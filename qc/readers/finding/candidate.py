"""A table of weights that was found: its units, and what of the sheet is none of it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import cached_property

from msgspec import Struct

from qc.problems import quoted
from qc.readers.cells import SheetCell, SheetTable
from qc.readers.finding.lines import Aside, Doubtful, FoundLine
from qc.readers.finding.view import SheetView


class Candidate(Struct, frozen=True, kw_only=True, dict=True):
    """A table of weights that was found: its units, and what of the sheet is none of it.

    Parameters
    ----------
    view : SheetView
        The sheet, upright.
    units : tuple of FoundLine
    asides : tuple of Aside
    doubtful : tuple of Doubtful
    measure : str
        Unit of mass as it is stated, or empty.
    used : frozenset of str
        Addresses of the cells that were understood.
    label : str
        What stands above it: the name of a mould or of a batch; or empty.
    """

    view: SheetView
    units: tuple[FoundLine, ...]
    asides: tuple[Aside, ...]
    doubtful: tuple[Doubtful, ...]
    measure: str
    used: frozenset[str]
    label: str = ""

    @classmethod
    def of_lines(
        cls,
        view: SheetView,
        lines: Sequence[FoundLine],
        *,
        asides: Sequence[Aside] = (),
        doubtful: Sequence[Doubtful] = (),
        used: Iterable[SheetCell] = (),
        measure: str = "",
        label: str = "",
    ) -> Candidate:
        """Its lines parted, beside what was set aside or doubted before."""
        from qc.readers.finding.sifting import sifted

        units, figures, doubts = sifted(lines)
        return cls(
            view=view,
            units=tuple(units),
            asides=(*figures, *asides),
            doubtful=(*doubts, *doubtful),
            used=frozenset(cell.address for cell in used),
            measure=measure,
            label=label,
        )

    @property
    def table(self) -> SheetTable:
        """The sheet."""
        return self.view.table

    @cached_property
    def masses(self) -> list[SheetCell]:
        """The cells that hold a mass."""
        return [line.mass for line in self.units if line.mass is not None]

    @property
    def where(self) -> str:
        """From the first mass to the last."""
        return span([cell.address for cell in self.masses])

    @property
    def told(self) -> str:
        """As a refusal lists it."""
        masses = self.masses
        sheet = f"sheet {quoted(self.table.sheet)}, " if self.table.sheet else ""
        count = "1 mass" if len(masses) == 1 else f"{len(masses)} masses"
        return f"{sheet}{self.where}: {count}, first {masses[0].typed}, last {masses[-1].typed}"


def span(addresses: Sequence[str]) -> str:
    """From the first address to the last.

    Examples
    --------
    >>> span(["B4", "B5", "B9"]), span(["B4"])
    ('B4:B9', 'B4')
    """
    return addresses[0] if len(addresses) == 1 else f"{addresses[0]}:{addresses[-1]}"
