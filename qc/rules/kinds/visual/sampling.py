"""Attribute sampling: how many units to look at, how many may be nonconforming, and what a count says."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

from msgspec import Struct
from msgspec.structs import asdict, replace

from qc.results import Limit, Message, SeenClass, TestResult, Verdict, VisualInspection, message
from qc.rules.kinds.visual import Grade, SamplingRule


class SamplingPlan(Struct, frozen=True, kw_only=True):
    """The plan of one class of defects for one batch.

    Parameters
    ----------
    letter : str
        Code letter of the batch size; empty where every unit is looked at without one.
    sample_size : int
        Units to look at.
    accepts : int or None
        Greatest number of nonconforming units; None where every unit is looked at and the share decides.
    from_memory : bool
        Whether the figures were not read on a page.
    """

    letter: str
    sample_size: int
    accepts: int | None
    from_memory: bool = False


class Acceptance(Struct, frozen=True, kw_only=True):
    """What a count says: accepted or not; None and the units still to look at where it does not say."""

    met: bool | None
    units_to_look_at: int = 0


def plan_for(rule: SamplingRule, *, lot: int, aql_percent: Decimal) -> SamplingPlan | None:
    """The plan for a batch size and an acceptable quality limit; None where the tables end before it.

    Parameters
    ----------
    rule : SamplingRule
    lot : int
        Units in the batch.
    aql_percent : Decimal
        One of the columns of the table, or 0 [%].

    References
    ----------
    ISO 2859-1:1999, tables 1 and 2-A. That small batches are looked at whole is our own reading.
    """
    if lot <= rule.inspect_all_up_to or aql_percent == 0:
        return SamplingPlan(letter="", sample_size=lot, accepts=None)
    row = next((row for row in rule.codes if row.lot_from <= lot <= row.lot_to), None)
    if row is None:
        return None
    letter = row.letters[rule.inspection_level - 1]
    column = next(column for column in rule.columns if column.aql_percent == aql_percent)
    place = rule.letters.index(letter)
    size = column.sample_sizes[place]
    if size >= lot:
        return SamplingPlan(letter=letter, sample_size=lot, accepts=None)
    remembered = {rule.letters[at] for at, other in enumerate(column.sample_sizes) if other == size}
    return SamplingPlan(
        letter=letter,
        sample_size=size,
        accepts=column.accepts[place],
        from_memory=letter in rule.letters_from_memory or remembered <= set(rule.letters_from_memory),
    )


def acceptance_by(
    plan: SamplingPlan, *, lot: int, looked_at: int, nonconforming: int, aql_percent: Decimal
) -> Acceptance:
    """What the units looked at say of one class of defects.

    Parameters
    ----------
    plan : SamplingPlan
    lot, looked_at, nonconforming : int
        Units in the batch, units looked at, and units among them with a defect of the class.
    aql_percent : Decimal
        Acceptable quality limit of the class [% of units].

    Returns
    -------
    Acceptance

    Notes
    -----
    Where every unit was looked at, the share itself is compared with the AQL, a share equal to it being accepted. With
    more units than the plan asks for but not all, up to its acceptance number is accepted; more than that is not
    accepted where the share exceeds the AQL, and asks for a look at the rest where it does not.
    """
    beyond_aql = Fraction(nonconforming * 100)
    if looked_at >= lot:
        return Acceptance(met=beyond_aql <= Fraction(aql_percent) * max(lot, looked_at))
    if plan.accepts is None:
        # Nonconforming units already found stay, however sound the rest may be.
        over = beyond_aql > Fraction(aql_percent) * lot
        return Acceptance(met=False) if over else Acceptance(met=None, units_to_look_at=lot - looked_at)
    if nonconforming <= plan.accepts:
        short = plan.sample_size - looked_at
        return Acceptance(met=True) if short <= 0 else Acceptance(met=None, units_to_look_at=short)
    if looked_at <= plan.sample_size or beyond_aql > Fraction(aql_percent) * looked_at:
        return Acceptance(met=False)
    return Acceptance(met=None, units_to_look_at=lot - looked_at)


def judge_visual(
    seen: VisualInspection | None, *, rule: SamplingRule, required: bool
) -> tuple[VisualInspection | None, TestResult]:
    """Lay the counts against the plan of each grade for which the house set an AQL.

    Parameters
    ----------
    seen : VisualInspection or None
        None where nothing was written.
    rule : SamplingRule
    required : bool
        Whether the batch cannot comply without it.

    Returns
    -------
    VisualInspection or None, and TestResult
        The inspection with its plans filled in, and the test `visual-inspection`.
    """
    blank = TestResult(id=rule.test, rule=rule.id, verdict=Verdict.NOT_ASSESSED, required=required)
    if all(aql is None for aql in rule.aqls.values()):
        missing = "an AQL for each grade of defect, in a house rule file"
        return seen, replace(blank, missing=missing, reasons=(message("visual.no_aql", rule=rule.id),))
    if seen is None:
        missing = 'the visual inspection (column Seen; "none" for a sound unit)'
        return seen, replace(blank, missing=missing, reasons=(message("visual.nothing_seen"),))
    classes: list[SeenClass] = []
    limits: list[Limit] = []
    reasons: list[Message] = []
    working: list[Message] = []
    outside_tables, to_look_at = False, 0
    for one in seen.classes:
        aql = rule.aqls[Grade(one.grade)]
        plan = None if aql is None else plan_for(rule, lot=seen.lot, aql_percent=aql)
        if aql is None or plan is None:
            outside_tables |= aql is not None
            classes.append(one)
            continue
        bad, looked_at = len(one.units), seen.looked_at
        accepted = acceptance_by(plan, lot=seen.lot, looked_at=looked_at, nonconforming=bad, aql_percent=aql)
        limit = Limit(
            what="nonconforming_units",
            figure=bad,
            bound=0 if aql == 0 else aql if plan.accepts is None else plan.accepts,
            met=accepted.met,
            unit="%" if plan.accepts is None else "units",
            values={"grade": one.grade, "lot": seen.lot},
        )
        said = message("visual.plan", **asdict(plan), aql_percent=aql, level=rule.inspection_level)
        classes.append(replace(one, aql_percent=aql, plan=said, met=accepted.met))
        limits.append(limit)
        reasons.append(message("visual.count", limit=limit, looked_at=looked_at, more=accepted.units_to_look_at))
        working.append(message("visual.working", grade=one.grade, plan=said))
        to_look_at = max(to_look_at, accepted.units_to_look_at)
    verdict: Verdict = Verdict.COMPLIES
    lacking: Message | str = ""
    if any(limit.met is False for limit in limits):
        verdict = Verdict.DOES_NOT_COMPLY
    elif seen.unknown:
        quoted = [f'"{word}"' for word in seen.unknown]
        verdict, lacking = Verdict.NOT_ASSESSED, message("visual.known_words", quoted=quoted)
    elif outside_tables:
        lacking = f"a plan for {seen.lot} units; the tables end at {rule.codes[-1].lot_to}"
        verdict = Verdict.NOT_ASSESSED
    elif to_look_at:
        verdict, lacking = Verdict.TOO_FEW_UNITS, message("visual.more_to_inspect", more=to_look_at)
    figures: dict[str, float | int | None] = {"lot": seen.lot, "looked_at": seen.looked_at}
    test = replace(
        blank,
        verdict=verdict,
        n=seen.looked_at,
        figures=figures | {one.grade: len(one.units) for one in classes},
        criteria=tuple(limits),
        reasons=tuple(reasons),
        working=tuple(working),
        missing=lacking,
    )
    return replace(seen, classes=tuple(classes)), test
