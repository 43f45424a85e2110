"""Products whose batches are made up so that what a review must say of them is known beforehand."""

from __future__ import annotations

from collections.abc import Sequence

from msgspec.structs import replace

from qc.history.cavities import UnitsOfBatch
from qc.history.entries import Confirmed, Event
from qc.history.figures import BatchFigures, WithinBatch
from qc.history.products import Product, products
from qc.history.review import Review, review_of

OFF = (0.002, -0.002, 0.001, -0.001)
"""The batches scatter about their level by these in turn."""
STEP, ALONE = 13, 18
"""The masses rise from 2.000 g to 2.060 g with the 13th batch, and the 18th weighs 2.200 g."""
NOTED = {
    "2025-12-12": "more than a month before the step",
    "2025-12-13": "a month before the step",
    "2026-01-12": "new pump",
    "2026-02-13": "a month after the step",
    "2026-02-18": "a month after the bad batch",
    "2026-03-30": "long after",
}
BEFORE, AFTER, FAR = 2.000, 2.060, 2.200
CAVITIES = {"1": -0.5, "2": -0.5, "3": 1.5, "4": -0.5}
"""What each cavity is off by [% of the batch mean]."""


def stepped(number: int) -> BatchFigures:
    """A batch of the product whose mass rises at once."""
    alone, turn = number == ALONE, number % 4
    mean = FAR if alone else (BEFORE if number < STEP else AFTER) + OFF[turn]
    return BatchFigures(
        result_sha256=f"{number:064d}",
        number=f"B-{number}",
        product="Zinc pessaries 25 mg",
        strength="25 mg",
        form="pessaries",
        verdict="does-not-comply" if alone else "complies",
        failed=("content-uniformity",) if alone else (),
        made_on=f"2026-01-{number:02d}",
        judged_at=f"2026-02-{number:02d}T10:00",
        mass=WithinBatch(n=20, mean=mean, sd=0.02 + OFF[turn - 1] / 2),
        contents={
            "zinc": WithinBatch(
                n=10,
                mean=100 + 200 * OFF[turn],
                sd=2 + 50 * OFF[turn - 2],
                acceptance_value=17.0 if alone else 4.8,
                limit=15.0,
            )
        },
        made_by="A" if number % 2 else "B",
        base_lot="L1" if number < STEP else "L2",
        active_lots={"zinc": "Z1" if number % 3 else "Z2"},
        rules={"ph-eur-2.9.5": "11.0", "ph-eur-2.9.40": "11.0"},
        qc_version="0.1.0" if number < 20 else "0.2.0",
        released="" if alone else "200",
        causes={"active-lost": 0.7, "sound": 0.2} if alone else {"sound": 0.9},
        report="/reports/B 18" if alone else "",
    )


def stepped_product() -> Product:
    """Twenty-four batches, the third of them judged again; what was noted, and a cause that was confirmed."""
    batches = [stepped(number) for number in range(1, 25)]
    earlier = replace(batches[2], result_sha256="e", verdict="undecided", judged_at="2026-01-20", made_by="")
    batches[2] = replace(batches[2], because="assayed again")
    noted = [Event(day=day, text=text) for day, text in NOTED.items()]
    confirmed = Confirmed(result_sha256=batches[ALONE - 1].result_sha256, number="B-18", cause="uneven-fill")
    entries = enumerate([earlier, *batches, *noted, confirmed], start=1)
    (product,) = products((number, one) for number, one in entries)
    return product


def units(batches: Sequence[BatchFigures]) -> list[UnitsOfBatch]:
    """Five units a cavity, 0.3 % lighter and heavier in turn; of each active four contents, 2 and 1 % off the mean."""
    return [
        UnitsOfBatch(
            batch=batch,
            masses=tuple(
                ("M", cavity, 100 + off + 0.3 * ((place + at + row) % 3 - 1))
                for row in range(5)
                for at, (cavity, off) in enumerate(CAVITIES.items())
            ),
            contents={
                active: tuple(found.mean + off for off in (-2, 1, -1, 2)) for active, found in batch.contents.items()
            },
        )
        for place, batch in enumerate(batches)
    ]


def stepped_review() -> Review:
    product = stepped_product()
    return review_of(product, units(product.batches[-10:]))


def crept(number: int) -> BatchFigures:
    """A batch of two actives whose mass creeps upwards from the ninth on; judged on a day that is written otherwise."""
    mean = 3.0 * (1 + 0.005 * max(number - 8, 0)) + OFF[number % 4]
    usual = {name: WithinBatch(n=10, mean=100 + 200 * OFF[(number + at) % 4], sd=2) for at, name in enumerate("abc")}
    return BatchFigures(
        result_sha256=f"{number:064d}",
        verdict="undecided" if number % 5 else "complies",
        product="Mixed",
        strength="5 mg / 2 mg",
        judged_at=f"{number:02d}.03.2026",
        input_sha256=f"{number}",
        planned_g=3.0,
        mass=WithinBatch(n=20, mean=mean, sd=0.03 + OFF[number % 4]),
        contents=usual,
        qc_version="0.2.0",
    )


def crept_review() -> Review:
    entries = [*map(crept, range(1, 21)), Event(day="2026-03-09", text="of another", product="Other")]
    (product,) = products((number, one) for number, one in enumerate(entries, start=1))
    return review_of(product, [_worn(one, place) for place, one in enumerate(units(product.batches))])


def _worn(units: UnitsOfBatch, place: int) -> UnitsOfBatch:
    """The units with those of cavity 2 heavier by 2 % from the twelfth batch on."""
    off = 2.0 if place >= 11 else 0.0
    masses = ((mould, cavity, mass + (off if cavity == "2" else 0.0)) for mould, cavity, mass in units.masses)
    return replace(units, masses=tuple(masses))


def single_review() -> Review:
    """One batch without a product, of which no masses and nothing else is known."""
    (product,) = products([(1, BatchFigures(result_sha256="1", verdict="complies", number="7"))])
    return review_of(product, [UnitsOfBatch(batch=product.batches[0], masses=(), contents={})])
