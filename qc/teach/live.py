"""The page on which a class slides particle size, times and stirring; its script does what the simulator does.

What is made, the luck of it and the limits of the tests are handed to the script by Python, so that no figure of a rule
and no constant of the physics stands in the page by itself.
"""

from __future__ import annotations

import json
import tomllib
from base64 import b64encode
from hashlib import sha256
from pathlib import Path
from statistics import NormalDist
from typing import Any

from msgspec import Struct, convert, structs

from qc.rules.built_in import load_rule
from qc.rules.kinds import content, dosage_units, mass
from qc.say.numbers import plain_limit
from qc.show.filing import file_whole
from qc.teach.page import TEMPLATES

SEED = 20261127
FORM = "suppositories"


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
        Masses in g, contents in mg, densities in g/cm3; `luck_...` and `cavity_g` drawn once.
    """
    import numpy as np
    from msgspec.structs import replace

    from qc.simulate.melt import LAYERS_A_UNIT, Melt
    from qc.simulate.pouring import Recipe
    from qc.simulate.record import assayed_units
    from qc.simulate.settling import RICHARDSON_ZAKI_EXPONENT, STANDARD_GRAVITY

    recipe, melt, rng = (
        Recipe(units=20, moulds=2, cavities=5),
        Melt(scraped=0.2, scraping_units=4),
        np.random.default_rng(SEED),
    )
    layers = recipe.units * LAYERS_A_UNIT + round(recipe.excess * recipe.units * LAYERS_A_UNIT)
    classes = melt.speeds()[1].size
    return {
        "units": recipe.units,
        "moulds": recipe.moulds,
        "cavities": recipe.cavities,
        "base_g": recipe.base_g,
        "label_mg": recipe.ingredients[0].label_mg,
        "displacement": recipe.ingredients[0].displacement,
        "melt_density": melt.melt_density_g_cm3,
        "particle_spread": melt.particle_spread,
        "gravity": STANDARD_GRAVITY,
        "exponent": RICHARDSON_ZAKI_EXPONENT,
        "scores": [NormalDist().inv_cdf((at + 0.5) / classes) for at in range(classes)],
        "layers": layers,
        "layers_a_unit": LAYERS_A_UNIT,
        "thickness": melt.depth_mm * 1e-3 / layers,
        "solids_a_share": recipe.solids_fraction * layers,
        "stirring": 1.0,
        "scraped": melt.scraped,
        "scraping_units": melt.scraping_units,
        "cavity_g": (recipe.base_g * np.exp(recipe.cavity * rng.standard_normal(recipe.holes))).tolist(),
        "luck_fill": rng.standard_normal(recipe.units).tolist(),
        "luck_mixing": np.exp(recipe.mixing * rng.standard_normal(recipe.units)).tolist(),
        "luck_assay": np.exp(recipe.assay * rng.standard_normal(recipe.units)).tolist(),
        "assayed": [assayed_units(replace(recipe, assays=count)) for count in range(11)],
        "limits": _limits(),
    }


def _limits() -> dict[str, float]:
    """The limits of the three tests, from the records that judge a batch where no rule is named [% or units]."""
    every = [load_rule(id) for id in ("ph-eur-2.9.5", "ph-eur-2.9.6-b", "harmonised-udu")]
    of_mass, of_content, of_dose = mass.KIND.own(every[0]), content.KIND.own(every[1]), dosage_units.KIND.own(every[2])
    assert of_mass is not None
    assert of_content is not None
    assert of_dose is not None
    band = next(one for one in of_mass.bands if FORM in one.forms)
    return {
        "mass_percent": float(band.limit_percent),
        "mass_outer_percent": float(band.outer_percent),
        "mass_may": of_mass.most_beyond_limit,
        "first_size": of_content.first_size,
        "inner_percent": float(of_content.inner_percent),
        "outer_percent": float(of_content.outer_percent),
        "passes_with": of_content.passes_with,
        "continues_with": of_content.continues_with,
        "first_k": float(of_dose.first_k),
        "l1": float(of_dose.l1_percent),
        "l2": float(of_dose.l2_percent),
        "reference_low": float(of_dose.reference_low_percent),
        "reference_high": float(of_dose.reference_high_percent),
        "decimals": of_dose.rounding_decimals or 0,
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
