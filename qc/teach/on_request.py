"""What further measurements of a teaching batch would show: assays, cuts, second weighings, base-only pours."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from io import StringIO
from statistics import fmean

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Part
from qc.say.numbers import fixed
from qc.simulate.pouring import Recipe
from qc.simulate.record import Written, content_read, write_down
from qc.teach.lesson import Lesson

BASE_POURS = 2


class Laboratory(Struct, frozen=True, kw_only=True):
    """Every measurement that a class may ask for, drawn once, so that the same question has the same answer.

    Parameters
    ----------
    whole : Written
        All units assayed whole, weighed on another balance.
    cut : Written
        All units cut; base-only pours of every cavity.
    """

    whole: Written
    cut: Written


def laboratory(lesson: Lesson) -> Laboratory:
    """Measure everything of a teaching batch with errors of its own; what was typed wrongly is not typed again.

    An assay that is off by one factor stays off: it is the same method.
    """
    import numpy as np

    recipe, pour = lesson.drawn.recipe, lesson.drawn.pour
    other_balance = replace(pour, indicated=np.ones(recipe.units))
    chance, off = np.random.default_rng([lesson.seed, 300]), float(lesson.drawn.physics.get("bias_percent", 0.0))

    def read(recipe: Recipe, cut: Sequence[int] = ()) -> Written:
        found = write_down(other_balance, recipe, chance, cut=cut)
        read_off = (
            replace(one, content_mg=content_read(float(one.content_mg) * (1.0 + off / 100.0))) for one in found.assays
        )
        return replace(found, assays=tuple(read_off)) if off else found

    whole = read(replace(recipe, assays=recipe.units, base_pours=0))
    return Laboratory(whole=whole, cut=read(replace(recipe, assays=0, base_pours=BASE_POURS), range(recipe.units)))


def laboratory_table(lesson: Lesson) -> str:
    """All of it as a table of comma-separated values: a row a unit, then a row a cavity."""
    results, recipe = laboratory(lesson), lesson.drawn.recipe
    lines = StringIO()
    table = csv.writer(lines, lineterminator="\n")
    table.writerow(["Unit", "Content (mg)", "Weighed again (g)", *(f"{part} (mg/g)" for part in _PARTS)])
    content = {one.unit: one.content_mg for one in results.whole.assays}
    for unit, mass in enumerate(results.whole.masses_g):
        parts = {one.part: one for one in results.cut.assays if one.unit == unit}
        shares = [
            fixed(float(parts[part].content_mg) / float(parts[part].part_mass_g or 1), decimals=1) for part in _PARTS
        ]
        table.writerow([unit + 1, content[unit], mass, *shares])
    table.writerow([])
    table.writerow(["Mould", "Cavity", "Base only (g), mean of 2"])
    for hole in range(recipe.holes):
        poured = [float(mass) for at, mass in results.cut.base_pours_g if at == hole]
        mould, cavity = recipe.place(hole)
        table.writerow([mould + 1, cavity + 1, fixed(fmean(poured), decimals=4)])
    return lines.getvalue()


_PARTS = (Part.TIP, Part.MIDDLE, Part.END)
