"""What a house file says of the pour and of the causes is heard by the judge."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import pytest
from msgspec.structs import replace

from qc.assurance.posterior import pass_chance
from qc.batch import Active, Assay, Batch, Unit
from qc.causes.weigh import weigh_causes
from qc.judging.judge import judge_batch
from qc.problems import InputProblems
from qc.readers.read import read_batch
from qc.results import TrendFlag
from qc.rules.kinds import mass as mass_kind
from qc.rules.kinds.mass.record import MassBand
from qc.rules.records import Mark
from qc.rules.rule_books import load_rule, rule_book


@pytest.fixture(autouse=True)
def real_causes(no_causes: None, monkeypatch: pytest.MonkeyPatch) -> None:
    """The causes as they are; elsewhere in this folder they are left out for speed."""
    monkeypatch.setattr("qc.judging.judge.weigh_causes", weigh_causes)


@pytest.fixture
def batch() -> Batch:
    masses = ("2.012", "1.995", "2.021", "2.004", "1.988", "2.010", "2.001", "1.993", "2.015", "2.006") * 2
    contents = ("100.4", "99.1", "101.0", "98.7", "100.2", "99.6", "100.9", "98.9", "99.8", "100.5")
    return Batch(
        units=tuple(
            Unit(name=str(place), pour_order=place, mass_g=Decimal(mass)) for place, mass in enumerate(masses, start=1)
        ),
        assays=tuple(
            Assay(unit=str(2 * place), active="zinc oxide", content_percent=Decimal(content))
            for place, content in enumerate(contents, start=1)
        ),
        actives=(Active(name="zinc oxide", label_claim_mg=Decimal(300)),),
        dosage_form="suppositories",
    )


def house(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_smaller_change_that_matters_turns_none_seen_into_cannot_tell(batch: Batch, tmp_path: Path) -> None:
    usual = judge_batch(batch, book=rule_book(None), seed=1).pour
    strict = judge_batch(batch, book=rule_book(house(tmp_path, "[pour]\nimportant_change_percent = 1\n")), seed=1).pour
    assert usual is not None
    assert strict is not None
    assert usual.trend.content["zinc oxide"].flag is TrendFlag.NONE_SEEN
    assert strict.trend.content["zinc oxide"].flag is TrendFlag.CANNOT_TELL


def test_priors_of_the_house_move_the_probabilities(batch: Batch, tmp_path: Path) -> None:
    usual = judge_batch(batch, book=rule_book(None), seed=1).causes
    sure = judge_batch(batch, book=rule_book(house(tmp_path, "[causes.prior]\nsound = 50\n")), seed=1).causes
    assert sure[0].cause == usual[0].cause == "sound"
    assert sure[0].probability > usual[0].probability


def test_a_misspelt_section_of_the_causes_is_refused_by_its_name(batch: Batch, tmp_path: Path) -> None:
    book = rule_book(house(tmp_path, "[causes.priors]\nsound = 1\n"))
    with pytest.raises(InputProblems) as refusal:
        judge_batch(batch, book=book, seed=1)
    assert str(refusal.value) == 'house.toml, causes.priors: there is no section "priors". Did you mean prior?'


def test_the_chance_of_another_sample_goes_by_the_row_that_judged_the_batch(tmp_path: Path) -> None:
    """A house lowers the outer limit of suppositories alone; tablets keep a row with the same inner limit."""
    sample = Path(__file__).parents[2] / "sample_data" / "pour-step.xlsx"
    rule = """
        [[rule]]
        id = "st-outer"
        builds_on = "ph-eur-2.9.5"
        source = "Standard procedure 12, 2026"
        forms = ["suppositories"]
        outer_percent = 5.5
    """
    poured = replace(read_batch(sample), units_poured=None)
    judged = judge_batch(poured, book=rule_book(house(tmp_path, rule)))
    (mass,) = (test for test in judged.tests if test.id == "mass-uniformity")
    assert mass.mass_limits == (Decimal(5), Decimal("5.5"))
    (assured, usual) = (
        next(one for one in found.assurance if one.test == "mass-uniformity")
        for found in (judged, judge_batch(poured, book=rule_book(None)))
    )
    masses = [Fraction(unit.mass_g or 0) for unit in poured.weighed]
    percents = tuple(sorted(float(100 * one / (sum(masses) / len(masses))) for one in masses))
    band = MassBand(forms=(), limit_percent=Decimal(5), outer_percent=Decimal("5.5"), mark=Mark.HOUSE)
    plan = mass_kind.KIND.plan(load_rule("ph-eur-2.9.5"), band=band)
    theirs = pass_chance(percents, plan=plan, confidence=0.95)
    assert theirs is not None
    assert theirs is not None
    assert (assured.pass_chance, assured.pass_chance_low) == (theirs.mean, theirs.low)
    assert (assured.pass_chance or 0.0) < (usual.pass_chance or 0.0) - 0.05
