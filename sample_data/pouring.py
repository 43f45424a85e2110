"""How a sample batch comes about: cavities, fill, mixture and pour, weighed and assayed with the usual scatter.

Every number is invented. The physics is that of the trade: a cavity holds so much plain base, the active takes the
place of base by its displacement value, and the mass of a unit follows from the two.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import date, timedelta
from decimal import Decimal
from random import Random
from statistics import NormalDist

from msgspec import Struct, field

from qc.batch import (
    Active,
    Assay,
    Base,
    Batch,
    CavityPour,
    Check,
    Displacement,
    DisplacementConvention,
    Part,
    State,
    Unit,
)
from qc.pour.lots import drawn_order, seed_of
from qc.quantities import rounded
from qc.workbook.entry.plan import FillingOrder, Plan

SHELF_LIFE = timedelta(days=180)
Shape = Callable[[float], float]
"""How a quantity goes from the first unit (0) to the last (1), as a share of its plan."""


def level(_: float) -> float:
    """Nothing changes during the pour."""
    return 1.0


# Lines of the packing and label checklist that every sample batch has ticked.
PACKED = (
    "each unit wrapped",
    "container closed and protected from light",
    "label: name, strength, form, quantity",
    "label: batch, use-by date, storage",
    "label: route of use, cautions",
)


class Substance(Struct, frozen=True, kw_only=True):
    """An active of a sample batch, with the way its concentration runs during the pour."""

    name: str
    label_claim_mg: Decimal
    displacement: Displacement
    state: State = State.SUSPENDED
    pour_shape: Shape = level
    mixing_percent: float = 1.2
    assay_percent: float = 1.0
    give_content_in_percent: bool = False


class SampleRecipe(Struct, frozen=True, kw_only=True):
    """One sample batch before chance has had its say.

    Parameters
    ----------
    mould_share : mapping
        Fill of a mould as a share of the plan, for a mould that is trimmed or filled unlike the others [-].
    unit_share : mapping
        The same for single units, by pour order [-].
    fill_percent, cavity_percent, balance_sd_g : float
        Scatter of the fill [% RSD], of the cavities [% RSD] and of the balance [g].
    sample_size, first_stage : int
        Units in the test of mass, and in the first stage of the tests of content, drawn by lot [-].
    assays : int
        Units assayed, drawn by lot [-]; those beyond the first stage are marked as the second.
    parts_of : int
        Further units that are cut in three and assayed in parts [-].
    end_share : float
        What the end of a cut unit holds as a share of the mean of its parts; the tip holds the rest [-].
    disintegrated : bool
        Whether three units went into the test of disintegration.
    complete : bool
        Whether the record has all that a signer asks for: samples on which the lot of the batch fell, and the limits of
        assay and disintegration.
    """

    seed: int
    number: str
    product: str
    form: str
    base: Base
    nominal_mass_g: Decimal
    moulds: tuple[str, ...]
    cavities: int
    substances: tuple[Substance, ...]
    sample_size: int
    first_stage: int
    assays: int
    made_on: str
    note: str = ""
    filling_order: FillingOrder = FillingOrder.MOULD_BY_MOULD
    fill_shape: Shape = level
    mould_share: Mapping[str, float] = field(default_factory=dict)
    unit_share: Mapping[int, float] = field(default_factory=dict)
    seen: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    fill_percent: float = 0.8
    cavity_percent: float = 0.4
    balance_sd_g: float = 0.0008
    parts_of: int = 0
    end_share: float = 1.0
    disintegrated: bool = True
    complete: bool = False


class _Chance:
    """Normal deviates from a seed, the same on every machine: the inverse of the distribution at a uniform number."""

    def __init__(self, seed: int) -> None:
        self._uniform = Random(seed)
        self._normal = NormalDist()

    def scatter(self, percent: float) -> float:
        """A factor about 1 with that relative standard deviation [-]."""
        return 1.0 + self.deviate(percent / 100)

    def deviate(self, sd: float) -> float:
        """A deviation about zero [unit of sd]."""
        return sd * self._normal.inv_cdf(self._uniform.uniform(1e-12, 1 - 1e-12))

    def uniform(self) -> float:
        """A number between 0 and 1."""
        return self._uniform.random()

    def lot(self, count: int, *, of: int) -> frozenset[int]:
        """So many of the numbers from 1 on, drawn by lot."""
        drawn = sorted(range(1, of + 1), key=lambda _: self._uniform.random())
        return frozenset(drawn[:count])


def pour(recipe: SampleRecipe) -> Batch:
    """Pour, weigh and assay a sample batch."""
    plan = _plan(recipe)
    count = plan.unit_count
    chance = _Chance(recipe.seed)
    nominal = float(recipe.nominal_mass_g)
    capacity = {
        (mould, str(cavity)): nominal * chance.scatter(recipe.cavity_percent)
        for mould in recipe.moulds
        for cavity in range(1, recipe.cavities + 1)
    }
    sample = chance.lot(recipe.sample_size, of=count)
    assayed = chance.lot(recipe.assays, of=count)
    lot = [int(name) for name in _lot(recipe, plan)] if recipe.complete else []
    if lot:
        sample, assayed = frozenset(lot[: recipe.sample_size]), frozenset(lot[: recipe.assays])
    first = frozenset(sorted(assayed, key=lambda _: chance.uniform())[: recipe.first_stage])
    staged = len(assayed) > len(first)
    cut = sorted(set(range(1, count + 1)) - assayed)[:: max(1, (count - recipe.assays) // max(1, recipe.parts_of))]
    units: list[Unit] = []
    assays: list[Assay] = []
    for order, (mould, cavity) in enumerate(plan.places(), start=1):
        run = (order - 1) / (count - 1)
        share = recipe.fill_shape(run) * recipe.mould_share.get(mould, 1.0) * recipe.unit_share.get(order, 1.0)
        filled_g = capacity[mould, cavity] * share * chance.scatter(recipe.fill_percent)
        mass_g = filled_g + chance.deviate(recipe.balance_sd_g)
        for substance in recipe.substances:
            dose_mg = (
                float(substance.label_claim_mg)
                * filled_g
                / nominal
                * substance.pour_shape(run)
                * chance.scatter(substance.mixing_percent)
            )
            mass_g += dose_mg / 1000 * (1 - float(substance.displacement.factor))
            if order in assayed:
                content_mg = dose_mg * chance.scatter(substance.assay_percent)
                stage = (1 if order in first else 2) if staged else None
                assays.append(_assay(substance, unit=str(order), content_mg=content_mg, stage=stage))
            elif order in cut[: recipe.parts_of]:
                assays += _parts(recipe, substance, unit=str(order), mass_g=mass_g, dose_mg=dose_mg, chance=chance)
        units.append(
            Unit(
                name=str(order),
                pour_order=order,
                mould=mould,
                cavity=cavity,
                mass_g=_as_shown(mass_g, decimals=3),
                test_sample=order in sample,
                seen=recipe.seen.get(order, ()),
            )
        )
    pours = tuple(
        CavityPour(
            mould=mould,
            cavity=cavity,
            base_mass_g=_as_shown(held * chance.scatter(0.25) + chance.deviate(recipe.balance_sd_g), decimals=3),
        )
        for (mould, cavity), held in capacity.items()
        for _ in range(2)
    )
    return Batch(
        units=tuple(units),
        assays=tuple(sorted(assays, key=lambda assay: (assay.active, assay.stage or 0))),
        actives=tuple(_active(substance, units=count, complete=recipe.complete) for substance in recipe.substances),
        cavity_pours=pours,
        checks=(
            Check(
                name="appearance",
                result="complies",
                limit="smooth, of one colour, free of cracks",
                done_by="technician B",
            ),
            # Three units go into it, which a batch of thirty that is assayed whole, or may come to be, has not left.
            *(
                [
                    Check(
                        name="disintegration",
                        result="11; 12; 14 min",
                        limit="at most 30 min" if recipe.complete else None,
                        done_by="technician B",
                    )
                ]
                if recipe.disintegrated
                else []
            ),
            Check(name="count agrees with the record", result=f"{count} of {count}", done_by="technician A"),
            *(Check(name=line, result="yes", done_by="technician A") for line in PACKED),
        ),
        number=recipe.number,
        product=recipe.product,
        dosage_form=recipe.form,
        base=recipe.base,
        units_poured=count,
        nominal_mass_g=recipe.nominal_mass_g,
        planned_mass_g=plan.planned_batch().planned_mass_g,
        balance_readability_g=Decimal("0.001"),
        balance_repeatability_g=Decimal("0.0008"),
        made_on=recipe.made_on,
        made_by="technician A",
        weighed_by="technician A",
        checked_by="technician B",
        note=recipe.note or None,
        expiry=(date.fromisoformat(recipe.made_on) + SHELF_LIFE).isoformat(),
        storage=f"below {'25' if recipe.base is Base.FATTY else '30'} °C, in the closed container",
        base_lot="HF-26-041" if recipe.base is Base.FATTY else "MG-26-017",
    )


def _plan(recipe: SampleRecipe) -> Plan:
    actives = tuple(_active(substance, units=0) for substance in recipe.substances)
    return Plan(
        moulds=recipe.moulds,
        cavities=recipe.cavities,
        filling_order=recipe.filling_order,
        batch=Batch(units=(), actives=actives, nominal_mass_g=recipe.nominal_mass_g),
    )


def _lot(recipe: SampleRecipe, plan: Plan) -> tuple[str, ...]:
    """The units in the order in which the lot of the batch falls on them."""
    units = tuple(
        Unit(name=str(order), pour_order=order, mould=mould, cavity=cavity)
        for order, (mould, cavity) in enumerate(plan.places(), start=1)
    )
    batch = Batch(number=recipe.number, units=units)
    return drawn_order(batch, seed=seed_of(batch))


def _active(substance: Substance, *, units: int, complete: bool = False) -> Active:
    # Two units in excess are weighed in, for what stays in the dish and on the mould.
    return Active(
        name=substance.name,
        lot=f"{substance.name[:3].upper()}-26-{len(substance.name):03}",
        label_claim_mg=substance.label_claim_mg,
        displacement=substance.displacement,
        state=substance.state,
        assay_limits_percent="95.0 to 105.0" if complete else None,
        amount_weighed_g=substance.label_claim_mg * (units + 2) / 1000,
        assay_repeatability_percent=Decimal(str(substance.assay_percent)),
    )


def _assay(substance: Substance, *, unit: str, content_mg: float, stage: int | None) -> Assay:
    if substance.give_content_in_percent:
        percent = content_mg / float(substance.label_claim_mg) * 100
        return Assay(unit=unit, active=substance.name, content_percent=_as_shown(percent, decimals=1), stage=stage)
    return Assay(unit=unit, active=substance.name, content_mg=_as_shown(content_mg, decimals=1), stage=stage)


def _parts(
    recipe: SampleRecipe, substance: Substance, *, unit: str, mass_g: float, dose_mg: float, chance: _Chance
) -> list[Assay]:
    """A unit cut in three, the parts of about a third each; the tip is the deepest point of the mould."""
    shares = {Part.TIP: 2 - recipe.end_share, Part.MIDDLE: 1.0, Part.END: recipe.end_share}
    found = []
    for part, share in shares.items():
        part_g = mass_g / 3 * chance.scatter(4)
        content_mg = dose_mg / mass_g * part_g * share * chance.scatter(substance.assay_percent)
        found.append(
            Assay(
                unit=unit,
                active=substance.name,
                part=part,
                content_mg=_as_shown(content_mg, decimals=1),
                part_mass_g=_as_shown(part_g, decimals=3),
            )
        )
    return found


def _as_shown(value: float, *, decimals: int) -> Decimal:
    return rounded(Decimal(repr(value)), decimals=decimals)


def displacement_value(given: str) -> Displacement:
    """A displacement number given in g of active that displaces 1 g of base."""
    return Displacement(given=Decimal(given), convention=DisplacementConvention.VALUE)


def displacement_factor(given: str) -> Displacement:
    """A displacement number given in g of base displaced by 1 g of active."""
    return Displacement(given=Decimal(given), convention=DisplacementConvention.FACTOR)
