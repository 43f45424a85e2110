"""A mould whose units are all light or all heavy, and a dose that changed with the fill only: one sentence each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from qc.results import Message, PourTrend, TrendFlag, UnitRow, message

FEWEST_UNITS = 3
ONE_MAY_DIFFER_FROM = 5
SHARE_OF_LIMIT = 0.5
"""Common practice, no source: half the inner limit is far enough from the mean to be worth a look."""


def mould_findings(
    rows: Sequence[UnitRow], *, inner_percent: float | None, trend: PourTrend, blind: bool = False
) -> tuple[Message, ...]:
    """Say which moulds lie on one side of the mean as a whole, and whether the dose changed with the fill only.

    Parameters
    ----------
    rows : sequence of UnitRow
        With the deviations from the mean of the test sample [% of that mean].
    inner_percent : float or None
        Inner limit of the mass test [% of mean]; without one no mould is named.
    trend : PourTrend
        Contents and concentrations along the pour.
    blind : bool
        Do not say where a change comes from.

    Returns
    -------
    tuple of Message
        Moulds first. One unit may lie elsewhere where a mould has five or more.
    """
    found = () if inner_percent is None else tuple(_moulds(rows, beyond=SHARE_OF_LIMIT * inner_percent))
    return found if blind else (*found, *_filling_not_settling(trend))


def _moulds(rows: Sequence[UnitRow], *, beyond: float) -> Iterator[Message]:
    deviations: dict[str, list[float]] = {}
    for row in rows:
        if row.mould is not None and row.deviation_percent is not None:
            deviations.setdefault(row.mould, []).append(row.deviation_percent)
    for mould, found in deviations.items():
        if len(deviations) > 1 and len(found) >= FEWEST_UNITS:
            yield from _one_side(mould, found, beyond=beyond)


def _one_side(mould: str, deviations: Sequence[float], *, beyond: float) -> Iterator[Message]:
    units = len(deviations)
    may_differ = 1 if units >= ONE_MAY_DIFFER_FROM else 0
    for heavy, side in ((False, -1), (True, 1)):
        there = sorted((one for one in deviations if side * one > beyond), key=abs)
        if len(there) >= units - may_differ:
            count = {"units": units, "there": len(there), "all_there": len(there) == units}
            ends = there[0], there[-1]
            yield message("pour.one_side", mould=mould, heavy=heavy, **count, ends=ends, beyond=beyond)


def _filling_not_settling(trend: PourTrend) -> list[Message]:
    called = (TrendFlag.CLEAR, TrendFlag.POSSIBLE)
    return [
        message("pour.filling", active=active, clearly=content.flag is TrendFlag.CLEAR)
        for active, content in trend.content.items()
        if content.flag in called
        and (concentration := trend.concentration.get(active)) is not None
        and concentration.flag is TrendFlag.NONE_SEEN
    ]
