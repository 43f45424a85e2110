"""Quality control of moulded single-dose medicines: judge what was measured, say where and why it went wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from qc.jobs.history import History as History
    from qc.jobs.python_calls import batch_from_frames as batch_from_frames
    from qc.jobs.python_calls import chance as chance
    from qc.jobs.python_calls import judge as judge
    from qc.jobs.python_calls import judge_many as judge_many
    from qc.jobs.python_calls import read as read
    from qc.jobs.python_calls import sweep as sweep
    from qc.problems import InputProblems as InputProblems

_CALLS = ("read", "judge", "judge_many", "chance", "sweep", "batch_from_frames")


def __getattr__(name: str) -> Any:
    """Load a call when it is first asked for, so that `qc --help` loads nothing heavy (PEP 562)."""
    if name in _CALLS:
        from qc.jobs import python_calls

        return getattr(python_calls, name)
    if name == "History":
        from qc.jobs.history import History

        return History
    if name == "InputProblems":
        from qc.problems import InputProblems

        return InputProblems
    raise AttributeError(f"module 'qc' has no attribute {name!r}")


def __dir__() -> list[str]:
    """Everything that can be asked for, loaded or not."""
    return sorted({*globals(), *_CALLS, "History", "InputProblems"})
