"""The chance of passing by a rule, for tests that have a rule and no plan."""

from __future__ import annotations

from typing import Any

from numpy.typing import ArrayLike

from qc.assurance.operating import PassChances, plan_chances
from qc.rules.kinds import kind_of
from qc.rules.records import Rule


def pass_chances(mean: ArrayLike, sd: ArrayLike, *, rule: Rule, **asked: Any) -> PassChances:
    return plan_chances(mean, sd, plan=kind_of(rule).plan(rule, **asked))
