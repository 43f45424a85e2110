"""Attribute sampling: what a count of nonconforming units says of a batch, by a plan."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from typing import Any

from msgspec import Struct


class SamplingPlan(Struct, frozen=True, kw_only=True):
    """The plan of one class of defects for one batch.

    Parameters
    ----------
    letter : str
        Code letter of the batch size; empty where every unit is looked at without one.
    sample_size : int
        Units to look at.
    accepts : int or None
        Greatest number of nonconforming units; None where every unit is looked at and the share decides.
    from_memory : bool
        Whether the figures were not read on a page.
    """

    letter: str
    sample_size: int
    accepts: int | None
    from_memory: bool = False


class Acceptance(Struct, frozen=True, kw_only=True):
    """What a count says: accepted or not; None and the units still to look at where it does not say."""

    met: bool | None
    units_to_look_at: int = 0


def plan_for(rule: Any, *, lot: int, aql_percent: Decimal) -> SamplingPlan | None:
    """The plan for a batch size and an acceptable quality limit; None where the tables end before it.

    Parameters
    ----------
    rule : SamplingRule
        Or what holds its tables by the same names.
    lot : int
        Units in the batch.
    aql_percent : Decimal
        One of the columns of the table, or 0 [%].

    References
    ----------
    ISO 2859-1:1999, tables 1 and 2-A. That small batches are looked at whole is our own reading.
    """
    if lot <= rule.inspect_all_up_to or aql_percent == 0:
        return SamplingPlan(letter="", sample_size=lot, accepts=None)
    row = next((row for row in rule.codes if row.lot_from <= lot <= row.lot_to), None)
    if row is None:
        return None
    letter = row.letters[rule.inspection_level - 1]
    column = next(column for column in rule.columns if column.aql_percent == aql_percent)
    place = rule.letters.index(letter)
    size = column.sample_sizes[place]
    if size >= lot:
        return SamplingPlan(letter=letter, sample_size=lot, accepts=None)
    remembered = {rule.letters[at] for at, other in enumerate(column.sample_sizes) if other == size}
    return SamplingPlan(
        letter=letter,
        sample_size=size,
        accepts=column.accepts[place],
        from_memory=letter in rule.letters_from_memory or remembered <= set(rule.letters_from_memory),
    )


def acceptance_by(
    plan: SamplingPlan, *, lot: int, looked_at: int, nonconforming: int, aql_percent: Decimal
) -> Acceptance:
    """What the units looked at say of one class of defects.

    Parameters
    ----------
    plan : SamplingPlan
    lot, looked_at, nonconforming : int
        Units in the batch, units looked at, and units among them with a defect of the class.
    aql_percent : Decimal
        Acceptable quality limit of the class [% of units].

    Returns
    -------
    Acceptance

    Notes
    -----
    Where every unit was looked at, the share itself is compared with the AQL, a share equal to it being accepted. With
    more units than the plan asks for but not all, up to its acceptance number is accepted; more than that is not
    accepted where the share exceeds the AQL, and asks for a look at the rest where it does not.
    """
    beyond_aql = Fraction(nonconforming * 100)
    if looked_at >= lot:
        return Acceptance(met=beyond_aql <= Fraction(aql_percent) * max(lot, looked_at))
    if plan.accepts is None:
        # Nonconforming units already found stay, however sound the rest may be.
        over = beyond_aql > Fraction(aql_percent) * lot
        return Acceptance(met=False) if over else Acceptance(met=None, units_to_look_at=lot - looked_at)
    if nonconforming <= plan.accepts:
        short = plan.sample_size - looked_at
        return Acceptance(met=True) if short <= 0 else Acceptance(met=None, units_to_look_at=short)
    if looked_at <= plan.sample_size or beyond_aql > Fraction(aql_percent) * looked_at:
        return Acceptance(met=False)
    return Acceptance(met=None, units_to_look_at=lot - looked_at)
