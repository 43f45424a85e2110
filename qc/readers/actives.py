"""The Actives sheet: one active a row."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct

from qc.batch import Active, Displacement, DisplacementConvention, State
from qc.readers.entries import Entries, same_name
from qc.readers.known_tables import Entry

FULL_TARGET = Decimal(100)
USUAL_TARGETS = (Decimal(50), Decimal(150))
LEAST_PERCENT = Decimal(3)


class ActiveRows(Struct, frozen=True, kw_only=True):
    """The actives with the rows they came from, in the order in which they stand."""

    actives: tuple[Active, ...]
    rows: tuple[Entry, ...]


def read_actives(entries: Entries) -> ActiveRows:
    """The actives in the order in which they stand."""
    actives: list[Active] = []
    rows: list[Entry] = []
    seen: dict[str, str] = {}
    for entry in entries.rows:
        name = entries.name(entry, "active")
        if name is None:
            if entry.cell("active") is None:
                entries.refuse(
                    entry, "active", found="the row has no active", mend="Type the name of the active, or clear the row"
                )
            continue
        place = entries.known.place("active", entry)
        if same_name(name) in seen:
            earlier = seen[same_name(name)]
            entries.refuse(
                entry,
                "active",
                found=f'the active "{name}" stands again, after {earlier}',
                mend=f"Keep one of {earlier} and {place}",
            )
            continue
        seen[same_name(name)] = place
        actives.append(_active(name, entries, entry))
        rows.append(entry)
    return ActiveRows(actives=tuple(actives), rows=tuple(rows))


def _active(name: str, entries: Entries, entry: Entry) -> Active:
    target = entries.number(entry, "target_percent")
    place = entries.known.place("target_percent", entry)
    if target is not None and not USUAL_TARGETS[0] <= target <= USUAL_TARGETS[1]:
        entries.remark(place, f"The target of {name}, {target:f} % of label, is far from 100 %.")
    assay = entries.number(entry, "batch_assay_percent")
    if assay is not None and assay < LEAST_PERCENT:
        entries.refuse(
            entry,
            "batch_assay_percent",
            found=f"batch assay {entry.as_typed('batch_assay_percent', assay)} % of label looks like a fraction of one",
            mend=f"Type it in percent, for example {assay.scaleb(2):f}",
        )
    return Active(
        name=name,
        label_claim_mg=entries.number(entry, "label_claim_mg"),
        displacement=_displacement(entries, entry),
        state=entries.word(entry, "state", State),
        amount_weighed_g=entries.number(entry, "amount_weighed_g"),
        target_percent=FULL_TARGET if target is None else target,
        batch_assay_percent=assay,
        assay_repeatability_percent=entries.number(entry, "assay_repeatability_percent"),
    )


def _displacement(entries: Entries, entry: Entry) -> Displacement | None:
    value = entries.number(entry, "displacement_value")
    factor = entries.number(entry, "displacement_factor")
    if value is not None and factor is not None and not are_inverse(value, factor):
        there = entries.known.place("displacement_factor", entry)
        inverse = float(1 / Fraction(value))
        typed = entry.as_typed("displacement_value", value)
        entries.refuse(
            entry,
            "displacement_value",
            found=f"the displacement value {typed} and the displacement factor "
            f"{entry.as_typed('displacement_factor', factor)} in {there} "
            f"are not each other's inverse (1 / {typed} is {inverse:.4g})",
            mend="Keep the one whose convention your source states, and clear the other",
        )
    if value is not None:
        return Displacement(given=value, convention=DisplacementConvention.VALUE)
    if factor is not None:
        return Displacement(given=factor, convention=DisplacementConvention.FACTOR)
    return None


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
