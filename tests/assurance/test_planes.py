"""Chances laid out for pictures."""

from __future__ import annotations

import itertools

import pytest

from qc.assurance.dosage_unit_chance import Precision
from qc.assurance.joint_region import joint_region
from qc.assurance.operating import pass_chances
from qc.assurance.planes import operating_curve, pass_plane
from qc.rules.kinds import kind_of
from qc.rules.rule_books import load_rule


def test_plane_holds_the_chances_of_its_grid_and_the_region_of_the_sample() -> None:
    rule = load_rule("harmonised-udu")
    region = joint_region(100, 6, n=6)
    plane = pass_plane(plan=kind_of(rule).plan(rule), rule=rule, region=region, points=9)
    assert (len(plane.chances), len(plane.chances[0])) == (len(plane.sds_percent), len(plane.means_percent)) == (9, 9)
    assert plane.region == region.corners
    at = pass_chances(plane.means_percent[4], plane.sds_percent[2], rule=rule)
    assert plane.chances[2][4] == pytest.approx(float(at.overall), abs=Precision.PICTURE.error)
    assert (plane.test, plane.rule, plane.confidence) == ("dosage-unit-uniformity", "harmonised-udu", 0.95)


def test_plane_without_a_sample_has_no_place_on_it() -> None:
    rule = load_rule("harmonised-udu")
    plane = pass_plane(plan=kind_of(rule).plan(rule), rule=rule, points=3)
    assert (plane.region, plane.sample_mean_percent, plane.sample_sd_percent) == ((), None, None)


def test_curve_falls_from_certainty_and_the_second_stage_lies_above_the_first() -> None:
    rule = load_rule("ph-eur-2.9.6-b")
    curve = operating_curve(plan=kind_of(rule).plan(rule), rule=rule, region=joint_region(100, 4, n=10), points=13)
    assert curve.overall[0] == 1.0
    assert all(later <= earlier + 1e-12 for earlier, later in itertools.pairwise(curve.overall))
    assert all(first <= overall for first, overall in zip(curve.first_stage, curve.overall, strict=True))
    assert curve.sample_sd_percent == 4
    assert curve.sd_high_percent == pytest.approx(joint_region(100, 4, n=10).sd_high)
