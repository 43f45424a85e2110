"""The whole pour of one batch: did it change between the first unit and the last, by how much, and could it be seen?"""

from __future__ import annotations

from collections.abc import Sequence

from qc.batch import Batch
from qc.pour.assay_list import RANDOM_UNITS, assay_list
from qc.pour.correction import Corrected, corrected_contents, corrected_masses
from qc.pour.dose_by_mass import dose_screens
from qc.pour.multiple_testing import order_tests_of_batch
from qc.pour.series import SeriesKind, content_series, mass_series, unordered_notices
from qc.pour.together import at_units, one_value_a_pour, pour_of_each, told_of_units
from qc.pour.trend import fitted_change, trend_of
from qc.pour.within_unit import within_units
from qc.results.messages import Message, message
from qc.results.pour import PourAnalysis, PourTrend, Trend, TrendFlag
from qc.stats.drift import ChangeFit

IMPORTANT_CHANGE_PERCENT = 10.0
# To how many digits behind the point two changes are the same, whatever the processor [% of mean].
SAME_TO = 9


def analyse_pour(
    batch: Batch,
    *,
    seed: int,
    important_change_percent: float = IMPORTANT_CHANGE_PERCENT,
    later_units_richer: bool = False,
    random_units: int = RANDOM_UNITS,
) -> PourAnalysis:
    """Follow masses, contents and concentrations along the pour, and say what they show and what they cannot.

    Parameters
    ----------
    batch : Batch
    seed : int
        Recorded seed of the random draw of units to assay, not negative; nothing else depends on it.
    important_change_percent : float
        The change from first to last unit that matters [% of mean]; below what could be seen, the flag is
        "cannot-tell".
    later_units_richer : bool
        True where the person who poured said beforehand that a change could only enrich the later units; contents and
        concentrations are then tested for a rise only.
    random_units : int
        Size of the random sample that the content test asks for, for the assay list.

    Returns
    -------
    PourAnalysis
    """
    masses = corrected_masses(mass_series(batch), batch)
    series, notices = content_series(batch)
    prepared = [masses, *(corrected_contents(one, masses, batch) for one in series)]
    pours, as_poured = [pour_of_each(one) for one in prepared], [one_value_a_pour(one) for one in prepared]
    tested = order_tests_of_batch(as_poured, rising_contents=later_units_richer)
    tests = [told_of_units(test, of) for test, of in zip(tested, pours, strict=True)]
    changes = [at_units(fitted_change(one), of) for one, of in zip(as_poured, pours, strict=True)]
    by_kind: dict[SeriesKind, dict[str, Trend]] = {kind: {} for kind in SeriesKind}
    for one, test, change in zip(prepared, tests, changes, strict=True):
        trend = trend_of(one, test, change, important=important_change_percent)
        by_kind[one.series.kind][one.series.active] = trend
    pour_trend = PourTrend(
        mass=by_kind[SeriesKind.MASS][""],
        content=by_kind[SeriesKind.CONTENT],
        concentration=by_kind[SeriesKind.CONCENTRATION],
    )
    return PourAnalysis(
        trend=pour_trend,
        dose_from_mass=dose_screens(batch, masses, important_percent=important_change_percent),
        assay_list=assay_list(
            batch,
            masses,
            seed=seed,
            change_percent=important_change_percent,
            random_units=random_units,
            measured_percent=_content_scatter(prepared, changes),
        ),
        within_unit=within_units(batch),
        sentence=_terminal_line(pour_trend),
        notices=(*unordered_notices(batch), *notices),
    )


def _content_scatter(prepared: Sequence[Corrected], changes: Sequence[ChangeFit | None]) -> float | None:
    """Scatter of the contents about their fitted change, of the active that scatters most [% of mean]."""
    fitted = zip(prepared, changes, strict=True)
    contents = [(one.series.values, change) for one, change in fitted if one.series.kind is SeriesKind.CONTENT]
    found = [100 * change.scatter / float(values.mean()) for values, change in contents if change and values.any()]
    return max(found, default=None)


def _terminal_line(trend: PourTrend) -> Message | str:
    """One line for the terminal: the most telling series first, the others that changed too by name."""
    # Contents are doses; they speak before masses and concentrations.
    everything = {
        **{("content", active): one for active, one in trend.content.items()},
        ("mass", ""): trend.mass,
        **{("concentration", active): one for active, one in trend.concentration.items()},
    }
    # Of several series of one kind the one that changed most speaks first.
    kinds = ("content", "mass", "concentration")
    gravest = sorted(everything.items(), key=lambda item: (kinds.index(item[0][0]), -round(_size(item[1]), SAME_TO)))
    called = [(of, one) for flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE) for of, one in gravest if one.flag is flag]
    if all(one.flag is TrendFlag.NONE_SEEN for one in everything.values()):
        weakest = max(one.detectable_percent or 0.0 for one in everything.values())
        return message("pour.nothing_seen", series=tuple(everything), detectable=weakest)
    first, *changed = called or [(of, one) for of, one in gravest if one.flag is TrendFlag.CANNOT_TELL][:1]
    others = [(*of, one.flag is TrendFlag.CLEAR, _extent(one)) for of, one in changed]
    rest = [(*of, one.flag) for of, one in gravest if of[0] == "content" and (of, one) not in (first, *changed)]
    told = first[1].sentence
    return message("pour.also_changed", first=told, others=others, rest=rest) if others or rest else told


def _extent(trend: Trend) -> Message | str:
    """How far a series moved between which units, or which of them lie apart."""
    told = trend.sentence.values if isinstance(trend.sentence, Message) else {}
    size: Message | str = told.get("size") or told.get("apart") or ""
    if not isinstance(size, Message) or size.id == "pour.each_apart":
        return size
    if size.id == "pour.apart":
        return message("pour.apart", **{**size.values, "ends": None})
    return message("pour.moved", percent=size.values["measured"], ends=size.values["measured_ends"])


def _size(trend: Trend) -> float:
    """How far a series changed, or how large a change in it would not have been seen [% of mean]."""
    return abs(trend.change_percent or 0.0) or trend.detectable_percent or 0.0
