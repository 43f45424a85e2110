"""The assay of the batch: each figure beside its limit, and a pooled assay beside the mean of the units."""

from __future__ import annotations

from qc.results import Limit
from qc.say.limits import line

SENTENCES = {
    "limits": "limits of the assay (Assay limits, on the Actives sheet)",
    "differ": "The pooled assay ({pooled:typed} % of label) and the mean of {n} units ({mean:.1f} %) differ by more "
    "than their errors allow ({most:.1f} points of label): one of them is wrong, or they are not of the same batch.",
}


def beside_limit(*, limit: Limit) -> str:
    """A figure of the assay and what it is to meet.

    A figure that meets its limit by rounding alone says so.
    """
    told = line(limit)
    answer = (
        "no limit was given" if limit.met is None else f"the limit is {told.limit}, {'met' if limit.met else 'not met'}"
    )
    return f"{told.what[0].upper()}{told.what[1:]}: {told.figure}; {answer}."
