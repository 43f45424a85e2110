"""Verdicts and figures as frozen records: what the judge hands to the report, the terminal and other programs."""

from __future__ import annotations

from qc.results.causes import SOUND as SOUND
from qc.results.causes import CauseFound as CauseFound
from qc.results.causes import CauseGroup as CauseGroup
from qc.results.causes import CausePair as CausePair
from qc.results.causes import NextMeasurement as NextMeasurement
from qc.results.causes import Remedied as Remedied
from qc.results.causes import named_together as named_together
from qc.results.chance import Assurance as Assurance
from qc.results.chance import OperatingCurve as OperatingCurve
from qc.results.judged import BATCH_ASSAY as BATCH_ASSAY
from qc.results.judged import CONTENT_TESTS as CONTENT_TESTS
from qc.results.judged import OF_MASS as OF_MASS
from qc.results.judged import UNCHECKED as UNCHECKED
from qc.results.judged import AcceptanceBoundary as AcceptanceBoundary
from qc.results.judged import Basis as Basis
from qc.results.judged import BatchVerdict as BatchVerdict
from qc.results.judged import JudgedBatch as JudgedBatch
from qc.results.judged import Outside as Outside
from qc.results.judged import PlannedMass as PlannedMass
from qc.results.judged import RuleUsed as RuleUsed
from qc.results.judged import TestResult as TestResult
from qc.results.judged import Verdict as Verdict
from qc.results.judged import WithoutLeftOut as WithoutLeftOut
from qc.results.messages import OF_THE_RECORD as OF_THE_RECORD
from qc.results.messages import Limit as Limit
from qc.results.messages import Message as Message
from qc.results.messages import Remark as Remark
from qc.results.messages import message as message
from qc.results.pour import PourAnalysis as PourAnalysis
from qc.results.pour import PourTrend as PourTrend
from qc.results.pour import Trend as Trend
from qc.results.pour import TrendFlag as TrendFlag
from qc.results.release import ActiveBalance as ActiveBalance
from qc.results.release import PackingChecklist as PackingChecklist
from qc.results.release import PackingLine as PackingLine
from qc.results.release import Reconciliation as Reconciliation
from qc.results.release import SeenClass as SeenClass
from qc.results.release import SeenDefect as SeenDefect
from qc.results.release import UnitLedger as UnitLedger
from qc.results.release import VisualInspection as VisualInspection
from qc.results.units import Place as Place
from qc.results.units import UnitContent as UnitContent
from qc.results.units import UnitRow as UnitRow
