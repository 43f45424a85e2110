"""Measurements in pour order, with the mean and the limits as level lines: masses, and contents of an active."""

from __future__ import annotations

from collections.abc import Iterable

from msgspec import Struct

from qc.results import OF_MASS, JudgedBatch, TestResult, Trend, UnitRow, Verdict
from qc.say.numbers import Number, fixed
from qc.show.headline import OF_CONTENT
from qc.show.units import OUTSIDE, actives_measured, places_in_pour, poured_order

ALONG = ("fitted", "band", "corrected")
"""What a trend holds of each unit."""


class Point(Struct, frozen=True, kw_only=True):
    """One unit of a series."""

    row: UnitRow
    y: float
    in_sample: bool
    outside: bool


class DrawnSeries(Struct, frozen=True, kw_only=True):
    """Everything that is drawn and said of one series."""

    what: tuple[str, str]
    """What one value and several are called."""
    rows: tuple[UnitRow, ...]
    """Of all units of the batch."""
    measured: tuple[Point, ...]
    """The units that have a value, those without a place in the pour order too."""
    mean: float | None
    unit: str
    decimals: int
    limits: tuple[float | None, float | None]
    """The inner and the outer limit about the mean [%]."""
    plan: tuple[str, Number] | None
    """What was planned: what the legend calls it, and its height."""
    trend: Trend | None
    factor: float | None
    """By what the fitted values are multiplied to stand in the unit of the picture; None where that is not known."""
    y_label: str

    @property
    def points(self) -> list[Point]:
        """The units that are drawn."""
        places, _ = places_in_pour(self.rows)
        return [point for point in self.measured if point.row.unit in places]

    def shown(self, value: float | None) -> str:
        """A value as it is written, without its unit."""
        return fixed(value, decimals=self.decimals)


def mean_mass_g(judged: JudgedBatch) -> float | None:
    """The mean mass that the mass test rests on, or that of the units weighed where the test was not judged [g]."""
    tested = first_figure((test for test in judged.tests if test.id == OF_MASS), "mean_g")
    return judged.planned_mass.mean_g if tested is None and judged.planned_mass else tested


def mass_series(judged: JudgedBatch) -> DrawnSeries:
    """The masses with their lines."""
    planned = judged.planned_mass.planned_g if judged.planned_mass else None
    weighed = ((row, row.counting_g) for row in poured_order(judged.unit_rows))
    return DrawnSeries(
        what=("mass", "masses"),
        rows=tuple(poured_order(judged.unit_rows)),
        measured=tuple(
            Point(row=row, y=float(mass), in_sample=row.in_mass_sample, outside=row.place in OUTSIDE)
            for row, mass in weighed
            if mass is not None
        ),
        mean=mean_mass_g(judged),
        unit="g",
        decimals=3,
        limits=judged.mass_limits,
        plan=None if planned is None else ("plan", planned),
        trend=judged.pour_trend.mass if judged.pour_trend else None,
        factor=1.0,
        y_label="mass [g]",
    )


def in_percent_of_label(judged: JudgedBatch, active: str) -> bool:
    """Whether all contents of an active are known in % of label, the unit they are then drawn in."""
    found = [row.contents[active] for row in poured_order(judged.unit_rows) if active in row.contents]
    return all(content.percent_of_label is not None for content in found)


def contents_found(judged: JudgedBatch, active: str) -> list[tuple[UnitRow, float]]:
    """The units assayed with their contents [% of label where all are known so, else mg]."""
    of_label = in_percent_of_label(judged, active)
    both = ((row, row.contents[active]) for row in poured_order(judged.unit_rows) if active in row.contents)
    values = ((row, found.percent_of_label if of_label else found.mg) for row, found in both)
    return [(row, value) for row, value in values if value is not None]


def content_name(judged: JudgedBatch, active: str) -> str:
    """What the axis of the contents of an active is called, with the unit."""
    return "% of label" if in_percent_of_label(judged, active) else "mg a unit"


def label_claim_mg(judged: JudgedBatch, active: str) -> Number | None:
    """The label claim of an active [mg]."""
    return next((known.label_claim_mg for known in judged.batch.actives if known.name == active), None)


def content_series(judged: JudgedBatch, active: str) -> DrawnSeries:
    """The contents of an active with their lines."""
    of_label = in_percent_of_label(judged, active)
    tested = units_tested(judged, active)
    claim = label_claim_mg(judged, active)
    trend = judged.pour_trend.content.get(active) if judged.pour_trend else None
    factor = None if claim is None else 100.0 / float(claim) if of_label else float(claim) / 100.0
    plan = ("label", 100.0) if of_label else None if claim is None else ("label", claim)
    found = ((row, value, row.contents[active]) for row, value in contents_found(judged, active))
    return DrawnSeries(
        what=("content", "contents"),
        rows=tuple(poured_order(judged.unit_rows)),
        measured=tuple(
            Point(row=row, y=value, in_sample=one.in_sample or row.unit in tested, outside=one.place in OUTSIDE)
            for row, value, one in found
        ),
        mean=first_figure(content_tests(judged, active), "mean_percent" if of_label else "mean_mg"),
        unit="%" if of_label else "mg",
        decimals=1 if of_label else 2,
        limits=judged.content_limits,
        plan=plan,
        trend=trend,
        # A trend is in mg or in % of label.
        factor=1.0 if trend is not None and (trend.measure == "mg") is not of_label else factor,
        y_label=content_name(judged, active),
    )


def content_tests(judged: JudgedBatch, active: str) -> list[TestResult]:
    """The tests of the contents of an active, that against its mean first."""
    return [test for id in OF_CONTENT for test in judged.tests if test.id == id and test.active in (active, None)]


def units_tested(judged: JudgedBatch, active: str) -> frozenset[str]:
    """Every unit that a test of the contents of an active rests on, at either stage."""
    return frozenset(unit for test in content_tests(judged, active) for unit in test.sample)


def first_figure(tests: Iterable[TestResult], name: str) -> float | None:
    """A figure by the first test that has it."""
    return next((figure for test in tests if (figure := test.figures.get(name)) is not None), None)


def series_in_order(judged: JudgedBatch) -> tuple[str, ...]:
    """What is drawn in pour order: masses, as "", and actives.

    The first stands on page one: what has a test that is not met, else what clearly changed along the pour.
    """
    met = (Verdict.COMPLIES, Verdict.NOT_ASSESSED)
    tests = [test for test in judged.tests if test.id in (OF_MASS, *OF_CONTENT) and test.verdict not in met]
    failing = sorted({test.active or "" for test in tests})
    changed = [active or "" for active in (judged.pour_trend.clearly_changed if judged.pour_trend else ())]
    weighed = [""] if judged.batch.weighed else []
    return tuple(dict.fromkeys((*failing, *changed, *weighed, *actives_measured(judged)))) or ("",)
