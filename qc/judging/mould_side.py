"""A mould whose units are all light or all heavy, and a dose that changed with the fill alone: one sentence each."""

from __future__ import annotations

from collections.abc import Sequence

from qc.results import PourTrend, TrendFlag, UnitRow
from qc.rules.display import shown, signed

FEWEST_UNITS = 3
ONE_MAY_DIFFER_FROM = 5
SHARE_OF_LIMIT = 0.5
"""Common practice, no source: half the inner limit is far enough from the mean to be worth a look."""


def mould_sentences(rows: Sequence[UnitRow], *, inner_percent: float | None, trend: PourTrend) -> tuple[str, ...]:
    """Say which moulds lie on one side of the mean as a whole, and whether the dose changed with the fill alone.

    Parameters
    ----------
    rows : sequence of UnitRow
        With the deviations from the mean of the test sample [% of that mean].
    inner_percent : float or None
        Inner limit of the mass test [% of mean]; without one no mould is named.
    trend : PourTrend
        Contents and concentrations along the pour.

    Returns
    -------
    tuple of str
        Full sentences, moulds first. One unit may lie elsewhere where a mould has five or more.
    """
    found = [] if inner_percent is None else _moulds(rows, beyond=SHARE_OF_LIMIT * inner_percent)
    return (*found, *_filling_not_settling(trend))


def _moulds(rows: Sequence[UnitRow], *, beyond: float) -> list[str]:
    deviations: dict[str, list[float]] = {}
    for row in rows:
        if row.mould is not None and row.deviation_percent is not None:
            deviations.setdefault(row.mould, []).append(row.deviation_percent)
    if len(deviations) < 2:
        return []
    return [
        sentence
        for mould, found in deviations.items()
        if len(found) >= FEWEST_UNITS and (sentence := _one_side(mould, found, beyond=beyond))
    ]


def _one_side(mould: str, deviations: Sequence[float], *, beyond: float) -> str:
    units = len(deviations)
    may_differ = 1 if units >= ONE_MAY_DIFFER_FROM else 0
    for word, side in (("light", -1), ("heavy", 1)):
        there = sorted((one for one in deviations if side * one > beyond), key=abs)
        if len(there) >= units - may_differ:
            count = f"All {units}" if len(there) == units else f"{len(there)} of the {units}"
            near, far = signed(there[0], decimals=1), signed(there[-1], decimals=1)
            return (
                f"{count} units of mould {mould} are {word}, {near} to {far} % from the mean (more than half the "
                f"limit, {shown(beyond, decimals=2).rstrip('0').rstrip('.')} %)."
            )
    return ""


def _filling_not_settling(trend: PourTrend) -> list[str]:
    sentences = []
    for active, content in trend.content.items():
        concentration = trend.concentration.get(active)
        changed = content.flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE)
        if changed and concentration is not None and concentration.flag is TrendFlag.NONE_SEEN:
            sentences.append(
                f"The content of {active} changes along the pour and its concentration was not seen to change: that "
                "speaks for the filling, not for settling."
            )
    return sentences
