"""One or two numbers were written down wrongly: a value far from the others, one error away from one that would fit."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from decimal import Decimal
from enum import StrEnum
from math import exp, log
from statistics import median
from typing import TYPE_CHECKING

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Part
from qc.causes.background import Background
from qc.causes.evidence import Likelihood
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.priors import middles, normal_quantile
from qc.causes.rows import Floats, Row, RowKind
from qc.causes.shifts import Shift, log_shares
from qc.results.messages import Message, message

if TYPE_CHECKING:
    from qc.simulate.pouring import FaultDraw
    from qc.simulate.record import Written

ID = "slip-of-pen"
OTHER_STEPS = 16

# A slip larger than this is refused when the workbook is read.
GREATEST_FACTOR = 150.0
# From how many usual spreads a number is an outlier, and within how many another would fit.
OUTLYING = 4.0
FITS = 2.0
# A number this share as far off as the furthest [%] is named with it: which of them is the slip cannot be told.
AS_FAR = 0.9


class SlipForm(StrEnum):
    """In which way a number is written down wrongly; the probability of each stands in the priors under its value."""

    EXCHANGED_DIGITS = "exchanged_digits"
    WRONG_DIGIT = "wrong_digit"
    SHIFTED_POINT = "shifted_point"


class Slip(Struct, frozen=True, kw_only=True):
    """A number that one slip away may have been meant, and the form of the slip."""

    other: Decimal
    form: SlipForm


def one_slip_away(number: Decimal) -> tuple[Slip, ...]:
    """Every positive number that one slip turns into this one, or this one into; the relation goes both ways.

    Examples
    --------
    >>> [str(slip.other) for slip in one_slip_away(Decimal("12")) if slip.form is not SlipForm.WRONG_DIGIT]
    ['21', '1.2', '120']
    """
    slips = (Slip(other=Decimal(whole).scaleb(-behind), form=form) for form, whole, behind in _away(number))
    return tuple(slip for slip in slips if slip.other > 0 and slip.other != number)


def _away(number: Decimal) -> list[tuple[SlipForm, int, int]]:
    """What one slip makes of a number: the form, all digits as one whole number, and how many stand behind the point.

    The number itself may be among them, and zero.
    """
    _, significant, power = number.as_tuple()
    behind = max(0, -int(power))
    # The digits as they are written out, a zero before the point among them.
    digits = (*[0] * (behind + 1 - len(significant)), *significant, *[0] * max(0, int(power)))
    whole, worth = int("".join(map(str, digits))), [10**at for at in range(len(digits) - 1, -1, -1)]
    found = [
        (SlipForm.EXCHANGED_DIGITS, whole + (two - one) * (left - right), behind)
        for (one, two), (left, right) in zip(itertools.pairwise(digits), itertools.pairwise(worth), strict=True)
    ]
    found += [
        (SlipForm.WRONG_DIGIT, whole + (wrong - digit) * step, behind)
        for digit, step in zip(digits, worth, strict=True)
        for wrong in range(10)
    ]
    found.append((SlipForm.SHIFTED_POINT, whole, behind + 1))
    found.append((SlipForm.SHIFTED_POINT, whole if behind else 10 * whole, max(behind - 1, 0)))
    return found


def likelihood(background: Background) -> tuple[Likelihood, ...]:
    """Any one number, or any two, by any slip: shapes (numbers, rows), amplitudes ln(typed over meant) [-]."""
    shift = _slips(background)
    if shift is None:
        return (Likelihood(),)
    two = background.priors.number(ID, "two")
    return (Likelihood(weight=1.0 - two, shifts=(shift,)), Likelihood(weight=two, shifts=(shift, shift)))


def _slips(background: Background) -> Shift | None:
    rows, priors = background.rows.rows, background.priors
    written = {place: row.typed for place, row in enumerate(rows) if row.typed is not None and not row.explained}
    if not written:
        return None
    amplitudes, weights = _amplitudes(list(written.values()), background)
    other = priors.number(ID, "other_spread") * normal_quantile(middles(OTHER_STEPS))
    amplitudes = np.hstack([amplitudes, np.tile(other, (len(written), 1))])
    weights = np.hstack([weights, np.full((len(written), other.size), priors.number(ID, "other") / other.size)])
    logs = log_shares(weights / weights.sum(axis=1, keepdims=True)) - log(len(written))
    return Shift(shapes=np.eye(len(rows))[list(written)], amplitudes=amplitudes, log_weights=logs)


def _amplitudes(every: Sequence[Decimal], background: Background) -> tuple[Floats, Floats]:
    """ln(typed over meant) of every slip that could have given each number [-], with its weight, none behind the last.

    Both of shape (numbers, slips).
    """
    away = [[slip for slip in _away(typed) if slip[1] > 0] for typed in every]
    # What stands behind the last slip of a number is the number itself, which is no slip.
    typed = np.array([[float(one)] for one in every])
    meant = np.repeat(typed, max(map(len, away)), axis=1)
    forms = np.zeros(meant.shape, dtype=np.int64)
    number = {form: at for at, form in enumerate(SlipForm)}
    for line, slips in enumerate(away):
        meant[line, : len(slips)] = [whole / 10**behind for _, whole, behind in slips]
        forms[line, : len(slips)] = [number[form] for form, _, _ in slips]
    amplitudes = np.log(typed / meant)
    least, most = background.priors.number(ID, "least"), log(GREATEST_FACTOR)
    may = (least <= np.abs(amplitudes)) & (np.abs(amplitudes) <= most)
    weights = np.zeros(meant.shape)
    for form, at in number.items():
        of = may & (forms == at)
        share = background.priors.number(ID, form.value) / np.maximum(of.sum(axis=1, keepdims=True), 1)
        # A density of the logarithm: the number meant was larger or smaller than the number typed, and so was its step.
        weights += of * share * np.exp(amplitudes)
    first = np.argsort(~may, axis=1, kind="stable")[:, : may.sum(axis=1).max()]
    return np.take_along_axis(amplitudes * may, first, axis=1), np.take_along_axis(weights, first, axis=1)


def miswrite(written: Written, draw: FaultDraw) -> Written:
    """Write one mass or one whole content wrongly, by an error that the reader of the workbook lets pass."""
    whole = [place for place, assay in enumerate(written.assays) if assay.part is Part.WHOLE]
    in_mass = not whole or draw.rng.uniform() < 0.7
    place = int(draw.rng.choice(np.array(range(len(written.masses_g)) if in_mass else whole)))
    meant = written.masses_g[place] if in_mass else written.assays[place].content_mg
    typed = slipped(meant, draw)
    if in_mass:
        masses = (*written.masses_g[:place], typed, *written.masses_g[place + 1 :])
        spoiled, kind, unit = replace(written, masses_g=masses), "mass", place
    else:
        assay = written.assays[place]
        assays = (*written.assays[:place], replace(assay, content_mg=typed), *written.assays[place + 1 :])
        spoiled, kind, unit = replace(written, assays=assays), "content", assay.unit
    story = message("causes.miswritten", kind=kind, unit=str(unit + 1), typed=typed, meant=meant)
    return spoiled.with_story(story, physics={"meant": float(meant), "written": float(typed)})


def slipped(meant: Decimal, draw: FaultDraw) -> Decimal:
    """A number one slip away, at least 6 % off at strength 1 and never by a factor of ten or more."""
    least = min(0.06 * draw.strength, 0.5)
    wanted = SlipForm.EXCHANGED_DIGITS if draw.rng.uniform() < 0.5 else SlipForm.WRONG_DIGIT
    away = [slip for slip in one_slip_away(meant) if least <= abs(log(float(slip.other) / float(meant))) <= 1.2]
    fitting = [slip.other for slip in away if slip.form is wanted] or [slip.other for slip in away]
    return fitting[int(draw.rng.integers(len(fitting)))] if fitting else meant


class Outlier(Struct, frozen=True, kw_only=True):
    """The number furthest from the median of its kind, as logarithms: how far, and the usual spread [-]."""

    kind: str
    row: Row
    middle: float
    off: float
    spread: float

    @property
    def percent(self) -> float:
        """Distance from the median [%]."""
        return 100.0 * (exp(self.off) - 1.0)


def outliers(facts: Facts) -> list[Outlier]:
    """Every mass and content beside the median of its kind, the furthest in robust standard deviations first.

    A kind of fewer than five numbers has none.
    """
    rows = facts.rows
    kinds = [("mass", rows.of(RowKind.MASS))]
    kinds += [("content", rows.of(RowKind.CONTENT) & (rows.active == active)) for active in range(len(facts.actives))]
    explained = np.array([row.explained for row in rows.rows], dtype=bool)
    found = []
    for kind, chosen in kinds:
        places = np.flatnonzero(chosen & rows.measured & ~explained)
        if places.size >= 5:
            values = rows.value[places]
            # numpy's own median loads its masked arrays, which takes longer than all that is done here.
            middle = float(median(values))
            # Where more than half of the numbers are alike their median distance is zero; the mean one is not.
            away = np.abs(values - middle)
            spread = 1.4826 * float(median(away)) or 1.2533 * float(away.mean())
            if spread > 0.0:
                found += [
                    Outlier(kind=kind, row=rows.rows[place], middle=middle, off=float(value) - middle, spread=spread)
                    for place, value in zip(places.tolist(), values, strict=True)
                ]
    return sorted(found, key=lambda one: -abs(one.off) / one.spread)


def far_off(found: Sequence[Outlier]) -> list[Outlier]:
    """Those of the kind of the first that lie far from its median, the first among them."""
    of_kind = [one for one in found if (one.kind, one.row.active) == (found[0].kind, found[0].row.active)]
    return [one for one in of_kind if abs(one.off) >= OUTLYING * one.spread]


def speak(facts: Facts) -> Iterator[Message]:
    """Whether one number is an outlier, and whether a number one slip away would fit."""
    found = outliers(facts)
    if not found:
        yield message("causes.too_few_numbers")
    # With the furthest, those about as far.
    for one in found[:1] + [one for one in far_off(found)[1:] if abs(one.percent) >= AS_FAR * abs(found[0].percent)]:
        yield from _speak_of(one, facts)


def _speak_of(found: Outlier, facts: Facts) -> Iterator[Message]:
    row, spreads, number = found.row, abs(found.off) / found.spread, found.row.typed
    if number is None:
        return
    typed, percent = str(number), found.percent
    yield message("causes.outlier", kind=found.kind, unit=row.name, typed=typed, percent=percent, spreads=spreads)
    twice = facts.rows.of(RowKind.SECOND_WEIGHING) & (facts.rows.unit == row.unit) & facts.rows.measured
    for place in np.flatnonzero(twice) if found.kind == "mass" else ():
        yield message("causes.weighed_again", unit=row.name, typed=typed, again=facts.rows.rows[place].typed)
    # Of one number by two forms the last is told: a shifted point rather than digits exchanged with a leading zero.
    away = {slip.other: slip for slip in one_slip_away(number)}
    offs = [(log(float(slip.other) / row.reference) - found.middle, slip) for slip in away.values()]
    off, nearest = min(offs, key=lambda one: abs(one[0]))
    if spreads >= OUTLYING and abs(off) <= FITS * found.spread:
        percent = 100.0 * (exp(off) - 1.0)
        yield message("causes.meant", typed=typed, meant=nearest.other, slip=nearest.form.value, percent=percent)


MODEL = CauseModel(id=ID, likelihood=likelihood, speak=speak, miswrite=miswrite)
