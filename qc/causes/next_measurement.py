"""What to measure next: the expected information of a few further measurements about the cause, in bits.

For every cause the measurements in hand predict what a further one would show. A measurement tells as much as these
predictions differ; the expectation is taken over results spread evenly over them, the same ones every time.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from itertools import groupby
from math import log, log2
from typing import TypeVar

import numpy as np

from qc.batch import Active, Batch, Part, State, Unit
from qc.causes.background import Background
from qc.causes.evidence import COUNTS, Fit, covariance_at, equal_shares
from qc.causes.priors import normal_quantile, quasi_random_points
from qc.causes.rows import Floats, Row, RowKind, Rows, cavity_key
from qc.causes.substances import planned_mass, weighing_sd
from qc.results import NextMeasurement
from qc.results.messages import Message, message

Thing = TypeVar("Thing")

DRAWS = 160
PREDICTIONS_A_CAUSE = 6
MOST_CAUSES = 4
LEAST_PROBABILITY = 0.005
LEAST_BITS = 0.005
BASE_POURS = 5
WEIGHED_AGAIN = 6

# What the priors call the effort of one row of each kind.
EFFORT = {
    RowKind.CONTENT: "assay",
    RowKind.PART: "cut_and_assay",
    RowKind.SECOND_WEIGHING: "weighing",
    RowKind.BASE_POUR: "base_pour",
}


def thought_of(batch: Batch, rows: Rows) -> tuple[Row, ...]:
    """Rows that could be measured next; those of one measurement stand together and bear one name.

    Two assays at the ends of the pour, five more at even distances, one unit cut, six weighed again, base-only pours.
    An assay uses its unit up: neither is it weighed again nor cut.
    """
    if len(batch.units) < 2:
        return ()
    ranked = sorted(rows.units, key=lambda unit: (unit.pour_order is None, unit.pour_order or 0))
    assayed = {assay.unit for assay in batch.assays}
    free = [unit for unit in ranked if unit.name not in assayed]
    number = {unit.name: at for at, unit in enumerate(rows.units)}
    relative = weighing_sd(batch) / float(next((unit.mass_g for unit in batch.units if unit.mass_g), 2))

    def row(kind: RowKind, name: str, unit: Unit, *, active: int = -1, part: Part = Part.WHOLE) -> Row:
        return Row(
            kind=kind,
            name=name,
            unit=number[unit.name],
            active=active,
            part=part,
            cavity=cavity_key(unit.mould, unit.cavity),
            mould=unit.mould or "",
            own_sd=relative if kind is RowKind.SECOND_WEIGHING else 0.0,
            part_mass_known=True,
        )

    found: list[Row] = []
    active = _main_active(batch)
    if len(free) > 1 and active is not None and (planned_mass(batch) is not None or active.label_claim_mg is not None):
        at = [one.name for one in rows.substances].index(active.name)
        found += [row(RowKind.CONTENT, "ends", unit, active=at) for unit in (free[0], free[-1])]
        found += [row(RowKind.CONTENT, "more", unit, active=at) for unit in _evenly(free, 5)]
        cut = free[len(free) // 2]
        found += [row(RowKind.PART, "cut", cut, active=at, part=part) for part in (Part.TIP, Part.END)]
    weighed = [unit for unit in free if unit.mass_g is not None]
    found += [row(RowKind.SECOND_WEIGHING, "again", unit) for unit in _evenly(weighed, WEIGHED_AGAIN)]
    cavities = sorted({(unit.mould or "", cavity_key(unit.mould, unit.cavity)) for unit in rows.units if unit.cavity})
    found += [
        Row(kind=RowKind.BASE_POUR, name="base", cavity=cavity, mould=mould, own_sd=relative)
        for mould, cavity in _evenly(cavities, BASE_POURS)
    ]
    return tuple(found)


def _main_active(batch: Batch) -> Active | None:
    suspended = [active for active in batch.actives if active.state is not State.DISSOLVED]
    return next(iter([*suspended, *batch.actives]), None)


def _evenly(every: list[Thing], count: int) -> list[Thing]:
    places = sorted({int(at) for at in np.linspace(0, len(every) - 1, min(count, len(every))).round()})
    return [every[at] for at in places]


def weigh_next(
    background: Background, *, fits: Mapping[str, tuple[Fit, ...]], probabilities: Mapping[str, float]
) -> tuple[NextMeasurement, ...]:
    """The expected information of every further measurement, the most telling for its effort first.

    Parameters
    ----------
    background : Background
        Rows measured and thought of.
    fits : mapping
        The fits of every cause, with their predictions.
    probabilities : mapping
        Probability of every cause.

    Returns
    -------
    tuple of NextMeasurement
        Only those that are expected to tell anything.
    """
    order = sorted(probabilities, key=lambda id: -probabilities[id])
    causes = [id for id in order if probabilities[id] >= LEAST_PROBABILITY][:MOST_CAUSES]
    if len(causes) < 2:
        return ()
    chances = np.array([probabilities[id] for id in causes])
    chances /= chances.sum()
    open_bits = -sum(float(chance) * log2(float(chance)) for chance in chances)
    told = [_predicted(background, fits[id]) for id in causes]
    rows = background.rows
    found = []
    unmeasured = [row for row in rows.rows if row.typed is None]
    for name, together in groupby(enumerate(unmeasured), key=lambda one: one[1].name):
        extra, planned = zip(*together, strict=True)
        at = np.array(extra)
        bits = _expected_bits(chances, [[(m[at], c[np.ix_(at, at)]) for m, c in one] for one in told])
        if bits >= LEAST_BITS:
            units = tuple(dict.fromkeys(rows.units[row.unit].name for row in planned if row.unit >= 0))
            found.append(
                NextMeasurement(
                    what=_what(name, units, count=len(planned)),
                    units=units,
                    bits=min(bits, open_bits),
                    open_bits=open_bits,
                    effort=sum(background.priors.number("effort", EFFORT[row.kind]) for row in planned),
                    between=(causes[0], causes[1]),
                )
            )
    return tuple(sorted(found, key=lambda one: -one.bits / one.effort))


def _what(name: str, units: tuple[str, ...], *, count: int) -> Message:
    if name == "base":
        return message("causes.pour_base", n=count)
    if name == "cut":
        return message("causes.cut_unit", unit=units[0])
    if name == "again":
        return message("causes.weigh_again", units=units)
    return message("causes.assay_units", units=units)


def _predicted(background: Background, fits: tuple[Fit, ...]) -> list[tuple[Floats, Floats]]:
    """Mean and covariance of all rows thought of, for a few equally likely particulars of one cause."""
    least = max(fit.log_evidence for fit in fits) - COUNTS
    predictions = [one for fit in fits if fit.log_evidence > least for one in fit.predictions()]
    chosen = equal_shares(predictions, PREDICTIONS_A_CAUSE)
    measured, extra = np.flatnonzero(background.rows.measured), np.flatnonzero(~background.rows.measured)
    # Particulars often differ by their shift alone; what is known beforehand of the rows is then the same.
    known: dict[tuple[int, int], tuple[Floats, Floats]] = {}
    told = []
    for one in chosen:
        key = (id(one.likelihood), one.node)
        if key not in known:
            spread = covariance_at(background, one.likelihood, node=one.node)
            across = spread[np.ix_(extra, measured)]
            solved: Floats = np.asarray(np.linalg.solve(spread[np.ix_(measured, measured)], across.T))
            gain = solved.T
            known[key] = gain, spread[np.ix_(extra, extra)] - gain @ across.T
        gain, left = known[key]
        told.append((one.shift[extra] + gain @ (background.rows.value[measured] - one.shift[measured]), left))
    return told


@cache
def _even_scores(rows: int) -> Floats:
    """Standard normal scores that fill their space evenly, shape (draws, rows)."""
    return normal_quantile(quasi_random_points(DRAWS, dimensions=rows))


def _expected_bits(chances: Floats, told: list[list[tuple[Floats, Floats]]]) -> float:
    """Mutual information of the cause and the result, averaged over results of every prediction."""
    means = np.array([mean for one in told for mean, _ in one])
    roots = np.linalg.cholesky(np.array([cov for one in told for _, cov in one]) + 1e-10 * np.eye(means.shape[1]))
    owner = np.repeat(np.arange(len(told)), [len(one) for one in told])
    inverses = np.linalg.inv(roots)
    half_logs = np.log(np.diagonal(roots, axis1=1, axis2=2)).sum(axis=1)
    total = 0.0
    for number, one in enumerate(told):
        sources = np.flatnonzero(owner == number)[np.arange(DRAWS) % len(one)]
        results = means[sources] + np.matmul(roots[sources], _even_scores(means.shape[1])[:, :, None])[:, :, 0]
        away = (results[None] - means[:, None]) @ inverses.swapaxes(1, 2)
        logs = -0.5 * (away**2).sum(axis=2).T - half_logs[None]
        top = logs.max(axis=1, keepdims=True)
        each = np.exp(logs - top)
        by_cause = np.stack([each[:, owner == at].mean(axis=1) for at in range(len(told))], axis=1) + 1e-300
        mixture = (by_cause * chances[None]).sum(axis=1)
        total += float(chances[number]) * float(np.log(by_cause[:, number] / mixture).mean())
    return max(0.0, total / log(2.0))
