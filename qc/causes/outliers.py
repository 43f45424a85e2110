"""The outlier among the measurements of its kind, and the number that it was meant to be."""

from __future__ import annotations

from decimal import Decimal
from math import exp, log
from statistics import median

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.causes.rows import Kind, Row, Rows
from qc.causes.slips import one_slip_away

# From how many usual spreads a number is an outlier, and within how many another would fit.
OUTLYING = 4.0
FITS = 2.0


class Outlier(Struct, frozen=True, kw_only=True):
    """An outlier: what it is of, how far it lies from the middle of its kind, and in their spreads.

    `kind` is "mass" or "content"; `meant` is a number one transcription error away that would fit, with how far it
    would lie off; None for none.
    """

    kind: str
    unit: str
    typed: str
    off_percent: float
    deviations: float
    meant: Decimal | None = None
    slip: str = ""
    meant_off_percent: float | None = None


def furthest_outlier(rows: Rows) -> Outlier | None:
    """The mass or content furthest from the middle of its like, in robust standard deviations."""
    best: Outlier | None = None
    kinds = [("mass", rows.of(Kind.MASS))]
    kinds += [("content", rows.of(Kind.CONTENT, active=active)) for active in range(len(rows.substances))]
    for what, flags in kinds:
        values = rows.value[flags & rows.measured]
        if values.size < 5:
            continue
        # numpy's own median loads its masked arrays, which takes longer than all that is done here.
        middle = float(median(values))
        spread = 1.4826 * float(median(np.abs(values - middle)))
        if spread == 0.0:
            continue
        furthest = int(np.abs(values - middle).argmax())
        row = rows.rows[int(np.flatnonzero(flags & rows.measured)[furthest])]
        deviations = abs(float(values[furthest]) - middle) / spread
        if best is None or deviations > best.deviations:
            best = Outlier(
                kind=what,
                unit=row.name,
                typed=str(row.typed),
                off_percent=100.0 * (exp(float(values[furthest]) - middle) - 1.0),
                deviations=deviations,
            )
            best = _with_meant(best, row, middle=middle, spread=spread)
    return best


def _with_meant(outlier: Outlier, row: Row, *, middle: float, spread: float) -> Outlier:
    """The same, with the number one slip away that lies nearest the middle, where it would fit."""
    if row.typed is None or outlier.deviations < OUTLYING:
        return outlier
    away = {slip.other: slip for slip in one_slip_away(row.typed)}
    nearest = min(away.values(), key=lambda slip: abs(log(float(slip.other) / row.reference) - middle))
    off = log(float(nearest.other) / row.reference) - middle
    if abs(off) > FITS * spread:
        return outlier
    return replace(
        outlier,
        meant=nearest.other,
        slip=nearest.form.value,
        meant_off_percent=100.0 * (exp(off) - 1.0),
    )
