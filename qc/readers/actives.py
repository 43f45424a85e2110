"""The Actives sheet: one active a row."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from qc.batch import Active, Displacement, DisplacementConvention
from qc.fields.sheets import LEAST_PERCENT
from qc.readers.known_tables import Entry
from qc.readers.names import same_name
from qc.readers.read_tables import ReadTable

USUAL_TARGETS = (Decimal(50), Decimal(150))

ActiveRows = tuple[tuple[Active, Entry], ...]
"""The actives with the rows they came from, in the order in which they stand."""


def read_actives(table: ReadTable) -> ActiveRows:
    """The actives in the order in which they stand."""
    actives: list[tuple[Active, Entry]] = []
    seen: dict[str, str] = {}
    for entry in table.rows:
        name, place = entry.value("name"), table.place("name", entry)
        if entry.cell("name") is None:
            table.refuse(entry, "name", "the row has no active", "Type the name of the active, or clear the row")
        elif name is not None and same_name(name) in seen:
            earlier = seen[same_name(name)]
            found = f'the active "{name}" stands again, after {earlier}'
            table.refuse(entry, "name", found, f"Keep one of {earlier} and {place}")
        elif name is not None:
            seen[same_name(name)] = place
            actives.append((_active(name, table, entry), entry))
    return tuple(actives)


def _active(name: str, table: ReadTable, entry: Entry) -> Active:
    target, assay = entry.value("target_percent"), entry.value("batch_assay_percent")
    if target is not None and not USUAL_TARGETS[0] <= target <= USUAL_TARGETS[1]:
        text = f"The target of {name}, {target:f} % of label, is far from 100 %."
        table.remark(table.place("target_percent", entry), text)
    if assay is not None and assay < LEAST_PERCENT:
        typed = entry.as_typed("batch_assay_percent", assay)
        found = f"batch assay {typed} % of label looks like a fraction of one"
        table.refuse(entry, "batch_assay_percent", found, f"Type it in percent, for example {assay.scaleb(2):f}")
    own = {name: value for name, value in entry.said().items() if not name.startswith("displacement_")}
    return Active(**own, displacement=_displacement(table, entry))


def _displacement(table: ReadTable, entry: Entry) -> Displacement | None:
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
