"""Which tests a rule set asks of a batch: by dosage form, dose and share of the unit's mass."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import Any, Generic

from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Active, Batch
from qc.quantities import mean
from qc.results import Message, TestResult, message
from qc.rules.kind import RuleOfKind
from qc.rules.kinds import kind_of
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.looks import unassessed
from qc.rules.records import Asks, Rule
from qc.rules.rule_books import RuleBook

DOSE_UNKNOWN = message("advice.dose_unknown")


class AskedTest(Struct, Generic[RuleOfKind], frozen=True, kw_only=True):
    """One test that is to be judged: its rule, its active where it is about content, and whether it must be there.

    `form` is the name of the dosage form, empty where that is not known. `cannot_tell` says why it is unknown whether
    the test applies; the test is then asked for all the same. `masses` is how many units the mass test of the set asks
    for [-], 0 where it has none.
    """

    rule: RuleOfKind
    form: str
    required: bool
    active: Active | None = None
    cannot_tell: Message | None = None
    masses: int = 0

    def not_assessed(self, *, missing: Message, reason: Message) -> TestResult:
        """The result of the test while something is missing."""
        active = None if self.active is None else self.active.name
        return unassessed(self.rule, active=active, missing=missing, reason=reason, required=self.required)


def asked_tests(batch: Batch, *, form: str, actives: Sequence[Active], book: RuleBook) -> tuple[AskedTest[Any], ...]:
    """Every test the rule set asks of this form and these actives, in the order of the set."""
    masses = max((rule.sample_size for rule in book.rules.values() if isinstance(rule, MassRule)), default=0)
    return tuple(
        replace(asked, masses=masses)
        for line in book.set.asks
        if not line.forms or form in line.forms
        for asked in _asked_by(batch, line, rule=book.rules[line.rule], form=form, actives=actives)
    )


def _asked_by(
    batch: Batch, line: Asks, *, rule: Rule, form: str, actives: Sequence[Active]
) -> Iterator[AskedTest[Any]]:
    needs_claim = line.actives == "labelled"
    whole = AskedTest(rule=rule, form=form, required=line.required and not needs_claim)
    of_some = line.actives == "under"
    if not kind_of(rule).per_active:
        if not (line.unless_all_under and actives and all(_under(batch, line, active=one) for one in actives)):
            yield whole
    elif not actives:
        yield replace(whole, required=False, cannot_tell=DOSE_UNKNOWN) if of_some else whole
    for active in actives if kind_of(rule).per_active else ():
        under = _under(batch, line, active=active) if of_some else True
        if under is not False:
            reason = message("advice.depends_on_dose", active=active.name) if under is None else None
            required = line.required and not (needs_claim and active.label_claim_mg is None)
            yield replace(whole, active=active, cannot_tell=reason, required=required)


def _under(batch: Batch, line: Asks, *, active: Active) -> bool | None:
    """Whether a dose lies under the threshold of a line; None when its inputs are missing."""
    if active.label_claim_mg is None:
        return None
    dose_mg = Fraction(active.label_claim_mg)
    if line.dose_below_mg is not None and _below(dose_mg, Fraction(line.dose_below_mg), inclusive=line.inclusive):
        return True
    if line.fraction_below_percent is None:
        return False
    share_percent = _share_percent(batch, dose_mg)
    if share_percent is None:
        return None
    return _below(share_percent, Fraction(line.fraction_below_percent), inclusive=line.inclusive)


def _below(value: Fraction, threshold: Fraction, *, inclusive: bool) -> bool:
    return value <= threshold if inclusive else value < threshold


def _share_percent(batch: Batch, dose_mg: Fraction) -> Fraction | None:
    """The share of a dose in a unit's mass: the mean of those weighed, else as planned, else as the mould holds."""
    masses = [unit.mass_g for unit in batch.weighed if unit.mass_g is not None]
    planned_g = batch.planned_mass_g if batch.planned_mass_g is not None else batch.nominal_mass_g
    mass_g = mean(masses) if masses else None if planned_g is None else Fraction(planned_g)
    return None if mass_g is None else dose_mg / 1000 / mass_g * 100


def dose_at_threshold(batch: Batch, *, active: Active, rule: DosageUnitRule) -> bool | None:
    """Whether a dose is large enough, in mg and in share of the unit's mass, for the mass route; None if unknown."""
    dose_mg = None if active.label_claim_mg is None else Fraction(active.label_claim_mg)
    share_percent = None if dose_mg is None else _share_percent(batch, dose_mg)
    if dose_mg is None or share_percent is None:
        return None
    return dose_mg >= Fraction(rule.mass_route_dose_mg) and share_percent >= Fraction(rule.mass_route_fraction_percent)
