"""The sample batches of a hospital's compounding room: what each is to show, and the recipe it is drawn from.

All of it is invented: batches, roles and numbers. The actives are named by their common names and stand for any other.
"""

from __future__ import annotations

from decimal import Decimal

from msgspec.structs import replace
from pouring import SampleRecipe, Shape, Substance, displacement_factor, displacement_value

from qc.batch import Base, State
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule
from qc.workbook.entry.plan import FillingOrder


def _sample_size() -> int:
    rule = load_rule("ph-eur-2.9.5")
    assert isinstance(rule, MassRule)
    return rule.sample_size


def _first_stage() -> int:
    rule = load_rule("harmonised-udu")
    assert isinstance(rule, DosageUnitRule)
    return rule.first_size


def settling(run: float) -> float:
    """The melt clears from above while it is emptied: poor at first, near the plan for a while, rich from the floor."""
    return 0.74 + 0.30 * run + 0.38 * run**4


def _poor_first(run: float) -> float:
    return 1.01 - 0.17 * max(0.0, 1 - run / 0.2)


def _rich_last(run: float) -> float:
    return 0.99 + 0.20 * max(0.0, (run - 0.8) / 0.2)


def _cooling(run: float) -> float:
    return 1.02 - 0.04 * run


def _step(run: float) -> float:
    return 1.0 if run < 0.5 else 1.03


def _paracetamol(shape: Shape = lambda _: 1.0) -> Substance:
    return Substance(
        name="paracetamol",
        label_claim_mg=Decimal(250),
        displacement=displacement_value("1.39"),
        pour_shape=shape,
    )


def _bismuth(shape: Shape) -> Substance:
    return Substance(
        name="bismuth subgallate",
        label_claim_mg=Decimal(200),
        displacement=displacement_value("2.7"),
        pour_shape=shape,
    )


def sample_recipes() -> dict[str, SampleRecipe]:
    """Every sample batch by the stem of its file name."""
    sample_size, first_stage = _sample_size(), _first_stage()
    sound = SampleRecipe(
        seed=19,
        number="S-2611-01",
        product="Paracetamol suppositories 250 mg",
        form="suppositories",
        base=Base.FATTY,
        nominal_mass_g=Decimal("2.00"),
        moulds=("A", "B"),
        cavities=12,
        substances=(_paracetamol(),),
        sample_size=sample_size,
        first_stage=first_stage,
        assays=first_stage,
        made_on="2026-11-02",
    )
    mass = replace(
        sound,
        seed=23,
        number="S-2611-02",
        product="Paracetamol suppositories 125 mg",
        nominal_mass_g=Decimal("1.00"),
        moulds=("A", "B", "C"),
        cavities=10,
        substances=(replace(_paracetamol(), label_claim_mg=Decimal(125), displacement=displacement_factor("0.72")),),
        made_on="2026-11-03",
        mould_share={"C": 0.93},
        unit_share={25: 0.92},
        seen={25: ("short fill",), 28: ("contraction hollow",)},
        fill_percent=1.1,
    )
    content = replace(
        sound,
        seed=31,
        number="S-2611-03",
        product="Bismuth subgallate suppositories 200 mg",
        substances=(_bismuth(settling),),
        made_on="2026-11-05",
        seen={23: ("enriched tip",), 24: ("enriched tip", "mottled")},
    )
    second = replace(
        sound,
        seed=1412,
        number="S-2611-04",
        product="Hydrocortisone suppositories 25 mg",
        moulds=("A", "B", "C"),
        cavities=10,
        substances=(
            Substance(
                name="hydrocortisone",
                label_claim_mg=Decimal(25),
                displacement=displacement_value("1.5"),
                mixing_percent=7.0,
                give_content_in_percent=True,
            ),
        ),
        made_on="2026-11-09",
        disintegrated=False,
    )
    pessaries = replace(
        sound,
        seed=56,
        number="S-2611-06",
        product="Metronidazole and miconazole nitrate pessaries 500 mg / 100 mg",
        form="pessaries",
        base=Base.WATER_SOLUBLE,
        nominal_mass_g=Decimal("3.00"),
        moulds=("P", "Q", "R"),
        cavities=8,
        filling_order=FillingOrder.CAVITY_BY_CAVITY,
        substances=(
            Substance(name="metronidazole", label_claim_mg=Decimal(500), displacement=displacement_value("1.7")),
            Substance(name="miconazole nitrate", label_claim_mg=Decimal(100), displacement=displacement_value("1.6")),
        ),
        made_on="2026-11-12",
    )
    parts = replace(
        pessaries,
        seed=61,
        number="S-2611-07",
        product="Zinc oxide pessaries 300 mg",
        base=Base.FATTY,
        substances=(
            Substance(
                name="zinc oxide",
                label_claim_mg=Decimal(300),
                displacement=displacement_value("4.7"),
                state=State.SUSPENDED,
            ),
        ),
        made_on="2026-11-16",
        parts_of=3,
        end_share=0.86,
        note="Three units were cut in tip, middle and end.",
    )
    small = replace(sound, made_on="2026-11-18")
    every_unit = replace(
        small, moulds=("A", "B", "C"), cavities=10, assays=30, disintegrated=False, product=content.product
    )
    return {
        "sound": replace(sound, seed=106, complete=True),
        "fails-on-mass": mass,
        "fails-on-content": content,
        "second-stage": second,
        "typing-slips": replace(sound, seed=71, number="S-2611-05", made_on="2026-11-10"),
        "two-actives": pessaries,
        "folder-of-csv": parts,
        "weights-only": replace(sound, seed=83, number="S-2611-08", assays=0),
        "pour-drift": replace(small, seed=91, number="S-2611-11", fill_shape=_cooling),
        "pour-poor-first": replace(every_unit, seed=92, number="S-2611-12", substances=(_bismuth(_poor_first),)),
        "pour-rich-last": replace(every_unit, seed=93, number="S-2611-13", substances=(_bismuth(_rich_last),)),
        "pour-step": replace(small, seed=94, number="S-2611-14", fill_shape=_step),
    }
