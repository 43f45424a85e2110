"""Quality control of moulded single-dose medicines: judge what was measured, say where and why it went wrong.

    import qc

    batch = qc.read("batch.xlsx")            # a workbook, a table, a folder of tables
    result = qc.judge(batch)                 # print(result) says it in six lines
    result.units_frame()                     # also tests_frame(), causes_frame()
    result.plot_pour(ax)                     # also plot_tray(ax)
    result.write_report("reports/B-7")       # what qc check files
    result.as_dict()                         # the document of qc check --json

    qc.sweep("batches", out="year")          # a frame, a row a batch; qc.judge_many judges one after the other
    qc.sweep_frames("batches", rows=10_000)  # frame by frame, where all rows together outgrow memory
    qc.History("history.db").frame()         # the register that qc check --history keeps
    qc.batch_from_frames(units=frame, form="suppositories", label_mg=250)
    qc.chance("dosage-unit-uniformity", 97, 4).pass_overall
    qc.lesson("settling-in-pour", seed=5).write("lesson")
    qc.pour_melt(qc.Melt(particle_um=60), units=24).relative

What cannot be read raises `qc.InputProblems`, whose `.problems` say what stands where and how to mend it; rules that
cannot be used raise `qc.RuleProblem`. `qc guide --out DIR` writes the whole documentation.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from qc.jobs.history import History as History
    from qc.jobs.python_calls import Judgement as Judgement
    from qc.jobs.python_calls import batch_from_frames as batch_from_frames
    from qc.jobs.python_calls import chance as chance
    from qc.jobs.python_calls import judge as judge
    from qc.jobs.python_calls import judge_many as judge_many
    from qc.jobs.python_calls import lesson as lesson
    from qc.jobs.python_calls import pour_melt as pour_melt
    from qc.jobs.python_calls import read as read
    from qc.jobs.python_sweeps import sweep as sweep
    from qc.jobs.python_sweeps import sweep_frames as sweep_frames
    from qc.problems import InputProblems as InputProblems
    from qc.rules.strict_records import RuleProblem as RuleProblem
    from qc.simulate.melt import Melt as Melt

_CALLS = ("read", "judge", "judge_many", "batch_from_frames", "chance", "lesson", "pour_melt", "Judgement")
_STANDS_IN = dict.fromkeys(_CALLS, "qc.jobs.python_calls") | {
    "sweep": "qc.jobs.python_sweeps",
    "sweep_frames": "qc.jobs.python_sweeps",
    "Melt": "qc.simulate.melt",
    "History": "qc.jobs.history",
    "InputProblems": "qc.problems",
    "RuleProblem": "qc.rules.strict_records",
}
__all__ = [*_STANDS_IN]


def __getattr__(name: str) -> Any:
    """Load a call when it is first asked for, so that `qc --help` loads nothing heavy (PEP 562)."""
    if name in _STANDS_IN:
        return getattr(import_module(_STANDS_IN[name]), name)
    raise AttributeError(f"module 'qc' has no attribute {name!r}")


def __dir__() -> list[str]:
    """What there is to call, loaded or not."""
    return sorted([*_STANDS_IN, "__version__"])
