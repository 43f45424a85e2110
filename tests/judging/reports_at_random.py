"""Batches at random, with everything that a record may hold beside the units: checks, counts, words, marks."""

from __future__ import annotations

from decimal import Decimal
from random import Random

import numpy as np
from msgspec.structs import replace

from qc.batch import Base, Batch, Check, Superseded, Unit
from qc.causes.drawing import draw_batch, random_recipe
from qc.causes.model import TAUGHT
from qc.causes.priors import builtin_priors
from qc.judging.judge import judge_batch
from qc.results import JudgedBatch
from qc.rules.rule_books import rule_book

PACKING = (
    "each unit wrapped",
    "container closed and protected from light",
    "count agrees with the record",
    "label: name, strength, form, quantity",
    "label: batch, use-by date, storage",
    "label: route of use, cautions",
)


def judged_at_random(seed: int) -> JudgedBatch:
    """A judged batch: a fault by lot, measured and recorded by lot, judged by one of the sets."""
    draw = Random(seed)
    units = draw.choice([6, 12, 18, 22, 24, 30, 36, 60])
    assays = min(draw.choice([0, 5, 10, 10, 10, 12, 20, 30]), units)
    recipe = random_recipe(
        np.random.default_rng([seed, 7]),
        priors=builtin_priors(),
        units=units,
        assays=assays,
        cut_units=draw.choice([0, 0, 2]) if assays < units - 2 else 0,
        base_pours=draw.choice([0, 2]),
    )
    fault = draw.choice([*TAUGHT, "sound", "sound"])
    batch = draw_batch([fault], recipe=recipe, seed=seed, strength=draw.choice([0.2, 0.5, 1.0, 1.5])).batch
    batch = replace(batch, number=f"R-{seed}", dosage_form=draw.choice(["suppositories", "suppositories", "pessaries"]))
    # Drawn apart, so that what a seed gave before these were added stays.
    batch = _with_later_facts(_recorded(batch, draw), Random(-seed - 1))
    return judge_batch(batch, book=rule_book(draw.choice([None, None, None, "ph-eur", "chp"])))


def _recorded(batch: Batch, draw: Random) -> Batch:
    """The record with what people enter beside masses and contents, each of it by lot."""
    count = len(batch.units)
    checks = [Check(name="disintegration", result=draw.choice(["9; 10; 11 min", "29; 30; 31 min", "12 min"]))]
    checks += [Check(name="odour", result="faint", limit="none"), Check(name="appearance", result="complies")]
    packed = draw.choice([0, 0, len(PACKING), len(PACKING), len(PACKING) - 1])
    chosen = [one for one in checks if draw.random() < 0.4]
    chosen += [Check(name=line, result="no" if draw.random() < 0.02 else "yes") for line in PACKING[:packed]]
    active = batch.actives[0]
    if draw.random() < 0.3:
        active = replace(active, batch_assay_percent=Decimal(str(round(draw.gauss(99, 4), 1))))
    if draw.random() < 0.4:
        active = replace(active, assay_limits_percent=draw.choice(["90.0 to 110.0", "95.0 to 105.0", "90 to 110"]))
    if draw.random() < 0.1:
        active = replace(active, label_claim_mg=None)
    left = max(count - len({assay.unit for assay in batch.assays}), 0)
    released = draw.choice([None] * 12 + [left, max(left - 5, 0), max(left - 5, 0), count])
    return replace(
        batch,
        actives=(active,),
        checks=tuple(chosen),
        units=tuple(_with_words(unit, draw) for unit in batch.units),
        base=draw.choice([Base.FATTY, Base.FATTY, None]),
        units_poured=draw.choice([None, count, count, count, count + 3, count + 20]),
        units_rejected=draw.choice([None, None, None, 0, 1]),
        units_sampled=draw.choice([None] * 9 + [10, 13]),
        quantity_released=None if released is None else f"{released} suppositories",
        checked_by=draw.choice([None, "technician B"]),
    )


def _with_later_facts(batch: Batch, draw: Random) -> Batch:
    """A second active, units weighed again, and a report of this input that was superseded, each by lot."""
    active = batch.actives[0]
    if draw.random() < 0.25 and active.label_claim_mg is not None:
        share = draw.choice(["0.5", "0.5", "0.44", "0.4"])
        second = replace(active, name="second active", label_claim_mg=active.label_claim_mg / 2)
        assays = [
            replace(one, active=second.name, content_mg=round(one.content_mg * Decimal(share) * _noise(draw), 3))
            for one in batch.assays
            if one.content_mg is not None
        ]
        batch = replace(batch, actives=(active, second), assays=(*batch.assays, *assays))
    if draw.random() < 0.15:
        batch = replace(batch, units=tuple(_weighed_again(unit, draw) for unit in batch.units))
    if draw.random() < 0.05:
        told = Superseded(by="0123456789ab", folder="R-2", because="typed wrongly", at="2026-11-20T10:00:00+00:00")
        batch = replace(batch, superseded=told)
    return batch


def _noise(draw: Random) -> Decimal:
    return Decimal(str(round(draw.gauss(1.0, 0.015), 4)))


def _weighed_again(unit: Unit, draw: Random) -> Unit:
    if unit.mass_g is None or draw.random() > 0.1:
        return unit
    mass = round(unit.mass_g * draw.choice([_noise(draw), Decimal("0.93"), Decimal("1.07")]), 3)
    return replace(unit, weighed_again_g=mass, weighed_again_because=draw.choice([None, "trimmed late", "draught"]))


def _with_words(unit: Unit, draw: Random) -> Unit:
    lot = draw.random()
    if lot < 0.01:
        return replace(unit, left_out_because="dropped")
    if lot < 0.04:
        return replace(unit, seen=(draw.choice([*["chipped", "air bubble"] * 4, "blob", "hair"]),))
    return unit
