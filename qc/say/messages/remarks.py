"""Remarks on common mistakes in the input, and on units left out."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from qc.results import Verdict
from qc.say.numbers import change, fixed, plain_limit
from qc.say.text import counted, listed


def overfull(*, holds_g: Decimal) -> str:
    """Doses that displace more base than a cavity holds [g]."""
    return (
        f"The doses would displace more base than the {holds_g} g that a cavity holds, so no planned mass was worked "
        "out. See whether a displacement number belongs to the other convention."
    )


def no_limit_for_mean(*, percent: float) -> str:
    """A mean mass beside the plan that no rule limits [% of plan]."""
    return (
        f"The mean lies {change(percent, decimals=2)} % from the planned mass. The rules in use set no limit for that; "
        "a house rule can."
    )


def convention(*, number: Decimal, convention: str, is_value: bool) -> str:
    """A displacement number on the unusual side of one."""
    other = "displacement factor" if is_value else "displacement value"
    return (
        f"The number {plain_limit(number)} was taken as {convention}, so the active is lighter than the base. Most are "
        f"heavier: see whether the source means the {other}."
    )


def left_out(*, units: Sequence[str], of_units: int) -> str:
    """Units with a reason to leave them out."""
    share = fixed(100 * len(units) / of_units, decimals=0)
    return (
        f"{counted(len(units), 'unit')} of {of_units} ({share} %) marked to be left out: {listed(units)}. They stay in "
        "the record."
    )


def without(*, verdict: Verdict, units: Sequence[str], other: Verdict) -> str:
    """The verdict of record beside the one without the units left out."""
    changed = "the same" if other == verdict else "a different verdict"
    named = f"{'unit' if len(units) == 1 else 'units'} {listed(units)}"
    return f"The verdict of record counts every unit: {verdict}. Without {named} it would be: {other} ({changed})."


def coarse_balance(*, step_g: Decimal, allowed_g: float) -> str:
    """Readability of the balance beside the deviation that a unit is allowed [g]."""
    return (
        f"The balance reads in steps of {plain_limit(step_g)} g, which is {100 * float(step_g) / allowed_g:.0f} % of "
        f"the allowed deviation of {allowed_g:.4f} g: too coarse to judge a unit near the limit."
    )


def too_few_left(*, asked: int, left: int) -> str:
    """Further units asked for, and fewer left."""
    return (
        f"The test asks for {asked} more units, and {left} are left in this batch: the test cannot be finished as "
        "written. How to judge so small a batch is for local procedure."
    )
