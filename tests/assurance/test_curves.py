"""Chances laid out for a picture."""

from __future__ import annotations

import itertools

import pytest

from qc.assurance.curves import operating_curve
from qc.assurance.joint_region import joint_region
from qc.rules.kinds import kind_of
from qc.rules.rule_books import load_rule


def test_curve_falls_from_certainty_and_the_second_stage_lies_above_the_first() -> None:
    rule = load_rule("ph-eur-2.9.6-b")
    curve = operating_curve(plan=kind_of(rule).plan(rule), rule=rule, region=joint_region(100, 4, n=10), points=13)
    assert curve.overall[0] == 1.0
    assert all(later <= earlier + 1e-12 for earlier, later in itertools.pairwise(curve.overall))
    assert all(first <= overall for first, overall in zip(curve.first_stage, curve.overall, strict=True))
    assert curve.sample_sd_percent == 4
    assert curve.region == joint_region(100, 4, n=10).corners
    assert curve.sd_high_percent == pytest.approx(joint_region(100, 4, n=10).sd_high)
