"""The Actives sheet: one active a row; and its doses against the cavity of the Batch sheet.

No dose displaces more base than there is. Where one would, the displacement number was read in the other convention, or
a claim or the nominal mass is in the wrong unit; which of them cannot be told from here, so each cell is named.
"""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.batch import Active, Displacement, DisplacementConvention
from qc.fields.sheets import LEAST_PERCENT
from qc.quantities import rounded
from qc.readers.located import Entry, LocatedTable

SHOWN_DECIMALS = 4
USUAL_TARGETS = (Decimal(50), Decimal(150))

ActiveRows = tuple[tuple[Active, Entry], ...]
"""The actives with the rows they came from, in the order in which they stand."""


def read_actives(table: LocatedTable) -> ActiveRows:
    """The actives in the order in which they stand."""
    return tuple((_active(table, entry), entry) for entry in table.named_once(table.entries))


def _active(table: LocatedTable, entry: Entry) -> Active:
    own = {name: value for name, value in entry.values.items() if not name.startswith("displacement_")}
    target, assay = own.get("target_percent"), own.get("batch_assay_percent")
    if target is not None and not USUAL_TARGETS[0] <= target <= USUAL_TARGETS[1]:
        text = f"The target of {own['name']}, {target:f} % of label, is far from 100 %."
        table.remark(table.place("target_percent", entry), text)
    if assay is not None and assay < LEAST_PERCENT:
        typed = entry.as_typed("batch_assay_percent", assay)
        found = f"batch assay {typed} % of label looks like a fraction of one"
        table.refuse(entry, "batch_assay_percent", found, f"Type it in percent, for example {assay.scaleb(2):f}")
    return Active(**own, displacement=_displacement(table, entry))


def _displacement(table: LocatedTable, entry: Entry) -> Displacement | None:
    value, factor = entry.value("displacement_value"), entry.value("displacement_factor")
    if value is not None and factor is not None and not are_inverse(value, factor):
        typed, other = entry.as_typed("displacement_value", value), entry.as_typed("displacement_factor", factor)
        table.refuse(
            entry,
            "displacement_value",
            f"the displacement value {typed} and the displacement factor {other} in "
            f"{table.place('displacement_factor', entry)} are not each other's inverse "
            f"(1 / {typed} is {float(1 / Fraction(value)):.4g})",
            "Keep the one whose convention your source states, and clear the other",
        )
    if value is not None:
        return Displacement(given=value, convention=DisplacementConvention.VALUE)
    return None if factor is None else Displacement(given=factor, convention=DisplacementConvention.FACTOR)


def are_inverse(value: Decimal, factor: Decimal) -> bool:
    """Whether a displacement value and factor are each other's inverse within the rounding of what was typed.

    Parameters
    ----------
    value : Decimal
        Displacement value [g of active that displaces 1 g of base].
    factor : Decimal
        Displacement factor [g of base displaced by 1 g of active].

    Examples
    --------
    >>> are_inverse(Decimal("1.5"), Decimal("0.67")), are_inverse(Decimal("1.5"), Decimal("1.5"))
    (True, False)
    """
    low_value, high_value = _rounding(value)
    low_factor, high_factor = _rounding(factor)
    return low_value * low_factor <= 1 <= high_value * high_factor


def _rounding(number: Decimal) -> tuple[Fraction, Fraction]:
    """The two ends between which a number rounded to its last typed digit can lie."""
    exponent = number.as_tuple().exponent
    half = Fraction(10) ** int(exponent) / 2
    return Fraction(number) - half, Fraction(number) + half


def check_displaced_base(table: LocatedTable, actives: ActiveRows, batch: LocatedTable) -> None:
    """Refuse doses that would displace more base than a cavity holds, where the Batch sheet says how much that is.

    Parameters
    ----------
    table : LocatedTable
        The Actives table.
    actives : ActiveRows
        Its actives; one without a label claim or a displacement number is left out of the sum.
    batch : LocatedTable
        The Batch sheet; its nominal mass is what a cavity holds [g of base].
    """
    (facts,) = batch.entries
    nominal_g = facts.value("nominal_mass_g")
    displaced: list[tuple[Fraction, str, str]] = []
    for active, row in actives:
        if active.label_claim_mg is None or active.displacement is None:
            continue
        given = "displacement_value" if row.cell("displacement_value") else "displacement_factor"
        claim, number = table.place("label_claim_mg", row), table.place(given, row)
        mass_g = Fraction(active.label_claim_mg) / 1000 * active.displacement.factor
        displaced.append((mass_g, number, f"{claim} and {number}"))
    total_g = sum((mass_g for mass_g, _, _ in displaced), Fraction(0))
    if nominal_g is None or total_g <= Fraction(nominal_g):
        return
    _, most, _ = max(displaced, key=lambda one: one[0])
    displaced_g = rounded(total_g, decimals=SHOWN_DECIMALS).normalize()
    cells = "; ".join(cells for _, _, cells in displaced)
    table.refuse_at(
        most,
        f"the doses would displace {displaced_g:f} g of base ({cells}), but the cavity holds {nominal_g:f} g "
        f"({batch.table.sheet}!{batch.place('nominal_mass_g', facts)})",
        "See whether the displacement number belongs to the other convention, the label claim is in mg, and the "
        "nominal mass is what the cavity holds of plain base",
    )
