"""On which scale the contents of an active stand: the one rule by which entries in mg and in % of label are joined.

One determination is typed in mg or in % of label; a label claim joins the two. Judging, the analysis of the pour, the
causes and the workbook all ask here, so that none of them takes a content for more or less than another does.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from decimal import Decimal
from fractions import Fraction
from functools import lru_cache

from msgspec import Struct

from qc.batch import Active, Assay, Batch, Part
from qc.quantities import mean


class Scale(Struct, frozen=True, kw_only=True):
    """The unit of measure the contents stand in, and what the label claim is on it."""

    unit: str
    """`mg` or `% of label`."""
    label: Fraction | None
    """The label claim on this scale: its mg, or 100 for % of label; None when no claim is known."""

    def factor(self, assay: Assay) -> Fraction:
        """By what a determination is multiplied to stand on this scale [-, or mg for 1 % of label].

        Raises
        ------
        ValueError
            When nothing joins the two: `scale_of` gives no scale that holds such a determination.
        """
        if (assay.content_mg is not None) == (self.unit == "mg"):
            return Fraction(1)
        if self.unit != "mg" or self.label is None:
            raise ValueError(f"unit {assay.unit}: no label claim joins its content with contents in {self.unit}")
        return self.label / 100


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

    def on(self, scale: Scale) -> Fraction | None:
        """The content on a scale [mg or % of label]; None where the label claim to work it out is missing."""
        return self.mg if scale.unit == "mg" else self.percent


def actives_of(batch: Batch) -> tuple[Active, ...]:
    """The actives of the batch: those of its sheet, or those that the assays name when it has none."""
    if batch.actives:
        return batch.actives
    names = dict.fromkeys(assay.active for assay in batch.assays)
    return tuple(Active(name=name) for name in names)


def active_named(batch: Batch, name: str) -> Active:
    """An active of the batch by its name; with nothing known about it where the assays alone name it."""
    return next((active for active in batch.actives if active.name == name), Active(name=name))


def determinations(batch: Batch, *, active: Active, whole: bool = True) -> tuple[Assay, ...]:
    """The determinations of an active in whole units, or those in parts of units, in the order of the rows."""
    return tuple(assay for assay in batch.assays if assay.active == active.name and (assay.part is Part.WHOLE) is whole)


def typed(assay: Assay) -> Decimal | None:
    """A content as it was typed [mg or % of label]; None where the row has none."""
    return assay.content_mg if assay.content_mg is not None else assay.content_percent


def contents_found(batch: Batch, *, active: Active) -> tuple[Found, ...]:
    """Every whole unit assayed for an active, in the order of the rows; duplicates averaged."""
    return _found_in(determinations(batch, active=active), _label(active))


@lru_cache(maxsize=32)
def _found_in(entered: tuple[Assay, ...], label: Fraction | None) -> tuple[Found, ...]:
    """Worked out once for all who ask of one batch, its copies among them."""
    rows: dict[str, list[Assay]] = {}
    for assay in entered:
        rows.setdefault(assay.unit, []).append(assay)
    return tuple(_averaged(unit, found, label=label) for unit, found in rows.items())


def scale_of(batch: Batch, *, active: Active, less: Collection[str] = (), whole: bool = True) -> Scale | None:
    """The scale on which the contents of an active can be compared: that of the entries, mg where some are in mg.

    Parameters
    ----------
    batch : Batch
    active : Active
    less : collection of str
        Units that do not count.
    whole : bool
        Whether whole units are asked about, or parts of units.

    Returns
    -------
    Scale or None
        None when some are in mg, some in % of label, and no label claim joins them.
    """
    label = _label(active)
    entered = determinations(batch, active=active, whole=whole)
    in_mg = [one.content_mg is not None for one in entered if label is not None or one.unit not in less]
    if label is None and any(in_mg) and not all(in_mg):
        return None
    return Scale(unit="mg", label=label) if any(in_mg) else Scale(unit="% of label", label=Fraction(100))


def _label(active: Active) -> Fraction | None:
    return None if active.label_claim_mg is None else Fraction(active.label_claim_mg)


def _averaged(unit: str, found: Sequence[Assay], *, label: Fraction | None) -> Found:
    in_mg = [Fraction(assay.content_mg) for assay in found if assay.content_mg is not None]
    in_percent = [Fraction(assay.content_percent) for assay in found if assay.content_percent is not None]
    if label is not None:
        in_mg += [percent * label / 100 for percent in in_percent]
        in_percent = [mg / label * 100 for mg in in_mg]
    return Found(
        unit=unit,
        mg=mean(in_mg) if len(in_mg) == len(found) else None,
        percent=mean(in_percent) if len(in_percent) == len(found) else None,
        stage=next((assay.stage for assay in found if assay.stage is not None), None),
        determinations=len(found),
    )
