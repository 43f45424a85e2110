"""Reconciliation: what went into the batch against what came out."""

from __future__ import annotations

from decimal import Decimal
from types import MappingProxyType
from typing import Annotated

from qc.rules.kind import Kind
from qc.rules.records import Rule
from qc.rules.schema import About, Tighter

_NONE_SET = "none; a house rule can set one"


def _least(listed: str, clause: str, *, not_above: str) -> About:
    return About(listed=listed, unit="%", none=_NONE_SET, tighter=Tighter.GREATER, clause=clause, not_above=not_above)


def _most(listed: str, clause: str) -> About:
    return About(listed=listed, unit="%", none=_NONE_SET, tighter=Tighter.SMALLER, clause=clause)


class ReconciliationRule(Rule, frozen=True, kw_only=True):
    """What went into the batch against what came out; every limit is the house's own [%]."""

    yield_low_percent: Annotated[
        Decimal | None,
        _least(
            "yield, at least",
            "least yield, in per cent of the theoretical yield,",
            not_above="yield_high_percent",
        ),
    ] = None
    yield_high_percent: Annotated[
        Decimal | None, _most("yield, at most", "greatest yield, in per cent of the theoretical yield,")
    ] = None
    unaccounted_percent: Annotated[
        Decimal | None,
        _most("melt not accounted for, at most", "part of the melt not accounted for, in per cent,"),
    ] = None
    recovery_low_percent: Annotated[
        Decimal | None,
        _least(
            "active found, at least",
            "least active found, in per cent of that weighed,",
            not_above="recovery_high_percent",
        ),
    ] = None
    recovery_high_percent: Annotated[
        Decimal | None, _most("active found, at most", "most active found, in per cent of that weighed,")
    ] = None


class _Reconciliation(Kind[ReconciliationRule]):
    record = ReconciliationRule
    tests = MappingProxyType({"reconciliation": "Reconciliation: what went in, what came out"})
    place = 10
    of_units = False


KIND = _Reconciliation()
