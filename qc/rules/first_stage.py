"""What a two-stage test says of a sample whose first stage is not there."""

from __future__ import annotations

from qc.results import TestResult, Verdict
from qc.rules.display import counted
from qc.rules.measured import Stages


def without_first_stage(
    stages: Stages, *, test: str, rule_id: str, active: str, first_size: int, second_size: int
) -> TestResult:
    """Say that the first stage is missing: nothing was assayed, or only units of the second stage were entered.

    A second stage alone decides nothing: every such test judges the units of both stages together.

    Parameters
    ----------
    stages : Stages
        Without a unit in the first stage.
    test, rule_id, active : str
    first_size, second_size : int
        Number of units the rule asks for at each stage [units].
    """
    later = len(stages.second) + len(stages.others)
    if not later:
        return TestResult(
            id=test,
            rule=rule_id,
            active=active,
            verdict=Verdict.NOT_ASSESSED,
            missing=f"contents of {first_size} whole units",
            reasons=(f"No whole unit was assayed for {active}.",),
        )
    return TestResult(
        id=test,
        rule=rule_id,
        active=active,
        verdict=Verdict.TOO_FEW_UNITS,
        missing=f"the contents of the {first_size} units of the first stage",
        reasons=(
            f"{counted(later, 'unit')} of the second stage entered and none of the first; the second stage judges all "
            f"{first_size + second_size} units together, so the first {first_size} must be there.",
        ),
    )
