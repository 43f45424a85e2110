"""Small batches with all that is said of their pour, in `kept_answers.json`: our own, to see what a change moves.

What confirms the figures stands in the other tests of this room and in those of `qc.stats`. After a change that is
meant, `python tests/pour/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from msgspec.structs import replace
from scipy import stats

from qc.batch import Active, Assay, Batch, CavityPour, Displacement, DisplacementConvention, Part, State, Unit
from qc.pour import within_unit
from qc.pour.analysis import analyse_pour
from qc.pour.correction import calibrated_base, corrected_contents, corrected_masses, layout_of, pours_of_cavities
from qc.pour.dose_by_mass import dose_screens
from qc.pour.fill import Fill, fill_scatter
from qc.pour.lots import drawn_order, seed_of
from qc.pour.multiple_testing import (
    CLEAR_LEVEL,
    POSSIBLE_LEVEL,
    SeriesTest,
    _across_moulds,
    _unfooled,
    order_tests_of_batch,
)
from qc.pour.planned_mass import doses_of, overfull, unlike_plan, worked_out
from qc.pour.series import SeriesKind, content_series, mass_series
from qc.pour.trend import _flag
from qc.results.messages import message
from qc.results.pour import TrendFlag
from tests.shared.kept import differences, kept_in, plain, write_anew

FILE = Path(__file__).parent / "kept_answers.json"
ZINC = Active(
    name="zinc oxide",
    label_claim_mg=Decimal(400),
    displacement=Displacement(given=Decimal("4.7"), convention=DisplacementConvention.VALUE),
    state=State.SUSPENDED,
)
BORIC = replace(
    ZINC,
    name="boric acid",
    label_claim_mg=Decimal(100),
    displacement=Displacement(given=Decimal("0.67"), convention=DisplacementConvention.FACTOR),
    state=State.DISSOLVED,
    assay_repeatability_percent=Decimal("0.8"),
)
SHAPES: Mapping[str, Callable[[np.ndarray], np.ndarray]] = {
    "nothing": lambda at: 0.0 * at,
    "drift": lambda at: at - 0.5,
    "fall": lambda at: 0.5 - at,
    "step": lambda at: (at > 0.6) * 1.0,
    "late": lambda at: np.exp((at - 1.0) / 0.1),
    "early": lambda at: -np.exp(-at / 0.1),
    "both ends": lambda at: 4.0 * (at - 0.5) ** 2,
    "last": lambda at: (at == 1.0) * 1.0,
    "first": lambda at: (at == 0.0) * -1.0,
    "ends apart": lambda at: (at == 1.0) * 1.0 - (at == 0.0) * 1.0,
    "second apart": lambda at: 1.0 * (at == 0.0) - 1.0 * (np.arange(at.size) == 1),
    "one in the middle": lambda at: (np.arange(at.size) == at.size // 2) * 1.0,
}


def shaped(shape: str, n: int, *, by: float, scatter: float = 0.01, seed: int = 1) -> np.ndarray:
    """Values about 1 along a pour of so many units."""
    noise = np.random.Generator(np.random.Philox(seed)).standard_normal(n)
    return np.asarray(1.0 + by * SHAPES[shape](np.arange(n) / max(n - 1, 1)) + scatter * noise)


def batch(
    masses: np.ndarray,
    *,
    moulds: int = 0,
    cavities: int = 0,
    contents: Mapping[str, np.ndarray] | None = None,
    at: range | None = None,
    decimals: int = 3,
    actives: tuple[Active, ...] = (ZINC,),
    **facts: Any,
) -> Batch:
    """Masses over 2.315 g in pour order; cavities by turns, moulds one after the other; contents over the labels."""
    n = len(masses)
    units = tuple(
        Unit(
            name=str(place + 1),
            pour_order=place + 1,
            mould="ABCDEFGH"[place * moulds // n] if moulds else None,
            cavity=str(place % cavities + 1) if cavities else None,
            mass_g=Decimal(f"{2.315 * mass:.{decimals}f}"),
        )
        for place, mass in enumerate(masses)
    )
    assays = tuple(
        Assay(unit=str(place + 1), active=one.name, content_mg=Decimal(f"{float(one.label_claim_mg or 1) * value:.2f}"))
        for one in actives
        for place, value in zip(at or range(n), (contents or {}).get(one.name, ()), strict=False)
    )
    return Batch(units=units, assays=assays, actives=actives, nominal_mass_g=Decimal("2.000"), **facts)


def of_units(made: Batch, **changes: Callable[[int, Unit], Any]) -> Batch:
    units = (replace(one, **{name: of(at, one) for name, of in changes.items()}) for at, one in enumerate(made.units))
    return replace(made, units=tuple(units))


def pours(*, each: int, cavities: int) -> tuple[CavityPour, ...]:
    return tuple(
        CavityPour(mould=None, cavity=str(one + 1), base_mass_g=Decimal(f"{1.99 + 0.012 * one + 0.003 * at:.3f}"))
        for one in range(cavities)
        for at in range(each)
    )


def batches() -> dict[str, Callable[[], Batch]]:
    def zinc(shape: str, n: int, **how: Any) -> dict[str, np.ndarray]:
        return {"zinc oxide": shaped(shape, n, **how)}

    found: dict[str, Callable[[], Batch]] = {}
    for seed, shape in enumerate(SHAPES):
        by = 0.05 if seed % 2 else 0.08
        found[f"masses, {shape}"] = lambda shape=shape, by=by: batch(shaped(shape, 18, by=by))  # type: ignore[misc]
        found[f"contents of ten, {shape}"] = lambda shape=shape, seed=seed: batch(  # type: ignore[misc]
            shaped("nothing", 20, by=0.0, seed=seed),
            contents=zinc(shape, 10, by=0.15, seed=seed + 20),
            at=range(0, 20, 2),
        )
    drift = shaped("drift", 24, by=0.06, seed=3)
    cavity = np.tile([0.0, 0.02, -0.015, 0.01, -0.02, 0.005], 4)
    two = {"zinc oxide": shaped("drift", 12, by=0.2, seed=5), "boric acid": shaped("nothing", 12, by=0.0, seed=6)}
    in_parts = batch(shaped("nothing", 6, by=0.0, seed=7))
    parts = tuple(
        Assay(
            unit=str(unit + 1), active="zinc oxide", part=part, part_mass_g=Decimal("0.770"),
            content_mg=Decimal(f"{133 * (1 + 0.04 * at + 0.01 * (unit * 7 % 5)):.2f}"),
        )
        for unit in range(4)
        for at, part in enumerate((Part.END, Part.MIDDLE, Part.TIP))
    )  # fmt: skip
    return found | {
        "six cavities": lambda: batch(drift + cavity, cavities=6),
        "six cavities, calibrated": lambda: batch(drift + cavity, cavities=6, cavity_pours=pours(each=3, cavities=6)),
        "six cavities, calibrated once": lambda: batch(drift, cavities=6, cavity_pours=pours(each=1, cavities=6)),
        "some cavities calibrated": lambda: batch(drift, cavities=6, cavity_pours=pours(each=2, cavities=3)),
        "twelve cavities": lambda: batch(drift, cavities=12),
        "two moulds": lambda: batch(drift, moulds=2),
        "four moulds": lambda: batch(drift, moulds=4),
        "four moulds of six": lambda: batch(drift + cavity, moulds=4, cavities=6, contents=zinc("drift", 24, by=0.2)),
        "moulds that differ": lambda: batch(shaped("step", 24, by=0.06), moulds=2, contents=zinc("step", 24, by=0.1)),
        "cavities once each": lambda: batch(drift[:8], cavities=8),
        "contents and masses fall": lambda: batch(
            shaped("fall", 12, by=0.1), contents=zinc("fall", 12, by=0.1, seed=9)
        ),
        "contents rise with the masses": lambda: batch(
            shaped("drift", 12, by=0.1), contents={"zinc oxide": shaped("drift", 12, by=0.1)}, cavities=4
        ),
        "two actives": lambda: batch(drift[:12], actives=(ZINC, BORIC), contents=two),
        "two suspended": lambda: batch(drift[:12], actives=(ZINC, replace(BORIC, state=None)), contents=two),
        "another active of no displacement": lambda: batch(
            drift[:12], actives=(ZINC, replace(BORIC, displacement=None)), contents=two
        ),
        "contents without a label": lambda: batch(
            drift[:12], actives=(replace(ZINC, label_claim_mg=None),), contents=zinc("drift", 12, by=20.0)
        ),
        "contents in percent": lambda: replace(
            batch(drift[:12]),
            assays=tuple(
                Assay(unit=str(at + 1), active="zinc oxide", content_percent=Decimal(f"{98 + at % 4 + at / 4}"))
                for at in range(12)
            ),
        ),
        "no displacement": lambda: batch(drift[:12], actives=(replace(ZINC, displacement=None),)),
        "like the base": lambda: batch(
            drift[:12],
            actives=(
                replace(
                    ZINC, displacement=Displacement(given=Decimal("1.05"), convention=DisplacementConvention.VALUE)
                ),
            ),
        ),
        "a small dose": lambda: batch(drift[:12], actives=(replace(ZINC, label_claim_mg=Decimal(20)),)),
        "light units": lambda: batch(0.8 * drift[:12]),
        "no base": lambda: replace(batch(drift[:12]), nominal_mass_g=None),
        "assays that the masses bear out": lambda: batch(
            1.0 + 0.13 * (shaped("drift", 12, by=0.3, scatter=0.002) - 1.0),
            contents=zinc("drift", 12, by=0.3, scatter=0.01),
        ),
        "assays that the masses do not bear out": lambda: batch(
            shaped("nothing", 12, by=0.0, scatter=0.003), contents=zinc("drift", 12, by=0.3, scatter=0.01)
        ),
        "coarse": lambda: batch(shaped("nothing", 12, by=0.0, scatter=0.002), decimals=2),
        "alike": lambda: batch(np.ones(12)),
        "two": lambda: batch(drift[:2]),
        "three": lambda: batch(drift[:3]),
        "four": lambda: batch(shaped("drift", 4, by=0.2, scatter=0.001)),
        "six": lambda: batch(shaped("drift", 6, by=0.2, scatter=0.001), contents=zinc("drift", 6, by=0.2)),
        "two cavities that cannot be told apart": lambda: of_units(
            batch(drift[:8], contents=zinc("drift", 8, by=0.3)), cavity=lambda at, _: "1" if at < 4 else "2"
        ),
        "one weighed": lambda: batch(drift[:1]),
        "two weighed, calibrated": lambda: batch(drift[:2], cavities=2, cavity_pours=pours(each=2, cavities=2)),
        "in mg and in percent without a label": lambda: replace(
            batch(drift[:8], contents=zinc("drift", 8, by=0.3), actives=(replace(ZINC, label_claim_mg=None),)),
            assays=tuple(
                Assay(unit=str(at + 1), active="zinc oxide", **{measure: Decimal(90 + at)})
                for at, measure in enumerate(("content_mg", "content_percent") * 4)
            ),
        ),
        "parts in mg and in percent without a label": lambda: replace(
            in_parts,
            actives=(replace(ZINC, label_claim_mg=None),),
            assays=(*parts[:3], *(replace(one, content_mg=None, content_percent=Decimal(33)) for one in parts[3:6])),
        ),
        "some assayed units not weighed": lambda: of_units(
            batch(
                drift + cavity, cavities=6, contents=zinc("drift", 24, by=0.3),
                cavity_pours=pours(each=2, cavities=5),
            ),
            mass_g=lambda at, one: one.mass_g if at % 4 else None,
        ),
        "some assayed units without an order": lambda: of_units(
            batch(drift[:12], contents=zinc("drift", 12, by=0.3)), pour_order=lambda at, _: at + 1 if at % 3 else None
        ),
        "assayed twice": lambda: replace(
            batch(drift[:6], contents=zinc("drift", 6, by=0.3)),
            assays=tuple(
                Assay(unit=str(at % 6 + 1), active="zinc oxide", content_mg=Decimal(390 + 3 * at)) for at in range(15)
            ),
        ),
        "coarse with a last unit apart": lambda: replace(
            batch(shaped("last", 12, by=0.03, scatter=0.002), decimals=2), balance_readability_g=Decimal("0.02")
        ),
        "coarse with a first unit apart": lambda: replace(
            batch(shaped("first", 12, by=0.02, scatter=0.001), decimals=2), balance_repeatability_g=Decimal("0.012")
        ),
        "coarse contents with a last unit apart": lambda: replace(
            batch(drift[:9]),
            assays=tuple(
                Assay(unit=str(at + 1), active="zinc oxide", content_mg=Decimal(one))
                for at, one in enumerate((400, 400, 401, 400, 400, 401, 400, 401, 404))
            ),
        ),
        **{
            f"calibrated to {sum(counts) - len(counts)} degrees of freedom by {counts}": functools.partial(
                lambda counts: batch(
                    drift[:12],
                    cavities=3,
                    cavity_pours=tuple(
                        CavityPour(
                            mould=None, cavity=str(at + 1), base_mass_g=Decimal(f"{1.99 + 0.011 * at + 0.004 * no:.3f}")
                        )
                        for at, count in enumerate(counts)
                        for no in range(count)
                    ),
                ),
                counts,
            )
            for counts in ((2, 2, 1), (2, 2, 2), (3, 2, 2), (6, 1, 1, 1, 1, 1, 1, 1, 1), (4, 1, 1, 1, 1, 1))
        },
        "calibrated in one of two moulds": lambda: batch(
            drift, moulds=2, cavities=3,
            cavity_pours=tuple(
                CavityPour(mould=mould, cavity=str(at), base_mass_g=Decimal(f"2.0{at}"))
                for mould, at in (("A", 1), ("A", 2), ("A", 3), (None, 1), (None, 2))
            ),
        ),
        **{
            f"{name}, {shape}": functools.partial(
                lambda shape, orders: of_units(
                    batch(shaped(shape, 12, by=0.08, scatter=0.006)), pour_order=lambda at, _: orders[at]
                ),
                shape,
                orders,
            )
            for shape in ("first", "last", "ends apart", "second apart", "drift")
            for name, orders in (
                ("the first two together", (1, *range(1, 12))),
                ("the last two together", (*range(1, 12), 11)),
                ("both ends together", (1, *range(1, 11), 10)),
            )
        },
        "the first of two poured together not weighed": lambda: of_units(
            batch(shaped("drift", 12, by=0.1)),
            pour_order=lambda at, _: max(at, 1),
            mass_g=lambda at, one: one.mass_g if at else None,
        ),
        "the last not weighed": lambda: of_units(
            batch(shaped("drift", 12, by=0.1)), mass_g=lambda at, one: one.mass_g if at < 11 else None
        ),
        "the second of the last two not weighed": lambda: of_units(
            batch(shaped("drift", 12, by=0.1)),
            pour_order=lambda at, _: min(at, 10) + 1,
            mass_g=lambda at, one: one.mass_g if at != 10 else None,
        ),
        "contents of nothing in places of two": lambda: of_units(
            batch(drift[:3], contents={"zinc oxide": np.zeros(3)}), pour_order=lambda at, _: 1 + at // 2
        ),
        "contents of nothing in two places": lambda: of_units(
            batch(drift[:3], contents={"zinc oxide": np.zeros(3)}), pour_order=lambda at, _: 1 + (at + 1) // 2
        ),
        "three quarters of the pour": lambda: of_units(
            batch(drift[:5]), mass_g=lambda at, one: one.mass_g if at < 4 else None
        ),
        "three coarse": lambda: batch(shaped("nothing", 3, by=0.0, scatter=0.001), decimals=2),
        "four coarse": lambda: batch(shaped("nothing", 4, by=0.0, scatter=0.001), decimals=2),
        "contents by moulds, not weighed": lambda: of_units(
            batch(drift, moulds=3, contents=zinc("drift", 24, by=0.3)), mass_g=lambda *_: None
        ),
        "contents by moulds, one not weighed": lambda: of_units(
            batch(drift, moulds=3, contents=zinc("drift", 24, by=0.3)),
            mass_g=lambda at, one: one.mass_g if at else None,
        ),
        "contents by moulds, calibrated": lambda: batch(
            drift, moulds=2, cavities=3, contents=zinc("drift", 24, by=0.3),
            cavity_pours=tuple(
                CavityPour(mould=mould, cavity=str(at), base_mass_g=Decimal(f"2.0{at + 3 * (mould == 'A')}"))
                for mould in "AB"
                for at in (1, 2, 3)
            ),
        ),
        "contents by moulds and cavities once each, calibrated": lambda: of_units(
            batch(
                drift[:8], contents=zinc("drift", 8, by=0.3),
                cavity_pours=tuple(
                    CavityPour(mould=None, cavity=str(at), base_mass_g=Decimal(f"2.0{at}")) for at in range(8)
                ),
            ),
            mould=lambda at, _: "AB"[at // 4],
            cavity=lambda at, _: str(at),
        ),
        "units of less than a gram": lambda: batch(0.35 * drift[:10], contents=zinc("drift", 10, by=0.3)),
        "units of two grams and of less than one": lambda: of_units(
            batch(drift[:8], contents=zinc("drift", 8, by=0.3)),
            mass_g=lambda at, one: one.mass_g if at % 2 else Decimal("0.9"),
        ),
        "parts of some and pairs of others": lambda: replace(
            in_parts, assays=tuple(one for at, one in enumerate(parts) if at != 1)
        ),
        "parts of three and one of a fourth": lambda: replace(in_parts, assays=parts[:10]),
        "poured in pairs": lambda: of_units(batch(drift), pour_order=lambda at, _: at // 2 + 1),
        "first and last of three": lambda: of_units(
            batch(shaped("late", 12, by=0.1)), pour_order=lambda at, _: min(max(at - 1, 1), 9)
        ),
        "one place": lambda: of_units(batch(drift[:6]), pour_order=lambda *_: 1),
        "no order": lambda: of_units(batch(drift[:6]), pour_order=lambda *_: None),
        "order of weighing": lambda: of_units(
            batch(drift[:12]), pour_order=lambda *_: None, weighing_order=lambda at, _: at + 1
        ),
        "some without an order": lambda: of_units(batch(drift), pour_order=lambda at, _: at + 1 if at % 4 else None),
        "some without a mass": lambda: of_units(batch(drift), mass_g=lambda at, one: one.mass_g if at > 8 else None),
        "the middle alone": lambda: of_units(batch(drift), mass_g=lambda at, one: one.mass_g if 7 < at < 16 else None),
        "left out": lambda: of_units(batch(drift), left_out_because=lambda at, _: "dropped" if at in (0, 9) else None),
        "parts": lambda: replace(in_parts, assays=parts),
        "parts of one unit": lambda: replace(in_parts, assays=parts[:3]),
        "tips and ends": lambda: replace(in_parts, assays=tuple(one for one in parts if one.part is not Part.MIDDLE)),
        "some parts": lambda: replace(in_parts, assays=(*parts[:5], *parts[7:11])),
        "parts not weighed": lambda: replace(
            in_parts, assays=tuple(replace(one, part_mass_g=None) for one in parts)
        ),
        "parts in percent without a label": lambda: replace(
            in_parts,
            actives=(replace(ZINC, label_claim_mg=None),),
            assays=tuple(replace(one, content_mg=None, content_percent=Decimal(33)) for one in parts),
        ),
        "parts and whole units": lambda: replace(
            in_parts, assays=(*parts, Assay(unit="6", active="zinc oxide", content_mg=Decimal(401)))
        ),
        "all contents zero": lambda: batch(drift[:6], contents={"zinc oxide": np.zeros(6)}),
        "every unit assayed": lambda: batch(drift[:6], contents=zinc("nothing", 6, by=0.0)),
        "masses twice": lambda: of_units(batch(drift[:12]), weighed_again_g=lambda at, one: one.mass_g),
    }  # fmt: skip


def thinned(value: Any) -> Any:
    """Of a long list how many there are, the first two, the middle and the last; of a unit its name."""
    if isinstance(value, dict):
        if {"name", "pour_order"} <= set(value) or set(value) == {"name"}:
            return value["name"]
        return {key: thinned(one) for key, one in value.items()}
    if isinstance(value, list):
        kept = value if len(value) <= 6 else [len(value), *value[:2], value[len(value) // 2], value[-1]]
        return [thinned(one) for one in kept]
    return value


def followed(made: Batch, **options: Any) -> Any:
    return thinned(plain(analyse_pour(made, **{"seed": 7, **options})))


def corrected(made: Batch) -> Any:
    """What is worked out before anything is tested."""
    masses = corrected_masses(mass_series(made), made)
    units = [unit for unit in made.units if unit.pour_order is not None]
    fill = fill_scatter(made, masses) if made.weighed else None
    poured = {"/".join(map(str, key)): values for key, values in pours_of_cavities(made).items()}
    series, remarks = content_series(made)
    contents = [corrected_contents(one, masses, made) for one in series]
    known = {"masses": masses, "contents": contents, "remarks": remarks, "fill": fill, "layout": layout_of(units)}
    return thinned(plain({**known, "pours": poured, "base": calibrated_base(made)}))


def layouts() -> dict[str, list[Any]]:
    """How units are told apart by cavity and mould: a letter or digit a unit in pour order, a dash for none."""
    found = {}
    for cavities in (
        "1212",
        "121212",
        "112122",
        "111222",
        "12121212",
        "112211221",
        "123123123",
        "123123",
        "1233211",
        "111111112",
        "-12121212",
        "------",
        "111111",
        "1221212112",
        "11112222",
        "121211112222",
    ):
        for moulds in ("-", "AB", "BA", "AAB", "ABA"):
            size = len(cavities)
            blocks = [moulds[at * len(moulds) // size] for at in range(size)]
            for names in ({*moulds} and blocks, [moulds[at % len(moulds)] for at in range(size)]):
                units = [
                    Unit(name=str(at), pour_order=at, cavity=one.strip("-") or None, mould=mould.strip("-") or None)
                    for at, (one, mould) in enumerate(zip(cavities, names, strict=True))
                ]
                laid = layout_of(units)
                told = ["".join(map(str, one)) for one in (laid.levels, laid.blocks, laid.loose_cavities)]
                found[f"{cavities} {''.join(names)}"] = [laid.levels_are, *told]
    return found


def ends_by_themselves() -> list[Any]:
    """Series of which an end lies apart, or both do, with something left among the others or nothing."""
    found = []
    for seed in range(36):
        values = shaped(
            ("nothing", "drift", "fall")[seed % 3], 10, by=0.02 + 0.01 * (seed % 4), scatter=0.01, seed=seed
        )
        values[-1] += (0.08, -0.08, 0.0)[seed // 3 % 3]
        values[0] += (0.0, 0.09, -0.09)[seed // 9 % 3]
        one = corrected_masses(mass_series(batch(values)), batch(values))
        for kind in (SeriesKind.MASS, SeriesKind.CONTENT):
            same = replace(one, series=replace(one.series, kind=kind))
            (test,) = order_tests_of_batch([same], rising_contents=bool(seed % 2))
            assert test is not None
            found.append([test.p_alone, [[at, apart.p_value] for at, apart in test.lone]])
    return found


def plans(**facts: Any) -> Any:
    made = replace(batch(np.ones(3), actives=(ZINC, BORIC)), **facts)
    return [worked_out(made), doses_of(made), overfull(made), unlike_plan(made)]


OPTIONS: Mapping[str, dict[str, Any]] = {
    "another seed": {"seed": 8},
    "later units richer": {"later_units_richer": True},
    "a change of 3 % matters": {"important_change_percent": 3.0},
    "four at random": {"random_units": 4},
}
PLANS: Mapping[str, dict[str, Any]] = {
    "worked out": {},
    "as entered": {"planned_mass_g": Decimal("2.348")},
    "unlike": {"planned_mass_g": Decimal("2.33")},
    "one decimal": {"planned_mass_g": Decimal("2.3")},
    "no label": {"actives": (replace(ZINC, label_claim_mg=None),)},
    "overfull": {"actives": (replace(ZINC, label_claim_mg=Decimal(9500)),)},
    "full": {"actives": (replace(ZINC, label_claim_mg=Decimal(9400)),)},
    "no nominal mass": {"nominal_mass_g": None},
}
BATCHES = batches()
ANSWERS: dict[str, Callable[[], Any]] = {
    **{name: functools.partial(lambda of: followed(of()), of) for name, of in BATCHES.items()},
    **{
        f"{option}: {name}": functools.partial(lambda of, options: followed(of(), **options), BATCHES[name], options)
        for option, options in OPTIONS.items()
        for name in ("two actives", "masses, nothing", "contents and masses fall")
    },
    **{
        f"corrected: {name}": functools.partial(lambda of: corrected(of()), of)
        for name, of in BATCHES.items()
        if not name.startswith(("masses, ", "contents of ten"))
    },
    **{f"planned: {name}": functools.partial(plans, **facts) for name, facts in PLANS.items()},
    "layouts": layouts,
    "ends by themselves": ends_by_themselves,
    "lots": lambda: [[seed_of(made), *drawn_order(made, seed=5)] for made in (BATCHES["two"](), BATCHES["six"]())],
}


@pytest.mark.parametrize("name", ANSWERS)
def test_a_kept_answer_has_not_changed(name: str) -> None:
    assert list(differences(plain(ANSWERS[name]()), kept_in(FILE).get(name))) == []


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    assert list(kept_in(FILE)) == list(ANSWERS)


@pytest.mark.parametrize(
    ("p_value", "p_adjusted", "detectable", "lone", "flag"),
    [
        (CLEAR_LEVEL, CLEAR_LEVEL, 3.0, False, TrendFlag.CLEAR),
        (CLEAR_LEVEL * (1 + 1e-12), CLEAR_LEVEL, 3.0, False, TrendFlag.POSSIBLE),
        (CLEAR_LEVEL, CLEAR_LEVEL, 3.0, True, TrendFlag.POSSIBLE),
        (POSSIBLE_LEVEL, POSSIBLE_LEVEL, 3.0, False, TrendFlag.POSSIBLE),
        (POSSIBLE_LEVEL * (1 + 1e-12), POSSIBLE_LEVEL, 3.0, False, TrendFlag.CANNOT_TELL),
        (0.2, POSSIBLE_LEVEL * (1 + 1e-12), 3.0, False, TrendFlag.NONE_SEEN),
        (0.2, 0.2, 10.0, False, TrendFlag.NONE_SEEN),
        (0.2, 0.2, 10.0 * (1 + 1e-12), False, TrendFlag.CANNOT_TELL),
        (0.2, 0.2, None, False, TrendFlag.CANNOT_TELL),
    ],
)
def test_a_change_is_called_at_its_level_and_not_above_it(
    p_value: float, p_adjusted: float, detectable: float | None, lone: bool, flag: TrendFlag
) -> None:
    apart = ((0, None),) if lone else ()
    test = SeriesTest(
        p_alone=p_value,
        p_adjusted=p_adjusted,
        p_value=p_value,
        lone=apart,
        detectable=None,
        detectable_end=None,  # type: ignore[arg-type]
    )
    assert _flag(test, detectable=detectable, important=10.0) is flag


def test_the_richer_part_is_named_at_the_level_and_not_above_it(monkeypatch: pytest.MonkeyPatch) -> None:
    made = BATCHES["tips and ends"]()
    ((p_value, richer),) = ((one.p_value, one.sentence) for one in within_unit.within_units(made))
    named = []
    for level in (p_value, (p_value or 0.0) * (1 - 1e-12)):
        monkeypatch.setattr(within_unit, "CALLED", level)
        ((found),) = within_unit.within_units(made)
        named.append(found.sentence.values["richer"])  # type: ignore[union-attr]
    assert richer != message("parts.compared")
    assert named == ["tip", None]


@pytest.mark.parametrize(("scatter", "told"), [(0.06, True), (0.06 * (1 + 1e-12), False)])
def test_doses_are_told_up_to_the_scatter_at_which_they_are_of_use(
    scatter: float, told: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    """15 % of 800 mg are 0.12 g; with f = 2 a gram of mass is two of active."""
    displacement = Displacement(given=Decimal(2), convention=DisplacementConvention.VALUE)
    made = batch(np.full(4, 1.04), actives=(replace(ZINC, label_claim_mg=Decimal(800), displacement=displacement),))
    fill = Fill(own_sd=scatter)
    monkeypatch.setattr("qc.pour.dose_by_mass.fill_scatter", lambda *_: fill)
    (screen,) = dose_screens(made, corrected_masses(mass_series(made), made), important_percent=10.0)
    assert (fill.fill_sd, fill.base_sd, bool(screen.doses)) == (scatter, 0.0, told)


@pytest.mark.parametrize(
    ("value", "like_base"), [("1.11", True), ("1.12", False), ("0.91", True), ("0.90", False), ("1.0", True)]
)
def test_an_active_is_like_the_base_where_less_than_a_tenth_of_its_dose_shows_in_the_mass(
    value: str, like_base: bool
) -> None:
    displacement = Displacement(given=Decimal(value), convention=DisplacementConvention.VALUE)
    made = batch(np.full(4, 1.0), actives=(replace(ZINC, displacement=displacement),))
    (screen,) = dose_screens(made, corrected_masses(mass_series(made), made), important_percent=10.0)
    why = screen.silent_because
    assert (not isinstance(why, str) and why.id == "doses.like_base") is like_base


def test_no_dose_is_told_of_a_batch_without_a_weighed_unit() -> None:
    made = of_units(BATCHES["six"](), mass_g=lambda *_: None)
    assert dose_screens(made, corrected_masses(mass_series(made), made), important_percent=10.0) == ()


@pytest.mark.parametrize("count", [3, 4, 6])
@pytest.mark.parametrize("scatter", [0.002, 0.02])
def test_a_line_through_the_means_of_the_moulds_is_tested_as_scipy_tests_it(count: int, scatter: float) -> None:
    made = batch(shaped("drift", 24, by=0.06, scatter=scatter), moulds=count)
    one = corrected_masses(mass_series(made), made)
    blocks = np.array(one.blocks)
    assert len(set(one.blocks)) == count
    middles, means = (
        [float(of[blocks == block].mean()) for block in range(count)] for of in (one.series.order, one.tested)
    )
    assert _across_moulds(one) == pytest.approx(stats.linregress(middles, means).pvalue, rel=1e-6, abs=1e-12)


@pytest.mark.parametrize(("means", "p_value"), [((0.0, 0.0, 0.0), 1.0), ((0.0, 1.0, 2.0), 0.0), ((0.0, 1.0), 1.0)])
def test_moulds_in_one_line_leave_no_doubt_and_two_of_them_tell_nothing(
    means: tuple[float, ...], p_value: float
) -> None:
    made = batch(np.repeat(1.0 + np.arange(len(means)), 4), moulds=len(means))
    one = replace(corrected_masses(mass_series(made), made), tested=np.repeat(means, 4))
    assert _across_moulds(one) == p_value


def test_what_holds_whatever_moulds_and_cavities_differ_by_is_one_p_value_of_each_layout() -> None:
    """Cavities of one mould: within each of them; both: the line across; moulds alone: the lesser of two, doubled."""
    drift = shaped("drift", 24, by=0.3, scatter=0.002)
    cavities = batch(drift[:8], cavities=8)
    loose = of_units(batch(drift), cavity=lambda at, _: str(at // 4))
    both = of_units(batch(drift, moulds=4), cavity=lambda at, _: str(at // 3))
    moulds = batch(drift, moulds=4)
    found = {}
    for name, made in (("cavities", cavities), ("loose", loose), ("both", both), ("moulds", moulds)):
        one = corrected_masses(mass_series(made), made)
        across = _across_moulds(one) if one.blocks else None
        found[name] = bool(one.blocks), bool(one.loose_cavities), _unfooled(one), across
    assert found["both"][:2] == (True, True)
    assert found["both"][2] == found["both"][3]
    assert found["moulds"][:2] == (True, False)
    assert found["moulds"][2] <= 2 * (found["moulds"][3] or 0.0)
    assert found["loose"][:2] == (False, True)
    assert 0.0 < found["loose"][2] < POSSIBLE_LEVEL
    assert 0.9 < found["cavities"][2] <= 1.0


@pytest.mark.parametrize(
    ("entered", "unlike"), [("2.2055", False), ("2.2056", True), ("2.1945", False), ("2.1944", True), ("2.20", False)]
)
def test_a_plan_is_unlike_from_more_than_half_of_the_last_digits_on(entered: str, unlike: bool) -> None:
    """Nominal mass 2.00 +- 0.005, 0.4 g of f = 2.00 +- 0.005 (0.4 * 0.005 / 4), and half of the fourth decimal."""
    displacement = Displacement(given=Decimal("2.00"), convention=DisplacementConvention.VALUE)
    made = replace(
        batch(np.ones(3), actives=(replace(ZINC, displacement=displacement),)),
        nominal_mass_g=Decimal("2.00"),
        planned_mass_g=Decimal(entered),
    )
    assert unlike_plan(made) == (Fraction(11, 5) if unlike else None)


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
