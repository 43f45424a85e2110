"""The active settles inside each unit before it sets: the tip is rich, the end poor, the whole unit as it should be."""

from __future__ import annotations

from collections.abc import Iterator
from math import exp
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import asdict, replace

from qc.batch import Part
from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.rows import RowKind, means_by
from qc.causes.shifts import two_way_shift
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw, Pour
    from qc.simulate.settling import SettingUnit

ID = "settling-in-unit"
AMPLITUDES = 40
SPEEDS_TRIED = 30

# Logarithm of the concentration of tip, middle and end for ln(tip / end) = 1: evenly graded, gathered in the tip, and
# cleared at the end.
GRADES = ((0.5, 0.0, -0.5), (0.62, -0.15, -0.38), (0.38, 0.05, -0.62))


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Tip against end: shapes (3, rows), amplitudes ln(tip / end) [-]; without assays of parts nothing can be seen."""
    rows, priors = background.rows, background.priors
    settles = np.array([active >= 0 and rows.substances[active].suspended for active in rows.active])
    settled_parts = rows.of(RowKind.PART) & settles
    if not settled_parts.any():
        return (Likelihood(),)
    grades = [dict(zip((Part.TIP, Part.MIDDLE, Part.END), grade, strict=True)) for grade in GRADES]
    shapes = np.array([[grade.get(row.part, 0.0) for row in rows.rows] for grade in grades]) * settled_parts
    rises = priors.size(ID, "rise").equally_likely(AMPLITUDES)
    return (Likelihood(shifts=(two_way_shift(shapes, rises, falling=priors.number(ID, "falling")),)),)


def spoil(pour: Pour, draw: FaultDraw) -> Pour:
    """Let every unit settle before it sets: concentration of tip, middle and end (units, 3) over the unit [-]."""
    from qc.simulate.settling import settle_in_unit

    unit = _unit_that_settles(draw)
    parts = settle_in_unit(unit)
    relative = np.array([parts.tip, parts.middle, parts.end])
    story = message(
        "causes.settled_in_unit",
        set_min=unit.minutes_to_set,
        particle_um=unit.particle_um,
        tip_percent=100.0 * parts.tip,
        end_percent=100.0 * parts.end,
    )
    return replace(pour, parts=pour.parts * relative).with_story(story, physics={**asdict(unit), **asdict(parts)})


def _unit_that_settles(draw: FaultDraw) -> SettingUnit:
    """A unit whose particles are as coarse as the strength asks: ln(tip / end) of about 0.28 at strength 1."""
    from qc.simulate.pouring import suspended_in
    from qc.simulate.settling import COARSEST_UM, SettingUnit, as_coarse, settle_in_unit

    rng, wanted = draw.rng, draw.about(0.28)
    usual = SettingUnit(
        particle_spread=rng.uniform(1.3, 1.9),
        viscosity_mpas=rng.uniform(45.0, 100.0),
        length_mm=rng.uniform(22.0, 34.0),
        minutes_to_set=rng.uniform(2.0, 7.0),
        solids_fraction=draw.recipe.solids_fraction,
    )
    unit = suspended_in(usual, draw)
    if "particle_um" in draw.physics:
        return unit

    def grading(one: SettingUnit) -> float:
        parts = settle_in_unit(one)
        return float(np.log(parts.tip / max(parts.end, 1e-3)))

    return as_coarse(unit, grading, wanted=wanted, coarsest_um=COARSEST_UM, tries=SPEEDS_TRIED)


def speak(facts: Facts) -> Iterator[Message]:
    """Whether the tip is richer than the end."""
    rows, cut = facts.rows, False
    parts = np.array([row.part for row in rows.rows])
    for number, active in enumerate(facts.actives):
        tips, ends = (
            means_by(rows, (rows.active == number) & (parts == part), rows.unit.tolist())
            for part in (Part.TIP, Part.END)
        )
        if both := set(tips) & set(ends):
            cut = True
            ratio = exp(sum(tips[unit] - ends[unit] for unit in both) / len(both))
            yield message("causes.tip_end", active=active.name, percent=100.0 * (ratio - 1.0), n=len(both))
    if not cut:
        yield message("causes.not_cut")


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, spoil=spoil)
