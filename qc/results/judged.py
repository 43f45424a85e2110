"""Verdicts and figures as frozen records: what the judge hands to the report, the terminal and other programs."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from enum import StrEnum

from msgspec import Struct, field

from qc.batch import Batch
from qc.problems import Notice
from qc.results.causes import CauseFound, CausePair, NextMeasurement, Remedied
from qc.results.chance import Assurance, OperatingCurve
from qc.results.messages import Limit, Message, Remark, message
from qc.results.pour import PourAnalysis, PourTrend
from qc.results.release import PackingChecklist, Reconciliation, UnitLedger, VisualInspection
from qc.results.units import UnitRow

OF_MASS = "mass-uniformity"
BATCH_ASSAY = "batch-assay"
CONTENT_TESTS = ("content-uniformity", "dosage-unit-uniformity", "large-sample-uniformity")


class Verdict(StrEnum):
    """What a test says of its sample."""

    COMPLIES = "complies"
    DOES_NOT_COMPLY = "does-not-comply"
    SECOND_STAGE = "second-stage"
    TOO_FEW_UNITS = "too-few-units"
    NOT_ASSESSED = "not-assessed"


class BatchVerdict(StrEnum):
    """What all tests together say of the batch."""

    COMPLIES = "complies"
    DOES_NOT_COMPLY = "does-not-comply"
    UNDECIDED = "undecided"


class Basis(StrEnum):
    """What a verdict rests on: a batch whose contents were not judged is judged on its masses alone."""

    MASS_AND_CONTENT = "mass-and-content"
    MASS_ALONE = "mass-alone"


class Outside(Struct, frozen=True, kw_only=True):
    """A unit outside the inner limit of a test.

    Parameters
    ----------
    unit : str
        Name of the unit.
    deviation_percent : float
        Signed deviation from the centre the test compares with [% of that centre].
    in_sample : bool
        False for a unit that was measured although the test sample left it out.
    beyond_outer : bool
        Whether it lies beyond the outer limit too.
    """

    unit: str
    deviation_percent: float
    in_sample: bool = True
    beyond_outer: bool = False


class WithoutLeftOut(Struct, frozen=True, kw_only=True):
    """What the verdict would be without the units that carry a reason to be left out; never the verdict of record."""

    units: tuple[str, ...]
    verdict: Verdict
    figures: Mapping[str, float | int | None]


UNCHECKED = message("tests.unchecked")


class TestResult(Struct, frozen=True, kw_only=True):
    """What one test says of one batch (and one active, where it is about content).

    Parameters
    ----------
    id : str
        `mass-uniformity`, `content-uniformity`, `dosage-unit-uniformity` or a later one.
    rule : str
        Id of the rule record it was judged by.
    active : str or None
        The active, for tests of content.
    verdict : Verdict
        The verdict of record.
    n : int
        Number of units the figures rest on.
    figures : mapping
        Full precision; names carry units of measure.
    outside : tuple of Outside
        Every unit outside the inner limit, those outside the sample too.
    reasons : tuple of Message
        Why this verdict.
    criteria : tuple of Limit
        Figure beside limit, clause by clause.
    sample : tuple of str
        Names of the units the figures rest on.
    more_units : int
        How many more units the test needs before it can be decided.
    next_units : tuple of str
        Which units to take for that, drawn at random where they are known.
    missing : Message or str
        The one thing that is missing when the test was not assessed.
    without_left_out : WithoutLeftOut or None
        What leaving out the units with a reason would change.
    required : bool
        Whether the rule set asks for this test; an undecided required test keeps the batch undecided.
    """

    __test__ = False  # a record of the laboratory, not a test class of pytest

    id: str
    rule: str
    verdict: Verdict
    n: int = 0
    active: str | None = None
    figures: Mapping[str, float | int | None] = field(default_factory=dict)
    outside: tuple[Outside, ...] = ()
    reasons: tuple[Message, ...] = ()
    criteria: tuple[Limit, ...] = ()
    sample: tuple[str, ...] = ()
    more_units: int = 0
    next_units: tuple[str, ...] = ()
    missing: Message | str = ""
    without_left_out: WithoutLeftOut | None = None
    required: bool = True
    mass_limits: tuple[Decimal, Decimal] | None = None
    """Limit and outer limit of the row of the mass table it was judged by, exact [% of the centre]; else None."""
    subject: str = ""
    """What a check of the Checks sheet is called there; empty for the tests of units."""
    working: tuple[Message, ...] = ()
    """The calculation line by line with this batch's numbers, to be followed with a pocket calculator."""

    @property
    def unchecked(self) -> bool:
        """Whether nobody read its limit in the text: what it meets stays open until somebody has."""
        return UNCHECKED in self.reasons


class AcceptanceBoundary(Struct, frozen=True, kw_only=True):
    """The greatest SD that the dosage-unit test passes at each mean, for one number of units.

    `points` are (mean, SD), both in % of label, corner points of a piecewise straight line from left to right.
    """

    active: str
    n: int
    points: tuple[tuple[float, float], ...]


class RuleUsed(Struct, frozen=True, kw_only=True):
    """A rule record as the report cites it."""

    id: str
    title: str
    work: str
    section: str
    edition: str
    mark: str
    clauses: tuple[Message, ...] = ()


class PlannedMass(Struct, frozen=True, kw_only=True):
    """The planned mass of a unit beside the mean of the units weighed.

    Parameters
    ----------
    planned_g : Decimal or None
        As entered, or worked out from nominal mass, doses and displacement values [g].
    working : Message or ""
        The arithmetic that gave it, with the convention of each displacement number.
    mean_g, difference_percent : float or None
        Mean of the units weighed [g] and its distance from the plan [% of plan].
    limit_percent : Decimal or None
        Limit of the rule set or house file, where it has one [% of plan].
    met : bool or None
    """

    planned_g: Decimal | None
    working: Message | str
    mean_g: float | None = None
    difference_percent: float | None = None
    limit_percent: Decimal | None = None
    met: bool | None = None


class JudgedBatch(Struct, frozen=True, kw_only=True):
    """A batch with everything that was worked out about it."""

    batch: Batch
    rule_set: str
    verdict: BatchVerdict
    tests: tuple[TestResult, ...]
    planned_mass: PlannedMass | None = None
    pour: PourAnalysis | None = None
    causes: tuple[CauseFound, ...] = ()
    cause_pairs: tuple[CausePair, ...] = ()
    next_measurements: tuple[NextMeasurement, ...] = ()
    """What would tell the causes apart, the most telling for its effort first."""
    assurance: tuple[Assurance, ...] = ()
    notices: tuple[Notice | Remark, ...] = ()
    next_steps: tuple[Message | str, ...] = ()
    cannot_say: tuple[Message | str, ...] = ()
    """What these data cannot show, full sentences for page one."""
    unit_rows: tuple[UnitRow, ...] = ()
    mould_findings: tuple[Message, ...] = ()
    """Full sentences: moulds whose units lie on one side of the mean, and a dose that goes with the fill."""
    boundaries: tuple[AcceptanceBoundary, ...] = ()
    rules_used: tuple[RuleUsed, ...] = ()
    mass_limits: tuple[float | None, float | None] = (None, None)
    """Limit and outer limit of the mass test, either side of the centre it compares with [% of that centre]."""
    content_limits: tuple[float | None, float | None] = (None, None)
    """Inner and outer limits of the content-uniformity test, either side of the sample's mean [% of that mean]."""
    seed: int = 0
    blind: bool = False
    """Whether the causes were left out because that was asked for."""
    visual: VisualInspection | None = None
    """The visual inspection; None when the column Seen is empty."""
    reconciliation: Reconciliation | None = None
    ledger: UnitLedger | None = None
    packing: PackingChecklist | None = None
    operating_curves: tuple[OperatingCurve, ...] = ()
    """Chances of passing for the pictures; worked out only where a report is drawn."""
    next_pour: tuple[Remedied, ...] = ()
    """What to change of the next pour; worked out only for a report or a full answer."""

    @property
    def basis(self) -> Basis:
        """Mass and content where a content of each active was judged, of units or of the batch; else mass alone."""
        of_content = [test for test in self.tests if test.id in (*CONTENT_TESTS, BATCH_ASSAY)]
        judged = {test.active for test in of_content if test.verdict is not Verdict.NOT_ASSESSED}
        actives = {active.name for active in self.batch.actives} or {assay.active for assay in self.batch.assays}
        return Basis.MASS_AND_CONTENT if actives and actives <= judged else Basis.MASS_ALONE

    @property
    def pour_trend(self) -> PourTrend | None:
        """The trends of the pour, where it was followed."""
        return None if self.pour is None else self.pour.trend
