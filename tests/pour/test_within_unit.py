"""Tip, middle and end of the same units."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from decimal import Decimal

import numpy as np
import pytest
from scipy import stats

from qc.batch import Assay, Batch, Part, Unit
from qc.pour.within_unit import within_units
from qc.say.messages import words


def batch(units: Sequence[Mapping[Part, float]], *, part_mass: str | None = "0.700") -> Batch:
    assays = tuple(
        Assay(
            unit=str(index),
            active="A",
            part=part,
            content_mg=Decimal(f"{content:.3f}"),
            part_mass_g=Decimal(part_mass) if part_mass else None,
        )
        for index, parts in enumerate(units)
        for part, content in parts.items()
    )
    return Batch(units=tuple(Unit(name=str(index)) for index in range(len(units))), assays=assays)


def test_ratio_interval_and_p_are_those_of_a_paired_t_test_on_logarithms() -> None:
    tips, ends = [36.2, 35.1, 37.0, 35.9], [33.0, 33.4, 34.1, 32.8]
    found = within_units(batch([{Part.TIP: tip, Part.END: end} for tip, end in zip(tips, ends, strict=True)]))
    assert [one.parts for one in found] == ["tip over end"]
    theirs = stats.ttest_rel(np.log(tips), np.log(ends))
    interval = theirs.confidence_interval(0.95)
    assert found[0].n == 4
    assert found[0].ratio == pytest.approx(math.exp(np.mean(np.log(tips) - np.log(ends))))
    assert found[0].p_value == pytest.approx(theirs.pvalue)
    assert [found[0].low, found[0].high] == pytest.approx([math.exp(interval.low), math.exp(interval.high)])
    assert words(found[0].sentence) == (
        "Within units, A: tip over end 1.082 (95 % interval 1.048 to 1.116, 4 units): the tip is the richer part. "
        "The parts differ by 8.2 %; whole units differ among themselves by 1.7 % RSD."
    )


def test_three_parts_make_three_pairs() -> None:
    parts = {Part.TIP: 34.0, Part.MIDDLE: 33.5, Part.END: 33.0}
    found = within_units(batch([parts, parts]))
    assert [one.parts for one in found] == ["tip over end", "tip over middle", "middle over end"]


def test_three_pairs_share_the_five_percent_in_p_and_in_interval() -> None:
    """Bonferroni: three times the p of each pair alone, and intervals at 1 - 0.05/3."""
    random = np.random.Generator(np.random.Philox(11))
    measured = 33 * (1 + 0.01 * random.standard_normal((6, 3)) + np.array([0.02, 0.0, 0.0]))
    found = within_units(batch([dict(zip((Part.TIP, Part.MIDDLE, Part.END), row, strict=True)) for row in measured]))
    logs = np.log(measured.round(3))
    for one, (first, second) in zip(found, ((0, 2), (0, 1), (1, 2)), strict=True):
        theirs = stats.ttest_rel(logs[:, first], logs[:, second])
        interval = theirs.confidence_interval(1 - 0.05 / 3)
        assert one.p_value == pytest.approx(min(1.0, 3 * theirs.pvalue))
        assert (one.low, one.high) == pytest.approx((math.exp(interval.low), math.exp(interval.high)))
        assert ", for 3 pairs of parts together, 6 units)" in words(one.sentence)


def test_one_unit_has_a_ratio_and_no_interval() -> None:
    found = within_units(batch([{Part.TIP: 36.0, Part.END: 33.0}]))[0]
    assert found.ratio == pytest.approx(36 / 33)
    assert (found.low, found.p_value) == (None, None)
    assert words(found.sentence) == (
        "Within units, A: tip over end 1.091, one unit; at least two units are needed for an interval."
    )


def test_parts_that_were_not_weighed_cannot_be_compared() -> None:
    found = within_units(batch([{Part.TIP: 36.0, Part.END: 33.0}], part_mass=None))
    assert [words(one.sentence) for one in found] == [
        "Parts of units were assayed for A, but no mass of a part was entered: parts can be compared only as content "
        "over mass. Enter the mass of each part."
    ]


def test_whole_units_alone_make_no_comparison() -> None:
    assert within_units(Batch(units=(), assays=(Assay(unit="1", active="A", content_mg=Decimal(1)),))) == ()


def test_the_interval_covers_an_even_unit_nineteen_times_in_twenty() -> None:
    random = np.random.Generator(np.random.Philox(3))
    covered = 0
    for _ in range(300):
        parts = [
            {Part.TIP: 33 * (1 + 0.01 * a), Part.END: 33 * (1 + 0.01 * b)} for a, b in random.standard_normal((5, 2))
        ]
        one = within_units(batch(parts))[0]
        assert one.low is not None
        assert one.high is not None
        covered += one.low <= 1 <= one.high
    # Four standard errors of 300.
    assert covered / 300 == pytest.approx(0.95, abs=0.05)


def test_a_part_in_which_nothing_was_found_has_no_logarithm_and_ends_nothing() -> None:
    parts = [{Part.TIP: 36.0, Part.END: 33.0}, {Part.TIP: 35.0, Part.END: 34.0}]
    assert within_units(batch([*parts, {Part.TIP: 36.0, Part.END: 0.0}])) != ()
    with_nothing, without = (within_units(batch([*parts, one])) for one in ({Part.END: 0.0}, {}))
    assert with_nothing == without
