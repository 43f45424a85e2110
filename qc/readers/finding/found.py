"""The table of weights of a file, once it was found."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.readers.cells import SheetCell
from qc.readers.finding.lines import Aside
from qc.readers.finding.weighed_in import WeighedIn
from qc.readers.located import LocatedTable


class FoundTable(Struct, frozen=True, kw_only=True):
    """The table of weights as the later stages take it, and how it was found.

    Parameters
    ----------
    located : LocatedTable
    weighed : WeighedIn
        The unit of mass, the decimal mark, and how they are known.
    asides : tuple of Aside
        The cells that were set aside, such as a mean under the masses.
    beside_contents : tuple of Aside
        The same on the sheet Assay.
    notes : sequence of SheetCell
        Texts of the sheet that say nothing of a unit.
    numbered : bool
        Whether the units were numbered from 1, because no names stand there.
    batch : str
        The batch that its rows name, or empty.
    """

    located: LocatedTable
    weighed: WeighedIn
    asides: tuple[Aside, ...]
    beside_contents: tuple[Aside, ...] = ()
    notes: Sequence[SheetCell]
    numbered: bool = False
    batch: str = ""
