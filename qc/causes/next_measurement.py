"""What to measure next: the expected information of a few further measurements about the cause, in bits.

For every cause the measurements in hand predict what a further one would show. A measurement tells as much as these
predictions differ; the expectation is taken over results drawn from them.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import log, log2

import numpy as np
from msgspec import Struct

from qc.batch import Active, Batch, Part, State, Unit
from qc.causes.background import Field
from qc.causes.evidence import Fit, Prediction, covariance_at
from qc.causes.rows import Floats, Kind, Row, cavity_key, rows_of
from qc.causes.substances import planned_mass, weighing_sd
from qc.results import NextMeasurement
from qc.results.messages import Message, message

DRAWS = 160
PREDICTIONS_A_CAUSE = 6
MOST_CAUSES = 4
LEAST_PROBABILITY = 0.005
LEAST_BITS = 0.005
BASE_POURS = 5
WEIGHED_AGAIN = 6


class _Plan(Struct, frozen=True):
    """A measurement that could be made: which rows, what says so, and its effort, 1 for weighing one unit again."""

    key: str
    what: Message
    units: tuple[str, ...]
    effort: float


def thought_of(batch: Batch) -> tuple[Row, ...]:
    """Rows that could be measured next; their names carry the plan they belong to."""
    if len(batch.units) < 2:
        return ()
    units = batch.units
    active = _main_active(batch)
    rows: list[Row] = []
    used = rows_of(batch)
    place = {unit.name: at for at, unit in enumerate(used.units)}
    chosen = _choices(batch, used.units)
    if active is not None and (planned_mass(batch) is not None or active.label_claim_mg is not None):
        number = next((at for at, one in enumerate(used.substances) if one.name == active.name), -1)
        for key in ("ends", "more"):
            rows += [_row(Kind.CONTENT, key, unit, place, active=number) for unit in chosen[key]]
        for part in (Part.TIP, Part.END):
            rows += [_row(Kind.PART, "cut", unit, place, active=number, part=part) for unit in chosen["cut"]]
    relative = weighing_sd(batch) / float(next((unit.mass_g for unit in units if unit.mass_g), 2))
    rows += [_row(Kind.SECOND_WEIGHING, "again", unit, place, own_sd=relative) for unit in chosen["again"]]
    rows += [
        Row(kind=Kind.BASE_POUR, name="base", cavity=cavity, mould=mould, own_sd=relative)
        for mould, cavity in _cavities(used.units)
    ]
    return tuple(rows)


def _row(
    kind: Kind,
    key: str,
    unit: Unit,
    place: Mapping[str, int],
    *,
    active: int = -1,
    part: Part = Part.WHOLE,
    own_sd: float = 0.0,
) -> Row:
    return Row(
        kind=kind,
        name=key,
        unit=place[unit.name],
        active=active,
        part=part,
        cavity=cavity_key(unit.mould, unit.cavity),
        mould=unit.mould or "",
        own_sd=own_sd,
        part_mass_known=True,
    )


def _main_active(batch: Batch) -> Active | None:
    suspended = [active for active in batch.actives if active.state is not State.DISSOLVED]
    return next(iter([*suspended, *batch.actives]), None)


def _choices(batch: Batch, units: tuple[Unit, ...]) -> dict[str, list[Unit]]:
    """Which units each plan takes: the ends of the pour, unassayed ones at even distances, one from the middle."""
    ranked = sorted(units, key=lambda unit: (unit.pour_order is None, unit.pour_order or 0))
    assayed = {assay.unit for assay in batch.assays}
    free = [unit for unit in ranked if unit.name not in assayed] or ranked
    weighed = [unit for unit in ranked if unit.mass_g is not None]
    return {
        "ends": [ranked[0], ranked[-1]],
        "more": _evenly(free, 5),
        "cut": [free[len(free) // 2]],
        "again": _evenly(weighed, WEIGHED_AGAIN),
    }


def _evenly(units: list[Unit], count: int) -> list[Unit]:
    if not units:
        return []
    places = sorted({int(at) for at in np.linspace(0, len(units) - 1, min(count, len(units))).round()})
    return [units[at] for at in places]


def _cavities(units: tuple[Unit, ...]) -> list[tuple[str, str]]:
    found = sorted({(unit.mould or "", cavity_key(unit.mould, unit.cavity)) for unit in units if unit.cavity})
    if len(found) <= BASE_POURS:
        return found
    return [found[int(at)] for at in np.linspace(0, len(found) - 1, BASE_POURS).round()]


def weigh_next(
    field: Field, *, fits: Mapping[str, tuple[Fit, ...]], probabilities: Mapping[str, float], seed: int
) -> tuple[NextMeasurement, ...]:
    """The expected information of every plan, the most telling for its effort first.

    Parameters
    ----------
    field : Field
        Rows measured and thought of.
    fits : mapping
        The fits of every cause, with their predictions.
    probabilities : mapping
        Probability of every cause.
    seed : int
        For the results that are drawn.

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
    told = [_predicted(field, fits[id]) for id in causes]
    found = []
    for plan in _plans(field):
        rows = np.array([at for at, row in enumerate(field.rows.rows) if row.typed is None and row.name == plan.key])
        extra = np.flatnonzero(np.isin(np.flatnonzero(~field.rows.measured), rows))
        bits = _expected_bits(chances, [[(m[extra], c[np.ix_(extra, extra)]) for m, c in one] for one in told], seed)
        if bits >= LEAST_BITS:
            found.append(
                NextMeasurement(
                    what=plan.what,
                    units=plan.units,
                    bits=min(bits, open_bits),
                    open_bits=open_bits,
                    effort=plan.effort,
                    between=(causes[0], causes[1]),
                )
            )
    return tuple(sorted(found, key=lambda one: (-one.bits / one.effort, one.units)))


def _plans(field: Field) -> list[_Plan]:
    rows = field.rows
    effort = {key: field.priors.number("effort", key) for key in ("weighing", "base_pour", "assay", "cut_and_assay")}
    names: dict[str, list[str]] = {}
    for row in rows.rows:
        if row.typed is None and row.unit >= 0:
            names.setdefault(row.name, []).append(rows.units[row.unit].name)
    pours = sum(row.typed is None and row.kind is Kind.BASE_POUR for row in rows.rows)
    plans = []
    if "ends" in names:
        cut = min(names["cut"])
        plans += [
            _assay("ends", names["ends"], effort["assay"]),
            _assay("more", names["more"], effort["assay"]),
            _Plan("cut", message("causes.cut_unit", unit=cut), (cut,), 2 * effort["cut_and_assay"]),
        ]
    if "again" in names:
        units = names["again"]
        effort_again = len(units) * effort["weighing"]
        plans.append(_Plan("again", message("causes.weigh_again", units=units), tuple(units), effort_again))
    if pours:
        plans.append(_Plan("base", message("causes.pour_base", n=pours), (), pours * effort["base_pour"]))
    return plans


def _assay(key: str, units: list[str], effort: float) -> _Plan:
    return _Plan(key, message("causes.assay_units", units=units), tuple(units), len(units) * effort)


def _predicted(field: Field, fits: tuple[Fit, ...]) -> list[tuple[Floats, Floats]]:
    """Mean and covariance of all rows thought of, for a few equally likely particulars of one cause."""
    chosen = _chosen([one for fit in fits for one in fit.predictions()])
    measured, extra = np.flatnonzero(field.rows.measured), np.flatnonzero(~field.rows.measured)
    # Particulars often differ by their shift alone; what is known beforehand of the rows is then the same.
    known: dict[tuple[int, int], tuple[Floats, Floats]] = {}
    told = []
    for one in chosen:
        key = (id(one.likelihood), one.node)
        if key not in known:
            spread = covariance_at(field, one.likelihood, node=one.node)
            across = spread[np.ix_(extra, measured)]
            solved: Floats = np.asarray(np.linalg.solve(spread[np.ix_(measured, measured)], across.T))
            gain = solved.T
            known[key] = gain, spread[np.ix_(extra, extra)] - gain @ across.T
        gain, left = known[key]
        told.append((one.shift[extra] + gain @ (field.rows.value[measured] - one.shift[measured]), left))
    return told


def _chosen(predictions: list[Prediction]) -> list[Prediction]:
    weights = np.exp(np.array([one.log_weight for one in predictions]) - max(one.log_weight for one in predictions))
    running = np.cumsum(weights)
    steps = (np.arange(PREDICTIONS_A_CAUSE) + 0.5) / PREDICTIONS_A_CAUSE * running[-1]
    return [predictions[int(at)] for at in np.minimum(np.searchsorted(running, steps), running.size - 1)]


def _expected_bits(chances: Floats, told: list[list[tuple[Floats, Floats]]], seed: int) -> float:
    """Mutual information of the cause and the result, by drawing results from every prediction."""
    rng = np.random.default_rng([seed, 77])
    means = np.array([mean for one in told for mean, _ in one])
    roots = np.linalg.cholesky(np.array([cov for one in told for _, cov in one]) + 1e-10 * np.eye(means.shape[1]))
    owner = np.repeat(np.arange(len(told)), [len(one) for one in told])
    inverses = np.linalg.inv(roots)
    half_logs = np.log(np.diagonal(roots, axis1=1, axis2=2)).sum(axis=1)
    total = 0.0
    for number, one in enumerate(told):
        sources = np.flatnonzero(owner == number)[np.arange(DRAWS) % len(one)]
        scores = rng.standard_normal((DRAWS, means.shape[1]))
        results = means[sources] + np.matmul(roots[sources], scores[:, :, None])[:, :, 0]
        away = (results[None] - means[:, None]) @ inverses.swapaxes(1, 2)
        logs = -0.5 * (away**2).sum(axis=2).T - half_logs[None]
        top = logs.max(axis=1, keepdims=True)
        each = np.exp(logs - top)
        by_cause = np.stack([each[:, owner == at].mean(axis=1) for at in range(len(told))], axis=1) + 1e-300
        mixture = (by_cause * chances[None]).sum(axis=1)
        total += float(chances[number]) * float(np.log(by_cause[:, number] / mixture).mean())
    return max(0.0, total / log(2.0))
