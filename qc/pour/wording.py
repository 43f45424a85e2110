"""Sentences about one series along the pour: what was found, what was not, and what else could have made it."""

from __future__ import annotations

from collections.abc import Sequence

from qc.pour.correction import Corrected
from qc.pour.series import Kind
from qc.pour_results import TrendFlag


def percent(value: float) -> str:
    """A percentage with one decimal, whole above a hundred, without a minus before nought.

    Examples
    --------
    >>> percent(-0.04), percent(12.345), percent(250.4)
    ('0.0 %', '12.3 %', '250 %')
    """
    shown = f"{value:.1f}" if abs(value) < 100 else f"{value:.0f}"
    return f"{'0.0' if shown == '-0.0' else shown} %"


def chance(p: float) -> str:
    """A p-value as it is printed.

    Examples
    --------
    >>> chance(0.00031), chance(0.043), chance(0.51)
    ('p 0.0003', 'p 0.043', 'p 0.51')
    """
    if p < 0.00095:
        return f"p {max(p, 0.0001):.4f}"
    return f"p {p:.3f}" if p < 0.0995 else f"p {p:.2f}"


def subject(one: Corrected) -> str:
    """What a series is called at the head of a sentence."""
    active = f" of {one.series.active}" if one.series.active else ""
    return {Kind.MASS: "Mass", Kind.CONTENT: "Content", Kind.CONCENTRATION: "Concentration"}[one.series.kind] + active


def size_text(change: float, low: float, high: float) -> str:
    """A change with its interval, signs shown."""
    return f"{change:+.1f} % from first to last unit (95 % interval {low:+.1f} to {high:+.1f} %)"


def trend_sentence(
    one: Corrected,
    *,
    flag: TrendFlag,
    p_value: float,
    p_any: float,
    shape: str,
    size: tuple[float, float, float] | None,
    detectable: float | None,
    important: float,
) -> str:
    """The sentence that says what one series shows.

    Parameters
    ----------
    one : Corrected
    flag : TrendFlag
    p_value, p_any : float
        The p-value called by, and that of any order pattern [-].
    shape : str
        Shape of the fitted change.
    size : (change, low, high) or None
        In % of the mean.
    detectable : float or None
        In % of the mean.
    important : float
        The change that matters [% of mean].

    Returns
    -------
    str
    """
    n, what = len(one.series.units), subject(one)
    units = f"{n} units" if one.series.kind is Kind.MASS else f"{n} assayed units"
    sized = f" {size_text(*size)}" if size else ""
    if one.blocks and size:
        sized += ", differences between moulds included"
    if flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE):
        word = "clearly changes" if flag is TrendFlag.CLEAR else "possibly changes"
        return f"{what} {word} along the pour, {shape}:{sized}, {chance(p_value)}, {units}."
    if flag is TrendFlag.NONE_SEEN:
        return (
            f"{what}: no change along the pour seen in {units} ({chance(p_value)}); a straight change of "
            f"{percent(detectable or 0)} or more would have been seen nine times in ten."
        )
    if one.blocks and p_any <= 0.05:
        return (
            f"{what}: cannot tell. There is a pattern along the pour ({chance(p_any)}), but the moulds were poured one "
            f"after the other and differences between moulds would make the same pattern."
        )
    if detectable is None:
        return f"{what}: cannot tell. {units[0].upper()}{units[1:]} are too few to show any change along the pour."
    return (
        f"{what}: cannot tell. With {units} and this scatter only a straight change of {percent(detectable)} or more "
        f"would be seen nine times in ten, and {percent(important)} matters."
    )


def not_excluded(
    one: Corrected,
    *,
    called: bool,
    lone_unit: str,
    end_apart: str,
    alike_neighbours: bool,
    coarse: bool,
    span_missing: float,
) -> list[str]:
    """What else could have made, or hidden, a pattern in these values.

    Parameters
    ----------
    one : Corrected
    called : bool
        Whether a change was called.
    lone_unit : str
        The unit that the call rests on by itself, or "".
    end_apart : str
        The end unit that stands apart though nothing was called, with its place in words, or "".
    alike_neighbours : bool
        Whether neighbours stay alike after the fitted change is taken out.
    coarse : bool
        Whether the values stand on a few steps of the balance only.
    span_missing : float
        Share of the pour before the first and after the last unit of the series [-].

    Returns
    -------
    list of str
        Full sentences.
    """
    found = []
    if one.blocks:
        found.append("The moulds were poured one after the other: a difference between moulds cannot be excluded.")
    if one.loose_cavities and called:
        found.append("Differences between cavities could not be taken out and cannot be excluded.")
    if called:
        if lone_unit:
            found.append(
                f"The call rests on unit {lone_unit} alone: a slip at that unit cannot be excluded; measure it again."
            )
        if one.series.kind is Kind.MASS:
            found.append("If the units were weighed in pour order, a slow drift of the balance cannot be excluded.")
        else:
            found.append("If the units were assayed in pour order, a slow drift of the assay cannot be excluded.")
        still = ": neighbours stay alike here even after the fitted change is taken out" if alike_neighbours else ""
        found.append(f"Slow swings of fill or temperature that make neighbours alike cannot be excluded{still}.")
    if end_apart:
        found.append(
            f"Unit {end_apart}, stands apart from all others. One unit by itself cannot show whether the pour changed "
            "there or a slip was made: measure it again, and its neighbour."
        )
    if coarse:
        found.append("The values stand on few steps of the balance: a change smaller than one step cannot be seen.")
    if span_missing > 1 / 4:
        found.append(
            f"{percent(100 * span_missing)} of the pour lies before the first or after the last of these units: what "
            "happened there is extended from the straight line and cannot be seen."
        )
    return found


def ranks_sentence(s: int, p_value: float, slope: tuple[float, float, float]) -> str:
    """The second opinion in ranks.

    Examples
    --------
    >>> print(ranks_sentence(33, 0.0251, (4.2, 1.1, 6.9))[:76])
    For description, in ranks alone: Kendall's S +33 (exact p 0.025), median slo
    """
    middle, low, high = slope
    return (
        f"For description, in ranks alone: Kendall's S {s:+d} (exact {chance(p_value)}), median slope {middle:+.1f} % "
        f"over the pour (95 % interval {low:+.1f} to {high:+.1f} %)."
    )


def picture_sentence(one: Corrected, *, flag: TrendFlag, shape: str, stretch: Sequence[str]) -> str:
    """The sentence for under the picture: what it shows and what it cannot show."""
    measured = "as weighed" if one.series.kind is Kind.MASS else "as assayed"
    raw = f"{subject(one)} by pour order, {measured}"
    if one.taken_out:
        raw += ", and with the differences between cavities taken out"
    if flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE):
        marked = f", units {stretch[0]} to {stretch[-1]} marked" if stretch else ""
        return (
            f"{raw}; the curve is the fitted change ({shape}) with its 95 % band{marked}. "
            "It shows when the change came; it cannot show what caused it."
        )
    blind = {
        Kind.MASS: "a change of content that leaves the mass as it is",
        Kind.CONTENT: "what happened in units that were not assayed",
        Kind.CONCENTRATION: "what happened in units that were not assayed",
    }[one.series.kind]
    return f"{raw}, with the fitted straight line and its 95 % band. It cannot show {blind}."
