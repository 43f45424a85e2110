"""Chances, bounds and plans over a grid, in `kept_answers.json`: our own answers, to see what a change moves.

What confirms them stands in the other tests of this room. After a change that is meant,
`python tests/assurance/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Iterator, Sequence
from decimal import Decimal
from fractions import Fraction
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from chances import pass_chances
from msgspec.structs import replace
from scipy import stats

from qc.assurance.assure import assure_batch
from qc.assurance.dosage_unit_chance import PICTURE, stage_surface
from qc.assurance.joint_region import assured_chance, joint_region, lower_bounds
from qc.assurance.ledger import unit_ledger
from qc.assurance.operating import operating_curve, plan_chances
from qc.assurance.places import _stretch_as_long, places_found
from qc.assurance.planning import (
    acceptance_limits,
    greatest_sample_sd,
    greatest_true_sd,
    price_of_sample,
    units_needed,
)
from qc.assurance.posterior import PRIOR, chances_of, pass_chance, posterior, spoilt_shares
from qc.assurance.remaining import left_between, outside_at_most, share_between, share_outside_at_most
from qc.assurance.samples_passed import shares_passed
from qc.batch import Active, Batch, Check, Unit
from qc.results import TestResult, Verdict
from qc.rules.kinds import kind_of
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.records import Rule
from qc.rules.rule_books import load_rule, rule_ids
from qc.stats.sample_plans import AcceptanceGeometry, CountPlan, SamplePlan
from tests.assurance.test_assure import MASSES, RULES, TEN, assayed, content, dosage, mass, weighed
from tests.shared.kept import differences, kept_in, plain, write_anew

FILE = Path(__file__).parent / "kept_answers.json"
SDS = (0.0, 0.004, 0.9, 2.5, 4.0, 5.2, 6.5, 9.0, 14.0, 60.0, 130.0, 400.0)
MEANS = (82.0, 90.5, 98.5, 100.0, 104.0)
FEW = ("harmonised-udu", "chp-0107", "ph-eur-2.9.5")
SAMPLES = {
    "ten": (98.0, 101.0, 97.5, 100.0, 103.0, 96.0, 99.0, 102.0, 100.5, 98.5),
    "ten wide": (88.0, 109.0, 93.5, 100.0, 113.0, 91.0, 99.0, 106.0, 104.5, 96.5),
    "one of ten at 40": (98.0, 101.0, 97.5, 40.0, 103.0, 96.0, 99.0, 102.0, 100.5, 98.5),
    "two alike and one": (99.0, 99.0, 101.0),
    "two": (97.0, 104.0),
    "all alike": (100.0, 100.0, 100.0),
    "one": (100.0,),
    "fifty": tuple(96.0 + (17 * at % 50) / 6.1 for at in range(50)),
    "fifty-one": tuple(96.0 + (17 * at % 51) / 6.0 for at in range(51)),
    "twenty": tuple(99.0 + (7 * at % 20) / 5.0 for at in range(20)),
    "sixty": tuple(96.0 + (17 * at % 60) / 7.0 for at in range(60)),
    "sixty and one far off": (*(96.0 + (17 * at % 60) / 7.0 for at in range(59)), 130.0),
}


def chance_rules() -> dict[str, Rule]:
    return {id: rule for id in rule_ids() if kind_of(rule := load_rule(id)).chance}


def bands_of(rule: Rule) -> list[Any]:
    return [None] if not isinstance(rule, MassRule) or not rule.bands else [rule.bands[0], rule.bands[-1]]


def plan_of(id: str, **options: Any) -> SamplePlan:
    rule = load_rule(id)
    return kind_of(rule).plan(rule, band=bands_of(rule)[0], **options)


def geometry_of(**options: Any) -> AcceptanceGeometry:
    plan = plan_of("harmonised-udu", **options)
    assert isinstance(plan, AcceptanceGeometry)
    return plan


def chances(id: str) -> list[Any]:
    """Over all means where the label counts, else about the own mean."""
    rule = load_rule(id)
    found = []
    # Two rows of one table differ by their limits alone; about the label each mean is a quadrature of its own.
    for band in bands_of(rule)[: 1 if id == "br-5.1.1" else 2]:
        plan = kind_of(rule).plan(rule, band=band)
        means = (100.0,) if isinstance(plan, CountPlan) and plan.mean_low < 1.0 and id != "br-5.1.1" else MEANS
        try:
            found += [pass_chances(mean, SDS, rule=rule, band=band) for mean in means]
        except ValueError as refused:
            found.append(str(refused))
    return [
        one if isinstance(one, str) else [one.mean_percent[0], one.first_stage, one.overall, one.error_bound]
        for one in found
    ]


def of_posterior(values: tuple[float, ...]) -> Any:
    plan = geometry_of()
    if len(set(values)) < 2:
        return pass_chance(values, plan=plan, confidence=0.95)
    return {
        "shapes": [
            [
                list(PRIOR).index(one.spread),
                one.points.sum(),
                *(float(of @ one.points) for of in (one.spoilt, one.middles, one.scales)),
            ]
            for one in posterior(values)
        ],
        "chances": chances_of(values, plan=plan)[::20],
        "of few": chances_of(values, plan=plan, spoilt_at_least=0.04)[::50],
        "udu": [pass_chance(values, plan=plan, confidence=confidence) for confidence in (0.9, 0.95)],
        **{
            id: pass_chance(values, plan=plan_of(id), confidence=0.95)
            for id in ("ph-eur-2.9.5", "ph-eur-2.9.6-b", "chp-0107")
        },
    }


def places(orders: str, *, whole: int | None) -> Any:
    """The pour orders of the units, those measured with a star; "-" where none is known."""
    units = tuple(
        Unit(name=str(at), pour_order=int(one.strip("*")) if one.strip("*") != "-" else None)
        for at, one in enumerate(orders.split())
    )
    measured = {str(at) for at, one in enumerate(orders.split()) if "*" in one}
    found = places_found(Batch(units=units), measured=measured, whole=whole)
    return found and [found, found.random]


def bounded(low: int, high: int) -> list[Any]:
    """By a house rule of two stages that bounds the mean of the first besides."""
    rule = load_rule("ph-eur-2.9.6-b")
    assert isinstance(rule, ContentRule)
    rule = replace(rule, mean_low_percent=Decimal(low), mean_high_percent=Decimal(high))
    found = [pass_chances(mean, [4.0, 7.0, 9.0, 14.0, 130.0], rule=rule) for mean in (94.0, 98.5, 104.0)]
    return [[one.first_stage, one.overall] for one in found]


def passed(id: str) -> list[Any]:
    middle = np.array([91.0, 98.0, 100.0, 103.0, 100.0, 100.0, 100.0])
    scale = np.array([2.0, 4.0, 6.0, 5.0, 8.0, 3.0, 12.0])
    return [shares_passed(middle, scale, plan=plan_of(id), spread=spread) for spread in PRIOR]


def plans() -> dict[str, Any]:
    plan = geometry_of()
    region = joint_region(98.0, 3.1, n=12, confidence=0.9)
    grid = np.array([(mean, sd) for mean in (84.0, 97.0, 101.0, 112.0) for sd in (0.3, 3.0, 7.0)]).T
    return {
        "region": region,
        "region at 95": joint_region(103.0, 5.0, n=30),
        "bounds": lower_bounds(*grid, geometry=plan),
        "assured": [
            assured_chance(joint_region(mean, sd, n=n), geometry=plan)
            for mean, sd, n in ((100.0, 3.0, 10), (96.0, 4.0, 30), (108.0, 2.0, 15), (100.0, 9.0, 8), (86.0, 0.5, 10))
        ],
        "greatest": [
            greatest_sample_sd(mean, n=n, plan=geometry_of(target_percent=target), wanted=wanted, confidence=confidence)
            for mean, n, target, wanted, confidence in (
                (100.0, 10, 100.0, 0.95, 0.95), (92.0, 30, 100.0, 0.9, 0.95), (104.0, 20, 104.0, 0.95, 0.9),
                (84.5, 200, 100.0, 0.95, 0.95), (83.0, 10, 100.0, 0.95, 0.95), (117.0, 10, 100.0, 0.5, 0.5),
            )
        ],
        "limits": acceptance_limits(plan=plan, means=[88, 100, 110], numbers=[10, 24], wanted=0.9, confidence=0.9),
        "needed": [
            units_needed(mean, sd, plan=plan) for mean, sd in ((100, 2), (96, 3.5), (100, 5.9), (100, 7), (110, 1))
        ],
        "true": [
            greatest_true_sd(mean, plan=plan_of(id), chance=chance)
            for id, mean, chance in (
                ("harmonised-udu", 100, 0.95), ("harmonised-udu", 95, 0.5), ("harmonised-udu", 80, 0.95),
                ("ph-eur-2.9.5", 100, 0.9), ("chp-0107", 100, 0.95),
            )
        ],
        "price": {
            id: price_of_sample(plan=plan_of(id), numbers=(6, 7, 14), sound=(100, 4), poor=(97, 9)) for id in FEW
        },
        "curves": {
            id: operating_curve(plan=plan_of(id), rule=load_rule(id), mean=100.0, reach=9.0, points=7) for id in FEW
        },
        "target": pass_chances([97, 103], 5, rule=load_rule(FEW[0]), target_percent=105.0, rounded=True).overall,
    }  # fmt: skip


def surface(**changes: Any) -> Any:
    """The surface of a rule of two stages at a few of its places, whole and as for a picture."""
    plan = replace(geometry_of(), **changes)
    found = []
    for fine in (1.0, PICTURE):
        one = stage_surface(plan, fine=fine)
        sums = [float((one.sd_weight * of).sum()) for of in (one.chance, one.error, one.log_sd)]
        found.append([one.mean.size, sums, one.mean[::90], one.chance[::90, 5::12], one.error[::90, 5::12]])
    chances = plan_chances([97.0, 106.0], [4.0, 6.0], plan=plan, fine=PICTURE)
    return [*found, chances.overall, chances.error_bound]


def assured(tests: Sequence[TestResult], batch: Batch, **options: Any) -> Any:
    """What is said of each; and once more with a ledger that has released fewer."""
    ledger = unit_ledger(replace(batch, units_sampled=12, units_rejected=3), checks=())
    found = assure_batch(tests=tests, book_rules=RULES, batch=batch, ledger=ledger, **options)
    return [
        assure_batch(tests=tests, book_rules=RULES, batch=batch, **options),
        ledger,
        [one.units_left for one in found],
    ]


def batches() -> Iterator[tuple[str, Callable[[], Any]]]:
    """Batches with the tests that were judged of them."""
    poor, wide = ("99", "80", *TEN[2:]), ("88", "109", "93.5", "100", "113", "91", "99", "106", "104.5", "96.5")
    heavy = (*MASSES[:-1], "2.06")
    every = (dosage(), content(), content(rule="ph-eur-2.9.6-c"), mass())
    listed: dict[str, tuple[Sequence[TestResult], Batch]] = {
        "ten contents": (every, assayed()),
        "ten contents, the number of units unknown": (every, assayed(poured=None)),
        "ten contents, no order": (every, assayed(ordered=False)),
        "the first ten": (every, assayed(at=range(1, 11))),
        "one poor": (every, assayed(poor)),
        "wide": (every, assayed(wide)),
        "a target": ((dosage(target=102.0),), assayed()),
        "alike": ((dosage(), content()), assayed(("100",) * 10)),
        "two": ((dosage(),), assayed(("99", "101"), at=(3, 20))),
        "one": ((dosage(), content()), assayed(("99",), at=(3,))),
        "one mass": ((mass(),), weighed("2.01", poured=24)),
        "twenty masses": ((mass(), mass(rule="chp-0107")), weighed(*MASSES)),
        "twenty masses of thirty": ((mass(), mass(rule="chp-0107"), mass(limit=None)), weighed(*MASSES, poured=30)),
        "a planned mass": ((mass(), mass(rule="chp-0107")), weighed(*heavy, poured=24, planned="2.00")),
        "no test of units": (
            (replace(mass(), figures={}), replace(mass(), n=1), replace(mass(), rule="none")),
            weighed(*MASSES),
        ),
    }
    for name, (tests, batch) in listed.items():
        yield f"assured: {name}", functools.partial(assured, tests, batch)
    of_mass = Active(name="A", label_claim_mg=Decimal(100), batch_assay_percent=Decimal("98.2"))
    for percent in (of_mass, replace(of_mass, batch_assay_percent=None)):
        batch = replace(weighed(*MASSES, poured=24), actives=(percent,))
        yield f"assured: by mass, assay {percent.batch_assay_percent}", functools.partial(assured, (dosage(),), batch)
    yield "assured: with less confidence", functools.partial(assured, every, assayed(), confidence=0.8)


def fates(**facts: Any) -> Any:
    """A batch of 24 with ten assayed and one left out, and what was entered of its counts."""
    batch = assayed(poured=None)
    out = replace(batch.units[2], left_out_because="dropped", mass_g=None)
    checks = (Check(name="disintegration", result="9 min"), Check(name="softening"))
    told = replace(batch, units=(*batch.units[:2], out, *batch.units[3:]), checks=checks, **facts)
    tests = [
        (TestResult(id="check", rule=rule, verdict=Verdict.COMPLIES, n=n, subject=of), load_rule(rule))
        for rule, n, of in (("ph-eur-2.9.2", 3, "disintegration"), ("ph-eur-2.9.22", 1, "softening"))
    ]
    return [unit_ledger(told, checks=tests), unit_ledger(told, checks=())]


COUNTS: tuple[dict[str, Any], ...] = (
    {},
    {"units_poured": 24},
    {"units_poured": 20},
    {"units_poured": 40, "units_obtained": 30},
    {"units_poured": 30, "units_obtained": 31, "units_rejected": 4, "units_sampled": 9, "units_released": 20},
    {"units_poured": 30, "units_sampled": 18, "units_released": 12, "quantity_released": "12 suppositories"},
    {"units_poured": 30, "units_released": 10, "quantity_released": "11"},
    {"units_poured": 30, "quantity_released": "2 boxes of 6"},
    {"units_poured": 30, "quantity_released": "2 boxes"},
    {"units_poured": 30, "quantity_released": "10.5"},
    {"units_poured": 30, "quantity_released": "17 pieces"},
    {"units_poured": 24, "units_sampled": 24},
    {"units_poured": 24, "units_sampled": 25},
    {"units_poured": 24, "units_rejected": 14},
    {"units_poured": 24, "units_rejected": 15, "units_released": 0},
    {"units_poured": 26, "units_rejected": 20, "units_sampled": 14},
)


ANSWERS: dict[str, Callable[[], Any]] = {
    **{f"chances by {id}": functools.partial(chances, id) for id in chance_rules()},
    **{
        f"chances within {low} to {high} %": functools.partial(bounded, low, high)
        for low, high in ((95, 105), (90, 99))
    },
    **{f"samples passed by {id}": functools.partial(passed, id) for id in chance_rules()},
    **{f"posterior of {name}": functools.partial(of_posterior, values) for name, values in SAMPLES.items()},
    "spoilt": lambda: {
        n: {f"{share:.6g}": prior for share, prior in spoilt_shares(n).items()} for n in (2, 10, 40, 300)
    },
    "plans": plans,
    "surface": surface,
    "surface of tight limits": functools.partial(surface, unit_fraction=0.15),
    "surface of other sizes": functools.partial(surface, first_size=8, second_size=12, limit=12.0),
    **dict(batches()),
    **{f"units: {counts}": functools.partial(fates, **counts) for counts in COUNTS},
    **{
        f"places {orders}, of {whole}": functools.partial(places, orders, whole=whole)
        for orders, whole in (
            ("1 2* 3 4* 5 6* 7 8*", 8),
            ("1* 2* 3* 4 5 6 7 8 9 10", None),
            ("1 2 3 4 5 6 7 8* 9* 10*", 10),
            ("1* 3 4* 6*", 12),
            ("1* 3 4* 6*", 5),
            ("1* 1 2 2* 3 3* 4 4*", 12),
            ("1* 2* - 4 5", 5),
            ("1* -* 3", 3),
            ("1 2 3", 3),
            ("1*", 1),
            ("1*", 2),
            ("2*", 2),
            ("1* 2", 2),
            ("1* 1", 2),
            ("3*", None),
            ("1* 2* 3*", 3),
            ("1* 2 3 4 5 6 7 8 9 10 11 12*", 12),
            ("1 2 3 4 5 6* 7* 8 9 10 11 12", 12),
            ("1* 1* 1* 1* 2 2 2 2 3 3 3 3", 12),
        )
    },
}


@pytest.mark.parametrize("name", ANSWERS)
def test_a_kept_answer_has_not_changed(name: str) -> None:
    assert list(differences(plain(ANSWERS[name]()), kept_in(FILE).get(name))) == []


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    assert list(kept_in(FILE)) == list(ANSWERS)


@pytest.mark.parametrize("n", [2, 3, 5, 10, 20])
@pytest.mark.parametrize("left", [1, 4, 14, 60])
@pytest.mark.parametrize("confidence", [0.9, 0.95])
def test_the_units_left_between_the_ends_are_as_many_as_the_negative_hypergeometric_says(
    n: int, left: int, confidence: float
) -> None:
    """Of n + left units in any order, so many of those left lie beyond the least and the greatest of the n: as many as
    are drawn before the second of the n marked ones.
    """
    sure = [
        within
        for within in range(left, 0, -1)
        if stats.nhypergeom.cdf(left - within, n + left, left, 2) >= confidence - 1e-12
    ]
    assert left_between(n, left=left, confidence=confidence) == (min(sure_most(sure), left) or None)


def sure_most(sure: list[int]) -> int:
    return max(sure, default=0)


@pytest.mark.parametrize("n", [2, 5, 10, 30])
def test_shares_of_a_pour_are_those_of_the_beta_distribution(n: int) -> None:
    for confidence in (0.8, 0.95, 0.99):
        assert share_between(n, confidence=confidence) == pytest.approx(
            stats.beta.ppf(1.0 - confidence, n - 1, 2), abs=1e-9
        )
        for found in range(min(n, 4)):
            values = [Fraction(100)] * (n - found) + [Fraction(111)] * found
            assert share_outside_at_most(values, limit=Fraction(10), confidence=confidence) == pytest.approx(
                stats.beta.ppf(confidence, found + 1, n - found), abs=1e-9
            )


@pytest.mark.parametrize(("n", "whole"), [(3, 3), (5, 12), (10, 24), (10, 300)])
@pytest.mark.parametrize("found", [0, 1, 2])
def test_units_outside_are_at_most_those_that_the_hypergeometric_would_hardly_miss(
    n: int, whole: int, found: int
) -> None:
    values = [Fraction(90), Fraction(110)] * n
    values = values[: n - found] + [Fraction(899, 10), Fraction(1101, 10)][:found]
    possible = [
        marked for marked in range(found, whole - n + found + 1) if stats.hypergeom.cdf(found, whole, marked, n) > 0.05
    ]
    bound = max(possible)
    told = outside_at_most(values, limit=Fraction(10), whole=whole, confidence=0.95)
    assert told == (bound if bound < whole - (n - found) or n == whole else None)


@pytest.mark.parametrize(("n", "whole"), [(1, 6), (3, 9), (4, 11), (6, 12), (5, 5)])
def test_a_stretch_is_as_long_in_as_many_draws_as_there_are_such(n: int, whole: int) -> None:
    """Every draw of so many places is looked at."""
    longest = []
    for draw in combinations(range(1, whole + 1), n):
        ends = (0, *draw, whole + 1)
        longest.append(max(later - earlier - 1 for earlier, later in pairwise(ends)))
    for count in range(1, whole - n + 1):
        share = sum(one >= count for one in longest) / len(longest)
        assert _stretch_as_long(count, n=n, whole=whole) == pytest.approx(share, abs=1e-12)


def test_a_curve_has_its_points_from_end_to_end() -> None:
    curve = operating_curve(plan=geometry_of(), rule=load_rule("harmonised-udu"), mean=100.0, reach=9.0)
    assert (len(curve.sds_percent), curve.sds_percent[0], curve.sds_percent[-1]) == (61, 0.0, 9.0)


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
