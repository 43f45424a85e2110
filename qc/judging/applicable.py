"""Which tests a rule set asks of a batch: by dosage form, dose and share of the unit's mass."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from qc.batch import Active, Batch
from qc.quantities import mean
from qc.results import Message, message
from qc.rules.kinds import kind_of
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.records import Asks, Rule
from qc.rules.rule_books import RuleBook

DOSE_UNKNOWN = message("advice.dose_unknown")


class AskedTest(Struct, frozen=True, kw_only=True):
    """One test that is to be judged: its rule, its active where it is about content, and whether it must be there.

    `cannot_tell` says why it is unknown whether the test applies; the test is then asked for all the same.
    """

    rule: Rule
    active: Active | None
    required: bool
    cannot_tell: Message | None = None


def asked_tests(batch: Batch, *, form: str, actives: Sequence[Active], book: RuleBook) -> tuple[AskedTest, ...]:
    """Every test the rule set asks of this form and these actives, in the order of the set."""
    asked: list[AskedTest] = []
    for line in book.set.asks:
        if line.forms and form not in line.forms:
            continue
        rule = book.rules[line.rule]
        if kind_of(rule).per_active:
            asked += _per_active(batch, line, rule=rule, actives=actives)
        elif not (line.unless_all_under and actives and all(_under(batch, line, active=one) for one in actives)):
            asked.append(AskedTest(rule=rule, active=None, required=line.required))
    return tuple(asked)


def _per_active(batch: Batch, line: Asks, *, rule: Rule, actives: Sequence[Active]) -> list[AskedTest]:
    if line.actives != "under":
        if not actives:
            return [AskedTest(rule=rule, active=None, required=line.required)]
        return [AskedTest(rule=rule, active=active, required=line.required) for active in actives]
    asked = []
    if not actives:
        return [AskedTest(rule=rule, active=None, required=False, cannot_tell=DOSE_UNKNOWN)]
    for active in actives:
        under = _under(batch, line, active=active)
        if under is None:
            reason = message("advice.depends_on_dose", active=active.name)
            asked.append(AskedTest(rule=rule, active=active, required=line.required, cannot_tell=reason))
        elif under:
            asked.append(AskedTest(rule=rule, active=active, required=line.required))
    return asked


def _under(batch: Batch, line: Asks, *, active: Active) -> bool | None:
    """Whether a dose lies under the threshold of a line; None when its inputs are missing."""
    if active.label_claim_mg is None:
        return None
    dose_mg = Fraction(active.label_claim_mg)
    if line.dose_below_mg is not None and _below(dose_mg, Fraction(line.dose_below_mg), inclusive=line.inclusive):
        return True
    if line.fraction_below_percent is None:
        return False
    mass_g = unit_mass_g(batch)
    if mass_g is None:
        return None
    share_percent = dose_mg / 1000 / mass_g * 100
    return _below(share_percent, Fraction(line.fraction_below_percent), inclusive=line.inclusive)


def _below(value: Fraction, threshold: Fraction, *, inclusive: bool) -> bool:
    return value <= threshold if inclusive else value < threshold


def unit_mass_g(batch: Batch) -> Fraction | None:
    """What a unit of this batch weighs: the mean of those weighed, else as planned, else as the mould holds [g]."""
    masses = [unit.mass_g for unit in batch.weighed if unit.mass_g is not None]
    if masses:
        return mean(masses)
    entered = batch.planned_mass_g if batch.planned_mass_g is not None else batch.nominal_mass_g
    return None if entered is None else Fraction(entered)


def dose_at_threshold(batch: Batch, *, active: Active, rule: DosageUnitRule) -> bool | None:
    """Whether a dose is large enough, in mg and in share of the unit's mass, for the mass route; None if unknown."""
    mass_g = unit_mass_g(batch)
    if active.label_claim_mg is None or mass_g is None:
        return None
    dose_mg = Fraction(active.label_claim_mg)
    share_percent = dose_mg / 1000 / mass_g * 100
    return dose_mg >= Fraction(rule.mass_route_dose_mg) and share_percent >= Fraction(rule.mass_route_fraction_percent)
