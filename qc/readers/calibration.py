"""The Cavities sheet (calibration pours of plain base) and the Checks sheet (other tests, as entered)."""

from __future__ import annotations

from qc.batch import CavityPour, Check
from qc.readers.known_tables import Entry, in_runs
from qc.readers.read_tables import ReadTable


def read_cavity_pours(table: ReadTable) -> tuple[CavityPour, ...]:
    """The calibration pours in the order in which they stand."""
    pours: list[CavityPour] = []
    empty: list[Entry] = []
    for entry in table.rows:
        if entry.cell("base_mass_g") is None:
            empty.append(entry)
        elif entry.cell("cavity") is None:
            mend = "Type the cavity as it is named in Units, or clear the row"
            table.refuse(entry, "cavity", "a base mass stands here without a cavity", mend)
        elif entry.value("cavity") is not None and entry.value("base_mass_g") is not None:
            pours.append(CavityPour(**{"mould": None, **entry.said()}))
    if empty:
        place = table.place("base_mass_g", empty[0]) if len(empty) == 1 else ""
        rows = in_runs([entry.number for entry in empty])
        table.remark(place, f"Cavities without a base mass were not used: row {rows}.")
    return tuple(pours)


def read_checks(table: ReadTable) -> tuple[Check, ...]:
    """The other checks in the order in which they stand."""
    for entry in table.rows:
        if entry.cell("name") is None:
            table.refuse(entry, "name", "the row says no check", "Type what was checked, or clear the row")
    return tuple(Check(**entry.said()) for entry in table.rows if entry.value("name") is not None)
