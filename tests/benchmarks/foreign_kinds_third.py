"""Faults a hospital pharmacist meets that are on no list, and sound batches with awkward noise: a third hand.

Written down with their reasons and sizes before their author had seen a model of a cause, another set of kinds or a
measurement of one; only the names of the listed causes were known when each kind was given those that would be a true
description of what happened (`fault(...)`; none: every listed fault is wrong). Sizes and reasons: common practice,
from memory. Invented data. Every batch: 24, 30 or 40 units weighed in pour order, ten of them or all assayed in pour
order, balance to 1 mg, the displacement value right; faults lie over a spread of 0.8 to 1.2 % of the fill.

Below `THIRD` stand those of a fourth hand: written down in the same way, before their author had read a model of a
cause, but knowing the other sets and how often their kinds had been named wrongly. Their batches lie over spreads of
the fill of 0.6 to 2 % and assays that repeat to 0.7 to 2.5 %.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field
from decimal import Decimal

import numpy as np
from numpy.typing import NDArray

from qc.batch import Active, Assay, Base, Batch, Displacement, DisplacementConvention, State, Unit

Floats = NDArray[np.float64]
Lay = Callable[["Pour"], None]


@dataclass(kw_only=True)
class Pour:
    """One batch on the bench: factors a unit (1 is right), which faults multiply, and the noise under them.

    Attributes
    ----------
    mass, content, shown, found : arrays of factors
        Of the unit's true mass, its true concentration, the reading of the balance, the result of the assay.
    fill, mix, weigh, error : arrays of deviates of mean 0 and standard deviation 1
        Of what went into each cavity, of the concentration, of the balance (1 mg) and of the assay (1 % in `THIRD`).
    """

    rng: np.random.Generator
    n: int
    cavities: int
    assayed: NDArray[np.int_]
    nominal_g: float
    step_g: NDArray[np.float64] = field(init=False)

    def __post_init__(self) -> None:
        self.order = np.arange(self.n)
        self.t = self.order / (self.n - 1.0)
        self.mould, self.cavity = divmod(self.order, self.cavities)
        # Which injection of the assay each unit was, from 0 to 1 for the last.
        self.injection = np.searchsorted(self.assayed, self.order) / (len(self.assayed) - 1.0)
        self.mass, self.content, self.shown, self.found = np.ones((4, self.n))
        self.fill, self.mix, self.weigh, self.error = self.rng.standard_normal((4, self.n))
        self.step_g = np.full(self.n, 0.001)
        self.slipped: Callable[[Floats, Floats], None] = lambda masses, contents: None

    def some(self, share: float) -> NDArray[np.bool_]:
        """About that share of the units at random, two at least."""
        return np.asarray(self.rng.permutation(self.n) < max(2, round(share * self.n)))

    def a_mould(self) -> NDArray[np.bool_]:
        return np.asarray(self.mould == self.rng.integers(self.mould.max() + 1))

    def along(self) -> Floats:
        """The cavity's place along its mould, from 0 to 1, from either end."""
        place = self.cavity / (self.cavities - 1.0)
        return np.asarray(place if self.rng.random() < 0.5 else 1.0 - place)

    def either(self, low: float, high: float) -> float:
        return float(self.rng.choice([-1.0, 1.0])) * self.within(low, high)

    def within(self, low: float, high: float) -> float:
        return float(self.rng.uniform(low, high))


FAULTS: dict[str, Lay] = {}
TRUE: dict[str, frozenset[str]] = {}
INNOCENT: dict[str, Lay] = {}


def fault(*true: str) -> Callable[[Lay], Lay]:
    """A kind with the listed causes that describe it truly."""

    def entered(lay: Lay) -> Lay:
        name = lay.__name__.replace("_", "-")
        FAULTS[name], TRUE[name] = lay, frozenset(true)
        return lay

    return entered


def innocent(lay: Lay) -> Lay:
    INNOCENT[lay.__name__.replace("_", "-")] = lay
    return lay


# Making.


@fault("settling-in-pour", "poor-mixing")
def syringe_settles(pour: Pour) -> None:
    """A dispenser filled for 5 to 10 units lies nozzle down: powder settles in it, rich first, poor last, 6 to 14 %."""
    doses = int(pour.rng.integers(5, 11))
    pour.content *= 1.0 - pour.within(0.06, 0.14) * (pour.order % doses / (doses - 1.0) - 0.5)


@fault("uneven-fill")
def syringe_bubble(pour: Pour) -> None:
    """The first dose after each refill of the dispenser holds its air bubble and is 4 to 10 % short."""
    pour.mass *= 1.0 - pour.within(0.04, 0.10) * (pour.order % pour.rng.integers(5, 11) == 0)


@fault("uneven-fill")
def unlevel_shelf(pour: Pour) -> None:
    """Moulds filled to the brim on a shelf that leans run over at one end: 3 to 7 % along every mould."""
    pour.mass *= 1.0 - pour.within(0.03, 0.07) * (pour.along() - 0.5)


@fault("cavity-differences", "leaking-mould")
def loose_clamp(pour: Pour) -> None:
    """The nut at one end of one mould is loose: its halves gape, and the cavities hold up to 4 to 10 % more."""
    pour.mass *= 1.0 + pour.within(0.04, 0.10) * pour.along() * pour.a_mould()


@fault("uneven-fill")
def whipped_air(pour: Pour) -> None:
    """Air stirred into the melt leaves it in the first minutes: first units 4 to 8 % light, right after 5 to 8."""
    pour.mass *= 1.0 - pour.within(0.04, 0.08) * np.exp(-pour.order / pour.within(2.5, 4.0))


@fault()
def unflushed_nozzle(pour: Pour) -> None:
    """The nozzle still holds plain base of the trial fill: the first one to three units lack 20 to 60 %."""
    pour.content *= 1.0 - pour.within(0.2, 0.6) * 0.5**pour.order * (pour.order < pour.rng.integers(1, 4))


@fault("active-lost")
def volatile_active(pour: Pour) -> None:
    """Menthol or camphor leaves a melt held hot: contents fall by 5 to 12 % over the pour, masses stay."""
    pour.content *= 1.02 - pour.within(0.05, 0.12) * pour.t


@fault()
def water_leaves_the_melt(pour: Pour) -> None:
    """Glycerol-gelatin held hot in an open vessel loses water: what is left is richer, by 4 to 8 % at the end."""
    rise = pour.within(0.04, 0.08) * pour.t
    pour.content, pour.mass = pour.content * (1.0 + rise), pour.mass * (1.0 + 0.15 * rise)


@fault()
def lost_tips(pour: Pour) -> None:
    """One mould opened while warm or not lubricated: a third to two thirds of its units lose a tip of 3 to 12 %."""
    pour.mass *= 1.0 - pour.a_mould() * pour.some(pour.within(0.33, 0.67)) * pour.rng.uniform(0.03, 0.12, pour.n)


@fault("uneven-fill")
def topped_up(pour: Pour) -> None:
    """Shrinkage holes are filled with plain base: a third of the units gain 3 to 6 % and no active."""
    more = pour.some(0.33) * pour.rng.uniform(0.03, 0.06, pour.n)
    pour.mass, pour.content = pour.mass * (1.0 + more), pour.content / (1.0 + more)


@fault()
def strays_of_another_batch(pour: Pour) -> None:
    """The line was not cleared: two or three neighbours are of another strength (half to double) and 2 to 6 % off."""
    start, count = pour.rng.integers(pour.n - 3), pour.rng.integers(2, 4)
    stray = slice(start, start + count)
    pour.content[stray] *= pour.rng.choice([0.0, 0.5, 0.75, 1.25, 1.5, 2.0])
    pour.mass[stray] *= 1.0 + pour.rng.choice([-1.0, 1.0]) * pour.within(0.02, 0.06)


@fault("uneven-fill")
def proud_ends(pour: Pour) -> None:
    """The scraper rides up at both ends of each mould: the end cavities stay 3 to 6 % proud."""
    pour.mass *= 1.0 + pour.within(0.03, 0.06) * ((pour.cavity == 0) | (pour.cavity == pour.cavities - 1))


@fault()
def two_beakers(pour: Pour) -> None:
    """Two people fill alternate moulds, each from a beaker weighed for itself: 4 to 8 % apart in content."""
    pour.content *= 1.0 + pour.within(0.04, 0.08) * (pour.mould % 2 - 0.5)


@fault("poor-mixing")
def lumps(pour: Pour) -> None:
    """Powder not sifted before it was stirred in: one unit in twelve holds a lump, 20 to 60 % too much; rest poorer."""
    pour.content *= 0.98 + pour.some(1 / 12) * pour.rng.uniform(0.2, 0.6, pour.n)


@fault()
def recast_rejects(pour: Pour) -> None:
    """The last 4 to 8 units are remelted rejects: overheated, eked out with base; 6 to 15 % poor, 1 to 3 % light."""
    last = pour.order >= pour.n - pour.rng.integers(4, 9)
    pour.content *= 1.0 - pour.within(0.06, 0.15) * last
    pour.mass *= 1.0 - pour.within(0.01, 0.03) * last


@fault()
def oil_in_cavities(pour: Pour) -> None:
    """Lubricant pools in a third of the cavities and takes the place of melt: 4 to 10 % less active, mass 0.3 % off."""
    pooled = pour.some(0.33) * pour.rng.uniform(0.04, 0.10, pour.n)
    pour.content *= 1.0 - pooled
    pour.mass *= 1.0 - 0.05 * pooled


@fault()
def moulds_of_another_make(pour: Pour) -> None:
    """A set of moulds that was never calibrated holds 4 to 8 % more or less: masses and contents alike."""
    pour.mass *= 1.0 + pour.rng.choice([-1.0, 1.0]) * pour.within(0.04, 0.08)


# Between mould and balance, and on it.


@fault()
def dried_by_the_fan(pour: Pour) -> None:
    """Gelatin units dry in their open moulds, most at the end by the fan: 3 to 6 % of mass, no active."""
    left = 1.0 - pour.within(0.03, 0.06) * pour.along() ** 2
    pour.mass, pour.content = pour.mass * left, pour.content / left


@fault()
def weighed_the_next_day(pour: Pour) -> None:
    """The last mould stayed open overnight and was weighed the next day: 2 to 5 % of water gone, no active."""
    left = 1.0 - pour.within(0.02, 0.05) * (pour.mould == pour.mould.max())
    pour.mass, pour.content = pour.mass * left, pour.content / left


@fault()
def water_taken_up(pour: Pour) -> None:
    """Macrogol or gelatin units wait in moist air for the balance: 2 to 4 % more at the end, by the root of time."""
    more = 1.0 + pour.within(0.02, 0.04) * np.sqrt(pour.t)
    pour.mass, pour.content = pour.mass * more, pour.content / more


@fault("balance-drift")
def crumbs_on_the_pan(pour: Pour) -> None:
    """Crumbs stay on the pan and nobody sets it to zero: three or four steps of 0.5 to 1.5 % of a unit."""
    at = np.sort(pour.rng.choice(np.arange(2, pour.n), pour.rng.integers(3, 5), replace=False))
    pour.shown += (pour.order[:, None] >= at) @ pour.rng.uniform(0.005, 0.015, len(at))


@fault()
def weighed_in_foil(pour: Pour) -> None:
    """A run of a quarter to a half of the units was weighed in its foil, 80 to 150 mg."""
    count = round(pour.within(0.25, 0.5) * pour.n)
    start = pour.rng.integers(pour.n - count + 1)
    pour.shown[start : start + count] += pour.within(0.08, 0.15) / pour.nominal_g


@fault()
def laid_out_by_size(pour: Pour) -> None:
    """The units were laid out by size, or the list sorted, and numbered so: masses rise, spread 1.2 to 3 %."""
    pour.fill *= pour.within(1.5, 2.5)
    pour.fill.sort()


@fault()
def draught(pour: Pour) -> None:
    """The hood ran for a third of the weighings and the readings wandered by 20 to 60 mg."""
    start = pour.rng.integers(pour.n - pour.n // 3)
    blown = slice(start, start + pour.n // 3)
    pour.shown[blown] += pour.within(0.02, 0.06) / pour.nominal_g * pour.rng.standard_normal(pour.n // 3)


@fault("balance-scale")
def balance_not_calibrated(pour: Pour) -> None:
    """A balance moved to another room without calibration shows every mass 2 to 5 % wrong."""
    pour.shown *= 1.0 + pour.rng.choice([-1.0, 1.0]) * pour.within(0.02, 0.05)


# The assay.


@fault("assay-bias")
def open_vials(pour: Pour) -> None:
    """Solvent leaves pierced vials in the queue: results rise by 4 to 10 % over the injections."""
    pour.found *= 1.0 + pour.within(0.04, 0.10) * pour.injection


@fault("assay-bias")
def fading_lamp(pour: Pour) -> None:
    """The detector's response falls and one standard at the start is all there is: results fall by 4 to 10 %."""
    pour.found *= 1.0 - pour.within(0.04, 0.10) * pour.injection


@fault("assay-bias")
def two_days_of_assays(pour: Pour) -> None:
    """The second half was assayed on another day against another standard, 4 to 9 % apart."""
    pour.found *= 1.0 + pour.rng.choice([-1.0, 1.0]) * pour.within(0.04, 0.09) * (pour.injection > 0.5)


@fault("assay-bias")
def poor_extraction(pour: Pour) -> None:
    """Fat holds the active back in a quarter of the flasks that were not warmed long enough: 5 to 20 % low."""
    pour.found *= 1.0 - pour.some(0.25) * pour.rng.uniform(0.05, 0.20, pour.n)


@fault("assay-bias")
def leaking_channel(pour: Pour) -> None:
    """One tip of an eight-channel pipette does not seal: every eighth assay 6 to 15 % low."""
    injection = np.searchsorted(pour.assayed, pour.order)
    pour.found *= 1.0 - pour.within(0.06, 0.15) * (injection % 8 == pour.rng.integers(2, 8))


@fault()
def wrong_flask(pour: Pour) -> None:
    """One or two dilutions made in a wrong flask or with a wrong pipette: 0.5, 0.8, 1.25 or 2 times the content."""
    hit = pour.rng.choice(pour.assayed, pour.rng.integers(1, 3), replace=False)
    pour.found[hit] *= pour.rng.choice([0.5, 0.8, 1.25, 2.0])


@fault()
def worn_pipette(pour: Pour) -> None:
    """Internal standard goes in by a worn pipette: results scatter by 4 to 7 %, the units hardly."""
    pour.error *= pour.within(4.0, 7.0)


@fault("assay-bias")
def moist_standard(pour: Pour) -> None:
    """The reference substance took up water and is weighed as dry: every result 4 to 9 % high."""
    pour.found *= 1.0 + pour.within(0.04, 0.09)


@fault("active-lost")
def salt_for_base(pour: Pour) -> None:
    """The label claims the base and the salt or hydrate was weighed for it: every content 8 to 15 % low."""
    pour.content *= 1.0 - pour.within(0.08, 0.15)


# Typing.


@fault("slip-of-pen")
def block_typed_twice(pour: Pour) -> None:
    """Six or eight rows copied over the next ones: the same masses and contents again."""
    count = int(pour.rng.choice([6, 8]))
    start = int(pour.rng.integers(pour.n - 2 * count))

    def slipped(masses: Floats, contents: Floats) -> None:
        for column in (masses, contents):
            column[start + count : start + 2 * count] = column[start : start + count]

    pour.slipped = slipped


@fault("slip-of-pen", "uneven-fill")
def contents_a_row_down(pour: Pour) -> None:
    """Contents typed a row down, masses spread by 2.4 to 4.8 %: the two no longer go together."""
    pour.fill *= pour.within(3.0, 4.0)

    def slipped(masses: Floats, contents: Floats) -> None:
        contents[pour.assayed] = np.roll(contents[pour.assayed], 1)

    pour.slipped = slipped


# Sound batches with awkward noise, of the same standard deviations where nothing else is said.


@innocent
def heavy_tails(pour: Pour) -> None:
    """Student's t with 3 degrees of freedom, of units and assays."""
    pour.fill, pour.mix, pour.error = pour.rng.standard_t(3, (3, pour.n)) / np.sqrt(3.0)


@innocent
def skewed(pour: Pour) -> None:
    """Short fills are commoner than long ones: a gamma distribution of shape 2, turned round."""
    pour.fill = -(pour.rng.gamma(2.0, size=pour.n) - 2.0) / np.sqrt(2.0)


@innocent
def two_balances(pour: Pour) -> None:
    """The second half on a coarser balance that reads 10 mg, right in the mean."""
    pour.step_g[pour.n // 2 :] = 0.01


@innocent
def coarse_balance(pour: Pour) -> None:
    pour.step_g[:] = 0.01


@innocent
def one_in_twenty(pour: Pour) -> None:
    """One fill and one assay in twenty three times as uncertain."""
    for noise in (pour.fill, pour.error):
        noise *= np.where(pour.rng.random(pour.n) < 0.05, 3.0, 1.0)


@innocent
def unlike_moulds(pour: Pour) -> None:
    """A second pair of hands: every other mould is filled half as evenly again as the rest."""
    pour.fill *= np.where(pour.mould % 2, 1.25, 0.75)


@innocent
def neighbours_alike(pour: Pour) -> None:
    """The hand keeps its habit for a while: neighbours correlate by 0.3."""
    for i in range(1, pour.n):
        pour.fill[i] = 0.3 * pour.fill[i - 1] + np.sqrt(1.0 - 0.3**2) * pour.fill[i]


THIRD = (*FAULTS, *INNOCENT)

# A fourth hand.


@fault()
def base_of_another_lot(pour: Pour) -> None:
    """The melt is eked out from a second lot of base, 2 to 5 % denser or lighter: as much active in each cavity."""
    other = 1.0 + pour.either(0.02, 0.05) * (pour.t > pour.within(0.25, 0.75))
    pour.mass, pour.content = pour.mass * other, pour.content / other


@fault()
def alcohol_leaves(pour: Pour) -> None:
    """Troches with alcohol wait open for the balance: 2 to 5 % of their mass goes, quickly first; no active."""
    left = 1.0 - pour.within(0.02, 0.05) * (1.0 - np.exp(-pour.t / pour.within(0.15, 0.6)))
    pour.mass, pour.content = pour.mass * left, pour.content / left


@fault()
def frost_from_the_fridge(pour: Pour) -> None:
    """Weighed straight from the cold: dew settles on what waits, 1 to 4 %, and has dried off the last ones."""
    peak = pour.within(0.3, 0.7)
    pour.shown += pour.within(0.01, 0.04) * (pour.t / peak) * np.exp(1.0 - pour.t / peak)


@fault()
def melted_in_the_post(pour: Pour) -> None:
    """Softened on the way to the laboratory: a quarter to a half of the units ran out by up to 3 to 12 %."""
    pour.mass *= 1.0 - pour.some(pour.within(0.25, 0.5)) * pour.within(0.03, 0.12) * pour.rng.random(pour.n)


@fault()
def weighed_in_pairs(pour: Pour) -> None:
    """Two units on the pan at a time, half the reading entered for each; the fill itself scatters by 1.5 times."""
    pour.fill *= 1.5

    def slipped(masses: Floats, contents: Floats) -> None:
        masses[:] = np.repeat(masses.reshape(-1, 2).mean(axis=1), 2)

    pour.slipped = slipped


@fault()
def per_gram_by_nominal(pour: Pour) -> None:
    """Assayed in mg/g and multiplied by the nominal mass in place of the unit's; the fill scatters by 2 to 4 times."""
    pour.fill *= pour.within(2.0, 4.0)

    def slipped(masses: Floats, contents: Floats) -> None:
        contents *= masses.mean() / masses

    pour.slipped = slipped


@fault()
def wet_moulds(pour: Pour) -> None:
    """Moulds washed between two fillings and not dried: drops take 3 to 10 % of the room in half the later cavities."""
    drops = pour.some(0.5) * (pour.mould > 0) * pour.rng.uniform(0.03, 0.10, pour.n)
    pour.content *= 1.0 - drops


@fault()
def leftovers_of_another_strength(pour: Pour) -> None:
    """The melt ran out: the last three to eight units were filled with what was left of a weaker or stronger batch."""
    last = pour.order >= pour.n - pour.rng.integers(3, 9)
    pour.content *= 1.0 + (pour.rng.choice([0.5, 0.8, 1.25, 1.5]) - 1.0) * last
    pour.mass *= 1.0 + pour.either(0.005, 0.03) * last


@fault()
def dusted(pour: Pour) -> None:
    """Starch or talc clings to the units, most to a few: 0.5 to 2 % in the mean, exponentially spread, no active."""
    more = 1.0 + pour.within(0.005, 0.02) * pour.rng.exponential(size=pour.n)
    pour.mass, pour.content = pour.mass * more, pour.content / more


@fault()
def wiped(pour: Pour) -> None:
    """Sweated fat was wiped off the first mould or two before weighing: 1 to 4 % less, no active."""
    left = 1.0 - (pour.mould < pour.rng.integers(1, 3)) * pour.within(0.01, 0.04) * pour.rng.uniform(0.5, 1.0, pour.n)
    pour.mass, pour.content = pour.mass * left, pour.content / left


@fault()
def made_on_two_days(pour: Pour) -> None:
    """A second melt weighed for itself the next day: contents 4 to 8 % and fills 1 to 3 % apart."""
    second = pour.t > pour.within(0.35, 0.65)
    pour.content *= 1.0 + pour.either(0.04, 0.08) * second
    pour.mass *= 1.0 + pour.either(0.01, 0.03) * second


@fault()
def powder_into_each_cavity(pour: Pour) -> None:
    """The powder was weighed into each cavity by itself: scatter 3 to 6 %, and one to three left out or doubled."""
    pour.content *= 1.0 + pour.within(0.03, 0.06) * pour.rng.standard_normal(pour.n)
    pour.content[pour.rng.permutation(pour.n)[: pour.rng.integers(1, 4)]] *= 2.0 * pour.rng.integers(2)


@fault()
def stacked_while_soft(pour: Pour) -> None:
    """Soft units stuck to their neighbour: 2 to 8 % went over in a quarter to a half of the pairs."""
    over = (pour.rng.random(pour.n // 2) < pour.within(0.25, 0.5)) * pour.rng.uniform(0.02, 0.08, pour.n // 2)
    over *= pour.rng.choice([-1.0, 1.0], pour.n // 2)
    pour.mass *= 1.0 + np.stack([over, -over], axis=1).ravel()


@fault("uneven-fill")
def nozzle_clogs(pour: Pour) -> None:
    """The nozzle clogs and is cleared every eight to twelve units: 4 to 9 % less by then."""
    every = pour.rng.integers(8, 13)
    pour.mass *= 1.0 - pour.within(0.04, 0.09) * (pour.order % every) / (every - 1.0)


@fault("uneven-fill")
def hand_wanders(pour: Pour) -> None:
    """The hand that fills wanders: each fill 0.5 to 1 % from the one before it."""
    pour.mass *= 1.0 + pour.within(0.005, 0.01) * np.cumsum(pour.rng.standard_normal(pour.n))


@fault("uneven-fill", "melt-thickening")
def foams(pour: Pour) -> None:
    """The melt foams more and more: 4 to 10 % less at the end, and up to three times the scatter."""
    pour.mass *= 1.0 - pour.within(0.04, 0.10) * pour.t**2
    pour.fill *= 1.0 + 2.0 * pour.t


@fault("poor-mixing")
def scraped_down(pour: Pour) -> None:
    """Crust from the wall is scraped back into the melt midway: 6 to 15 % more, gone after a few units."""
    since = pour.order - round(pour.within(0.3, 0.7) * pour.n)
    pour.content *= 1.0 + pour.within(0.06, 0.15) * np.where(since >= 0, np.exp(-np.maximum(since, 0) / 3.0), 0.0)


@fault("settling-in-pour", "poor-mixing", "slip-of-pen")
def moulds_numbered_anyhow(pour: Pour) -> None:
    """The melt settles by 10 to 20 %, and nobody knows which mould was poured first."""
    turned = pour.rng.permutation(pour.mould.max() + 1)[pour.mould] * pour.cavities + pour.cavity
    pour.content *= 1.0 - pour.within(0.10, 0.20) * (turned / turned.max() - 0.5)


@fault("balance-drift")
def balance_not_warm(pour: Pour) -> None:
    """Switched on for the first unit: the readings climb or fall by 1 to 3 % and are right after some ten."""
    pour.shown += pour.either(0.01, 0.03) * np.exp(-pour.order / pour.within(3.0, 6.0))


@fault("slip-of-pen")
def sevens_read_as_ones(pour: Pour) -> None:
    """A hand whose sevens look like ones: wherever the second decimal is a seven, 60 mg are lost."""

    def slipped(masses: Floats, contents: Floats) -> None:
        masses -= 0.06 * (np.floor(100.0 * masses + 1e-9) % 10 == 7)

    pour.slipped = slipped


@fault("assay-bias")
def racks_of_five(pour: Pour) -> None:
    """Flasks are heated in racks of five, each as long as it lasts: racks differ by 3 to 6 %."""
    rack = np.searchsorted(pour.assayed, pour.order) // 5
    pour.found *= 1.0 + pour.within(0.03, 0.06) * pour.rng.standard_normal(rack.max() + 1)[rack]


@fault("active-lost")
def by_the_window(pour: Pour) -> None:
    """Light takes 5 to 15 % of the active out of the cavities by the window, in every mould."""
    pour.content *= 1.0 - pour.within(0.05, 0.15) * np.maximum(0.0, 2.0 * pour.along() - 1.0)


@innocent
def skewed_and_heavy(pour: Pour) -> None:
    """Laplace noise of the fill, lognormal noise of the assay."""
    pour.fill = pour.rng.laplace(size=pour.n) / np.sqrt(2.0)
    pour.error = (np.exp(0.6 * pour.rng.standard_normal(pour.n)) - np.exp(0.18)) / 0.79


@innocent
def light_ones_thrown_out(pour: Pour) -> None:
    """The light third was remelted before the rest was numbered."""
    pour.fill = (np.sort(pour.rng.standard_normal(2 * pour.n))[-round(1.33 * pour.n) :] - 0.545) / 0.684
    pour.fill = pour.rng.permutation(pour.fill)[: pour.n]


@innocent
def bench_shakes(pour: Pour) -> None:
    """A centrifuge on the same bench: readings off by 4 mg, with heavy tails (t, 3 degrees of freedom)."""
    pour.weigh = 4.0 * pour.rng.standard_t(3, pour.n) / np.sqrt(3.0)


@innocent
def hand_tires(pour: Pour) -> None:
    """The spread of the fill doubles from the first unit to the last."""
    pour.fill *= 0.65 + 0.65 * pour.t


@innocent
def heavy_assays(pour: Pour) -> None:
    """Only the assays have heavy tails (t, 3 degrees of freedom)."""
    pour.error = pour.rng.standard_t(3, pour.n) / np.sqrt(3.0)


def draw(kind: str, seed: int, *, laid: bool = True) -> tuple[Batch, frozenset[str]]:
    """A batch of one of `FAULTS` or `INNOCENT`, and the listed causes that describe it truly.

    The same batch without what is peculiar to its kind where that is not `laid` over it.
    """
    rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
    n = int(rng.choice([24, 30, 40]))
    ten = rng.choice(n, 10, replace=False) if rng.random() < 0.5 else np.linspace(0, n - 1, 10).round().astype(int)
    pour = Pour(
        rng=rng,
        n=n,
        cavities=int(rng.choice([6, 10, 12])),
        assayed=np.sort(ten) if seed % 2 else np.arange(n),
        nominal_g=float(rng.choice([1.0, 2.0, 3.0])),
    )
    pour.rng = rng.spawn(1)[0]
    if laid:
        (FAULTS | INNOCENT)[kind](pour)
    claim = round(1000.0 * pour.nominal_g * float(rng.uniform(0.05, 0.25)))
    value = round(float(rng.uniform(1.1, 4.0)), 2)
    planned_g = pour.nominal_g + claim / 1000.0 * (1.0 - 1.0 / value)
    third = kind in THIRD
    spread = float(rng.uniform(0.008, 0.012) if third else rng.uniform(0.006, 0.02))
    repeats = 1.0 if third else round(float(rng.uniform(0.7, 2.5)), 1)
    true = pour.mass * (1.0 + spread * pour.fill) * (1.0 + 0.005 * rng.standard_normal())
    content = true * pour.content * (1.0 + 0.006 * pour.mix) * (1.0 + 0.007 * rng.standard_normal())
    masses = planned_g * (true * pour.shown) + 0.001 * pour.weigh
    contents = claim * content * pour.found * (1.0 + 0.01 * repeats * pour.error)
    pour.slipped(masses, contents)
    rounded = [Decimal(mass).quantize(Decimal(str(step))) for mass, step in zip(masses, pour.step_g, strict=True)]
    units = tuple(
        Unit(
            name=str(i + 1),
            pour_order=i + 1,
            mould=str(pour.mould[i] + 1),
            cavity=str(pour.cavity[i] + 1),
            mass_g=rounded[i],
        )
        for i in range(n)
    )
    active = Active(
        name="Active A",
        label_claim_mg=Decimal(claim),
        displacement=Displacement(given=Decimal(str(value)), convention=DisplacementConvention.VALUE),
        state=State.SUSPENDED,
        assay_repeatability_percent=Decimal(str(repeats)) if rng.random() < 0.5 else None,
    )
    batch = Batch(
        number=f"{kind} {seed}",
        dosage_form=str(rng.choice(["suppository", "pessary", "troche"])),
        base=Base.FATTY,
        units_poured=n,
        units=units,
        assays=tuple(
            Assay(unit=str(i + 1), active="Active A", content_mg=Decimal(contents[i]).quantize(Decimal("0.1")))
            for i in pour.assayed.tolist()
        ),
        actives=(active,),
        nominal_mass_g=Decimal(str(pour.nominal_g)),
        balance_readability_g=Decimal(str(pour.step_g.max())),
    )
    return batch, TRUE.get(kind, frozenset({"sound"}))
