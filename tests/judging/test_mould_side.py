"""A mould that lies on one side as a whole, and a dose that changed with the fill alone."""

from __future__ import annotations

import pytest

from qc.judging.mould_side import mould_findings
from qc.results import PourTrend, Trend, TrendFlag, UnitRow
from qc.say.messages import all_words, words

QUIET = PourTrend(mass=Trend(flag=TrendFlag.NONE_SEEN, n=20))


def rows(**moulds: list[float]) -> list[UnitRow]:
    return [
        UnitRow(
            unit=f"{mould}{place}",
            pour_order=place,
            mould=mould,
            cavity=str(place),
            mass_g=None,
            deviation_percent=deviation,
            in_mass_sample=True,
            place=None,
        )
        for mould, deviations in moulds.items()
        for place, deviation in enumerate(deviations, 1)
    ]


def test_a_light_mould_is_named_with_its_nearest_and_farthest_unit() -> None:
    found = mould_findings(rows(A=[1.0, 0.5, -1.0], C=[-4.1, -12.13, -5.0]), inner_percent=5.0, trend=QUIET)
    assert all_words(found) == (
        "All 3 units of mould C are light, −4.1 to −12.1 % from the mean, each by more than 2.5 %, half the limit.",
    )


@pytest.mark.parametrize(
    ("deviations", "named"),
    [
        ([2.49, 3.0, 3.0], False),
        ([2.5, 3.0, 3.0], False),
        ([2.51, 3.0, 3.0], True),
        ([3.0, 3.0], False),
        ([3.0, 3.0, 3.0, 0.0], False),
        ([3.0, 3.0, 3.0, 3.0, 0.0], True),
        ([3.0, 3.0, 3.0, 3.0, 0.0, 0.0], False),
        ([3.0, 3.0, -3.0], False),
    ],
)
def test_half_the_limit_and_one_unit_of_five(deviations: list[float], named: bool) -> None:
    found = mould_findings(rows(A=[0.0, 0.0, 0.0], B=deviations), inner_percent=5.0, trend=QUIET)
    assert bool(found) is named


def test_one_unit_of_five_that_lies_elsewhere_is_counted() -> None:
    found = mould_findings(rows(A=[0.0], B=[3.0, 4.0, 3.0, 3.5, 0.0]), inner_percent=5.0, trend=QUIET)
    assert words(found[0]).startswith("4 of the 5 units of mould B are heavy, +3.0 to +4.0 % from the mean")


def test_without_a_limit_or_a_second_mould_nothing_is_named() -> None:
    assert mould_findings(rows(A=[-4.0] * 3, B=[4.0] * 3), inner_percent=None, trend=QUIET) == ()
    assert mould_findings(rows(A=[-4.0] * 3), inner_percent=5.0, trend=QUIET) == ()


@pytest.mark.parametrize(
    ("content", "concentration", "named"),
    [
        (TrendFlag.POSSIBLE, TrendFlag.NONE_SEEN, True),
        (TrendFlag.CLEAR, TrendFlag.NONE_SEEN, True),
        (TrendFlag.CLEAR, TrendFlag.CANNOT_TELL, False),
        (TrendFlag.CLEAR, TrendFlag.POSSIBLE, False),
        (TrendFlag.NONE_SEEN, TrendFlag.NONE_SEEN, False),
    ],
)
def test_a_dose_that_goes_with_the_fill_speaks_for_filling(
    content: TrendFlag, concentration: TrendFlag, named: bool
) -> None:
    trend = PourTrend(
        mass=Trend(flag=TrendFlag.CLEAR, n=20),
        content={"drug": Trend(flag=content, n=10)},
        concentration={"drug": Trend(flag=concentration, n=10)},
    )
    clearly = content is TrendFlag.CLEAR
    sentence = (
        f"The content of drug {'clearly' if clearly else 'possibly'} changed along the pour and its concentration was "
        f"not seen to change: {'this points' if clearly else 'that would point'} to the filling, not to settling."
    )
    assert all_words(mould_findings([], inner_percent=5.0, trend=trend)) == ((sentence,) if named else ())
