"""What is said of tip, middle and end of the same units."""

from __future__ import annotations

from qc.say.numbers import fixed
from qc.say.numbers import interval as ends

SENTENCES = {
    "unweighed": "Parts of units were assayed for {active:active}, but no mass of a part was entered: parts can be "
    "compared only as content over mass. Enter the mass of each part.",
    "no_label": "Some parts of units{active:of} are in mg and some in % of label; the label claim that joins them is "
    "missing, so that they are not compared. Enter the label claim (mg).",
    "one_unit": "Within units, {active:active}: {parts} {ratio:.3f}, one unit; at least two units are needed for an "
    "interval.",
}


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
        f" The parts differ by {fixed(100 * abs(ratio - 1), decimals=1)} %; whole units differ among themselves by "
        f"{fixed(between_units, decimals=1)} % RSD."
        if between_units is not None
        else ""
    )
    head = f"Within units, {active or 'the active'}: {parts} {fixed(ratio, decimals=3)}"
    return f"{head} (95 % interval {ends(*interval, decimals=3)}, {n} units): {verdict}.{beside}"
