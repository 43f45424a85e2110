"""What to change of the next pour, and what that is predicted to leave."""

from __future__ import annotations

from qc.say.numbers import fixed, interval, signed

SENTENCES = {
    "note": "These are proposals to try, not promises: the simulator knows this batch by its masses and contents "
    "alone, and some remedies are taken to do away with their cause. The next batch is judged as any other.",
}
_REMEDIES = {
    "stir_each_unit": "Stir the melt right through just before the first unit and again before each one",
    "finer": "Levigate or sieve the active to half its particle size",
    "nearer_setting": "Pour nearer to the setting point, where the melt is twice as thick, but not so near that units "
    "break or fill badly",
    "finer_in_unit": "Levigate or sieve the active to half its particle size",
    "set_sooner": "Pour nearer to the setting point or cool the mould, so that units set in half the time, but not so "
    "fast that they crack",
    "doubling": "Levigate the active with a little melted base, add the rest by doubling, and stir until it is even",
    "trim_level": "Fill each cavity a little over and trim it level once it has set",
    "calibrate_cavities": "Calibrate the cavities with plain base, and leave out those that differ",
    "close_mould": "Close or replace the mould that leaks, and fill all cavities alike",
    "own_displacement": "Determine the displacement value of this active in this base by a trial pour, and calculate "
    "the base with it",
    "rinse": "Rinse mortar and weighing boat with melted base, and weigh what stays behind",
    "second_reading": "Have the calculation and the weighing of the active checked by a second person",
    "keep_warm": "Keep dish and melt at the pouring temperature until the last unit is poured",
    "still_balance": "Warm the balance up, keep its doors closed, and check it between moulds",
    "check_weight": "Check the balance with a reference weight and its tare before the units are weighed",
}
FIGURE = {
    "rise": "the change of the concentration from first to last unit (a straight line, level beyond the units assayed)",
    "tip_over_end": "the excess of the tip over the end (concentration)",
    "concentration_rsd": "the RSD of the concentration",
    "mass_rsd": "the RSD of the masses",
    "content_off": "the distance of the mean content from the label",
    "mass_off": "the distance of the mean mass from the plan",
    "mass_change": "the change of the masses from first to last unit (straight line)",
}
SPREADS = ("concentration_rsd", "mass_rsd")


def what(*, remedy: str) -> str:
    """What to do, an imperative sentence; none of the user's own words is in it."""
    return _REMEDIES[remedy]


def predicted(*, do: str, whole: bool, figure: str, before: float, after: float, low: float, high: float) -> str:
    """A remedy with what it is predicted to leave; `whole` where it is taken to do away with the cause [%]."""
    sign = figure not in SPREADS
    found, left = ((signed if sign else fixed)(one, decimals=1) for one in (before, after))
    reach = interval(low, high, decimals=1, sign=sign)
    return (
        f"{do}; {'if that takes the cause away, ' if whole else ''}the simulator predicts about {left} % (95 % range "
        f"{reach} %) for {FIGURE[figure]}, which is {found} % here."
    )
