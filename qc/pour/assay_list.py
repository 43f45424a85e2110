"""Which units to assay: a random sample for the test, and beside it the few units that would best show settling."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from qc.batch import Batch, Part, Unit
from qc.pour.correction import Corrected
from qc.pour.lots import drawn_order
from qc.pour.multiple_testing import END_SHARE, MASS_SHARE, POSSIBLE_LEVEL
from qc.pour.series import poured
from qc.results.messages import message
from qc.results.pour import AssayList
from qc.stats.detectable import chance_to_call
from qc.stats.order_test import Places

# Common practice, no source: content of well mixed units scatters by about 1.2 % apart from the assay, and an assay
# repeats to about 1 %.
MIXING_PERCENT = 1.2
ASSAY_PERCENT = 1.0
RANDOM_UNITS = 10
FEWEST_UNITS = 4
ENOUGH_POWER = 0.95
# Contents typed all alike have no scatter to divide by [% of mean].
_LEAST_NOISE = 0.01
# The list is judged at the part of the 5 % level that the order of contents has when masses share the decision.
CONTENT_LEVEL = POSSIBLE_LEVEL * (1 - MASS_SHARE) * (1 - END_SHARE)


def assay_list(
    batch: Batch,
    masses: Corrected,
    *,
    seed: int,
    change_percent: float,
    random_units: int = RANDOM_UNITS,
    measured_percent: float | None = None,
) -> AssayList | None:
    """Draw the random sample, and choose the units that would reveal settling, with the power the list would have.

    Parameters
    ----------
    batch : Batch
    masses : Corrected
        In pour order, cavity differences taken out.
    seed : int
        Of the random draw.
    change_percent : float
        The straight drift from first to last unit that the list should show [% of mean].
    random_units : int
        Size of the random sample that the test asks for; the default is common practice, the judge passes the rule's.
    measured_percent : float or None
        Scatter of the contents assayed about their fitted change, assay included; taken before any other [% of mean].

    Returns
    -------
    AssayList or None
        None when fewer than four units have a place in the pour, or every one of them has been assayed already. Where
        assays exist already, they stand in place of the random sample.
    """
    lost = batch.lost
    placed = [unit for unit in poured(batch) if unit.name not in lost]
    done = {assay.unit for assay in batch.assays if assay.part is Part.WHOLE}
    if len(placed) < FEWEST_UNITS or all(unit.name in done for unit in placed):
        return None
    if done:
        drawn = [unit for unit in placed if unit.name in done]
    else:
        having_place = {unit.name for unit in placed}
        lot = [name for name in drawn_order(batch, seed=seed) if name in having_place][:random_units]
        drawn = [unit for unit in placed if unit.name in lot]
    names = tuple(unit.name for unit in drawn)
    reasons = tuple((name, why) for name, why in _revealing(placed, masses).items() if name not in names)
    repeatabilities = [
        float(one.assay_repeatability_percent) for one in batch.actives if one.assay_repeatability_percent is not None
    ]
    assumed = float(np.hypot(MIXING_PERCENT, max(repeatabilities, default=ASSAY_PERCENT)))
    noise = assumed if measured_percent is None else max(measured_percent, _LEAST_NOISE)
    whole = [unit for unit in placed if unit.name in {*names, *dict(reasons)}]
    power, alone = (_power(units, placed, change=change_percent / noise) for units in (whole, drawn))
    at_random = () if done else names
    # Assays that show a change nearly always have nothing to gain from more.
    enough = bool(done) and (alone or 0) > ENOUGH_POWER
    return AssayList(
        random_units=at_random,
        revealing=() if enough else reasons,
        change_percent=change_percent,
        power=power,
        power_random_only=alone,
        sentence=""
        if enough
        else message(
            "assay_list.listed",
            drawn=at_random,
            n=len(drawn),
            done=bool(done),
            revealing=reasons,
            noise=noise,
            measured=measured_percent is not None,
            change=change_percent,
            power=power,
            power_drawn=alone if reasons and power is not None else None,
        ),
    )


def _revealing(placed: Sequence[Unit], masses: Corrected) -> dict[str, str]:
    """First, last, lightest and heaviest by name with the reason, each unit once."""
    chosen = {placed[0].name: "first poured", placed[-1].name: "last poured"}
    if len(masses.series.units) >= FEWEST_UNITS and np.ptp(masses.tested) > 0:
        after = " for its cavity" if masses.taken_out else ""
        for index, word in ((int(np.argmin(masses.tested)), "lightest"), (int(np.argmax(masses.tested)), "heaviest")):
            chosen.setdefault(masses.series.names[index], f"{word}{after}")
    return chosen


def _power(units: Sequence[Unit], placed: Sequence[Unit], *, change: float) -> float | None:
    """The chance that these units show a straight change over all that have a place; None where no test can be made."""
    order, (first, *_, last) = (np.array([unit.pour_order for unit in some], dtype=float) for some in (units, placed))
    if len(order) < FEWEST_UNITS or order[0] == order[-1]:
        return None
    return chance_to_call((order - first) / (last - first), Places.of(order), level=CONTENT_LEVEL, change=change)
