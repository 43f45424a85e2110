"""The tests of mass on one batch: single units about their mean, and the mean against the plan."""

from __future__ import annotations

from collections.abc import Collection
from decimal import Decimal
from fractions import Fraction

from msgspec.structs import replace

from qc.batch import Batch
from qc.judging.applicable import AskedTest
from qc.judging.samples import MassSample, mass_sample, with_all_units
from qc.pour.planned_mass import worked_out
from qc.quantities import deviation_percent, mean
from qc.results import Limit, Message, PlannedMass, TestResult, Verdict, message
from qc.rules.kinds.mass.procedure import judge_masses
from qc.rules.kinds.mass.record import MassBasis, MassRule
from qc.rules.kinds.mean_mass import MeanMassRule


def judge_mass_rule(batch: Batch, asked: AskedTest[MassRule]) -> TestResult:
    """Judge a batch by a mass rule, with what leaving out the units that carry a reason would change beside it."""
    weighed = mass_sample(batch, asked=asked.rule.sample_size)
    labelled_g = batch.planned_mass_g if asked.rule.basis is MassBasis.LABELLED_MASS else None

    def judge(less: Collection[str]) -> TestResult:
        return judge_masses(
            tuple(unit for unit in weighed.sample if unit.unit not in less),
            others=tuple(unit for unit in weighed.others if unit.unit not in less),
            rule=asked.rule,
            form=asked.form,
            labelled_mass_g=labelled_g,
        )

    record = with_all_units(judge, left_out=[unit.name for unit in batch.weighed if unit.left_out_because])
    # Masses that were entered and cannot be judged keep the batch undecided, whatever the set asks for.
    undecided = record.verdict is Verdict.NOT_ASSESSED and bool(record.figures)
    return replace(record, required=(asked.required or undecided) and record.required)


def sample_mean_g(weighed: MassSample) -> Fraction | None:
    """Mean mass of the test sample [g], exact; None when nothing was weighed."""
    return mean([unit.value for unit in weighed.sample]) if weighed.sample else None


def compare_with_plan(batch: Batch, *, rule: MeanMassRule | None, asked: int = 0) -> PlannedMass | None:
    """The planned mass of a unit beside the mean of the units of the mass test; None when no plan is known.

    The plan is the entered one, or the base a cavity holds plus d (1 - 1/f) over the actives, f being the displacement
    value [g of active that displaces 1 g of base]. `asked` is how many units the mass test asks for [-].
    """
    planned_g, working = _plan(batch)
    if planned_g is None:
        return None
    plan = PlannedMass(planned_g=Decimal(planned_g.numerator) / planned_g.denominator, working=working)
    average = sample_mean_g(mass_sample(batch, asked=asked))
    if average is None:
        return plan
    difference = deviation_percent(average, centre=planned_g)
    limit = None if rule is None else rule.limit_percent
    return replace(
        plan,
        mean_g=float(average),
        difference_percent=float(difference),
        limit_percent=limit,
        met=None if limit is None else abs(difference) <= Fraction(limit),
    )


def _plan(batch: Batch) -> tuple[Fraction | None, Message | str]:
    unit = worked_out(batch)
    if batch.planned_mass_g is not None:
        working = message("pour.as_entered", planned_g=batch.planned_mass_g, worked_out=unit and unit.working)
        return Fraction(batch.planned_mass_g), working
    return (unit.mass_g, unit.working) if unit is not None else (None, "")


def judge_mean_mass(batch: Batch, asked: AskedTest[MeanMassRule]) -> TestResult:
    """Judge the mean mass against the planned mass."""
    rule = asked.rule
    plan = compare_with_plan(batch, rule=rule, asked=asked.masses)
    if plan is None or plan.difference_percent is None:
        missing = message("tests.plan") if plan is None else message("tests.masses")
        return asked.not_assessed(missing=missing, reason=message("tests.no_mean_to_compare", missing=missing))
    sample = mass_sample(batch, asked=asked.masses).sample
    limit = Limit(
        what="mean_against_plan",
        figure=plan.difference_percent,
        bound=rule.limit_percent,
        met=plan.met,
        unit="%",
        clause=rule.clause_of("mean_against_plan"),
    )
    return TestResult(
        id=rule.test,
        rule=rule.id,
        required=asked.required,
        verdict=Verdict.COMPLIES if plan.met else Verdict.DOES_NOT_COMPLY,
        n=len(sample),
        figures={
            "mean_g": plan.mean_g,
            "planned_g": None if plan.planned_g is None else float(plan.planned_g),
            "difference_percent": plan.difference_percent,
            "limit_percent": float(rule.limit_percent),
        },
        reasons=(message("tests.mean_beside_plan", limit=limit),),
        criteria=(limit,),
        sample=tuple(unit.unit for unit in sample),
        working=(
            message("working.planned", plan=plan.working),
            message("working.mean_of_units", limit=limit, n=len(sample), mean_g=plan.mean_g),
        ),
    )
