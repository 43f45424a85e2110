"""What closes the matters that stay open before release of a batch whose tests are met: acts, each with what it shows.

Which act goes with which cause is common practice: it looks at what the cause can have done that no test saw.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal

from qc.batch import Batch
from qc.quantities import rounded
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
    agree_within_g: Decimal | None = None,
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
    agree_within_g : Decimal, optional
        How far two masses of one unit may lie apart by chance [g].

    Returns
    -------
    tuple of Message
        At least one.
    """
    among, acts = frozenset(causes), list[Message]()
    again, ends = (_first(measurements, id) for id in MEASURED)
    if among & WEIGHED_OFF and again:
        acts.append(message("advice.weigh_again", units=again, within_g=agree_within_g))
    single = among - WEIGHED_OFF - PARTS_DIFFER - ALL_ALIKE - NOT_MODELLED
    enough = ledger is None or ledger.released_at_most > len(ends)
    if (single or (changed and not acts)) and ends and enough:
        acts.append(message("advice.assay_ends", units=ends, percent=inner_percent))
    if among & PARTS_DIFFER:
        acts.append(message("advice.undivided"))
    if among & (ALL_ALIKE | NOT_MODELLED) or not acts:
        acts.append(message("advice.check_records"))
    return tuple(acts)


def agree_within_g(batch: Batch) -> Decimal | None:
    """How far two masses of one unit may lie apart by chance [g]; None where the repeatability is not on record.

    Notes
    -----
    The repeatability limit, 2.8 standard deviations (ISO 5725-6:1994, 4.1.4, from memory).
    """
    sd_g = batch.balance_repeatability_g
    return None if sd_g is None else rounded(Decimal("2.8") * sd_g, decimals=4)


def is_act(one: NextMeasurement) -> bool:
    """Whether a measurement is an act that closes something, whatever else it tells apart."""
    return isinstance(one.what, Message) and one.what.id in MEASURED


def _first(measurements: Sequence[NextMeasurement], id: str) -> tuple[str, ...]:
    """The units of the first measurement of a kind, none where there is none."""
    return next((one.units for one in measurements if isinstance(one.what, Message) and one.what.id == id), ())
