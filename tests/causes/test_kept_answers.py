"""Small batches with all that is weighed of them, in `kept_answers.json`: our own answers, to see what a change moves.

The evidence behind them is summed once more by scipy's normal density. After a change that is meant,
`python tests/causes/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from decimal import Decimal
from math import log
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from scipy.stats import multivariate_normal

from qc.batch import Active, Assay, Batch, CavityPour, Displacement, DisplacementConvention, Part, State, Unit
from qc.causes.background import Background
from qc.causes.drawing import Drawn, draw_batch, random_recipe
from qc.causes.evidence import covariance_at, fit
from qc.causes.foundation import foundation
from qc.causes.model import CAUSE_IDS, TAUGHT, cause
from qc.causes.models.slip_of_pen import one_slip_away
from qc.causes.next_pour import SURE, next_pour, remedies
from qc.causes.priors import builtin_priors, house_priors, with_confirmed
from qc.causes.rows import rows_of
from qc.causes.substances import planned_mass, substances_of, weighing_sd
from qc.causes.weigh import weigh_causes
from qc.pour.analysis import analyse_pour
from qc.results import CauseFound
from qc.results.messages import Message
from qc.simulate.pouring import Ingredient, Recipe
from tests.shared.kept import CLOSE, differences, kept_in, plain, write_anew

FILE = Path(__file__).parent / "kept_answers.json"
RECIPE = Recipe(units=14, moulds=2, cavities=4, assays=7, cut_units=2, base_pours=1)
# Where all numbers are alike hardly anything of them is left to explain, and what is left is rounded otherwise from one
# kind of processor to another, by some 3e-6 of an answer.
ROUNDED, CLOSE_WHERE_ROUNDED = ("all alike", "all alike but one"), 3e-5
TWO = replace(
    RECIPE, ingredients=(Ingredient(name="A", label_mg=200.0), Ingredient(name="B", displacement=0.8, suspended=False))
)
BOTH_SUSPENDED = replace(TWO, ingredients=(TWO.ingredients[0], Ingredient(name="B", displacement=3.0)))


@functools.cache
def drawn(*causes: str, seed: int = 1, strength: float = 1.0, recipe: Recipe = RECIPE) -> Drawn:
    return draw_batch(causes, recipe=recipe, seed=seed, strength=strength)


def units_with(batch: Batch, **changes: Callable[[int, Unit], Any]) -> Batch:
    """The batch with some facts of every unit worked out anew from its place and itself."""
    units = (replace(one, **{name: of(at, one) for name, of in changes.items()}) for at, one in enumerate(batch.units))
    return replace(batch, units=tuple(units))


def nothing(at: int, one: Unit) -> None:
    return None


def actives_with(batch: Batch, **facts: Any) -> Batch:
    return replace(batch, actives=tuple(replace(one, **facts) for one in batch.actives))


def in_percent(batch: Batch) -> Batch:
    label = batch.actives[0].label_claim_mg or Decimal(1)
    return replace(
        batch,
        assays=tuple(
            one
            if one.part is not Part.WHOLE or one.content_mg is None
            else replace(one, content_mg=None, content_percent=(100 * one.content_mg / label).quantize(Decimal("0.1")))
            for one in batch.assays
        ),
    )


def typed(masses: str, *, contents: str = "", order: bool = True, **facts: Any) -> Batch:
    """A batch as it was typed: masses in grams, contents in mg of one active labelled 100 mg, of the first units."""
    units = tuple(
        Unit(name=str(at), pour_order=at if order else None, mass_g=None if one == "-" else Decimal(one))
        for at, one in enumerate(masses.split(), start=1)
    )
    assays = tuple(
        Assay(unit=str(at), active="zinc oxide", content_mg=Decimal(one))
        for at, one in enumerate(contents.split(), start=1)
    )
    usual: dict[str, Any] = {
        "planned_mass_g": Decimal("2.03"),
        "nominal_mass_g": Decimal(2),
        "balance_readability_g": Decimal("0.01"),
        "actives": (Active(name="zinc oxide", label_claim_mg=Decimal(100)),),
    }
    return Batch(units=units, assays=assays, **{**usual, **facts})


def batches() -> dict[str, Callable[[], Batch]]:
    """Every cause as drawn, and batches of which something is missing, twofold or odd."""
    found: dict[str, Callable[[], Batch]] = {
        id: lambda id=id, seed=seed: drawn(id, seed=seed, strength=1.0 + seed % 2).batch  # type: ignore[misc]
        for seed, id in enumerate(TAUGHT)
    }
    sound, settled = drawn("sound", seed=5).batch, drawn("settling-in-pour", seed=5).batch
    in_unit, drifting = drawn("settling-in-unit", seed=5).batch, drawn("balance-drift", seed=5).batch
    cavities = drawn("cavity-differences", seed=5).batch
    two = drawn("active-lost", seed=5, recipe=TWO).batch
    factor = Displacement(given=Decimal("0.6"), convention=DisplacementConvention.FACTOR)
    return found | {
        "no order of pouring": lambda: units_with(settled, pour_order=nothing),
        "weighed in another order": lambda: units_with(drifting, weighing_order=lambda at, _: (at * 5) % 14 + 1),
        "weighed in an order and poured in none": lambda: units_with(
            drifting, weighing_order=lambda at, _: at + 1, pour_order=nothing
        ),
        "some units without an order": lambda: units_with(
            settled, pour_order=lambda at, one: one.pour_order if at % 3 else None
        ),
        "ties in the order": lambda: units_with(settled, pour_order=lambda at, _: at // 2 + 1),
        "masses alone": lambda: replace(drawn("uneven-fill", seed=5).batch, assays=(), cavity_pours=()),
        "masses alone without order or cavity": lambda: units_with(
            replace(sound, assays=(), cavity_pours=()), pour_order=nothing, mould=nothing, cavity=nothing
        ),
        "assays alone": lambda: units_with(replace(settled, cavity_pours=()), mass_g=nothing),
        "moulds and no cavities": lambda: units_with(cavities, cavity=nothing),
        "one mould": lambda: units_with(cavities, mould=nothing),
        "no label claim": lambda: actives_with(in_unit, label_claim_mg=None),
        "no displacement value": lambda: actives_with(settled, displacement=None),
        "a displacement that the plan rests on": lambda: replace(
            actives_with(settled, displacement=None), planned_mass_g=Decimal("2.15"), nominal_mass_g=Decimal("2.0")
        ),
        "a displacement factor": lambda: actives_with(settled, displacement=factor),
        "no plan": lambda: replace(actives_with(settled, displacement=None), planned_mass_g=None, nominal_mass_g=None),
        "contents in percent": lambda: in_percent(drawn("poor-mixing", seed=5).batch),
        "assay repeatability stated": lambda: actives_with(
            drawn("poor-mixing", seed=5).batch, assay_repeatability_percent=Decimal("1.5")
        ),
        "dissolved": lambda: actives_with(settled, state=State.DISSOLVED),
        "two actives": lambda: two,
        "two suspended actives": lambda: drawn("settling-in-pour", seed=6, recipe=BOTH_SUSPENDED).batch,
        "parts not weighed": lambda: replace(
            in_unit, assays=tuple(replace(one, part_mass_g=None) for one in in_unit.assays)
        ),
        "tip and end alone": lambda: replace(
            in_unit, assays=tuple(one for one in in_unit.assays if one.part is not Part.MIDDLE)
        ),
        "the tip of one unit and the end of another": lambda: replace(
            in_unit, assays=tuple(one for at, one in enumerate(in_unit.assays) if at not in (7, 9, 12))
        ),
        "a third part of unknown mass": lambda: replace(
            in_unit,
            assays=tuple(replace(one, part_mass_g=None) if one.part is Part.END else one for one in in_unit.assays),
        ),
        "weighed again": lambda: units_with(
            drawn("slip-of-pen", seed=3).batch, weighed_again_g=lambda at, one: one.mass_g if at % 3 else Decimal("2.1")
        ),
        "left out": lambda: units_with(
            drawn("slip-of-pen", seed=3).batch, left_out_because=lambda at, _: "dropped" if at in (2, 9) else None
        ),
        "seen": lambda: units_with(sound, seen=lambda at, _: ("cracked", "air bubble") if at == 3 else ()),
        "calibration poured four times": lambda: replace(
            cavities,
            cavity_pours=tuple(
                CavityPour(mould="1", cavity=str(cavity), base_mass_g=Decimal(f"1.{97 + 2 * cavity - at:02}"))
                for cavity in (1, 2)
                for at in range(4)
            ),
        ),
        "a poor balance": lambda: replace(
            sound, balance_readability_g=Decimal("0.05"), balance_repeatability_g=Decimal("0.08")
        ),
        "two causes": lambda: drawn("active-lost", "uneven-fill", seed=5, strength=1.5).batch,
        "two other causes": lambda: drawn("settling-in-pour", "slip-of-pen", seed=5, strength=1.5).batch,
        "long": lambda: drawn("balance-drift", seed=5, recipe=replace(RECIPE, units=90, moulds=4, assays=24)).batch,
        "a slip among few": lambda: typed("2.03 2.02 2.30 2.01 2.03 2.04", contents="99 101 100 98 101"),
        "exchanged digits": lambda: typed("2.03 2.02 2.04 2.01 0.23 2.04", contents="99 101 100"),
        "a shifted point": lambda: typed("2.03 2.02 2.04 2.01 2.03 2.04 2.02", contents="99 101 10.0 98 101 102"),
        "all alike but one": lambda: typed("2.0 2.0 2.0 2.0 2.0 2.0 2.6", contents="100 100 100 100 101"),
        "all alike": lambda: typed("2.03 2.03 2.03 2.03"),
        "three masses": lambda: typed("2.03 2.05 1.98"),
        "two masses without an order": lambda: typed("2.03 2.05", order=False, planned_mass_g=None),
        "one mass": lambda: typed("2.03"),
        "no mass": lambda: typed("- - -"),
        "an assay of an active that is not listed": lambda: typed("2.03 2.05 2.01 2.02", contents="9 8 9", actives=()),
    }


def believed() -> Mapping[str, Callable[[], Any]]:
    """The same batch by other priors."""
    batch, likely = drawn("active-lost", seed=5).batch, {"active-lost": 12, "uneven-fill": 3, "sound": 40}
    house = {"prior": {"active-lost": 0.4}, "pairs": {"second_fault": 0.3}, "seen": {"supports": 2.0}}
    alone = {"pairs": {"second_fault": 0.0}, "outliers": {"weight": 0.0}}
    return {
        "confirmed": lambda: weighed(batch, priors=with_confirmed(builtin_priors(), likely)),
        "a house": lambda: weighed(batch, priors=house_priors(house, file="house.toml")),
        "no second fault, no outlier": lambda: weighed(batch, priors=house_priors(alone, file="house.toml")),
        "without the pour": lambda: weighed(batch, trend=False),
        "what a house believes": lambda: house_priors(house, file="house.toml").sections,
    }


def weighed(batch: Batch, *, trend: bool = True, **options: Any) -> dict[str, Any]:
    """All that is weighed of a batch; what several causes quote stands once."""
    found = weigh_causes(batch, trend=analyse_pour(batch, seed=1).trend if trend else None, **options)
    told: list[Any] = []

    def number(fact: Message | str) -> int:
        if plain(fact) not in told:
            told.append(plain(fact))
        return told.index(plain(fact))

    # By name: which of two causes that are equally likely stands first is left to the last digits.
    by_name = sorted(found.causes, key=lambda one: one.cause)
    causes = {one.cause: [log(one.probability or 1e-300), *(number(fact) for fact in one.evidence)] for one in by_name}
    return {
        "causes": causes,
        "alike": {one.cause: " ".join(sorted(one.alike)) for one in by_name[::5]},
        "told": told,
        "pairs": found.pairs,
        "next": found.next_measurements,
        "notices": found.notices,
        "next_pour": next_pour(batch, causes=found.causes, priors=options.get("priors")),
    }


def remedied(id: str) -> dict[str, Any]:
    """What is predicted of each remedy of a cause, were it sure, for a batch as drawn and with less on record."""
    batch = drawn(id, seed=9, strength=1.5).batch
    fewer = replace(batch, assays=batch.assays[:2], cavity_pours=())
    less = {
        "as drawn": batch,
        "masses alone": replace(batch, assays=(), cavity_pours=()),
        "two assays": fewer,
        "no cavities": units_with(batch, cavity=nothing, mould=nothing),
        "weighed in another order": units_with(batch, weighing_order=lambda at, _: (at * 5) % 14 + 1),
        "no order": units_with(batch, pour_order=nothing),
        "assays alone": units_with(batch, mass_g=nothing),
        "two actives": drawn(id, seed=9, strength=1.5, recipe=BOTH_SUSPENDED).batch,
    }
    sure = (CauseFound(cause=id, probability=0.9), CauseFound(cause="sound", probability=0.1))
    return {
        name: [
            [told.remedy, told.figure, told.before, told.after, told.low, told.high]
            for told in next_pour(one, causes=sure)
        ]
        for name, one in less.items()
    }


def substances() -> list[Any]:
    """What is taken for displacement, dose and share of the mass, at the ends of what can be calculated back."""
    found = []
    for label, nominal, planned, given, repeats, state in (
        ("250", "2.0", "2.1", None, None, None),
        ("250", "2.0", "2.25", None, "0", State.DISSOLVED),
        ("250", "2.0", "2.3", None, None, None),
        ("200", "2.0", "2.19", None, None, None),
        ("200", "2.0", "2.195", None, None, None),
        ("200", "2.0", "1.2", None, None, None),
        ("200", "2.0", "1.1", None, None, None),
        (None, "2.0", "2.1", None, "1.5", State.SUSPENDED),
        (None, None, None, None, None, None),
        ("250", "2.0", None, None, None, None),
        ("250", "2.0", None, "1.6", None, None),
        ("1900", None, "2.0", "30", None, None),
    ):
        displacement = given and Displacement(given=Decimal(given), convention=DisplacementConvention.VALUE)
        facts = {
            name: one and Decimal(one)
            for name, one in (("label_claim_mg", label), ("assay_repeatability_percent", repeats))
        }
        active = Active(name="A", displacement=displacement or None, state=state, **facts)
        batch = Batch(
            units=(Unit(name="1", mass_g=Decimal("2.07")), Unit(name="2")),
            actives=(active,),
            nominal_mass_g=nominal and Decimal(nominal),
            planned_mass_g=planned and Decimal(planned),
            balance_readability_g=given and Decimal("0.01"),
        )
        plan = planned_mass(batch)
        found.append([plan, weighing_sd(batch), *substances_of(batch, planned=plan)])
    return found


def slips() -> dict[str, str]:
    return {
        number: " ".join(f"{slip.other} {slip.form}" for slip in one_slip_away(Decimal(number)))
        for number in ("2.05", "0.23", "100", "1E+2", "7", "10.0", "0.005", "98.6")
    }


def poured(*causes: str, seed: int, strength: float, recipe: Recipe) -> dict[str, Any]:
    """What was drawn: the truth and the record of it."""
    one = drawn(*causes, seed=seed, strength=strength, recipe=recipe)
    return {
        "physics": one.physics,
        "story": one.story,
        "masses": one.pour.mass_g(one.recipe),
        "contents": one.pour.content_mg(one.recipe),
        "parts": one.pour.parts[:3],
        "cavities": one.pour.cavity_g,
        "indicated": one.pour.indicated,
        "weighed": [unit.mass_g for unit in one.batch.units],
        "assayed": [
            f"{row.unit} {row.active} {row.part} {row.content_mg} {row.part_mass_g}" for row in one.batch.assays
        ],
        "pours": [row.base_mass_g for row in one.batch.cavity_pours],
        "batch": replace(one.batch, units=one.batch.units[:1], assays=(), cavity_pours=one.batch.cavity_pours[:1])
        if causes == ("sound",)
        else None,
    }


def recipe_at(seed: int) -> Any:
    return random_recipe(np.random.default_rng(seed), priors=builtin_priors())


ANSWERS: dict[str, Callable[[], Any]] = {
    **{name: functools.partial(lambda of: weighed(of()), of) for name, of in batches().items()},
    **believed(),
    **{
        f"drawn: {id}, seed {seed}": functools.partial(poured, id, seed=seed, strength=strength, recipe=recipe)
        for id in TAUGHT
        for seed, strength, recipe in ((7, 0.7, RECIPE), (8, 1.6, BOTH_SUSPENDED))
    },
    "drawn: one cavity": functools.partial(
        poured, "cavity-differences", seed=7, strength=1.0, recipe=replace(RECIPE, moulds=1, cavities=1)
    ),
    "drawn: two units": functools.partial(
        poured, *TAUGHT, seed=7, strength=0.4, recipe=replace(RECIPE, units=2, assays=1, cut_units=1)
    ),
    **{f"remedies of {id}": functools.partial(remedied, id) for id in {one.cause: 1 for one in remedies().values()}},
    "substances": substances,
    "slips": slips,
    **{f"a recipe, seed {seed}": functools.partial(recipe_at, seed) for seed in range(4)},
}


@pytest.mark.parametrize("name", ANSWERS)
def test_a_kept_answer_has_not_changed(name: str) -> None:
    close = CLOSE_WHERE_ROUNDED if name in ROUNDED else CLOSE
    assert list(differences(plain(ANSWERS[name]()), kept_in(FILE).get(name), close=close)) == []


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    assert list(kept_in(FILE)) == list(ANSWERS)


@pytest.mark.parametrize(
    "batch",
    [
        typed("2.03 2.02 2.30 2.01", contents="99 101 100"),
        typed("2.03 2.05 1.98 2.11 2.07", contents="90 95 101 99", order=False, planned_mass_g=None),
        drawn("settling-in-unit", recipe=replace(BOTH_SUSPENDED, units=4, moulds=1, assays=2, cut_units=1)).batch,
    ],
)
@pytest.mark.parametrize("id", CAUSE_IDS)
def test_the_evidence_of_a_way_with_one_shift_at_most_is_the_sum_of_the_densities_that_scipy_gives(
    id: str, batch: Batch
) -> None:
    background = Background(rows=rows_of(batch), priors=builtin_priors(), nodes=6)
    base = foundation(background)
    for way in cause(id).likelihood(background):
        if len(way.shifts) > 1:
            continue
        logs = []
        for node in range(base.origin.size):
            spread = covariance_at(background, way, node=node)[np.ix_(base.measured, base.measured)]
            density = multivariate_normal(cov=spread, allow_singular=False)
            for shift in way.shifts or (None,):
                if shift is None:
                    logs.append([density.logpdf(base.values) + base.log_weight[node]])
                    continue
                moved = (shift.shapes[:, None, base.measured] * shift.amplitudes[:, :, None]).reshape(
                    -1, base.values.size
                )
                logs.append(density.logpdf(base.values - moved) + shift.log_weights.ravel() + base.log_weight[node])
        assert len(way.shifts) < 2
        expected = np.logaddexp.reduce(np.concatenate(logs)) + np.log(way.weight)
        assert fit(background, way).log_evidence == pytest.approx(expected, rel=1e-6)


def test_a_remedy_is_named_from_the_probability_on_at_which_a_cause_is_sure() -> None:
    batch = drawn("uneven-fill", seed=9, strength=1.5).batch
    at, below = (CauseFound(cause="uneven-fill", probability=one) for one in (SURE, SURE - 1e-9))
    assert next_pour(batch, causes=(at,))
    assert next_pour(batch, causes=(below,)) == ()


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
