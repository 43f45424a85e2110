"""The answer key of a teaching batch as a document: the fault, how it came about, and the true values of every unit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from qc.batch import Part
from qc.causes.drawing import Drawn
from qc.say.messages import paragraph
from qc.say.names import CAUSE, CAUSE_EFFECT
from qc.say.telling_apart import telling_apart
from qc.teach.figures import figures_of


def key_of(drawn: Drawn, *, faults: Sequence[str], seed: int, strength: float) -> dict[str, Any]:
    """Everything a teacher needs to know about a batch.

    Parameters
    ----------
    drawn : Drawn
        The batch and its truth.
    faults : sequence of str
        The cause ids.
    seed, strength
        As the lesson was asked for.

    Returns
    -------
    dict
        `schema`, `fault`, `faults`, `title`, `told_apart` (the steps of a decision with
        this batch's figures), `seed`, `strength`, `story`, `physics`, `true_content_mg` {active: {unit: mg}},
        `units` [...], `actives` [...], `recipe` {...}.
    """
    recipe, pour, figures = drawn.recipe, drawn.pour, figures_of(drawn.batch)
    contents = pour.content_mg(recipe)
    units = [_unit(drawn, place, contents) for place in range(recipe.units)]
    return {
        "schema": "qc-lesson-key/1",
        "fault": "+".join(faults),
        "faults": [*faults],
        "title": " and ".join(CAUSE[fault] for fault in faults),
        "what_it_does": " ".join(CAUSE_EFFECT[fault] for fault in faults),
        "told_apart": [
            {
                "cause": step.cause,
                "ask": step.ask,
                "figures": {one.figure: figures.get(one.figure) for one in step.when},
                "yes": step.says_yes(figures),
            }
            for step in telling_apart().steps
        ],
        "seed": seed,
        "strength": strength,
        "story": paragraph(drawn.story),
        "physics": {name: value if isinstance(value, str) else float(value) for name, value in drawn.physics.items()},
        "true_content_mg": {
            one.name: {unit["unit"]: unit["true_content_mg"][one.name] for unit in units} for one in recipe.ingredients
        },
        "units": units,
        "actives": [_active(drawn, active, contents) for active in range(len(recipe.ingredients))],
        "recipe": {
            "moulds": recipe.moulds,
            "cavities": recipe.cavities,
            "base_g": recipe.base_g,
            "excess_percent": 100.0 * recipe.excess,
            "cavity_holds_g": [float(mass) for mass in pour.cavity_g],
            "usual_spread_percent": {
                "fill": 100.0 * recipe.fill,
                "mixing": 100.0 * recipe.mixing,
                "cavities": 100.0 * recipe.cavity,
                "assay": 100.0 * recipe.assay,
            },
        },
    }


def _unit(drawn: Drawn, unit: int, contents: Any) -> dict[str, Any]:
    recipe, pour, written = drawn.recipe, drawn.pour, drawn.written
    mould, cavity = recipe.place(unit)
    true = {one.name: float(contents[at, unit]) for at, one in enumerate(recipe.ingredients)}
    whole = [assay for assay in written.assays if assay.unit == unit and assay.part is Part.WHOLE]
    return {
        "unit": drawn.batch.units[unit].name,
        "pour_order": unit + 1,
        "mould": str(mould + 1),
        "cavity": str(cavity + 1),
        "true_mass_g": float(pour.mass_g(recipe)[unit]),
        "written_mass_g": float(written.masses_g[unit]),
        "true_content_mg": true,
        "true_content_percent": {one.name: 100.0 * true[one.name] / one.label_mg for one in recipe.ingredients},
        "written_content_mg": {
            one.name: [float(assay.content_mg) for assay in whole if assay.active == at]
            for at, one in enumerate(recipe.ingredients)
        },
        "parts_over_unit": {
            part: float(pour.parts[unit, at]) for at, part in enumerate((Part.TIP, Part.MIDDLE, Part.END))
        },
    }


def _active(drawn: Drawn, active: int, contents: Any) -> dict[str, Any]:
    """Where the active went: units, lost, and the rest in the dish, adding up to what was weighed."""
    one = drawn.recipe.ingredients[active]
    excess = float(drawn.physics.get("excess_percent", 0.0)) if active == 0 else 0.0
    weighed = float(drawn.recipe.weighed_mg()[active]) * (1.0 + excess / 100.0)
    in_units = float(contents[active].sum())
    lost_percent = drawn.physics.get("lost_percent", 0.0) if active == 0 else 0.0
    lost = weighed * float(lost_percent) / 100.0
    return {
        "active": one.name,
        "label_mg": one.label_mg,
        "true_displacement_value": one.displacement,
        "displacement_value_on_record": drawn.pour.used_displacements[active],
        "displacement_convention": "g of active that displaces 1 g of base",
        "weighed_mg": weighed,
        "in_units_mg": in_units,
        "lost_before_mg": lost,
        "left_in_dish_mg": weighed - lost - in_units,
    }
