"""The priors file: complete, with its reasons, and a house file that can set it but not misspell it."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from importlib.resources import files

import numpy as np
import pytest

from qc.causes.drawing import Drawn
from qc.causes.model import CAUSE_IDS
from qc.causes.priors import LogNormal, Priors, PriorsError, builtin_priors, house_priors
from qc.causes.weigh import weigh_causes


def test_every_cause_has_its_prior_and_they_add_up_to_one() -> None:
    before = builtin_priors().prior()
    assert tuple(before) == CAUSE_IDS
    assert sum(before.values()) == pytest.approx(1.0)


def test_every_section_gives_its_reason() -> None:
    text = (files("qc.causes") / "data" / "priors.toml").read_text(encoding="utf-8")
    for section in text.split("\n[")[1:]:
        assert "\n#" in section, section.splitlines()[0]


def test_a_size_stays_within_its_bounds_and_keeps_its_median() -> None:
    size = LogNormal(median=0.1, factor=1.5, least=0.05, most=0.2)
    values = size.quantile(np.array([1e-6, 0.5, 1 - 1e-6]))
    assert values[0] == pytest.approx(0.05, rel=1e-3)
    assert values[1] == pytest.approx(0.1, rel=0.05)
    assert values[2] == pytest.approx(0.2, rel=1e-3)


def test_a_house_sets_what_it_names_and_keeps_the_rest() -> None:
    priors = house_priors({"prior": {"sound": 0.9}, "background": {"fill": {"median": 0.02}}}, file="house.toml")
    assert priors.number("prior", "sound") == 0.9
    assert priors.size("background", "fill") == LogNormal(median=0.02, factor=1.55)
    assert priors.number("prior", "active-lost") == 0.034


@pytest.mark.parametrize(
    ("settings", "message"),
    [
        ({"priors": {"sound": 1}}, 'causes.priors: there is no section "priors". Did you mean prior?'),
        ({"before": {"sound": 1}}, 'causes.before: there is no section "before". Did you mean prior?'),
        ({"prior": {"sond": 1}}, 'causes.prior.sond: there is no key "sond". Did you mean sound?'),
        (
            {"prior": {"sound": -1}},
            "causes.prior.sound: -1 cannot be used. Type a number from 0 to 1000000, for example 0.477.",
        ),
        (
            {"prior": {"sound": Decimal("NaN")}},
            "causes.prior.sound: NaN cannot be used. Type a number from 0 to 1000000, for example 0.477.",
        ),
        (
            {"background": {"fill": {"median": float("inf")}}},
            "causes.background.fill.median: inf cannot be used. Type a number from 0 to 1000000, for example 0.0095.",
        ),
        (
            {"background": {"fill": 0.02}},
            "causes.background.fill: 0.02 is not a size. Type a size, for example { median = 0.0095 }.",
        ),
        (
            {"background": {"fill": {"middle": 0.02}}},
            'causes.background.fill.middle: there is no key "middle". Did you mean median?',
        ),
        (
            {"prior": 1},
            "causes.prior: a value stands where a section is meant. Put the values under a line [causes.prior].",
        ),
    ],
)
def test_what_a_house_may_not_say(settings: dict[str, object], message: str) -> None:
    with pytest.raises(PriorsError) as refusal:
        house_priors(settings, file="house.toml")
    assert str(refusal.value) == f"house.toml, {message}"


def test_shares_of_nothing_are_allowed(draw: Callable[..., Drawn]) -> None:
    shares = {
        "settling-in-pour": ("falling", "loss", "ends", "dissolved_weight"),
        "settling-in-unit": ("falling",),
        "poor-mixing": ("streaks",),
        "uneven-fill": ("wandering",),
        "cavity-differences": ("moulds", "one_cavity"),
        "wrong-displacement": ("inverted", "topped_up"),
        "slip-of-pen": ("exchanged_digits", "shifted_point", "other", "two"),
        "pairs": ("second_fault",),
    }
    sections = {name: dict(section) for name, section in builtin_priors().sections.items()}
    for section, keys in shares.items():
        for key in keys:
            sections[section][key] = 0.0
    sections["prior"]["balance-drift"] = 0.0
    found = weigh_causes(draw("active-lost").batch, priors=Priors(sections=sections))
    assert found.causes[0].cause == "active-lost"
    assert {one.cause: one.probability for one in found.causes}["balance-drift"] == 0.0
