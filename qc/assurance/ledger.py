"""The ledger of units: where each unit that came out of the moulds went, and how many can still be released."""

from __future__ import annotations

import re
from collections.abc import Sequence

from qc.assurance.remaining import known_size
from qc.batch import Batch
from qc.patterns import pattern
from qc.results import Limit, TestResult, UnitLedger
from qc.rules.kinds import check
from qc.rules.records import Rule

# Words behind a number that do not count units; common practice.
_PACKS = pattern(r"box|pack|blister|strip|carton|jar|bottle|tube|%|mg|g\b")


def unit_ledger(batch: Batch, *, checks: Sequence[tuple[TestResult, Rule]]) -> UnitLedger | None:
    """Work out the fate of every unit: kept after weighing, used up, rejected, retained, left.

    Parameters
    ----------
    batch : Batch
    checks : sequence of (TestResult, Rule)
        The other tests of finished units; each uses up as many as were entered, or as its rule asks for.

    Returns
    -------
    UnitLedger or None
        None where neither the units obtained nor those poured were entered.

    Notes
    -----
    poured = weighed and kept + assayed + used in other tests + rejected + retained + left, of which the first and the
    last can be released. Units sampled are those used up and those retained; the units of other tests may have been
    weighed before, and are then no more among those kept. A unit that is left out or was lost counts as rejected.
    """
    whole = known_size(batch)
    if whole is None:
        return None
    assayed, lost = {assay.unit for assay in batch.assays}, batch.lost
    done = {one.name for one in batch.checks if one.result}
    used = ((test, check.KIND.own(rule)) for test, rule in checks if test.subject in done)
    other = sum(max(test.n, rule.sample_size) for test, rule in used if rule is not None)
    rejected = max(batch.units_rejected or 0, len(lost - assayed))
    retained = max((batch.units_sampled or 0) - len(assayed) - other, 0)
    can_go = whole - len(assayed) - other - rejected - retained
    kept = min(sum(unit.name not in assayed for unit in batch.weighed), max(can_go, 0))
    return UnitLedger(
        whole=whole,
        weighed_and_kept=kept,
        assayed=len(assayed),
        other_tests=other,
        rejected=rejected,
        retained=retained,
        left=max(can_go, 0) - kept,
        released=batch.units_released if batch.units_released is not None else _number_in(batch.quantity_released),
        released_at_most=max(can_go, 0),
        not_assayed=tuple(one.name for one in batch.units if one.name not in assayed and one.name not in lost),
        limits=tuple(_limits(batch, assayed=len(assayed), can_go=max(can_go, 0), whole=whole)),
    )


def _limits(batch: Batch, *, assayed: int, can_go: int, whole: int) -> list[Limit]:
    """The counts that were entered beside what they cannot exceed or must equal."""
    stated, counted = _number_in(batch.quantity_released), batch.units_released
    used = (batch.units_rejected or 0) + max(batch.units_sampled or 0, assayed)
    entered, poured = len(batch.units), batch.units_poured
    rows = (
        ("units_poured", poured if poured is not None and poured < entered else None, (entered, None)),
        ("units_obtained", batch.units_obtained, (entered, poured)),
        ("units_used", used if used > whole else None, (0, whole)),
        ("units_released", counted if counted is not None else stated, (0, can_go)),
        ("quantity_released", None if counted is None else stated, (counted or 0, counted)),
        ("units_sampled", batch.units_sampled, (assayed, None)),
    )
    return [
        Limit(
            what=what,
            figure=figure,
            bound=(low, high),
            met=low <= figure and (high is None or figure <= high),
            unit="units",
        )
        for what, figure, (low, high) in rows
        if figure is not None
    ]


def _number_in(text: str | None) -> int | None:
    """The units that a text such as "20 suppositories" says; None where it says none, or counts packs."""
    numbers = re.findall(r"\d+(?:[.,]\d+)?", text or "")
    plain = len(numbers) == 1 and numbers[0].isdecimal() and not _PACKS.search((text or "").casefold())
    return int(numbers[0]) if plain else None
