"""The acceptance value AV = |M - mean| + k s as formulas, one column a stage."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from msgspec import Struct

from qc.results import Verdict
from qc.rules.acceptance_value import AcceptanceValue, acceptance_value, meets_l1, reference_value
from qc.rules.measured import Measured
from qc.rules.records import DosageUnitRule
from qc.workbook.recheck.blocks import Block, source_of
from qc.workbook.recheck.cells import Cell, Reckoned, Span
from qc.workbook.recheck.data import ActiveCells
from qc.workbook.recheck.formulas import (
    COMPARED_DECIMALS,
    NO,
    YES,
    count_of,
    mean_of,
    same_as,
    spread_of,
)


class Limits(Struct, frozen=True, kw_only=True):
    """What the rule states and what was entered for the active, as cells."""

    first_size: Cell
    second_size: Cell
    first_k: Cell
    second_k: Cell
    l1: Cell
    l2: Cell
    low: Cell
    high: Cell
    rounding: Cell
    target: Cell
    batch_assay: Cell | None
    """Assay of the pooled sample [% of label], for the mass route alone."""


class Look(Struct, frozen=True, kw_only=True):
    """The figures of the units of one stage, as cells."""

    n: Cell
    mean: Cell
    sd: Cell
    k: Cell
    reference: Cell
    value: Cell
    rounded: Cell
    meets: Cell
    low: Cell
    high: Cell

    def figures(self) -> dict[str, Cell]:
        """The figures by the names of the result document."""
        return {
            "mean_percent": self.mean,
            "sd_percent": self.sd,
            "k": self.k,
            "reference_percent": self.reference,
            "acceptance_value": self.value,
            "acceptance_value_rounded": self.rounded,
            "single_low_percent": self.low,
            "single_high_percent": self.high,
        }


class Verdicts(Struct, frozen=True, kw_only=True):
    """Counts of single units outside L2, one cell a stage: those of the look, and those measured beyond it."""

    singles: Sequence[Cell]
    hidden: Sequence[Cell]


def write_limits(block: Block, *, rule: DosageUnitRule, active: ActiveCells, by_mass: bool) -> Limits:
    """The limits with their sources."""
    block.head("Limits", "Value", "Source")
    source, entered = source_of(rule), "as entered, sheet Batch"

    def typed(label: str, cell: Cell) -> Cell:
        return block.reckoned(label, same_as(cell), remark=entered)[0]

    return Limits(
        first_size=block.stated("Units of the first stage", rule.first_size, source=source),
        second_size=block.stated("Further units of the second stage", rule.second_size, source=source),
        first_k=block.stated("k, first stage", rule.first_k, source=source),
        second_k=block.stated("k, all stages", rule.second_k, source=source),
        l1=block.stated("L1", rule.l1_percent, source=source),
        l2=block.stated("L2 (% of M)", rule.l2_percent, source=source),
        low=block.stated("Reference range from (% of label)", rule.reference_low_percent, source=source),
        high=block.stated("Reference range to (% of label)", rule.reference_high_percent, source=source),
        rounding=block.stated("Decimals to which AV is rounded", rule.rounding_decimals, source=source),
        target=typed("T, target (% of label)", active.target_percent),
        batch_assay=typed("A, assay of the batch (% of label)", active.batch_assay_percent) if by_mass else None,
    )


def reckon_look(
    block: Block,
    *,
    samples: Sequence[Span],
    names: Sequence[Sequence[str]],
    limits: Limits,
    rule: DosageUnitRule,
) -> list[Look]:
    """Mean, s, k, M, AV and the range of single units, one column a stage."""
    values = [
        _exact(sample, names=of, stage=stage, limits=limits, rule=rule)
        for stage, (sample, of) in enumerate(zip(samples, names, strict=True), start=1)
    ]
    n = block.reckoned("n", *(count_of(sample) for sample in samples))
    mean = block.reckoned("Mean (% of label)", *(mean_of(sample) for sample in samples), remark="sum / n")
    sd = block.reckoned("s (% of label)", *(spread_of(sample) for sample in samples), remark="divisor n - 1")
    k = block.reckoned("k", *(_k(count, stage=stage, limits=limits) for stage, count in enumerate(n, start=1)))
    reference = block.reckoned(
        "M (% of label)", *(_reference(centre, limits=limits, rule=rule) for centre in mean), remark="the three cases"
    )
    looks = list(zip(mean, sd, k, reference, values, strict=True))
    av = block.reckoned("AV", *(_value(*look) for look in looks), remark="|M - mean| + k s")
    rounded = block.reckoned(
        "AV, rounded once", *(_rounded(one, of, limits=limits, rule=rule) for one, of in zip(av, values, strict=True))
    )
    meets = block.reckoned(
        "AV at most L1", *(_meets(one, of, limits=limits, rule=rule) for one, of in zip(rounded, values, strict=True))
    )
    low = block.reckoned("Single units from (% of label)", *(_end(one, limits=limits, sign=-1) for one in reference))
    high = block.reckoned("Single units to (% of label)", *(_end(one, limits=limits, sign=1) for one in reference))
    columns = zip(n, mean, sd, k, reference, av, rounded, meets, low, high, strict=True)
    return [
        Look(
            n=column[0],
            mean=column[1],
            sd=column[2],
            k=column[3],
            reference=column[4],
            value=column[5],
            rounded=column[6],
            meets=column[7],
            low=column[8],
            high=column[9],
        )
        for column in columns
    ]


def stage_verdicts(looks: Sequence[Look], *, limits: Limits, counts: Verdicts) -> list[Reckoned]:
    """What each stage says, in the order in which the rule decides."""
    fails, few = Verdict.DOES_NOT_COMPLY.value, Verdict.TOO_FEW_UNITS.value
    second, passes = Verdict.SECOND_STAGE.value, Verdict.COMPLIES.value
    first, hidden = looks[0], counts.hidden[0]
    if first.n.exact < limits.first_size.exact:
        value = few
    elif first.meets.value != YES:
        value = second
    else:
        value = fails if hidden.exact > 0 else passes
    formula = (
        f'IF({first.n.address}<{limits.first_size.address},"{few}",'
        f'IF({first.meets.address}="{YES}",IF({hidden.address}>0,"{fails}","{passes}"),"{second}"))'
    )
    found = [Reckoned(formula=formula, value=value)]
    if len(looks) > 1:
        pooled, singles, rest = looks[1], counts.singles[1], counts.hidden[1]
        met = pooled.meets.value == YES and singles.exact == 0 and rest.exact == 0
        decided = f'IF(AND({pooled.meets.address}="{YES}",{singles.address}=0,{rest.address}=0),"{passes}","{fails}")'
        short = pooled.n.exact < _size(2, limits=limits)
        formula = f'IF({pooled.n.address}<{_all_units(limits)},"",{decided})'
        found.append(Reckoned(formula=formula, value=None if short else passes if met else fails))
    return found


def _exact(
    sample: Span, *, names: Sequence[str], stage: int, limits: Limits, rule: DosageUnitRule
) -> AcceptanceValue | None:
    """The acceptance value of a look, exact; None where the units are too few for a k."""
    if len(sample.cells) < _size(stage, limits=limits):
        return None
    measured = [Measured(unit=unit, value=value) for unit, value in zip(names, sample.exact, strict=True)]
    target = limits.target.value
    assert isinstance(target, Decimal)
    return acceptance_value(measured, stage=stage, target_percent=target, rule=rule)


def _size(stage: int, *, limits: Limits) -> int:
    return int(limits.first_size.exact + (limits.second_size.exact if stage == 2 else 0))


def _k(count: Cell, *, stage: int, limits: Limits) -> Reckoned:
    """The constant k of the stage; none for too few units."""
    k, size = (limits.first_k, limits.first_size.address) if stage == 1 else (limits.second_k, _all_units(limits))
    enough = count.exact >= _size(stage, limits=limits)
    return Reckoned(formula=f'IF({count.address}>={size},{k.address},"")', value=k.value if enough else None)


def _all_units(limits: Limits) -> str:
    return f"{limits.first_size.address}+{limits.second_size.address}"


def _reference(centre: Cell, *, limits: Limits, rule: DosageUnitRule) -> Reckoned:
    """M: the mean inside the reference range, else its nearer end; the upper end is T where T lies above it."""
    target = limits.target.value
    assert isinstance(target, Decimal)
    low, high = limits.low.address, f"MAX({limits.high.address},{limits.target.address})"
    return Reckoned(
        formula=f"IF({centre.address}<{low},{low},IF({centre.address}>{high},{high},{centre.address}))",
        value=reference_value(centre.exact, target_percent=target, rule=rule),
    )


def _value(centre: Cell, sd: Cell, k: Cell, reference: Cell, av: AcceptanceValue | None) -> Reckoned:
    formula = f"ABS({reference.address}-{centre.address})+{k.address}*{sd.address}"
    return Reckoned(formula=f'IF(ISNUMBER({k.address}),{formula},"")', value=None if av is None else av.value)


def _rounded(value: Cell, av: AcceptanceValue | None, *, limits: Limits, rule: DosageUnitRule) -> Reckoned:
    """AV rounded as the rule states; the inner rounding mends a five that binary fractions made a little less."""
    once = f"ROUND(ROUND({value.address},{COMPARED_DECIMALS}),{limits.rounding.address})"
    return Reckoned(
        formula=f'IF(ISNUMBER({value.address}),{once},"")',
        value=None if av is None else av.rounded(rule.rounding_decimals),
    )


def _meets(rounded: Cell, av: AcceptanceValue | None, *, limits: Limits, rule: DosageUnitRule) -> Reckoned:
    compared = f'IF(ROUND({rounded.address}-{limits.l1.address},{COMPARED_DECIMALS})<=0,"{YES}","{NO}")'
    value = None if av is None else YES if meets_l1(av, rule=rule) else NO
    return Reckoned(formula=f'IF(ISNUMBER({rounded.address}),{compared},"")', value=value)


def _end(reference: Cell, *, limits: Limits, sign: int) -> Reckoned:
    """One end of the range of single units, (1 - L2/100) M or (1 + L2/100) M [% of label]."""
    word = "+" if sign > 0 else "-"
    return Reckoned(
        formula=f"(1{word}{limits.l2.address}/100)*{reference.address}",
        value=(1 + sign * limits.l2.exact / 100) * reference.exact,
    )
