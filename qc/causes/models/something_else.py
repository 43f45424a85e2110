"""Something that no model describes: masses and contents off, scattered or wandering, each on its own, of any size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from qc.causes.background import Background
from qc.causes.evidence import Likelihood, either_way
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.results.messages import Message

ID = "something-else"
STEP = 0.02


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Free levels of masses and contents, and with them scatter or wandering of either; or one number or one unit off.

    A cause with a shape of its own is likelier than this where the measurements have that shape, and less likely where
    they have not: this is what it has to beat. Shapes (numbers, rows) of the single number that is off [-],
    or of the unit that is: its mass, put on the balance once or twice, and its contents by the same share.
    """
    rows, priors = background.rows, background.priors
    reach = priors.number(ID, "reach_units")
    levels = {
        name: background.spreads(ID, "level", column=column) ** 2
        for column, name in enumerate(("mass-level", "content-level"))
    }
    spread = background.spreads(ID, "spread", column=2) ** 2
    scattered = ("mass-scatter", "content-scatter", f"mass-smooth:{reach}", f"content-smooth:{reach}")
    numbers = np.eye(len(rows.rows))[rows.measured]
    of_units = np.array([rows.unit == unit for unit in range(len(rows.units))]) & rows.measured & background.volumes
    several = of_units[of_units.sum(axis=1) > 1].astype(np.float64)
    alone = either_way(np.vstack([numbers, several]), priors.size(ID, "alone").shifts(sign=1.0, step=STEP))
    ways = [levels, *({**levels, way: spread} for way in scattered)]
    one = priors.number(ID, "one")
    # Contents that scatter as well are as rare as a second fault; without them a mass far off would go unseen there.
    besides = priors.number("pairs", "second_fault")
    return (
        *(Likelihood(weight=(1.0 - one) / len(ways), added=way) for way in ways),
        Likelihood(weight=one * (1.0 - besides), shifts=(alone,)),
        Likelihood(weight=one * besides, added={"content-scatter": spread}, shifts=(alone,)),
    )


def speak(facts: Facts) -> Iterator[Message]:
    """The plain figures, without a shape."""
    yield from facts.masses_scatter()
    if facts.mean_mass_percent is not None:
        yield from facts.masses_of_plan()
    for active in facts.actives:
        yield from active.scatter()
        yield from active.mean_of_label()


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak)
