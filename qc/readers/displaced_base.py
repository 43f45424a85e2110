"""The doses of the Actives sheet against the cavity of the Batch sheet: no dose displaces more base than there is.

Where they would, the displacement number was read in the other convention, or a claim or the nominal mass is in the
wrong unit; which of them cannot be told from here, so each cell is named.
"""

from __future__ import annotations

from fractions import Fraction

from qc.quantities import rounded
from qc.readers.actives import ActiveRows
from qc.readers.read_tables import ReadTable

SHOWN_DECIMALS = 4


def check_displaced_base(table: ReadTable, actives: ActiveRows, batch: ReadTable) -> None:
    """Refuse doses that would displace more base than a cavity holds, where the Batch sheet says how much that is.

    Parameters
    ----------
    table : ReadTable
        The Actives table.
    actives : ActiveRows
        Its actives; one without a label claim or a displacement number is left out of the sum.
    batch : ReadTable
        The Batch sheet; its nominal mass is what a cavity holds [g of base].
    """
    facts = batch.rows[0]
    nominal_g = facts.value("nominal_mass_g")
    if nominal_g is None:
        return
    displaced: list[tuple[Fraction, str, str]] = []
    for active, row in actives:
        if active.label_claim_mg is None or active.displacement is None:
            continue
        given = "displacement_value" if row.cell("displacement_value") else "displacement_factor"
        claim, number = table.place("label_claim_mg", row), table.place(given, row)
        mass_g = Fraction(active.label_claim_mg) / 1000 * active.displacement.factor
        displaced.append((mass_g, number, f"{claim} and {number}"))
    total_g = sum((mass_g for mass_g, _, _ in displaced), Fraction(0))
    if total_g <= Fraction(nominal_g):
        return
    _, most, _ = max(displaced, key=lambda one: one[0])
    cells = "; ".join(cells for _, _, cells in displaced)
    place = f"{batch.known.table.sheet}!{batch.place('nominal_mass_g', facts)}"
    table.findings.refuse(
        table.known.table,
        most,
        found=f"the doses would displace {_shown(total_g)} g of base ({cells}), but the cavity holds {nominal_g:f} g "
        f"({place})",
        mend="See whether the displacement number belongs to the other convention, the label claim is in mg, and the "
        "nominal mass is what the cavity holds of plain base",
    )


def _shown(mass_g: Fraction) -> str:
    """A mass to a tenth of a milligram, without trailing zeros."""
    text = f"{rounded(mass_g, decimals=SHOWN_DECIMALS):f}"
    return text.rstrip("0").rstrip(".")
