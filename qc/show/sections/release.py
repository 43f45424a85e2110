"""The later pages on release: the visual inspection, what went in and what came out, packing and label."""

from __future__ import annotations

from collections.abc import Mapping

from qc.results import ActiveBalance, JudgedBatch, Reconciliation, VisualInspection
from qc.say.messages import words
from qc.say.names import CAUSE, MET, in_words
from qc.say.numbers import NOTHING, as_typed, fixed, interval
from qc.say.release import packing_checklist
from qc.say.text import listed
from qc.show.pieces import Lines, Piece, Prose, Section, Table, between, column, lines, number, section, table

UNITS_NAMED = 20
ANSWERED = ("yes", "not applicable")


def release(judged: JudgedBatch) -> tuple[Section, ...]:
    """One part each for what was recorded; a batch without any of it has none."""
    seen, balance = judged.visual, judged.reconciliation
    went = "What went in and what came out"
    return (
        *(() if seen is None else section("seen", "Visual inspection", *_seen(seen), annex=True)),
        *(() if balance is None else section("reconciliation", went, *_balances(balance), annex=True)),
    )


def _seen(seen: VisualInspection) -> tuple[Piece, ...]:
    defects = table(
        "Defects seen, the gravest first; usual causes and remedies are common practice, not findings",
        seen.defects,
        column("Defect", lambda one: one.defect),
        column("Grade", lambda one: f"{one.grade} [{one.grade_mark}]"),
        number("Units", lambda one: len(one.units)),
        column("Seen on", lambda one: listed(one.units, most=UNITS_NAMED)),
        column("Usual causes", lambda one: "; ".join(one.causes) or None),
        column("Remedy", lambda one: one.remedy or None),
    )
    planned = table(
        "Units with a defect, grade by grade, beside the sampling plan of the house",
        [one for one in seen.classes if one.plan is not None],
        column("Grade", lambda one: one.grade),
        number("Units", lambda one: len(one.units)),
        column("Plan", lambda one: words(one.plan) if one.plan is not None else None),
        column("Accepted", lambda one: MET[one.met]),
        strong=lambda one: one.met is False,
    )
    unknown = tuple(f"{word} (on {listed(units, most=UNITS_NAMED)})" for word, units in seen.unknown.items())
    return (
        defects,
        *_speaks_for(seen),
        planned,
        *((Lines(title="Words that are not known, and were not counted", items=unknown),) if unknown else ()),
    )


def _speaks_for(seen: VisualInspection) -> tuple[Prose, ...]:
    causes = dict.fromkeys(cause for one in seen.defects for cause in one.speaks_for)
    names = listed([in_words(cause, CAUSE) for cause in causes])
    return (Prose(text=f"Among the possible causes these defects speak for: {names}."),) if causes else ()


def _balances(found: Reconciliation) -> tuple[Piece, ...]:
    estimated = "; the units are estimated from those weighed" if found.units_estimated else ""
    tables = (
        _known("The melt, by mass" + estimated, "Mass [g]", _melt(found)),
        _known("The units, by count", "Units", _counts(found), last_strong=bool(found.units_difference)),
        _actives(found.actives),
    )
    return (
        *tables,
        *lines(*found.remarks, title="What does not add up"),
        *lines(*found.missing, title="What was left out"),
        *lines(*found.working, title="Working", calculation=True),
    )


def _known(caption: str, head: str, rows: Mapping[str, str], *, last_strong: bool = False) -> Table:
    """What is known of a balance, a line each."""
    known = [row for row in rows.items() if row[1] != NOTHING]
    return table(
        caption,
        known,
        column("What", lambda row: row[0]),
        number(head, lambda row: row[1]),
        strong=lambda row: last_strong and row is known[-1],
    )


def _melt(found: Reconciliation) -> dict[str, str]:
    ends = interval(found.units_low_g, found.units_high_g, decimals=2)
    return {
        "prepared": as_typed(found.melt_prepared_g),
        "in the units": fixed(found.units_g, decimals=3) + (f" ({ends})" if ends != NOTHING else ""),
        "trimmings": as_typed(found.trimmings_g),
        "left in the dish": as_typed(found.melt_left_g),
        "not accounted for": fixed(found.unaccounted_g, decimals=3),
        "not accounted for, % of melt": fixed(found.unaccounted_percent, decimals=2),
    }


def _counts(found: Reconciliation) -> dict[str, str]:
    return {
        "theoretical": fixed(found.theoretical_units, decimals=2),
        "obtained": fixed(found.units_obtained, decimals=0),
        "yield, % of theoretical": fixed(found.yield_percent, decimals=2),
        "released": fixed(found.units_released, decimals=0),
        "rejected": fixed(found.units_rejected, decimals=0),
        "sampled": fixed(found.units_sampled, decimals=0),
        "obtained less released, rejected and sampled": fixed(found.units_difference, decimals=0),
    }


def _actives(balances: tuple[ActiveBalance, ...]) -> Table:
    return table(
        "Active weighed and active found; the interval holds assay repeatability and sampling only",
        balances,
        column("Active", lambda one: one.active),
        number("Weighed [mg]", lambda one: fixed(one.weighed_mg, decimals=1)),
        number("Units [mg]", lambda one: fixed(one.in_units_mg, decimals=1)),
        number("Trimmings [mg]", lambda one: fixed(one.in_trimmings_mg, decimals=1)),
        number("Dish [mg]", lambda one: fixed(one.in_dish_mg, decimals=1)),
        number("Found [%]", lambda one: fixed(one.recovery_percent, decimals=1)),
        between("95 % interval [%]", lambda one: (one.recovery_low_percent, one.recovery_high_percent), decimals=1),
    )


def packing(judged: JudgedBatch) -> tuple[Piece, ...]:
    """The packing and label checklist: every line that is open or refused; who ticked what stands among the checks."""
    checklist = judged.packing
    if checklist is None:
        return ()
    local = "Local law and the licence of the product decide what a label must carry; this list takes nothing away."
    if not checklist.started:
        return lines(packing_checklist(checklist), local, title="Packing and label")
    others = (f"{line.text}: {line.answer}" for line in checklist.lines if line.answer not in ANSWERED)
    return lines(*others, title="Packing and label, lines not answered yes or not applicable")
