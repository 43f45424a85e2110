"""What is open before release has an act that closes it, with what the act has to show."""

from __future__ import annotations

from decimal import Decimal
from functools import partial

import numpy as np
import pytest

from qc.batch import Batch
from qc.causes.model import TAUGHT
from qc.judging.closing import acts_before_release, agree_within_g
from qc.results import NextMeasurement, UnitLedger, message
from qc.say.messages import all_words, words

RECORDS = (
    "check the raw record, label claim, formula, weighing of the active, filling and assay: if each stands, this is "
    "closed; if not, correct it and make a new report"
)
IF_NOT = "the cause has not reached the dose and this is closed; if not, reject the batch"
ENDS = f"assay units 2 and 23: if each content lies within ±15 % of the mean content, {IF_NOT}"
AGAIN = (
    "weigh units 1 and 4 again on another balance: if each mass agrees with its first within 0.0032 g, the balance is "
    "not at fault; if not, enter the second masses with the reason and make a new report"
)
WHOLE = (
    "see that the label forbids dividing a unit, as its parts differ: if it does, this is closed; if not, "
    "correct the label or do not release"
)
WEIGHED = Batch(units=(), balance_repeatability_g=Decimal("0.001"))
MEASUREMENTS = [
    NextMeasurement(what=message(id, units=units), units=units, bits=1.0, open_bits=1.0, effort=1.0, between=("a", "b"))
    for id, units in (
        ("causes.weigh_again", ("1", "4")),
        ("causes.assay_units", ("2", "23")),
        ("causes.assay_units", ("2", "5", "23")),
    )
]


def left(units: int) -> UnitLedger:
    return UnitLedger(
        whole=30,
        weighed_and_kept=units,
        assayed=30 - units,
        other_tests=0,
        rejected=0,
        retained=0,
        left=0,
        released=None,
        released_at_most=units,
    )


@pytest.mark.parametrize(
    ("causes", "changed", "told"),
    [
        (("uneven-fill",), True, [ENDS]),
        ((), True, [ENDS]),
        (("melt-thickening", "balance-drift"), True, [AGAIN, ENDS]),
        (("balance-drift",), True, [AGAIN]),
        (("settling-in-unit",), False, [WHOLE]),
        (("settling-in-unit",), True, [ENDS, WHOLE]),
        (("wrong-displacement",), False, [RECORDS]),
        (("something-else",), True, [ENDS, RECORDS]),
    ],
)
def test_each_cause_has_the_act_that_shows_what_no_test_saw(
    causes: tuple[str, ...], changed: bool, told: list[str]
) -> None:
    limits = {"inner_percent": Decimal(15), "agree_within_g": partial(agree_within_g, batch=WEIGHED)}
    acts = acts_before_release(causes, changed=changed, measurements=MEASUREMENTS, **limits)
    assert list(all_words(acts)) == told


@pytest.mark.parametrize("cause", [*TAUGHT, "something-else"])
@pytest.mark.parametrize("measurements", [(), MEASUREMENTS])
def test_no_cause_is_left_without_an_act(cause: str, measurements: list[NextMeasurement]) -> None:
    assert acts_before_release((cause,), changed=False, measurements=measurements)


@pytest.mark.parametrize(("units", "told"), [(2, RECORDS), (3, ENDS)])
def test_the_last_units_are_not_assayed_to_release_them(units: int, told: str) -> None:
    (act,) = acts_before_release(
        ("uneven-fill",), changed=True, measurements=MEASUREMENTS, ledger=left(units), inner_percent=Decimal(15)
    )
    assert words(act) == told


def test_without_a_limit_of_contents_an_assay_is_held_against_the_content_test() -> None:
    (act,) = acts_before_release((), changed=True, measurements=MEASUREMENTS)
    assert words(act) == f"assay units 2 and 23: if each content meets the limits of the content test, {IF_NOT}"


@pytest.mark.parametrize(("units", "step"), [(1, "0.001"), (3, "0.0001"), (6, "0.001"), (8, "0.01")])
def test_masses_on_two_sound_balances_agree_nineteen_times_in_twenty(units: int, step: str) -> None:
    sd, lot = 0.0008, np.random.Generator(np.random.Philox(2711))
    batch = Batch(units=(), balance_repeatability_g=Decimal("0.0008"), balance_readability_g=Decimal(step))
    within = agree_within_g(units, batch=batch)
    assert within is not None
    assert within % Decimal(step) == 0
    true = lot.uniform(2.0, 2.1, (20_000, units))
    first, second = (np.round((true + lot.normal(0.0, sd, true.shape)) / float(step)) for _ in range(2))
    agree = (np.abs(first - second) <= float(within / Decimal(step)) + 1e-6).all(axis=1).mean()
    assert agree >= 0.945
    # A balance that is off by twice as much as may lie between two masses is seen.
    assert (np.abs(first + 2 * float(within / Decimal(step)) - second) > float(within) / float(step)).any(
        axis=1
    ).mean() > 0.5


def test_without_the_repeatability_of_the_balance_it_is_left_to_the_balances() -> None:
    assert agree_within_g(2, batch=Batch(units=())) is None
    (act,) = acts_before_release(("balance-drift",), changed=False, measurements=MEASUREMENTS)
    assert "agrees with its first within what the two balances repeat to" in words(act)
