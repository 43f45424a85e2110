"""One or two numbers were written down wrongly: a value that stands alone, and is one slip away from a fitting one."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal
from math import log
from typing import TYPE_CHECKING

import numpy as np
from msgspec.structs import replace

from qc.causes.background import Field
from qc.causes.evidence import Likelihood, Shift, log_shares
from qc.causes.facts import Facts
from qc.causes.model import CauseModel
from qc.causes.quantiles import middles, normal_quantile
from qc.causes.rows import Floats, Kind
from qc.causes.slips import Form, one_slip_away
from qc.results.messages import Message, message

# What only a lesson needs is loaded by a lesson.
if TYPE_CHECKING:
    from qc.simulate.recipe import Recipe
    from qc.simulate.record import Written

ID = "slip-of-pen"
OTHER_STEPS = 16

# A slip larger than this is refused when the workbook is read.
GREATEST_FACTOR = 150.0


def likelihood(field: Field) -> tuple[Likelihood, ...]:
    """Any one number, or any two, by any slip."""
    shift = _slips(field)
    if shift is None:
        return (Likelihood(),)
    two = field.priors.number(ID, "two")
    return (
        Likelihood(weight=1.0 - two, shifts=(shift,)),
        Likelihood(weight=two, shifts=(shift, shift)),
    )


def _slips(field: Field) -> Shift | None:
    rows = field.rows.rows
    written = [
        place for place, row in enumerate(rows) if row.typed is not None and row.kind is not Kind.SECOND_WEIGHING
    ]
    if not written:
        return None
    priors = field.priors
    least = priors.number(ID, "least")
    other = priors.number(ID, "other_spread") * normal_quantile(middles(OTHER_STEPS))
    each = []
    for place in written:
        typed = rows[place].typed
        assert typed is not None
        amplitudes, weights = _amplitudes(typed, field, least=least)
        amplitudes = np.concatenate([amplitudes, other])
        weights = np.concatenate([weights, np.full(other.size, priors.number(ID, "other") / other.size)])
        each.append((amplitudes, weights / weights.sum()))
    most = max(amplitudes.size for amplitudes, _ in each)
    shapes = np.zeros((len(written), len(rows)))
    shapes[np.arange(len(written)), written] = 1.0
    table = np.zeros((len(written), most))
    logs = np.full((len(written), most), -np.inf)
    for line, (amplitudes, weights) in enumerate(each):
        table[line, : amplitudes.size] = amplitudes
        logs[line, : amplitudes.size] = log_shares(weights) - log(len(written))
    return Shift(shapes=shapes, amplitudes=table, log_weights=logs)


def _amplitudes(typed: Decimal, field: Field, *, least: float) -> tuple[Floats, Floats]:
    """ln(typed over meant) of every slip that could have given the number, with its weight."""
    slips = one_slip_away(typed)
    amplitudes = np.log(float(typed) / np.array([float(slip.other) for slip in slips]))
    may_pass = (least <= np.abs(amplitudes)) & (np.abs(amplitudes) <= log(GREATEST_FACTOR))
    forms = [slip.form for slip, may in zip(slips, may_pass.tolist(), strict=True) if may]
    share = {form: field.priors.number(ID, form.value) / count for form, count in Counter(forms).items()}
    # A density of the logarithm: the number meant was larger or smaller than the number typed, and so was its step.
    return amplitudes[may_pass], np.array([share[form] for form in forms]) * np.exp(amplitudes[may_pass])


def miswrite(written: Written, recipe: Recipe, strength: float, rng: np.random.Generator) -> Written:
    """Write one mass or one whole content wrongly, by an error that the reader of the workbook lets pass."""
    whole = [place for place, assay in enumerate(written.assays) if assay.part.value == "whole"]
    in_mass = not whole or rng.uniform() < 0.7
    places = range(len(written.masses_g)) if in_mass else whole
    place = int(rng.choice(np.array(list(places))))
    meant = written.masses_g[place] if in_mass else written.assays[place].content_mg
    typed = slipped(meant, strength=strength, rng=rng)
    if in_mass:
        masses = tuple(typed if unit == place else mass for unit, mass in enumerate(written.masses_g))
        spoiled, kind, unit = replace(written, masses_g=masses), "mass", place
    else:
        assays = tuple(
            replace(assay, content_mg=typed) if line == place else assay for line, assay in enumerate(written.assays)
        )
        spoiled, kind, unit = replace(written, assays=assays), "content", written.assays[place].unit
    story = message("causes.miswritten", kind=kind, unit=str(unit + 1), typed=typed, meant=meant)
    return replace(spoiled, story=(story,), physics={"meant": float(meant), "written": float(typed)})


def slipped(meant: Decimal, *, strength: float, rng: np.random.Generator) -> Decimal:
    """A number one slip away, at least 6 % off at strength 1 and never by a factor of ten or more."""
    least = min(0.06 * strength, 0.5)
    wanted = Form.EXCHANGED_DIGITS if rng.uniform() < 0.5 else Form.WRONG_DIGIT
    away = [slip for slip in one_slip_away(meant) if least <= abs(log(float(slip.other) / float(meant))) <= 1.2]
    fitting = [slip.other for slip in away if slip.form is wanted] or [slip.other for slip in away]
    if not fitting:
        return meant
    return fitting[int(rng.integers(len(fitting)))]


def speak(facts: Facts) -> tuple[Message, ...]:
    """Whether one number is an outlier."""
    found = facts.outlier
    if found is None:
        return (message("causes.too_few_numbers"),)
    said = [
        message(
            "causes.outlier",
            kind=found.kind,
            unit=found.unit,
            typed=found.typed,
            percent=found.off_percent,
            spreads=found.deviations,
        )
    ]
    if found.meant is not None and found.meant_off_percent is not None:
        said.append(
            message(
                "causes.meant", typed=found.typed, meant=found.meant, slip=found.slip, percent=found.meant_off_percent
            )
        )
    return tuple(said)


MODEL = CauseModel(
    id=ID,
    likelihood=likelihood,
    speak=speak,
    miswrite=miswrite,
)
