"""What the eye saw, the balances and the packing checklist in a few sentences for the terminal."""

from __future__ import annotations

from qc.results import ActiveBalance, JudgedBatch, Reconciliation


def before_release(judged: JudgedBatch) -> list[str]:
    """One sentence each on what was looked at besides the tests; a batch with none of it has no sentence."""
    sentences = []
    if judged.visual is not None:
        sentences.append(judged.visual.sentence)
    if judged.reconciliation is not None:
        sentences += _balances(judged.reconciliation)
    # Once it was begun, the checklist stands among the tests and what to do now.
    if judged.packing is not None and not judged.packing.started:
        sentences.append(judged.packing.sentence)
    return sentences


def _balances(found: Reconciliation) -> list[str]:
    parts = []
    if found.yield_percent is not None:
        parts.append(f"yield {float(found.yield_percent):.1f} %")
    if found.unaccounted_g is not None and found.unaccounted_percent is not None:
        about = "about " if found.units_estimated else ""
        share = f"{float(found.unaccounted_percent):.2f} % of the melt"
        parts.append(f"{about}{float(found.unaccounted_g):.3f} g not accounted for ({share})")
    if found.units_difference is not None:
        parts.append("units add up" if found.units_difference == 0 else "units do not add up (see Notices)")
    sentences = [f"Reconciliation: {'; '.join(parts)}."] if parts else []
    return sentences + [_active(one) for one in found.actives] + list(found.missing)


def _active(one: ActiveBalance) -> str:
    interval = ""
    if one.recovery_low_percent is not None and one.recovery_high_percent is not None:
        interval = f" (95 %: {one.recovery_low_percent:.1f} to {one.recovery_high_percent:.1f} %)"
    return f"{one.active}: {float(one.recovery_percent):.1f} % of the amount weighed was found{interval}."
