"""What is said of the units to assay: those drawn for the test, and those that would best show settling."""

from __future__ import annotations

from collections.abc import Sequence


def listed(
    *,
    drawn: Sequence[str],
    done: bool,
    revealing: Sequence[tuple[str, str]],
    noise: float,
    measured: bool,
    change: float,
    power: float | None,
    power_drawn: float | None,
) -> str:
    """Which units to assay, and how often such a list shows a straight drift.

    `noise` is the scatter of content and `change` the drift from the first unit to the last [% of mean]; `power` is the
    chance that the whole list shows it, `power_drawn` that the units drawn do so by themselves [-].
    """
    first = (
        f"Assayed so far: {len(drawn)} units."
        if done
        else f"Assay for the test, drawn at random: units {', '.join(drawn)}."
    )
    extra = ", ".join(f"{unit} ({why})" for unit, why in revealing)
    second = f" Assay as well, to see settling and not for the test: {extra}." if extra else ""
    if power is None:
        return first + second
    if measured:
        source = "measured in the assays, about their fitted change"
    else:
        source = f"assumed, since {'too little is assayed to show it' if done else 'nothing is assayed'}"
    chance = (
        f" With {noise:.1f} % scatter of content ({source}) this list shows a straight drift of {change:g} % of the "
        f"mean {_times(power)}"
    )
    compared = (
        f"; the {'assays so far' if done else 'random units'} by themselves {_times(power_drawn)}"
        if extra and power_drawn is not None
        else ""
    )
    return f"{first}{second}{chance}{compared}."


def _times(power: float) -> str:
    return "more than 99 times in 100" if power > 0.99 else f"{100 * power:.0f} times in 100"
