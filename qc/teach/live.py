"""The page on which a class slides particle size, times and stirring; its script does what the simulator does.

What is made, the luck of it and the limits of the tests are handed to the script by Python, so that no figure of a rule
and no constant of the physics stands in the page by itself.
"""

from __future__ import annotations

import json
import tomllib
from base64 import b64encode
from decimal import Decimal
from hashlib import sha256
from pathlib import Path
from statistics import NormalDist
from typing import Any

from msgspec import Struct, convert, structs

from qc.rules.built_in import load_rule
from qc.rules.records import Rule
from qc.say.numbers import plain_limit
from qc.show.filing import file_whole
from qc.teach.page import TEMPLATES

SEED = 20261127
FORM = "suppositories"
# Those that judge a batch where no rule is named, as the script calls them.
RULES = {"mass": "ph-eur-2.9.5", "content": "ph-eur-2.9.6-b", "dosage": "harmonised-udu"}


class Slider(Struct, frozen=True, kw_only=True):
    """One setting of the page: its ends, steps and usual value, in its unit."""

    id: str
    label: str
    unit: str
    least: float
    most: float
    step: float
    usual: float


SLIDERS = convert(tomllib.loads((TEMPLATES / "sliders.toml").read_text(encoding="utf-8"))["slider"], tuple[Slider, ...])


def made_of() -> dict[str, Any]:
    """What the script is given: recipe, melt, luck, limits.

    Returns
    -------
    dict
        Figures under the names of their records; `luck_...` and `cavity_g` drawn once [g].
    """
    import numpy as np

    from qc.simulate.melt import LAYERS_A_UNIT, Melt
    from qc.simulate.pouring import Recipe
    from qc.simulate.record import assayed_units
    from qc.simulate.settling import RICHARDSON_ZAKI_EXPONENT, STANDARD_GRAVITY

    recipe, rng = Recipe(units=20, moulds=2, cavities=5), np.random.default_rng(SEED)
    melt = Melt(stirring=1.0, scraped=0.2, scraping_units=4)
    layers = recipe.units * LAYERS_A_UNIT + round(recipe.excess * recipe.units * LAYERS_A_UNIT)
    classes = melt.speeds()[1].size
    return {
        **{name: getattr(recipe, name) for name in ("units", "moulds", "cavities", "base_g")},
        **{name: getattr(recipe.ingredients[0], name) for name in ("label_mg", "displacement")},
        **{name: getattr(melt, name) for name in ("melt_density_g_cm3", "particle_spread", "stirring")},
        **{name: getattr(melt, name) for name in ("scraped", "scraping_units")},
        "gravity": STANDARD_GRAVITY,
        "exponent": RICHARDSON_ZAKI_EXPONENT,
        "scores": [NormalDist().inv_cdf((at + 0.5) / classes) for at in range(classes)],
        "layers": layers,
        "layers_a_unit": LAYERS_A_UNIT,
        "thickness": melt.depth_mm * 1e-3 / layers,
        "solids_a_share": recipe.solids_fraction * layers,
        "cavity_g": (recipe.base_g * np.exp(recipe.cavity * rng.standard_normal(recipe.holes))).tolist(),
        "luck_fill": rng.standard_normal(recipe.units).tolist(),
        "luck_mixing": np.exp(recipe.mixing * rng.standard_normal(recipe.units)).tolist(),
        "luck_assay": np.exp(recipe.assay * rng.standard_normal(recipe.units)).tolist(),
        "assayed": [assayed_units(structs.replace(recipe, assays=count)) for count in range(11)],
        "limits": _limits(),
    }


def _limits() -> dict[str, dict[str, float]]:
    """The figures of the three rules, and of the row of the mass table that holds for suppositories."""
    rules: dict[str, Rule] = {name: load_rule(id) for name, id in RULES.items()}
    band = next(row for rule in rules.values() for row in getattr(rule, "bands", ()) if FORM in row.forms)
    return {name: _numbers(one) for name, one in {**rules, "band": band}.items()}


def _numbers(record: Struct) -> dict[str, float]:
    """The fields of a record that hold a number."""
    figures = structs.asdict(record).items()
    return {
        name: float(one) if isinstance(one, Decimal) else one for name, one in figures if isinstance(one, int | Decimal)
    }


def page_text() -> str:
    """The page: HTML with its style, its script and its numbers inside; no request leaves it."""
    from qc.show.pages_html import pages

    script = "\n".join((TEMPLATES / name).read_text(encoding="utf-8") for name in ("live.js", "live_page.js"))
    made = made_of()
    return (
        pages(TEMPLATES)
        .get_template("lesson_page.html")
        .render(
            made=made,
            label=plain_limit(made["label_mg"]),
            sliders=[structs.asdict(one) for one in SLIDERS],
            data=json.dumps(made).replace("<", "\\u003c"),
            script=script,
            digest=f"sha256-{b64encode(sha256(script.encode()).digest()).decode()}",
        )
    )


def write_page(out: Path) -> tuple[Path, ...]:
    """Write the page into a folder; made when it is not there.

    Raises
    ------
    qc.show.filing.ReportExists
        When a page stands there already.
    """
    file_whole(out, {"lesson.html": page_text().encode()})
    return (out / "lesson.html",)
