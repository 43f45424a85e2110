"""Published lists of single masses: what follows from them, what their sources print, and why the two may differ."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from qc.quantities import mean
from qc.results import TestResult
from qc.rules.kinds.mass.procedure import judge_masses
from qc.rules.kinds.mass.record import MassRule
from qc.rules.looks import look_at
from qc.rules.measured import Measured
from qc.rules.rule_books import load_rule

REFERENCE = Path(__file__).parent


def judged(masses: Sequence[Decimal], *, form: str, rule: str = "ph-eur-2.9.5") -> TestResult:
    record = load_rule(rule)
    assert isinstance(record, MassRule)
    sample = [Measured(unit=str(n), value=Fraction(mass)) for n, mass in enumerate(masses, 1)]
    return judge_masses(sample, rule=record, form=form)


def deviations_percent(masses: Sequence[Decimal]) -> tuple[Fraction, ...]:
    """How far each mass lies from the mean, as the tests work it out [% of mean]."""
    sample = [Measured(unit=str(n), value=Fraction(mass)) for n, mass in enumerate(masses, 1)]
    return look_at(sample, others=(), centre=mean([one.value for one in sample])).deviations


def load(name: str) -> dict[str, Any]:
    return tomllib.loads((REFERENCE / f"{name}.toml").read_text(encoding="utf-8"), parse_float=Decimal)


def agrees(value: float | Fraction, shown: Decimal | int) -> bool:
    """Whether a value rounds to the digits shown, no finer and no coarser."""
    places = -int(Decimal(shown).as_tuple().exponent)
    return abs(Fraction(value) - Fraction(shown)) <= Fraction(1, 2 * 10**places)


MASS_EXAMPLES = sorted(path.stem for pattern in ("mass-*", "spread-*") for path in REFERENCE.glob(f"{pattern}.toml"))


@pytest.mark.parametrize("name", MASS_EXAMPLES)
class TestPublishedMasses:
    """Published lists of single masses, recomputed; each file says why its printed figures differ, if they do."""

    def test_the_figures_agree_to_the_digits_recomputed(self, name: str) -> None:
        example = load(name)
        recomputed = example["recomputed"]
        masses = example["inputs"]["masses_g"]
        result = judged(masses, form=example["inputs"]["form"])
        assert result.n == recomputed["n"] == len(masses)
        for figure in ("mean_g", "sd_g", "rsd_percent"):
            value = result.figures[figure]
            assert value is not None
            assert agrees(value, recomputed[figure]), figure
        mean_g = sum(map(Fraction, masses)) / len(masses)
        deviations = [(Fraction(mass) - mean_g) / mean_g * 100 for mass in masses]
        assert agrees(max(deviations), recomputed["greatest_above_percent"])
        assert agrees(min(deviations), recomputed["greatest_below_percent"])
        farthest = result.figures["greatest_deviation_percent"]
        assert farthest is not None
        assert agrees(
            farthest, max(recomputed["greatest_above_percent"], recomputed["greatest_below_percent"], key=abs)
        )

    def test_the_sd_is_not_the_one_with_n(self, name: str) -> None:
        example = load(name)
        value = judged(example["inputs"]["masses_g"], form=example["inputs"]["form"]).figures["sd_g"]
        assert value is not None
        assert not agrees(value, example["recomputed"]["sd_with_n_g"])

    def test_the_verdict_of_each_rule(self, name: str) -> None:
        example = load(name)
        assert example["judged"]
        for judged_by in example["judged"]:
            result = judged(example["inputs"]["masses_g"], form=example["inputs"]["form"], rule=judged_by["rule"])
            assert result.figures["limit_percent"] == float(judged_by["limit_percent"])
            assert [int(unit.unit) for unit in result.outside] == judged_by["beyond_limit"]
            assert result.figures["beyond_double"] == len(judged_by["beyond_double"])
            assert result.verdict == judged_by["verdict"]


class TestSlipsOfThePrintedSources:
    """Where a printed figure differs from ours, the stated cause gives the printed one back."""

    def test_paracetamol_deviations_are_those_from_a_rounded_mean(self) -> None:
        example = load("mass-paracetamol-tablets-20")
        masses, printed = example["inputs"]["masses_g"], example["printed"]["absolute_deviation_percent"]
        rounded_mean = Fraction("0.680")
        assert all(
            agrees(abs(Fraction(mass) - rounded_mean) / rounded_mean * 100, value if value else Decimal("0.000"))
            for mass, value in zip(masses, printed, strict=True)
        )
        found = deviations_percent(masses)
        worst = max(abs(abs(one) - Fraction(value)) for one, value in zip(found, printed, strict=True))
        assert Fraction("0.05") < worst < Fraction("0.065")

    @pytest.mark.parametrize("name", ["mass-isoniazid-1-20", "mass-isoniazid-2-20"])
    def test_isoniazid_percentages_differ_only_where_the_source_slipped(self, name: str) -> None:
        example = load(name)
        masses, printed = example["inputs"]["masses_g"], example["printed"]["percent_of_mean"]
        slips = {
            unit
            for unit, (found, value) in enumerate(zip(deviations_percent(masses), printed, strict=True), 1)
            if abs(100 + found - Fraction(value)) > Fraction("0.1")
        }
        assert slips == {entry["unit"] for entry in example["recomputed"]["slips"]}

    def test_lithium_spread_is_that_of_a_variance_rounded_too_early(self) -> None:
        example = load("spread-lithium-10")
        result = judged(example["inputs"]["masses_g"], form=example["inputs"]["form"])
        sd_g = result.figures["sd_g"]
        assert sd_g is not None
        rounded_up = Decimal(sd_g**2).quantize(Decimal("0.01"), rounding="ROUND_UP")
        assert rounded_up == example["printed"]["variance_g2"]
        rsd = rounded_up.sqrt() / Decimal("6.335") * 100
        assert abs(rsd - example["printed"]["rsd_percent"]) < Decimal("0.01")
