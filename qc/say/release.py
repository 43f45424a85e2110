"""What was looked at besides the tests, in a sentence each: the visual inspection, the balances, the checklist."""

from __future__ import annotations

from qc.results import ActiveBalance, BatchVerdict, PackingChecklist, Reconciliation, UnitLedger, VisualInspection
from qc.say.numbers import fixed
from qc.say.text import counted, listed, runs, shortened, units_named


def visual_inspection(seen: VisualInspection) -> str:
    """The words that are not known and their units, and which defects were seen on how many."""
    head = f"Visual inspection: {seen.looked_at} of {counted(seen.lot, 'unit')} looked at"
    kinds = () if seen.defects else ("no defect of a known kind",)
    return "; ".join([head, *kinds, *defects_seen(seen)]) + "."


def defects_seen(seen: VisualInspection) -> tuple[str, ...]:
    """The words that are not known and their units, and which defects on how many units."""
    kinds = [f"{one.defect} on {counted(len(one.units), 'unit')} ({one.grade})" for one in seen.defects]
    strange = [f'"{shortened(word, most=24)}" on {units_named(units, most=3)}' for word, units in seen.unknown.items()]
    return (*([f"{listed(strange, most=3)}, not known"] if strange else []), *kinds)


def reconciliation(found: Reconciliation) -> str:
    """The yield, the melt and the active not found again, and whether the units add up."""
    parts = []
    if found.yield_percent is not None:
        parts.append(f"yield {fixed(found.yield_percent, decimals=1)} %")
    if found.unaccounted_g is not None and found.unaccounted_percent is not None:
        about = "about " if found.units_estimated else ""
        share = f"{fixed(found.unaccounted_percent, decimals=2)} % of the melt"
        parts.append(f"{about}{fixed(found.unaccounted_g, decimals=3)} g not accounted for ({share})")
    if found.units_difference is not None:
        parts.append("units add up" if found.units_difference == 0 else "units do not add up (see Notices)")
    parts += [_active(one) for one in found.actives]
    return f"Reconciliation: {'; '.join(parts) or 'not enough was entered'}."


def _active(one: ActiveBalance) -> str:
    interval = ""
    if one.recovery_low_percent is not None and one.recovery_high_percent is not None:
        low, high = (fixed(end, decimals=1) for end in (one.recovery_low_percent, one.recovery_high_percent))
        interval = f" (95 %: {low} to {high} %)"
    return f"{one.active} found {fixed(one.recovery_percent, decimals=1)} %{interval}"


def releasable(ledger: UnitLedger | None, verdict: BatchVerdict) -> str:
    """How many units can be released, as the batch stands."""
    if verdict is BatchVerdict.DOES_NOT_COMPLY:
        return "none"
    undecided = "none until decided" if verdict is BatchVerdict.UNDECIDED else ""
    if ledger is None:
        return undecided or "not known, the units poured were not entered"
    left, now, asked = ledger.left_for_release, ledger.released_at_most, ledger.still_asked_for
    if not left:
        return f"none, the {now} left would all be assayed" if asked and now else "none, no unit is left"
    if undecided:
        return f"{undecided}, then at most {left}"
    return f"at most {left} = {_sum(ledger)}"


def _sum(ledger: UnitLedger) -> str:
    """Units that there were, less each use of them."""
    uses = {
        "assayed": ledger.assayed,
        "used in other tests": ledger.other_tests,
        "rejected": ledger.rejected,
        "retained": ledger.retained,
        "to assay": ledger.still_asked_for,
    }
    return " − ".join([str(ledger.whole), *(f"{number} {use}" for use, number in uses.items() if number)])


def used_elsewhere(ledger: UnitLedger | None, verdict: BatchVerdict) -> str:
    """What a blank asks for: which units other tests used, where others are left; empty otherwise."""
    if ledger is None or verdict is BatchVerdict.DOES_NOT_COMPLY or not ledger.released_at_most * ledger.other_tests:
        return ""
    return f"{counted(ledger.other_tests, 'unit')} used in other tests"


def unit_ledger(ledger: UnitLedger, *, asked: bool) -> str:
    """Where each unit went; where units are `asked` for by name, what stands in for those that other tests used."""
    fates = (
        ("weighed and kept", ledger.weighed_and_kept),
        ("assayed", ledger.assayed),
        ("used in other tests", ledger.other_tests),
        ("rejected", ledger.rejected),
        ("retained", ledger.retained),
        ("neither weighed nor used", ledger.left),
    )
    told = listed([f"{number} {fate}" for fate, number in fates if number])
    released = "" if ledger.released is None else f", {ledger.released} entered as released"
    left, among = ledger.left_for_release, ledger.not_assayed
    of = "" if left == len(among) else f" of these {len(among)}"
    which = f" Left: {left}{of}: units {runs(among)}."
    if len(among) - ledger.other_tests == left < len(among):
        struck = f"strike out the {ledger.other_tests} that other tests used, which leaves {left}"
        which = f" Left: units {runs(among)}; {struck}."
    named = which if left and left <= len(among) < ledger.whole else ""
    instead = asked and ledger.other_tests and ledger.released_at_most
    nearest = " Where other tests used a unit asked for above, take the nearest number that is left." if instead else ""
    return f"Units: {ledger.whole} in all: {told}{released}.{named}{nearest}"


def packing_checklist(checklist: PackingChecklist) -> str:
    """How many lines are ticked, which were refused, and which are open."""
    if not checklist.started:
        return "The packing and label checklist was not entered."
    open_ = [line.text for line in checklist.open_lines]
    refused = [line.text for line in checklist.refused_lines]
    ticked = len(checklist.lines) - len(open_) - len(refused)
    parts = [f"Packing and label: {ticked} of {counted(len(checklist.lines), 'line')} ticked"]
    parts += [f"answered no: {listed(refused)}"] if refused else []
    parts += [f"not ticked: {listed(open_)}"] if open_ else []
    return "; ".join(parts) + "."
