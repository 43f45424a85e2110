"""What is said of a mould that lies on one side of the mean, and of a dose that changed with the fill."""

from __future__ import annotations

from qc.say.numbers import change, plain_limit

SENTENCES = {
    "filling": "The content of {active} changes along the pour and its concentration was not seen to change: that "
    "speaks for the filling, not for settling.",
}


def one_side(*, mould: str, heavy: bool, units: int, there: int, near: float, far: float, beyond: float) -> str:
    """A mould of which all units, or all but one, are light or heavy: their deviations and the bound [% of mean]."""
    count = f"All {units}" if there == units else f"{there} of the {units}"
    return (
        f"{count} units of mould {mould} are {'heavy' if heavy else 'light'}, {change(near)} to {change(far)} % from "
        f"the mean (more than half the limit, {plain_limit(beyond)} %)."
    )
