"""All causes, in the order of the result document. A new cause is one file and one line here."""

from __future__ import annotations

import difflib

from qc.causes import (
    active_lost,
    balance_drift,
    cavity_differences,
    poor_mixing,
    settling_in_pour,
    settling_in_unit,
    slip_of_pen,
    sound,
    uneven_fill,
    wrong_displacement,
)
from qc.causes.model import CauseModel

CAUSES: tuple[CauseModel, ...] = (
    sound.MODEL,
    settling_in_pour.MODEL,
    settling_in_unit.MODEL,
    poor_mixing.MODEL,
    uneven_fill.MODEL,
    cavity_differences.MODEL,
    wrong_displacement.MODEL,
    active_lost.MODEL,
    balance_drift.MODEL,
    slip_of_pen.MODEL,
)
CAUSE_IDS: tuple[str, ...] = tuple(model.id for model in CAUSES)


class UnknownCause(ValueError):
    """A cause that is not in the catalogue."""


def cause(id: str) -> CauseModel:
    """The cause of that id.

    Raises
    ------
    UnknownCause
        When there is none; the message names the nearest.

    Examples
    --------
    >>> cause("poor-mixing").id
    'poor-mixing'
    """
    for model in CAUSES:
        if model.id == id:
            return model
    near = difflib.get_close_matches(id, CAUSE_IDS, n=1, cutoff=0.0)[0]
    raise UnknownCause(f'"{id}" is not a known cause. Did you mean {near}? Known are: {", ".join(CAUSE_IDS)}.')
