"""A batch in an order of its own, so that nothing that is worked out goes by the order in which rows were typed.

Units stand by their place in the pour, mould and cavity, and then by what was measured of them; their names come last.
Whatever is summed, looked through or drawn from there on is the same for any order of rows, sheets and columns, and for
any names of the units.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from decimal import Decimal
from typing import Any, TypeVar

from msgspec.structs import replace

from qc.batch import Assay, Batch, CavityPour, Check, Unit, counting_order

Record = TypeVar("Record")


def in_own_order(batch: Batch) -> Batch:
    """The batch with its units, determinations, actives, pours and checks in an order that their contents give.

    Parameters
    ----------
    batch : Batch
        As it was entered.
    """
    assays: dict[str, list[tuple[Any, ...]]] = {}
    for assay in batch.assays:
        assays.setdefault(assay.unit, []).append(_measured(assay))
    found = {name: sorted(every) for name, every in assays.items()}

    def by_unit(unit: Unit) -> tuple[Any, ...]:
        said = (unit.test_sample is not True, unit.left_out_because or "", unit.seen, unit.note or "")
        masses = (_number(unit.mass_g), _number(unit.weighed_again_g))
        weighed = unit.weighing_order or 0
        return (*unit.place, weighed, masses, found.get(unit.name, []), said, counting_order(unit.name))

    units = _sorted(batch.units, by_unit)
    place = {unit.name: at for at, unit in enumerate(units)}
    return replace(
        batch,
        units=units,
        assays=_sorted(batch.assays, lambda one: (place.get(one.unit, len(place)), _measured(one))),
        actives=_sorted(batch.actives, lambda one: counting_order(one.name)),
        cavity_pours=_sorted(batch.cavity_pours, _of_pour),
        checks=_sorted(batch.checks, _of_check),
        notices=_sorted(batch.notices, lambda one: one.text),
    )


def _sorted(every: Iterable[Record], key: Callable[[Record], tuple[Any, ...] | str]) -> tuple[Record, ...]:
    return tuple(sorted(every, key=key))


def _number(value: Decimal | None) -> tuple[bool, Decimal]:
    return value is None, value or Decimal(0)


def _measured(assay: Assay) -> tuple[Any, ...]:
    numbers = (assay.content_mg, assay.content_percent, assay.part_mass_g)
    return (counting_order(assay.active), assay.part.value, assay.stage or 0, *(_number(one) for one in numbers))


def _of_pour(pour: CavityPour) -> tuple[Any, ...]:
    return (counting_order(pour.mould or ""), counting_order(pour.cavity), pour.base_mass_g)


def _of_check(check: Check) -> tuple[Any, ...]:
    return (counting_order(check.name), *(one or "" for one in (check.result, check.limit, check.done_by, check.note)))
