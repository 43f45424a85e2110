"""Which units a test rests on, and what was found in each: test samples, averaged determinations, scales."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

from msgspec import Struct

from qc.batch import Active, Assay, Batch, Part, Unit
from qc.quantities import mean
from qc.rules.kinds.content.procedure import Scale
from qc.rules.measured import Measured


class MassSample(Struct, frozen=True, kw_only=True):
    """The weighed units a mass test rests on, and those it left out [g]."""

    sample: tuple[Measured, ...]
    others: tuple[Measured, ...]
    marked: bool
    """Whether somebody marked a test sample; otherwise every weighed unit is the sample."""


def mass_sample(batch: Batch) -> MassSample:
    """The test sample by mass: the units marked "yes", or every weighed unit that is not marked "no"."""
    marked = any(unit.test_sample for unit in batch.units)
    chosen = [unit for unit in batch.weighed if (unit.test_sample if marked else unit.test_sample is not False)]
    names = {unit.name for unit in chosen}
    return MassSample(
        sample=_masses(chosen),
        others=_masses([unit for unit in batch.weighed if unit.name not in names]),
        marked=marked,
    )


def _masses(units: Sequence[Unit]) -> tuple[Measured, ...]:
    return tuple(Measured(unit=unit.name, value=Fraction(unit.mass_g)) for unit in units if unit.mass_g is not None)


class Found(Struct, frozen=True, kw_only=True):
    """What was found of one active in one whole unit: the mean of its determinations.

    Parameters
    ----------
    mg, percent : Fraction or None
        Content [mg] and [% of label]; None where the label claim to work it out is missing.
    stage : int or None
        As written in the sheet.
    determinations : int
        How many assays were averaged.
    """

    unit: str
    mg: Fraction | None
    percent: Fraction | None
    stage: int | None
    determinations: int


def contents_found(batch: Batch, *, active: Active) -> tuple[Found, ...]:
    """Every whole unit assayed for an active, in the order of the rows; duplicates averaged."""
    rows: dict[str, list[Assay]] = {}
    for assay in batch.assays:
        if assay.active == active.name and assay.part is Part.WHOLE:
            rows.setdefault(assay.unit, []).append(assay)
    return tuple(_averaged(unit, determinations, active=active) for unit, determinations in rows.items())


def percents_of_label(batch: Batch, *, actives: Sequence[Active]) -> dict[str, dict[str, Fraction]]:
    """By active, the content of every whole unit assayed [% of label]; without those that no label claim joins."""
    found = {active.name: contents_found(batch, active=active) for active in actives}
    return {
        name: {content.unit: content.percent for content in contents if content.percent is not None}
        for name, contents in found.items()
    }


def _averaged(unit: str, determinations: Sequence[Assay], *, active: Active) -> Found:
    label = None if active.label_claim_mg is None else Fraction(active.label_claim_mg)
    mg = [_mg(assay, label=label) for assay in determinations]
    percent = [_percent(assay, label=label) for assay in determinations]
    stages = [assay.stage for assay in determinations if assay.stage is not None]
    return Found(
        unit=unit,
        mg=mean([value for value in mg if value is not None]) if None not in mg else None,
        percent=mean([value for value in percent if value is not None]) if None not in percent else None,
        stage=stages[0] if stages else None,
        determinations=len(determinations),
    )


def _mg(assay: Assay, *, label: Fraction | None) -> Fraction | None:
    if assay.content_mg is not None:
        return Fraction(assay.content_mg)
    if assay.content_percent is not None and label is not None:
        return Fraction(assay.content_percent) * label / 100
    return None


def _percent(assay: Assay, *, label: Fraction | None) -> Fraction | None:
    if assay.content_percent is not None:
        return Fraction(assay.content_percent)
    if assay.content_mg is not None and label is not None:
        return Fraction(assay.content_mg) / label * 100
    return None


def scale_of(found: Sequence[Found], *, batch: Batch, active: Active) -> Scale | None:
    """The scale the contents of an active can be compared on: mg where all are known in mg, else % of label.

    None when some are in mg, some in % of label, and no label claim joins them.
    """
    label = None if active.label_claim_mg is None else Fraction(active.label_claim_mg)
    entered_in_mg = any(
        assay.content_mg is not None
        for assay in batch.assays
        if assay.active == active.name and assay.part is Part.WHOLE
    )
    if entered_in_mg and all(content.mg is not None for content in found):
        return Scale(unit="mg", label=label)
    if all(content.percent is not None for content in found):
        return Scale(unit="% of label", label=Fraction(100))
    return None


def on_scale(found: Sequence[Found], *, scale: Scale) -> tuple[Measured, ...]:
    """The contents on one scale."""
    values = [(content.unit, content.mg if scale.unit == "mg" else content.percent) for content in found]
    return tuple(Measured(unit=unit, value=value) for unit, value in values if value is not None)


def actives_of(batch: Batch) -> tuple[Active, ...]:
    """The actives of the batch: those of its sheet, or those that the assays name when it has none."""
    if batch.actives:
        return batch.actives
    names = dict.fromkeys(assay.active for assay in batch.assays)
    return tuple(Active(name=name) for name in names)
