"""Sentences about one series along the pour: what was found, what was not, and what else could have made it."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec import Struct

from qc.pour.correction import Corrected
from qc.pour.series import Kind
from qc.results.pour import TrendFlag


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


class Size(Struct, frozen=True, kw_only=True):
    """A fitted change over the whole pour with its interval, and over the units measured [% of mean].

    `first` and `last` name the ends of the whole pour, `measured_first` and `measured_last` those of the series.
    """

    change: float
    low: float
    high: float
    first: str
    last: str
    measured: float
    measured_first: str
    measured_last: str

    @property
    def carried_on(self) -> bool:
        """Whether an end of the pour was not measured, so that the fitted change is carried on to it."""
        return (self.first, self.last) != (self.measured_first, self.measured_last)

    @property
    def leaves_out_nought(self) -> bool:
        """Whether the interval lies wholly on one side of nought."""
        return self.low > 0 or self.high < 0


def size_text(size: Size, *, how: str) -> str:
    """A change with its interval, signs shown, of which mean and between which units.

    Parameters
    ----------
    size : Size
    how : str
        "weighed" or "assayed".

    Examples
    --------
    >>> ends = {"first": "1", "last": "24", "measured": 50.66}
    >>> whole = Size(change=50.66, low=41.0, high=60.3, measured_first="1", measured_last="24", **ends)
    >>> size_text(whole, how="assayed")
    '+50.7 % of the mean from unit 1 to unit 24 (95 % interval +41.0 to +60.3 %)'
    >>> part = Size(change=72.85, low=59.0, high=86.7, measured_first="7", measured_last="23", **ends)
    >>> for half in size_text(part, how="assayed").split("; "):
    ...     print(half)
    +72.8 % of the mean carried on to units 1 and 24 (95 % interval +59.0 to +86.7 %)
    over the units assayed (7 to 23) +50.7 %
    """
    interval = f"(95 % interval {size.low:+.1f} to {size.high:+.1f} %)"
    if not size.carried_on:
        return f"{size.change:+.1f} % of the mean from unit {size.first} to unit {size.last} {interval}"
    return (
        f"{size.change:+.1f} % of the mean carried on to units {size.first} and {size.last} {interval}; over the units "
        f"{how} ({size.measured_first} to {size.measured_last}) {size.measured:+.1f} %"
    )


def _straight_alone(size: Size | None) -> str:
    """Why the interval may leave out nought where nothing is called; "" where it does not."""
    if size is None or not size.leaves_out_nought:
        return ""
    return (
        f" The interval of the change by itself leaves out nought ({size.low:+.1f} to {size.high:+.1f} % of the mean): "
        "p looks for several shapes in all series together; the interval is that of a straight drift alone."
    )


def trend_sentence(
    one: Corrected,
    *,
    flag: TrendFlag,
    p_value: float,
    p_adjusted: float,
    shape: str,
    size: Size | None,
    detectable: float | None,
    important: float,
) -> str:
    """The sentence that says what one series shows.

    Parameters
    ----------
    one : Corrected
    flag : TrendFlag
    p_value, p_adjusted : float
        The p-value called by, and that of any order pattern [-].
    shape : str
        Shape of the fitted change.
    size : Size or None
        None where nothing could be fitted.
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
    how = "weighed" if one.series.kind is Kind.MASS else "assayed"
    sized = f" {size_text(size, how=how)}" if size else ""
    if one.blocks and size:
        sized += ", differences between moulds included"
    if flag in (TrendFlag.CLEAR, TrendFlag.POSSIBLE):
        word = "clearly changes" if flag is TrendFlag.CLEAR else "possibly changes"
        return f"{what} {word} along the pour, {shape}:{sized}, {chance(p_value)}, {units}."
    if flag is TrendFlag.NONE_SEEN:
        return (
            f"{what}: no change along the pour seen in {units} ({chance(p_value)}); a straight change of "
            f"{percent(detectable or 0)} of the mean or more would have been seen nine times in ten."
            f"{_straight_alone(size)}"
        )
    if one.blocks and p_adjusted <= 0.05:
        return (
            f"{what}: cannot tell. There is a pattern along the pour ({chance(p_adjusted)}), but the moulds were "
            f"poured one after the other and differences between moulds would make the same pattern."
        )
    if detectable is None:
        return f"{what}: cannot tell. {units[0].upper()}{units[1:]} are too few to show any change along the pour."
    return (
        f"{what}: cannot tell. With {units} and this scatter only a straight change of {percent(detectable)} of the "
        f"mean or more would be seen nine times in ten; a change of {percent(important)} would already matter."
        f"{_straight_alone(size)}"
    )


def not_excluded(
    one: Corrected,
    *,
    called: bool,
    influential_unit: str,
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
    influential_unit : str
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
        if influential_unit:
            found.append(
                f"The call rests on unit {influential_unit} alone: a slip at that unit cannot be excluded; "
                "measure it again."
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
    >>> print(ranks_sentence(33, 0.0251, (4.2, 1.1, 6.9)).partition(";")[0])
    For description, in ranks alone: pairs of units that rise less pairs that fall, Kendall's S +33 (exact p 0.025)
    """
    middle, low, high = slope
    return (
        f"For description, in ranks alone: pairs of units that rise less pairs that fall, Kendall's S {s:+d} (exact "
        f"{chance(p_value)}); median slope {middle:+.1f} % of the mean over the pour (95 % interval {low:+.1f} to "
        f"{high:+.1f} %). This p is of one series and one question; nothing is called by it."
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
