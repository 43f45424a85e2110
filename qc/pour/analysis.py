"""The whole pour of one batch: did it change between the first unit and the last, by how much, and could it be seen?"""

from __future__ import annotations

from qc.batch import Batch
from qc.pour.assay_list import RANDOM_UNITS, assay_list
from qc.pour.correction import Corrected, corrected_contents, corrected_masses
from qc.pour.dose_by_mass import dose_screens
from qc.pour.doubts import FEWEST_UNITS
from qc.pour.families import REARRANGEMENTS, SeriesTest, order_tests_of_batch
from qc.pour.series import Kind, content_series, mass_series, unordered_notices
from qc.pour.trend import trend_of
from qc.pour.within_unit import within_units
from qc.pour_results import PourAnalysis, PourTrend, Trend, TrendFlag

IMPORTANT_CHANGE_PERCENT = 10.0


def analyse_pour(
    batch: Batch,
    *,
    seed: int,
    important_change_percent: float = IMPORTANT_CHANGE_PERCENT,
    later_units_richer: bool = False,
    rearrangements: int = REARRANGEMENTS,
    random_units: int = RANDOM_UNITS,
) -> PourAnalysis:
    """Follow masses, contents and concentrations along the pour, and say what they show and what they cannot.

    Parameters
    ----------
    batch : Batch
    seed : int
        Recorded seed of every rearrangement and simulation, not negative; the same seed gives the same figures.
    important_change_percent : float
        The change from first to last unit that matters [% of mean]; below what could be seen, the flag is
        "cannot-tell".
    later_units_richer : bool
        True where the person who poured said beforehand that a change could only enrich the later units; contents and
        concentrations are then tested for a rise only.
    rearrangements : int
        How many rearrangements of a series are drawn where not all are looked at.
    random_units : int
        Size of the random sample that the content test asks for, for the assay list.

    Returns
    -------
    PourAnalysis
    """
    masses = corrected_masses(mass_series(batch), batch)
    series, notices = content_series(batch)
    prepared = [masses, *(corrected_contents(one, masses, batch) for one in series)]
    span = _span(batch)
    testable = [index for index, one in enumerate(prepared) if _testable(one)]
    tests: dict[int, SeriesTest] = dict(
        zip(
            testable,
            order_tests_of_batch(
                [prepared[index] for index in testable],
                span=span,
                seed=seed,
                rising_contents=later_units_richer,
                draws=rearrangements,
            ),
            strict=True,
        )
    )
    trends = [
        trend_of(one, tests.get(index), span=span, important=important_change_percent, seed=seed)
        for index, one in enumerate(prepared)
    ]
    by_kind: dict[Kind, dict[str, Trend]] = {kind: {} for kind in Kind}
    for one, trend in zip(prepared, trends, strict=True):
        by_kind[one.series.kind][one.series.active] = trend
    pour_trend = PourTrend(
        mass=by_kind[Kind.MASS][""],
        content=by_kind[Kind.CONTENT],
        concentration=by_kind[Kind.CONCENTRATION],
    )
    return PourAnalysis(
        trend=pour_trend,
        seed=seed,
        important_change_percent=important_change_percent,
        rearrangements=rearrangements,
        dose_from_mass=dose_screens(batch, masses, important_percent=important_change_percent),
        assay_list=assay_list(
            batch, masses, seed=seed, change_percent=important_change_percent, random_units=random_units
        ),
        within_unit=within_units(batch),
        sentence=_terminal_line(pour_trend),
        notices=(*unordered_notices(batch), *notices),
    )


def _span(batch: Batch) -> tuple[float, float]:
    orders = [unit.pour_order for unit in batch.units if unit.pour_order is not None]
    return (float(min(orders)), float(max(orders))) if orders else (0.0, 0.0)


def _testable(one: Corrected) -> bool:
    """Whether there is an order to compare, and a mean to take a percentage of."""
    order, values = one.series.order, one.series.values
    return len(order) >= FEWEST_UNITS and bool(order[0] < order[-1]) and bool(values.mean() > 0)


def _terminal_line(trend: PourTrend) -> str:
    """One line for the terminal: the most telling series first."""
    everything = [trend.mass, *trend.content.values(), *trend.concentration.values()]
    for flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE):
        called = [one for one in everything if one.flag is flag]
        if called:
            # Contents are doses; they speak before masses and concentrations.
            first = next((one for one in trend.content.values() if one.flag is flag), called[0])
            return first.sentence
    if all(one.flag is TrendFlag.NONE_SEEN for one in everything):
        weakest = max(one.detectable_percent or 0.0 for one in everything)
        silent = "" if trend.content else " Masses alone cannot show a change of content."
        return (
            f"Pour order: no change seen; a straight change of {weakest:.1f} % or more would have been seen nine times "
            f"in ten.{silent}"
        )
    contents = [one for one in trend.content.values() if one.flag is TrendFlag.CANNOT_TELL]
    return (contents or [one for one in everything if one.flag is TrendFlag.CANNOT_TELL])[0].sentence
