"""The later pages on release: what the eye saw, what went in and what came out, packing and label."""

from __future__ import annotations

from qc.results import ActiveBalance, JudgedBatch, PackingChecklist, Reconciliation, VisualInspection
from qc.say.messages import all_words, words
from qc.say.names import CAUSE, MET, counted, in_words, listed
from qc.say.numbers import NOTHING, as_typed, fixed
from qc.say.release import packing_checklist, visual_inspection
from qc.show.view import Column, Lines, Piece, Prose, Section, Table

UNITS_NAMED = 20


def release(judged: JudgedBatch) -> tuple[Section, ...]:
    """One part each for what was recorded; a batch without any of it has none."""
    made = []
    if judged.visual is not None:
        made.append(Section(id="seen", title="What the eye saw", pieces=_seen(judged.visual)))
    if judged.reconciliation is not None:
        pieces = _balances(judged.reconciliation)
        made.append(Section(id="reconciliation", title="What went in and what came out", pieces=pieces))
    if judged.packing is not None:
        made.append(Section(id="packing", title="Packing and label", pieces=_packing(judged.packing)))
    return tuple(made)


def _seen(seen: VisualInspection) -> tuple[Piece, ...]:
    pieces: list[Piece] = [Prose(text=visual_inspection(seen))]
    if seen.defects:
        pieces.append(
            Table(
                caption="Defects seen, the gravest first; the usual causes are those of the trade, not findings",
                columns=(
                    Column(head="Defect"),
                    Column(head="Grade"),
                    Column(head="Units", number=True),
                    Column(head="Seen on"),
                    Column(head="Usual causes"),
                    Column(head="Remedy"),
                ),
                rows=tuple(
                    (
                        one.defect,
                        f"{one.grade} [{one.grade_mark}]",
                        str(len(one.units)),
                        listed(one.units, most=UNITS_NAMED),
                        f"{'; '.join(one.causes)} [{one.mark}]" if one.causes else NOTHING,
                        one.remedy or NOTHING,
                    )
                    for one in seen.defects
                ),
            )
        )
        sources = tuple(f"{one.defect}: {one.source}." for one in seen.defects)
        pieces.append(Lines(title="Where the usual causes come from", items=sources))
        speaks_for = {cause: None for one in seen.defects for cause in one.speaks_for}
        if speaks_for:
            names = listed([in_words(cause, CAUSE) for cause in speaks_for])
            pieces.append(Prose(text=f"Among the possible causes these defects speak for: {names}."))
    planned = [(one.grade, one.units, one.plan, one.met) for one in seen.classes if one.plan is not None]
    if planned:
        pieces.append(
            Table(
                caption="Units with a defect, grade by grade, beside the sampling plan of the house",
                columns=(
                    Column(head="Grade"),
                    Column(head="Units", number=True),
                    Column(head="Plan"),
                    Column(head="Accepted"),
                ),
                rows=tuple((grade, str(len(units)), words(plan), MET[met]) for grade, units, plan, met in planned),
                strong=tuple(place for place, (*_, met) in enumerate(planned) if met is False),
            )
        )
    if seen.unknown:
        unknown = tuple(f"{word} (on {listed(units, most=UNITS_NAMED)})" for word, units in seen.unknown.items())
        pieces.append(Lines(title="Words that are not known, and were not counted", items=unknown))
    return tuple(pieces)


def _balances(found: Reconciliation) -> tuple[Piece, ...]:
    pieces: list[Piece] = []
    rows = _melt_rows(found)
    if rows:
        pieces.append(
            Table(
                caption="The melt, by mass" + ("; the units are estimated from those weighed" * found.units_estimated),
                columns=(Column(head="What"), Column(head="Mass [g]", number=True)),
                rows=rows,
            )
        )
    counts = _count_rows(found)
    if counts:
        pieces.append(
            Table(
                caption="The units, by count",
                columns=(Column(head="What"), Column(head="Units", number=True)),
                rows=counts,
                strong=(len(counts) - 1,) if found.units_difference else (),
            )
        )
    if found.actives:
        pieces.append(_actives(found.actives))
    for title, items in (("What does not add up", found.remarks), ("What was left out", found.missing)):
        if items:
            pieces.append(Lines(title=title, items=all_words(items)))
    if found.working:
        pieces.append(Lines(title="Working", items=all_words(found.working), calculation=True))
    return tuple(pieces)


def _melt_rows(found: Reconciliation) -> tuple[tuple[str, str], ...]:
    units = fixed(found.units_g, decimals=3)
    if found.units_low_g is not None and found.units_high_g is not None:
        units += f" ({fixed(found.units_low_g, decimals=2)} to {fixed(found.units_high_g, decimals=2)})"
    rows = (
        ("prepared", as_typed(found.melt_prepared_g)),
        ("in the units", units),
        ("trimmings", as_typed(found.trimmings_g)),
        ("left in the dish", as_typed(found.melt_left_g)),
        ("not accounted for", fixed(found.unaccounted_g, decimals=3)),
        ("not accounted for, % of melt", fixed(found.unaccounted_percent, decimals=2)),
    )
    return tuple(row for row in rows if row[1] != NOTHING)


def _count_rows(found: Reconciliation) -> tuple[tuple[str, str], ...]:
    rows = (
        ("theoretical", fixed(found.theoretical_units, decimals=2)),
        ("obtained", _count(found.units_obtained)),
        ("yield, % of theoretical", fixed(found.yield_percent, decimals=2)),
        ("released", _count(found.units_released)),
        ("rejected", _count(found.units_rejected)),
        ("sampled", _count(found.units_sampled)),
        ("obtained less released, rejected and sampled", _count(found.units_difference)),
    )
    return tuple(row for row in rows if row[1] != NOTHING)


def _count(number: int | None) -> str:
    return fixed(number, decimals=0)


def _actives(balances: tuple[ActiveBalance, ...]) -> Table:
    return Table(
        caption="Active weighed and active found; the interval holds assay repeatability and sampling alone",
        columns=(
            Column(head="Active"),
            Column(head="Weighed [mg]", number=True),
            Column(head="Units [mg]", number=True),
            Column(head="Trimmings [mg]", number=True),
            Column(head="Dish [mg]", number=True),
            Column(head="Found [%]", number=True),
            Column(head="95 % interval [%]", number=True),
        ),
        rows=tuple(
            (
                one.active,
                fixed(one.weighed_mg, decimals=1),
                fixed(one.in_units_mg, decimals=1),
                fixed(one.in_trimmings_mg, decimals=1),
                fixed(one.in_dish_mg, decimals=1),
                fixed(one.recovery_percent, decimals=1),
                NOTHING
                if one.recovery_low_percent is None
                else f"{fixed(one.recovery_low_percent, decimals=1)} to {fixed(one.recovery_high_percent, decimals=1)}",
            )
            for one in balances
        ),
    )


def _packing(checklist: PackingChecklist) -> tuple[Piece, ...]:
    local = Prose(
        text="Local law and the licence of the product decide what a label must carry; this list takes nothing away "
        "from them."
    )
    if not checklist.started:
        return (Prose(text=packing_checklist(checklist)), local)
    table = Table(
        caption=f"The checklist, {counted(len(checklist.lines), 'line')}",
        columns=tuple(Column(head=head) for head in ("Line", "Answer", "As entered", "Done by", "Known")),
        rows=tuple(
            (line.text, line.answer, line.entered or NOTHING, line.done_by or NOTHING, line.mark)
            for line in checklist.lines
        ),
        strong=tuple(
            place for place, line in enumerate(checklist.lines) if line.answer not in ("yes", "not applicable")
        ),
    )
    return (table, local)
