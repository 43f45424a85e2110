"""A year of a compounding room as a history: `python sample_data/year.py STORE` draws sixty batches and appends them.

Four things happen, each with its day: from June on one cavity of the mould for paracetamol wears, so that its units
grow heavier; on 1 July the supplier of metronidazole changes, and the contents of the pessaries fall by 4 %; the fill
of the hydrocortisone suppositories creeps up from April on; and in the week of 14 September everything is filled short.
"""

from __future__ import annotations

import sys
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from pathlib import Path

import numpy as np
from msgspec import Struct
from msgspec.structs import replace

from qc.batch import Batch
from qc.document import result_document
from qc.history.entries import Event, to_append
from qc.history.register import open_register
from qc.jobs.check import Checked
from qc.jobs.history import entry_of
from qc.jobs.seal import Asked
from qc.judging.judge import judge_batch
from qc.readers.options import ReadOptions
from qc.rules.rule_books import rule_book
from qc.simulate.pouring import Ingredient, Recipe, sound_pour
from qc.simulate.record import batch_on_record, write_down

BATCHES = 20
FIRST_DAY = date(2026, 1, 5)
NEW_SUPPLIER, WORN_FROM, CREEP_FROM, BAD_WEEK = date(2026, 7, 1), date(2026, 6, 1), date(2026, 4, 1), date(2026, 9, 14)
MADE_BY = ("technician A", "technician B", "technician C")


class Made(Struct, frozen=True, kw_only=True):
    """One product of the room: its recipe and its name on the record; `mark` heads its batch numbers."""

    mark: str
    product: str
    form: str
    recipe: Recipe


def _recipe(name: str, label_mg: float, displacement: float, base_g: float) -> Recipe:
    return Recipe(
        cavities=12,
        moulds=2,
        base_g=base_g,
        ingredients=(Ingredient(name=name, label_mg=label_mg, displacement=displacement),),
        cut_units=0,
        base_pours=0,
        level=0.004,
        mean_content=0.006,
    )


PRODUCTS = (
    Made(
        mark="P",
        product="Paracetamol suppositories 250 mg",
        form="suppositories",
        recipe=_recipe("paracetamol", 250.0, 1.39, 2.0),
    ),
    Made(
        mark="M",
        product="Metronidazole pessaries 500 mg",
        form="pessaries",
        recipe=_recipe("metronidazole", 500.0, 1.7, 3.0),
    ),
    Made(
        mark="H",
        product="Hydrocortisone suppositories 25 mg",
        form="suppositories",
        recipe=_recipe("hydrocortisone", 25.0, 1.5, 2.0),
    ),
)


def batch_of(made: Made, place: int, *, moulds_g: np.ndarray, seed: int) -> tuple[date, Batch]:
    """The batch of a product at a place in the year, as it was written down, with its day."""
    rng, recipe = np.random.default_rng([seed, place, ord(made.mark)]), made.recipe
    day = FIRST_DAY + timedelta(days=round(place * 364 / BATCHES / 7) * 7 + PRODUCTS.index(made))
    pour = sound_pour(recipe, rng)
    # The moulds are the same all year; what is drawn for each batch is the fill alone.
    held = np.array(moulds_g)
    if made.mark == "P" and day >= WORN_FROM:
        held[16] *= 1.0 + 0.05 * (day - WORN_FROM).days / 200.0
    capacity = pour.capacity_g * (held / pour.cavity_g)[np.arange(recipe.units) % recipe.holes]
    concentration = pour.concentration * (0.96 if made.mark == "M" and day >= NEW_SUPPLIER else 1.0)
    if made.mark == "H" and day >= CREEP_FROM:
        capacity = capacity * (1.0 + 0.04 * (day - CREEP_FROM).days / 240.0)
    if BAD_WEEK <= day < BAD_WEEK + timedelta(days=7):
        capacity = capacity * 0.95
    pour = replace(pour, capacity_g=capacity, cavity_g=held, concentration=concentration)
    batch = batch_on_record(write_down(pour, recipe, rng), pour, recipe)
    (active,) = batch.actives
    lot = f"MET-{'B' if day >= NEW_SUPPLIER else 'A'}{place // 6}" if made.mark == "M" else f"{made.mark}L-{place // 5}"
    return day, replace(
        batch,
        number=f"{made.mark}-26{place + 1:02d}",
        product=made.product,
        dosage_form=made.form,
        made_on=day.isoformat(),
        made_by=MADE_BY[int(rng.integers(3))],
        weighed_by="technician B",
        base_lot=f"BASE-{day.month // 3 + 1}",
        actives=(replace(active, lot=lot),),
        planned_mass_g=Decimal(f"{recipe.planned_g():.3f}"),
    )


def checked(batch: Batch, day: date) -> Checked:
    """The batch judged on its day."""
    book = rule_book(None)
    judged = judge_batch(batch, book=book)
    document = result_document(judged)
    head = {key: document.pop(key) for key in ("schema", "qc_version")}
    at = datetime(day.year, day.month, day.day, 15, tzinfo=UTC)
    return Checked(
        judged=judged, document=head | document, book=book, asked=Asked(options=ReadOptions(), rules=None, at=at)
    )


def year(seed: int = 26) -> list[tuple[date, Batch]]:
    """The sixty batches in the order of their days."""
    made = []
    for product in PRODUCTS:
        draw, recipe = np.random.default_rng([seed, ord(product.mark)]), product.recipe
        moulds_g = recipe.base_g * np.exp(recipe.cavity * draw.standard_normal(recipe.holes))
        made += [batch_of(product, place, moulds_g=moulds_g, seed=seed) for place in range(BATCHES)]
    return sorted(made, key=lambda one: (one[0], one[1].number))


def main(arguments: list[str]) -> int:
    """Append the year to the store that is named."""
    if len(arguments) != 1:
        print("Name the store for the year: python sample_data/year.py reports/year.db", file=sys.stderr)
        return 2
    with open_register(arguments[0]) as register:
        for day, batch in year():
            register.append(entry_of(checked(batch, day)))
        changed = Event(
            day=NEW_SUPPLIER.isoformat(), text="metronidazole from another supplier", product=PRODUCTS[1].product
        )
        register.append(to_append(changed))
        print(f"Wrote {Path(arguments[0])}: {len(register.records())} entries, head digest {register.head()}")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
