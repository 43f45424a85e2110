"""What chance assays have of noticing a change along the pour, which units to take, and at what cost."""

from __future__ import annotations

from math import comb

from msgspec import Struct

from qc.jobs.chance.text import of_hundred
from qc.say.numbers import fixed, signed
from qc.say.text import listed
from qc.show.chances import CAUTION, drift_picture
from qc.show.pieces import Lines, Piece, Prose, number, section, table

NUMBERS = (4, 6, 8, 10, 15, 20, 30)


class Assayed(Struct, frozen=True, kw_only=True):
    """So many units assayed: the chance of noticing, evenly over the pour or at its ends [-]; effort in weighings."""

    n: int
    evenly: float
    at_ends: float | None
    """None of so few that the order of two groups proves nothing."""
    effort: float


class Noticing(Struct, frozen=True, kw_only=True):
    """A change along the pour, and what assays would show of it.

    Parameters
    ----------
    units : int
        Poured.
    change_percent, scatter_percent : float
        From first to last unit, and SD of one assayed unit [% of mean].
    even_units, end_units : tuple of int
        The units that are asked about, by their places.
    asked : Assayed
    others : tuple of Assayed
        Other numbers of units, and the one asked about, ascending.
    """

    units: int
    change_percent: float
    scatter_percent: float
    even_units: tuple[int, ...]
    end_units: tuple[int, ...]
    asked: Assayed
    others: tuple[Assayed, ...]


def noticing(change_percent: float, *, units: int, assays: int, scatter_percent: float | None = None) -> Noticing:
    """The chance that `qc check` calls a straight change of the concentration, as possible or as clear.

    Parameters
    ----------
    change_percent : float
        From the first unit of the pour to the last [% of mean].
    units, assays : int
        Units poured and assayed.
    scatter_percent : float, optional
        SD of the concentration of one assayed unit; of a well mixed melt with its assay when left out [% of mean].

    Raises
    ------
    ValueError
        When there are fewer units than assays, fewer assays than four, or no scatter.

    Examples
    --------
    >>> found = noticing(20.0, units=24, assays=6)
    >>> found.even_units, found.asked.n, found.asked.evenly > 0.5
    ((1, 6, 10, 15, 19, 24), 6, True)
    """
    import numpy as np

    from qc.causes.priors import builtin_priors
    from qc.pour.assay_list import ASSAY_PERCENT, CONTENT_LEVEL, FEWEST_UNITS, MIXING_PERCENT
    from qc.stats.detectable import chance_to_call
    from qc.stats.order_test import Places

    scatter = float(np.hypot(MIXING_PERCENT, ASSAY_PERCENT)) if scatter_percent is None else scatter_percent
    if not FEWEST_UNITS <= assays <= units or not scatter > 0.0:
        raise ValueError(
            f"{assays} assays of {units} units that scatter by {fixed(scatter, decimals=1)} % cannot be asked about; "
            f"give at least {FEWEST_UNITS} assays, no fewer units, and a scatter above 0"
        )
    effort = builtin_priors().number("effort", "assay")

    def placed(n: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
        even = np.linspace(1, units, n).round().astype(int).tolist()
        return tuple(even), (*range(1, n - n // 2 + 1), *range(units - n // 2 + 1, units + 1))

    def assayed(n: int) -> Assayed:
        # As shares of the pour; where it begins changes no distance.
        along = [np.array(places) / (units - 1.0) for places in placed(n)]
        change = change_percent / scatter
        evenly, ends = (chance_to_call(one, Places.of(one), level=CONTENT_LEVEL, change=change) for one in along)
        # Two groups of so many fall into order by chance as often as this; a call asks for less than half the level.
        by_chance = 2.0 / comb(n, n // 2)
        return Assayed(n=n, evenly=evenly, at_ends=ends if 2.0 * by_chance < CONTENT_LEVEL else None, effort=n * effort)

    even, ends = placed(assays)
    return Noticing(
        units=units,
        change_percent=change_percent,
        scatter_percent=scatter,
        even_units=even,
        end_units=ends,
        asked=assayed(assays),
        others=tuple(assayed(n) for n in sorted({assays, *NUMBERS}) if n <= units),
    )


def pieces(found: Noticing) -> tuple[Piece, ...]:
    """The answer in a sentence, which units at what cost, and what it rests on."""
    one, change = found.asked, signed(found.change_percent, decimals=1)
    answer = (
        f"Of 100 pours whose concentration changes by {change} % from the first unit to the last, assays of {one.n} "
        f"units evenly over the pour notice {of_hundred(one.evenly)}"
        + ("." if one.at_ends is None else f", of its first and last units {of_hundred(one.at_ends)}.")
    )
    evenly, at_ends = (listed(list(map(str, units)), most=30) for units in (found.even_units, found.end_units))
    costs = table(
        f"Pours of 100 in which it is noticed, of {found.units} units each, by how many are assayed",
        found.others,
        number("Units", lambda one: one.n),
        number("Evenly", lambda one: of_hundred(one.evenly)),
        number("First and last", lambda one: None if one.at_ends is None else of_hundred(one.at_ends)),
        number("Cost [weighings]", lambda one: fixed(one.effort, decimals=0)),
    )
    rests = (
        f"For a straight change, called possible or clear by qc check, and units that scatter by "
        f"{fixed(found.scatter_percent, decimals=1)} % (SD, assay included). A change that bends is noticed by units "
        "between the ends; the tests of content judge units drawn at random. In simulated pours as many were "
        "noticed or more: up to thirty of 100 more of six units assayed, five of ten or more."
    )
    which = Lines(items=(f"Evenly: units {evenly}.", *([] if one.at_ends is None else [f"First and last: {at_ends}."])))
    return Prose(text=answer), which, costs, Prose(text=rests)


def page(found: Noticing) -> str:
    """The answer as a page, with the change drawn."""
    from qc.show.pages_html import plain_page

    drawn = drift_picture(
        units=found.units, change=found.change_percent, scatter=found.scatter_percent, assayed=found.even_units
    )
    sections = (*section("answer", "The answer", *pieces(found)), *section("pictures", "The change", drawn))
    return plain_page(kind="Chances", title="Noticing a change along the pour", sections=sections, closing=CAUTION)
