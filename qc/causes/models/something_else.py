"""Something that no model describes: masses and contents off, scattered, by place or by turns, each on its own."""

from __future__ import annotations

from collections.abc import Iterator
from math import comb, log
from statistics import fmean, median

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import USUAL_CONTENTS, USUAL_MASSES, Facts
from qc.causes.model import CauseModel
from qc.causes.models import balance_drift, leaking_mould, settling_in_pour, slip_of_pen
from qc.causes.rows import Floats, RowKind, Rows
from qc.causes.shifts import Shift, either_way, even_shift, two_way_shift
from qc.results.messages import Message, message

ID = "something-else"
STEP = 0.02
AMPLITUDES = 20
# Into so many parts the pour is divided, of which some on end are off.
PARTS = 8
# A change about the mean of the pour, or one that begins with the first unit: half of it lies above the mean's.
BEGINS = (0.0, 0.5)
# Over how many of the first units it fades where they alone are off.
FADE = (1.0, 2.0)
BY_ITSELF = ("mass", "content")
# So many units may be off, each by an amount of its own, of three times as many or more.
SEVERAL = (3, 4, 5)
# A unit that holds less than this share of the middle one is nearly plain base: of those assayed so many may be, of the
# first or the last units so many with those that were not assayed.
HARDLY = 0.5
FEW, RUN = 3, 5
# What differs by mould or by cavity.
APART = (("mass",), ("content",), ("mass", "content"))


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Free levels of masses and contents, and with them scatter of either; a change along the pour; one number off.

    A cause with a shape of its own is likelier than this where the measurements have that shape, and less likely where
    they have not: this is what it has to beat.
    """
    rows, priors = background.rows, background.priors
    reach = priors.number(ID, "reach_units")
    levels = {
        name: background.spreads(ID, "level", column=column) ** 2
        for column, name in enumerate(("mass-level", "content-level"))
    }
    spread = background.spreads(ID, "spread", column=2) ** 2
    # What scatters, wanders or goes by place is one kind each; masses and contents by place share the weight of theirs.
    kinds: list[tuple[str, list[tuple[str, ...]]]] = [("level", [()])]
    kinds += [("scatter", [(f"{what}-scatter",)]) for what in BY_ITSELF]
    kinds += [("wandering", [(f"{what}-smooth:{reach}",)]) for what in BY_ITSELF]
    if rows.weighed_in_order and not np.array_equal(rows.weighing, rows.position):
        kinds.append(("wandering", [(f"weighing-wandering:{reach}",)]))
    for places, of in ((rows.cavities, "cavity"), (rows.moulds, "mould")):
        if len({*places} - {""}) > 1:
            kinds.append(("places", [tuple(f"{what}-{of}" for what in apart) for apart in APART]))
    changes = [*_along(background), *_look_alikes(background, spread), *_several(background), *_plain_units(background)]
    one = priors.number(ID, "one")
    by_itself = 1.0 - one - sum(way.weight for way in changes)
    # Contents that scatter as well are as rare as a second fault; without them a mass far off would go unseen there.
    besides, two = priors.number("pairs", "second_fault"), priors.number(ID, "two")
    alone, coarse = (_alone(background, step=step) for step in (STEP, 2.0 * STEP))
    return (
        *(
            Likelihood(weight=by_itself / len(kinds) / len(ways), added=levels | dict.fromkeys(way, spread), form=form)
            for form, ways in kinds
            for way in ways
        ),
        *changes,
        Likelihood(weight=one * (1.0 - two - besides), shifts=(alone,), form="one"),
        Likelihood(weight=one * two, shifts=(coarse, coarse), form="one"),
        Likelihood(weight=one * besides, added={"content-scatter": spread}, shifts=(coarse,), form="one"),
    )


def _look_alikes(background: Background, spread: Floats) -> list[Likelihood]:
    """What has the shape of a listed cause and another reason.

    Masses alone that change along the weighing, as where a balance drifts: units take up water, or dry. Units of one
    mould or cavity that are short, as where it leaks: tips stay in it. Moulds that hold another volume than they are
    said to, which only base pours tell from a wrong displacement value. Volumes that rise or fall along the pour.
    """
    rows, priors = background.rows, background.priors
    alike = priors.number(ID, "alike")
    found = [Likelihood(weight=priors.number(ID, "capacity"), added={"base": spread}, form="capacity")]
    leaks = (way for way in leaking_mould.likelihood(background) if way.shifts)
    found += [replace(way, weight=alike * way.weight, form="short") for way in leaks]
    if rows.ordered or rows.weighed_in_order:
        change = balance_drift.along_the_weighing(background, background.masses)
        one_way = 1.0 - priors.number("balance-drift", "wandering")
        found.append(Likelihood(weight=alike * one_way, shifts=(change,), form="weighing"))
    if rows.ordered:
        size = priors.size(ID, "change").equally_likely(AMPLITUDES)
        volume = two_way_shift(_plain(rows) * background.volumes, size, falling=0.5)
        found.append(Likelihood(weight=priors.number(ID, "volume"), shifts=(volume,), form="volume"))
    return found


def _several(background: Background) -> list[Likelihood]:
    """Several units off: those whose masses lie farthest from the middle, at the chance that it is just these."""
    rows = background.rows
    weighed = np.flatnonzero(rows.of(RowKind.MASS) & rows.measured)
    apart = np.abs(rows.value[weighed] - median(rows.value[weighed])) if len(weighed) else np.zeros(0)
    farthest = rows.unit[weighed[np.argsort(-apart, kind="stable")]]
    size = np.full(background.nodes, background.priors.number(ID, "several_size") ** 2)
    return [
        Likelihood(
            weight=background.priors.number(ID, "several") / len(SEVERAL) / comb(len(weighed), count),
            added={background.fill_of(np.isin(rows.unit, farthest[:count])): size},
            form="several",
        )
        for count in SEVERAL
        if len(weighed) >= 3 * count
    ]


def _plain_units(background: Background) -> list[Likelihood]:
    """A few units of nearly plain base, the first or the last of the pour or any: light by what they lack.

    What they hold is anybody's guess; a dose that is missing takes its share of the mass along.
    """
    rows, weight = background.rows, background.priors.number(ID, "plain")
    held = _held(rows)
    plain = {unit: one for unit, one in held.items() if one < log(HARDLY)}
    if not 0 < len(plain) <= min(FEW, len(held) // 3):
        return []
    poured, others = np.argsort(rows.places, kind="stable").tolist(), held.keys() - plain.keys()
    every = [{*end[:count]} for end in (poured, poured[::-1]) for count in range(1, RUN + 1) if rows.ordered]
    ends = [end for end in every if plain.keys() <= end and not end & others]
    return [
        _without_dose(background, units, held=plain, weight=0.5 * weight * chance)
        for units, chance in [
            ({*plain}, 1.0 / FEW / comb(len(rows.units), len(plain))),
            *((end, 1.0 / len(every)) for end in ends),
        ]
    ]


def _held(rows: Rows) -> dict[int, float]:
    """What each unit assayed holds beside the middle one of all, its richest measurement, as a logarithm."""
    found = rows.measured & rows.of(RowKind.CONTENT, RowKind.PART)
    each = [found & (rows.active == active) for active in range(len(rows.substances))]
    beside = sum((of * (rows.value - median(rows.value[of])) for of in each if of.any()), np.zeros(len(rows.rows)))
    return {unit: float(beside[found & (rows.unit == unit)].max()) for unit in {*rows.unit[found].tolist()}}


def _without_dose(background: Background, units: set[int], *, held: dict[int, float], weight: float) -> Likelihood:
    """These units hold what was found in them, those not assayed what the others do, and are as light as that asks."""
    rows, left = background.rows, background.priors.size(ID, "left")
    of, contents = np.isin(rows.unit, [*units]), rows.active >= 0
    holds = np.array([held.get(unit, fmean(held.values())) for unit in rows.unit.tolist()])
    masses = np.log1p(np.maximum(sum(one.mass_share for one in rows.substances) * np.expm1(holds), -0.9))
    shape = np.where(of, np.where(background.masses, masses, log(left.median)), 0.0)
    guess = np.full(background.nodes, log(left.factor) ** 2)
    return Likelihood(
        weight=weight,
        added={background.fill_of(of & contents): guess},
        shifts=(even_shift(shape[None], np.ones(1)),),
        form="plain",
    )


def _plain(rows: Rows) -> Floats:
    """Plain changes along the pour about their mean or beginning with the first unit, shape (shapes, rows)."""
    plain = np.array(settling_in_pour.plain_shapes(rows.position))
    return np.vstack([plain + begins for begins in BEGINS])


def _along(background: Background) -> list[Likelihood]:
    """Concentrations that change along the pour, in a plain shape or of its first units alone; what is off for a while.

    Shapes (shapes, rows) for a rise of 1, amplitudes of the logarithm [-].
    """
    rows, priors, found = background.rows, background.priors, []
    size = priors.size(ID, "change").equally_likely(AMPLITUDES)
    in_parts = []
    if rows.ordered and rows.substances:
        every = np.sum([rows.concentration_share(active) for active in range(len(rows.substances))], axis=0)
        change = two_way_shift(_plain(rows) * every, size, falling=priors.number(ID, "falling"))
        ends = settling_in_pour.ends(background)
        found.append(Likelihood(weight=priors.number(ID, "along"), added=ends, shifts=(change,), form="along"))
        faded = np.exp(-np.outer(1.0 / np.array(FADE), rows.position * (len(rows.units) - 1))) * every
        first = two_way_shift(faded, size, falling=0.5)
        found.append(Likelihood(weight=priors.number(ID, "first"), added=ends, shifts=(first,), form="first"))
        in_parts.append(_parts(rows.position) * (rows.active >= 0))
    if rows.ordered or rows.weighed_in_order:
        in_parts.append(_parts(rows.weighing if rows.weighed_in_order else rows.position) * background.masses)
        apart = two_way_shift(np.vstack(in_parts), size, falling=0.5)
        found.append(Likelihood(weight=priors.number(ID, "in_parts"), shifts=(apart,), form="parts"))
    return found


def _parts(place: Floats) -> Floats:
    """Parts of the pour that stand together, shape (runs of parts, rows): 1 within, 0 without."""
    runs = [(low, high) for high in range(1, PARTS + 1) for low in range(high) if high - low < PARTS]
    return np.array([(place >= low / PARTS) & (place <= high / PARTS) for low, high in runs], dtype=np.float64)


def _alone(background: Background, *, step: float) -> Shift:
    """One number that is off, or one unit: its mass, put on the balance once or twice, and its contents alike."""
    rows = background.rows
    numbers = np.eye(len(rows.rows))[rows.measured]
    of_units = np.array([rows.unit == unit for unit in range(len(rows.units))]) & rows.measured & background.volumes
    several = of_units[of_units.sum(axis=1) > 1].astype(np.float64)
    weights = np.repeat([1.0 / len(numbers), 1.0 / max(len(several), 1)], [len(numbers), len(several)])
    sizes = background.priors.size(ID, "alone").shifts(sign=1.0, step=step)
    return either_way(np.vstack([numbers, several]), sizes, shape_weights=weights)


def speak(facts: Facts) -> Iterator[Message]:
    """The plain figures, without a shape, and which units are off by themselves."""
    yield from _apart(slip_of_pen.far_off(slip_of_pen.outliers(facts)), facts)
    yield from facts.masses_scatter()
    if facts.mean_mass_percent is not None:
        yield from facts.masses_of_plan()
    for active in facts.actives:
        yield from active.scatter()
        yield from active.mean_of_label()


def _apart(far: list[slip_of_pen.Outlier], facts: Facts) -> Iterator[Message]:
    """Units off by themselves in what was measured of them, where the others scatter as is usual."""
    if not 0 < len(far) <= max(SEVERAL):
        return
    rows, first = facts.rows, far[0].row
    alike = rows.of(first.kind) & (rows.active == first.active) & rows.measured
    others = rows.value[alike & ~np.isin(rows.unit, [one.row.unit for one in far])]
    named, percents = [one.row.name for one in far], [one.percent for one in far]
    rsd = 100.0 * float(np.std(others, ddof=1))
    if rsd <= (USUAL_MASSES if first.kind is RowKind.MASS else USUAL_CONTENTS)[1]:
        yield message("causes.apart", kind=far[0].kind, units=named, percents=percents, n=len(others), rsd=rsd)


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak)
