"""What is said of tip, middle and end of the same units."""

from __future__ import annotations


def unweighed(*, active: str) -> str:
    """Parts without a mass."""
    return (
        f"Parts of units were assayed for {active or 'the active'}, but no mass of a part was entered: parts can be "
        "compared only as content over mass. Enter the mass of each part."
    )


def no_label(*, active: str) -> str:
    """Parts in two units of measure that nothing joins."""
    return (
        f"Some parts of units{f' of {active}' if active else ''} are in mg and some in % of label; the label claim "
        "that joins them is missing, so that they are not compared. Enter the label claim (mg)."
    )


def one_unit(*, active: str, parts: str, ratio: float) -> str:
    """Parts of one unit, without an interval; `ratio` of concentrations [-]."""
    return f"{_head(active, parts, ratio)}, one unit; at least two units are needed for an interval."


def compared(
    *,
    active: str,
    parts: str,
    ratio: float,
    interval: tuple[float, float],
    n: int,
    richer: str | None,
    between_units: float | None,
) -> str:
    """Two parts over several units: ratio of concentrations with its interval [-], the richer part where one is called.

    `between_units` is the spread of whole units [% RSD].
    """
    verdict = (
        f"the {richer} is the richer part"
        if richer
        else "no difference between these parts is shown, and the interval says how large one may be"
    )
    beside = (
        f" The parts differ by {100 * abs(ratio - 1):.1f} %; whole units differ among themselves by "
        f"{between_units:.1f} % RSD."
        if between_units is not None
        else ""
    )
    low, high = interval
    return f"{_head(active, parts, ratio)} (95 % interval {low:.3f} to {high:.3f}, {n} units): {verdict}.{beside}"


def _head(active: str, parts: str, ratio: float) -> str:
    return f"Within units, {active or 'the active'}: {parts} {ratio:.3f}"
