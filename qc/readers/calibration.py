"""The Cavities sheet (calibration pours of plain base) and the Checks sheet (other tests, as entered)."""

from __future__ import annotations

from qc.batch import CavityPour, Check
from qc.readers.entries import Entries
from qc.readers.known_tables import Entry, in_runs


def read_cavity_pours(entries: Entries) -> tuple[CavityPour, ...]:
    """The calibration pours in the order in which they stand."""
    pours: list[CavityPour] = []
    empty: list[Entry] = []
    for entry in entries.rows:
        mould, cavity = entries.name(entry, "mould"), entries.name(entry, "cavity")
        mass = entries.number(entry, "base_mass_g")
        if entry.cell("base_mass_g") is None:
            empty.append(entry)
        elif entry.cell("cavity") is None:
            entries.refuse(
                entry,
                "cavity",
                found="a base mass stands here without a cavity",
                mend="Type the cavity as it is named in Units, or clear the row",
            )
        elif cavity is not None and mass is not None:
            pours.append(CavityPour(mould=mould, cavity=cavity, base_mass_g=mass))
    if empty:
        place = entries.known.place("base_mass_g", empty[0]) if len(empty) == 1 else ""
        rows = in_runs([entry.number for entry in empty])
        entries.remark(place, f"Cavities without a base mass were not used: row {rows}.")
    return tuple(pours)


def read_checks(entries: Entries) -> tuple[Check, ...]:
    """The other checks in the order in which they stand."""
    checks: list[Check] = []
    for entry in entries.rows:
        name = entries.text(entry, "check")
        if entry.cell("check") is None:
            entries.refuse(
                entry, "check", found="the row says no check", mend="Type what was checked, or clear the row"
            )
        elif name is not None:
            checks.append(
                Check(
                    name=name,
                    result=entries.text(entry, "result"),
                    limit=entries.text(entry, "limit"),
                    done_by=entries.text(entry, "done_by"),
                    note=entries.text(entry, "note"),
                )
            )
    return tuple(checks)
