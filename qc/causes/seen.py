"""What the eye saw on the units, as evidence: a defect that speaks for a cause makes it somewhat likelier."""

from __future__ import annotations

from msgspec.structs import replace

from qc.batch import Batch
from qc.causes.priors import Priors
from qc.results import CauseFound
from qc.results.messages import message


def with_what_was_seen(causes: tuple[CauseFound, ...], *, batch: Batch, priors: Priors) -> tuple[CauseFound, ...]:
    """Causes with the defects that speak for them among their evidence, most probable first.

    Parameters
    ----------
    causes : tuple of CauseFound
        As weighed by the measurements; their probabilities add up to 1.
    batch : Batch
        For what was seen on its units.
    priors : Priors
        For how much a defect weighs.

    Returns
    -------
    tuple of CauseFound
        The probability of a cause that defects speak for is raised once, by one factor, however many units show them:
        defects of one batch are no independent witnesses.
    """
    if not any(unit.seen for unit in batch.units):
        return causes
    from qc.rules.kinds.visual.defects import defect_evidence

    spoken = {
        found.cause: message("causes.seen_on", defects=found.defects, units=len(found.units), of_units=found.of_units)
        for found in defect_evidence(batch)
    }
    factor = priors.number("seen", "supports")
    weights = {cause.cause: cause.probability * (factor if cause.cause in spoken else 1.0) for cause in causes}
    total = sum(weights.values())
    told = (
        replace(
            cause,
            probability=weights[cause.cause] / total,
            evidence=(*cause.evidence, spoken[cause.cause]) if cause.cause in spoken else cause.evidence,
        )
        for cause in causes
    )
    return tuple(sorted(told, key=lambda cause: -cause.probability))
