"""What closes the matters that stay open before release of a batch whose tests are met: acts, each with what it shows.

Which act goes with which cause is common practice: it looks at what the cause can have done that no test saw.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from decimal import Decimal
from statistics import NormalDist

from qc.batch import Batch
from qc.results import Message, NextMeasurement, UnitLedger, message

WEIGHED_OFF = frozenset({"balance-drift", "balance-scale"})
"""What makes masses wrong: a second balance shows it."""
PARTS_DIFFER = frozenset({"settling-in-unit"})
ALL_ALIKE = frozenset({"wrong-displacement", "active-lost", "active-excess", "assay-bias"})
"""What moves every unit alike: the records show it."""
MEASURED = ("causes.weigh_again", "causes.assay_units")
"""Measurements that are acts."""
NOT_MODELLED = frozenset({"something-else"})


def acts_before_release(
    causes: Collection[str],
    *,
    changed: bool,
    measurements: Sequence[NextMeasurement] = (),
    ledger: UnitLedger | None = None,
    inner_percent: Decimal | None = None,
    agree_within_g: Callable[[int], Decimal | None] = lambda units: None,
) -> tuple[Message, ...]:
    """What to do before release, each act with what it has to show.

    Parameters
    ----------
    causes : collection of str
        Ids of the likely causes.
    changed : bool
        Whether something clearly changed along the pour.
    measurements : sequence of NextMeasurement
        What could be measured, the most telling first.
    ledger : UnitLedger, optional
        An assay uses its units up: it is asked for where others are left to release.
    inner_percent : Decimal, optional
        How far one content may lie from the mean by the content test [% of the mean].
    agree_within_g : callable, optional
        How far the two masses of so many units may lie apart by chance [g].

    Returns
    -------
    tuple of Message
        At least one.
    """
    among, acts = frozenset(causes), list[Message]()
    again, ends = (_first(measurements, id) for id in MEASURED)
    if among & WEIGHED_OFF and again:
        acts.append(message("advice.weigh_again", units=again, within_g=agree_within_g(len(again))))
    single = among - WEIGHED_OFF - PARTS_DIFFER - ALL_ALIKE - NOT_MODELLED
    enough = ledger is None or ledger.released_at_most > len(ends)
    if (single or (changed and not acts)) and ends and enough:
        acts.append(message("advice.assay_ends", units=ends, percent=inner_percent))
    if among & PARTS_DIFFER:
        acts.append(message("advice.undivided"))
    if among & (ALL_ALIKE | NOT_MODELLED) or not acts:
        acts.append(message("advice.check_records"))
    return tuple(acts)


def agree_within_g(units: int, *, batch: Batch) -> Decimal | None:
    """How far the two masses of each of so many units may lie apart by chance, on sound balances, 95 times in 100 [g].

    Parameters
    ----------
    units : int
        That are weighed twice.
    batch : Batch
        For the repeatability and the readability of its balance.

    Returns
    -------
    Decimal or None
        A whole number of the steps in which the masses stand; None where the repeatability is not on record.

    Notes
    -----
    The repeatability limit of two results, the quantile of the normal distribution times the root of two standard
    deviations (ISO 5725-6:1994, 4.1.4, from memory), by Bonferroni for so many pairs. Each mass is rounded to its step.
    """
    sd_g = batch.balance_repeatability_g
    if sd_g is None:
        return None
    steps = [mass.as_tuple().exponent for unit in batch.weighed if (mass := unit.mass_g) is not None]
    step = batch.balance_readability_g or Decimal(1).scaleb(min([int(one) for one in steps], default=-4))
    spread = (2.0 * float(sd_g) ** 2 + float(step) ** 2 / 6.0) ** 0.5
    apart: float = NormalDist().inv_cdf(1.0 - 0.025 / max(units, 1)) * spread
    return step * math.ceil(apart / float(step))


def is_act(one: NextMeasurement) -> bool:
    """Whether a measurement is an act that closes something, whatever else it tells apart."""
    return isinstance(one.what, Message) and one.what.id in MEASURED


def _first(measurements: Sequence[NextMeasurement], id: str) -> tuple[str, ...]:
    """The units of the first measurement of a kind, none where there is none."""
    return next((one.units for one in measurements if isinstance(one.what, Message) and one.what.id == id), ())
