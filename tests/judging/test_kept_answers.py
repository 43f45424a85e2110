"""Small batches with all that is judged of them, in `kept_answers.json`: our own answers, to see what a change moves.

What confirms the figures stands in the other tests of this room and in tests/test_second_engine.py. After a change that
is meant, `python tests/judging/test_kept_answers.py` writes them anew.
"""

from __future__ import annotations

import functools
import tempfile
from collections.abc import Callable, Mapping, Sequence
from decimal import Decimal
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest
from msgspec.structs import replace

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
    Superseded,
)
from qc.causes.weigh import CausesWeighed
from qc.contents import typed
from qc.judging.advice import next_steps
from qc.judging.closing import MEASURED
from qc.judging.judge import judge_batch
from qc.judging.to_assay import marked_for_assay
from qc.problems import InputProblems
from qc.results import CauseFound, JudgedBatch, NextMeasurement
from qc.results.messages import message
from qc.rules.rule_books import rule_book
from tests.judging.conftest import build
from tests.shared.kept import differences, kept_in, plain, write_anew

FILE = Path(__file__).parent / "kept_answers.json"
EVEN = ("2.000", "1.990", "2.010", "2.005", "1.995", "2.020") * 4
TEN = ("98", "101", "97.5", "100", "103", "96", "99", "102", "100.5", "98.5")
WIDE = ("88", "109", "93.5", "100", "113", "91", "99", "106", "104.5", "96.5")
THIRTY = tuple(str(95 + (7 * at % 30) / 3)[:5] for at in range(30))
DRUG = Active(
    name="drug",
    label_claim_mg=Decimal(100),
    displacement=Displacement(given=Decimal("1.6"), convention=DisplacementConvention.VALUE),
    amount_weighed_g=Decimal("2.6"),
)
OTHER = replace(DRUG, name="other", label_claim_mg=Decimal(50), state=State.DISSOLVED, amount_weighed_g=None)
PACKED = tuple(
    Check(name=line, result="yes")
    for line in (
        "each unit wrapped",
        "container closed and protected from light",
        "count agrees with the record",
        "label: name, strength, form, quantity",
        "label: batch, use-by date, storage",
        "label: route of use, cautions",
    )
)
RECORD: Mapping[str, Any] = {
    "number": "B-1", "product": "drug suppositories", "units_poured": 24, "base": Base.FATTY, "made_by": "A",
    "checked_by": "B", "nominal_mass_g": Decimal("2.00"), "planned_mass_g": Decimal("2.04"), "actives": (DRUG,),
}  # fmt: skip


def masses(*changed: tuple[int, str], of: Sequence[str] = EVEN) -> list[str]:
    found = list(of)
    for at, mass in changed:
        found[at - 1] = mass
    return found


def ordered(count: int = 24, *, moulds: int = 1, cavities: int = 6) -> dict[str, dict[str, Any]]:
    return {
        str(at): {"pour_order": at, "mould": "AB"[at * moulds // (count + 1)], "cavity": str(at % cavities + 1)}
        for at in range(1, count + 1)
    }


def marked(*names: int, **facts: Any) -> dict[str, dict[str, Any]]:
    return {str(name): facts or {"test_sample": True} for name in names}


def of_two(first: Sequence[str], second: Sequence[str]) -> tuple[Assay, ...]:
    return tuple(
        Assay(unit=str(at), active=name, content_percent=Decimal(one))
        for name, contents in (("drug", first), ("other", second))
        for at, one in enumerate(contents, start=1)
    )


def check(name: str, result: str | None = None, limit: str | None = None) -> tuple[Check, ...]:
    return (Check(name=name, result=result, limit=limit),)


def cases() -> dict[str, tuple[dict[str, Any], tuple[str | None, ...]]]:
    """What a batch holds, and the sets that it is judged by."""
    usual: tuple[str | None, ...] = (None,)
    both: tuple[str | None, ...] = (None, "ph-eur")
    every: tuple[str | None, ...] = (None, "ph-eur", "int-ph", "br", "chp", "harmonised")
    again = {"weighed_again_g": Decimal("2.01"), "weighed_again_because": "crumb on the pan"}
    twice = tuple(
        Assay(unit=str(unit), active="drug", content_percent=Decimal(one))
        for unit, contents in enumerate(("60", "98", "101", "99", "100", "102", "97", "101", "99", "100"), start=1)
        for one in ((contents,) if unit > 1 else (contents, "101", "101", "101"))
    )
    parts = tuple(
        Assay(unit="12", active="drug", part=part, content_mg=Decimal(mg), part_mass_g=Decimal("0.66"))
        for part, mg in ((Part.TIP, "36"), (Part.MIDDLE, "33"), (Part.END, "30"))
    )
    cavity_pours = tuple(
        CavityPour(mould="A", cavity=str(cavity), base_mass_g=Decimal(f"2.0{cavity}")) for cavity in range(1, 7)
    )
    stages = (*[1] * 10, *[2] * 20)
    return {
        "all complies": ({"masses": EVEN, "contents": TEN, "units": ordered(), **RECORD}, every),
        "weights alone": ({"masses": EVEN, "units": ordered()}, every),
        "nothing but a form": ({"masses": EVEN[:1], "active": None}, both),
        "no form": ({"masses": EVEN, "contents": TEN, "dosage_form": None}, both),
        "an unknown form": ({"masses": EVEN, "contents": TEN, "dosage_form": "lozenges"}, both),
        "pessaries": ({"masses": EVEN, "contents": TEN, "dosage_form": "pessaries", "base": Base.WATER_SOLUBLE}, both),
        "tablets": ({"masses": ["0.250"] * 20, "contents": TEN, "dosage_form": "tablets"}, both),
        "19 masses": ({"masses": EVEN[:19]}, both),
        "20 masses": ({"masses": masses((3, "2.11"), of=EVEN[:20])}, both),
        "24 masses, two beyond": ({"masses": masses((3, "2.12"), (9, "1.88"))}, both),
        "24 masses, three beyond": ({"masses": masses((3, "2.12"), (9, "1.88"), (14, "2.13"))}, both),
        "24 masses, seven beyond": ({"masses": masses(*((at, "2.14") for at in range(1, 8)))}, both),
        "24 masses, one far beyond": ({"masses": masses((3, "2.30"))}, every),
        "a sample marked": ({"masses": masses((3, "2.12")), "units": marked(*range(5, 25))}, both),
        "a sample marked, the rest beyond": (
            {"masses": masses((3, "2.12"), (4, "1.70")), "units": marked(*range(5, 25))},
            both,
        ),
        "a sample of 19 marked": ({"masses": EVEN, "units": marked(*range(6, 25))}, both),
        "weighed again, the verdict stays": ({"masses": masses((3, "2.04")), "units": marked(3, **again)}, both),
        "weighed again, the verdict hangs on it": (
            {"masses": masses((3, "2.31")), "units": marked(3, **again)}, both,
        ),
        "weighed again and signed": (
            {"masses": masses((3, "2.31")), "units": marked(3, **again), "checked_by": "C"}, both,
        ),
        "left out": ({"masses": masses((3, "2.31")), "units": marked(3, left_out_because="chipped")}, both),
        "lost": ({"masses": EVEN[:22], "units": marked(3, left_out_because="dropped", mass_g=None)}, both),
        "nine contents": ({"masses": EVEN, "contents": TEN[:9]}, both),
        "one content at 115.1": ({"masses": EVEN, "contents": (*TEN[:9], "115.1"), **RECORD}, both),
        "one content at 114": ({"masses": EVEN, "contents": (*TEN[:9], "114"), **RECORD}, both),
        "one content at 70": ({"masses": EVEN, "contents": (*TEN[:9], "70"), **RECORD}, every),
        "contents wide": (
            {"masses": EVEN, "contents": WIDE, **RECORD},
            both,
        ),
        "a second stage": ({"masses": EVEN[:24] * 2, "contents": THIRTY, "stages": stages}, both),
        "a second stage, unmarked": ({"masses": EVEN[:24] * 2, "contents": THIRTY}, both),
        "a second stage, one at 70": ({"masses": EVEN * 2, "contents": (*THIRTY[:29], "70"), "stages": stages}, both),
        "twelve contents": ({"masses": EVEN, "contents": (*TEN, "99", "100")}, both),
        "twelve contents, ten marked": (
            {"masses": EVEN, "contents": (*TEN, "99", "100"), "units": marked(*range(1, 11))}, both,
        ),
        "twelve contents, two beside the test at the limit": (
            {"masses": EVEN, "contents": ("100",) * 10 + ("115", "85"), "units": marked(*range(1, 11))}, both,
        ),
        "by mass without a label": (
            {"masses": EVEN, "active": replace(DRUG, label_claim_mg=None, batch_assay_percent=Decimal(98))}, both,
        ),
        "contents in mg without a label": (
            {"masses": EVEN, "contents": TEN, "unit": "mg", "active": replace(DRUG, label_claim_mg=None)}, every,
        ),
        "a target": ({"masses": EVEN, "contents": TEN, "active": replace(DRUG, target_percent=Decimal(104))}, usual),
        "assay limits kept": (
            {"masses": EVEN, "contents": TEN, "active": replace(DRUG, assay_limits_percent="95.0 to 105.0")}, usual,
        ),
        "assay limits broken": (
            {"masses": EVEN, "contents": TEN, "active": replace(DRUG, assay_limits_percent="101 to 105")}, usual,
        ),
        "assay limits not understood": (
            {"masses": EVEN, "contents": TEN, "active": replace(DRUG, assay_limits_percent="as usual")}, usual,
        ),
        "by mass, dissolved": (
            {
                "masses": EVEN,
                "active": replace(DRUG, state=State.DISSOLVED, batch_assay_percent=Decimal("98.4")),
                "dosage_form": "solution",
            },
            usual,
        ),
        "a batch assay": (
            {
                "masses": EVEN,
                "active": replace(DRUG, batch_assay_percent=Decimal("93.4"), assay_limits_percent="95 to 105"),
            },
            both,
        ),
        "two actives": ({"masses": EVEN, "actives": (DRUG, OTHER), "assays": of_two(TEN, TEN[::-1])}, both),
        "two actives, one assayed": ({"masses": EVEN, "actives": (DRUG, OTHER), "assays": of_two(TEN, ())}, both),
        "two actives, one fails": (
            {"masses": EVEN, "actives": (DRUG, OTHER), "assays": of_two(TEN, (*TEN[:9], "60"))}, both,
        ),
        "assayed again": ({"masses": EVEN, "assays": twice, **RECORD}, both),
        "two units assayed again": (
            {
                "masses": EVEN, **RECORD,
                "assays": tuple(
                    Assay(unit=str(unit), active="drug", content_percent=Decimal(one))
                    for unit, contents in enumerate(
                        (("82", "99"), ("117", "101"), *((one,) for one in TEN[:8])), start=1
                    )
                    for one in contents
                ),
            },
            both,
        ),
        "two units assayed again, each within alone": (
            {
                "masses": EVEN, **RECORD,
                "assays": tuple(
                    Assay(unit=str(unit), active="drug", content_percent=Decimal(one))
                    for unit, contents in enumerate(
                        (("85", "103"), ("86", "103.5"), *((one,) for one in TEN[:8])), start=1
                    )
                    for one in contents
                ),
            },
            both,
        ),
        **{
            f"eight units, {state}": (
                {"masses": EVEN[:8], "units_poured": 8, "active": replace(DRUG, state=state)}, both,
            )
            for state in (State.DISSOLVED, State.SUSPENDED)
        },
        "cut units": ({"masses": EVEN, "assays": parts, **RECORD}, both),
        "calibrated cavities": ({"masses": EVEN, "cavity_pours": cavity_pours, "units": ordered(), **RECORD}, usual),
        "two moulds apart": (
            {"masses": ("2.05",) * 12 + ("1.95",) * 12, "units": ordered(moulds=2), "contents": TEN, **RECORD}, both,
        ),
        "seen": (
            {
                "masses": EVEN,
                "units": {**marked(3, seen=("cracked",)), **marked(5, seen=("hair", "air bubble"))},
                **RECORD,
            },
            usual,
        ),
        "seen, appearance entered": (
            {
                "masses": EVEN, "units": marked(3, seen=("cracked",)), **RECORD,
                "checks": (*check("Appearance", "complies"), *check("Disintegration", "9; 10; 12 min")),
            },
            usual,
        ),
        "checks": (
            {
                "masses": EVEN,
                "checks": (
                    *check("Disintegration", "21; 29; 31 min"), *check("Softening time", "12 min"),
                    *check("Resistance to rupture", "1800 g"), *check("Odour", "none"),
                    *check("pH", "6.4", "5.0 to 7.0"), *check("Water", "0.8 %", "at most 0.5 %"),
                    *check("Assay", "98.2 %", "95.0 to 105.0 %"), *check("Melting", None, "37 °C"),
                ),
                **RECORD,
            },
            usual,
        ),
        "packed": ({"masses": EVEN, "contents": TEN, "checks": PACKED, **RECORD}, usual),
        "half packed": ({"masses": EVEN, "contents": TEN, "checks": PACKED[:3], **RECORD}, usual),
        "one line refused": (
            {
                "masses": EVEN,
                "contents": TEN,
                "checks": (*PACKED[:5], *check("label: route of use, cautions", "no")),
                **RECORD,
            },
            usual,
        ),
        "counts that close": (
            {
                "masses": EVEN, "contents": TEN, **RECORD, "units_obtained": 24, "units_rejected": 1,
                "units_sampled": 10, "units_released": 13, "quantity_released": "13 suppositories",
                "melt_prepared_g": Decimal(52), "melt_left_g": Decimal("2.1"), "trimmings_g": Decimal("1.4"),
            },
            usual,
        ),
        "counts that do not close": (
            {
                "masses": EVEN, "contents": TEN, **RECORD, "units_obtained": 23, "units_rejected": 3,
                "units_sampled": 4, "units_released": 20, "quantity_released": "21", "melt_prepared_g": Decimal(70),
                "melt_left_g": Decimal(1),
            },
            usual,
        ),
        "dish assayed": (
            {"masses": EVEN, "contents": TEN, **RECORD, "melt_prepared_g": Decimal(52), "melt_left_g": Decimal(2),
             "dish_assay_mg": Decimal(160)},
            usual,
        ),
        "dish assayed, of known repeatability": (
            {"masses": EVEN, "contents": TEN, **RECORD, "units_obtained": 24, "melt_prepared_g": Decimal(52),
             "melt_left_g": Decimal(2), "dish_assay_mg": Decimal(160), "trimmings_g": Decimal("1.4"),
             "actives": (replace(DRUG, assay_repeatability_percent=Decimal("2.5")),)},
            usual,
        ),
        "dish assayed, of two actives": (
            {"masses": EVEN, "actives": (DRUG, replace(OTHER, amount_weighed_g=Decimal("1.4"))),
             "assays": of_two(TEN, TEN[::-1]), "units_obtained": 24, "dish_assay_mg": Decimal(160), "units_poured": 24},
            usual,
        ),
        "one content, weighed for all": (
            {"masses": EVEN, "contents": TEN[:1], **RECORD, "units_obtained": 24, "melt_left_g": Decimal(0)}, usual,
        ),
        "an assay on the checks of two actives": (
            {"masses": EVEN, "actives": (DRUG, OTHER), "checks": check("Assay", "98 %", "95 to 105 %")}, usual,
        ),
        "an assay on the checks of none": (
            {"masses": EVEN, "active": None, "checks": check("Assay", "98 %", "95 to 105 %")}, usual,
        ),
        "assays on the checks by name": (
            {"masses": EVEN, "actives": (DRUG, OTHER),
             "checks": (*check("Assay of drug", "98 %", "95 to 105 %"), *check("Assay other", "94.9 %", "95 to 105 %")),
             },
            usual,
        ),
        **{
            f"a balance that reads to {step}": (
                {"masses": ("2.00",) * 24, "balance_readability_g": Decimal(step)}, usual,
            )
            for step in ("0.0099", "0.01", "0.0101", "0.02")
        },
        "assayed in part, stages unknown": (
            {"masses": EVEN, "contents": TEN[:4], "units": ordered(), "units_poured": 24}, both,
        ),
        "assayed in part, stages known": (
            {"masses": EVEN, "contents": TEN[:4], "stages": [1] * 4, "units": ordered(), "units_poured": 24}, both,
        ),
        "assayed in part, a sample marked": (
            {"masses": EVEN, "contents": TEN[:4], "stages": [1] * 4, "units": marked(*range(5, 25))}, usual,
        ),
        "a second stage to come, in order": (
            {"masses": EVEN * 2, "contents": ("84", "115.5", *TEN[:8]), "units": ordered(48), "units_poured": 60}, both,
        ),
        "two actives, one to assay on": (
            {"masses": EVEN, "actives": (DRUG, OTHER), "assays": of_two(TEN, TEN[:3]), "units": ordered()}, both,
        ),
        "far from the plan": (
            {"masses": EVEN, "contents": TEN, **RECORD, "planned_mass_g": Decimal("2.20")}, (*both, "mean-mass-3"),
        ),
        "near the plan": ({"masses": EVEN, "contents": TEN, **RECORD}, ("mean-mass-3",)),
        "no drift": ({"masses": EVEN, "contents": ("98", "102", "100") * 8, "units": ordered(), **RECORD}, usual),
        "a mould entered for half of the units": (
            {
                "masses": ("2.05",) * 12 + ("1.95",) * 12,
                "units": {name: facts for name, facts in ordered(moulds=2).items() if facts["mould"] == "A"},
            },
            usual,
        ),
        "a pool far from its units": (
            {"masses": EVEN, "contents": TEN, "active": replace(DRUG, batch_assay_percent=Decimal("93.4"))}, usual,
        ),
        "a pool far from its units, of known repeatability": (
            {
                "masses": EVEN, "contents": TEN,
                "active": replace(
                    DRUG, batch_assay_percent=Decimal(92), assay_repeatability_percent=Decimal("0.6"),
                ),
            },
            usual,
        ),
        "two units left": (
            {"masses": EVEN[:22], "contents": TEN * 2, "units": ordered(22), **RECORD, "units_poured": 22}, usual,
        ),
        "a plan that does not follow": ({"masses": EVEN, **RECORD, "planned_mass_g": Decimal("2.40")}, usual),
        "superseded": (
            {"masses": EVEN, "contents": TEN, **RECORD,
             "superseded": Superseded(by="B-2", folder="B-2", because="typing", at="2026-11-02")},
            usual,
        ),
        "a hundred contents": (
            {"masses": EVEN * 5, "contents": TEN * 10}, (None, "harmonised", "ph-eur-2.9.47"),
        ),
        "a hundred contents without a label": (
            {"masses": EVEN * 5, "contents": TEN * 10, "unit": "mg", "active": replace(DRUG, label_claim_mg=None)},
            ("ph-eur-2.9.47", "int-ph"),
        ),
        "in mg and in percent without a label": (
            {
                "masses": EVEN, **RECORD, "actives": (replace(DRUG, label_claim_mg=None),), "units_obtained": 24,
                "melt_prepared_g": Decimal(52),
                "assays": tuple(
                    Assay(unit=str(at + 1), active="drug", **{("content_percent", "content_mg")[at % 2]: Decimal(one)})
                    for at, one in enumerate(TEN)
                ),
            },
            (None, "ph-eur", "int-ph"),
        ),
        "seen of two grades, appearance entered": (
            {
                "masses": EVEN, **RECORD, "checks": check("Appearance", "complies"),
                "units": {
                    **marked(3, seen=("cracked",)), **marked(5, seen=("hair",)), **marked(7, seen=("air bubble",)),
                },
            },
            usual,
        ),
        "made and checked by one": ({"masses": EVEN, "contents": TEN, **RECORD, "checked_by": "A"}, usual),
        "a drift": (
            {"masses": EVEN, "contents": [str(90 + at) for at in range(20)], "units": ordered(), **RECORD}, both,
        ),
    }  # fmt: skip


CASES = cases()


# Of these the working of every test is kept too; of the others its figures, criteria and reasons are enough.
WORKED = ("all complies", "a sample marked", "a second stage", "two actives", "a batch assay", "checks", "left out")
WHOLE = (
    "verdict", "basis", "planned_mass", "notices", "next_steps", "cannot_say", "mould_findings", "mass_limits",
    "content_limits", "visual", "reconciliation", "ledger", "packing", "seed",
)  # fmt: skip


def listed_of(found: JudgedBatch) -> Any:
    """The units that are to be assayed with their stages, and those marked as the test sample of the masses."""
    listed = marked_for_assay(found)
    if listed is None:
        return None
    rows = [f"{one.unit} {one.active} {one.stage}" for one in listed.assays if typed(one) is None]
    marks = [f"{one.unit} {one.stage}" for one in listed.assays if typed(one) is not None]
    return [rows, " ".join(marks), [unit.name for unit in listed.units if unit.test_sample], listed.units[1].name]


@functools.cache
def judged(name: str, rules: str | None) -> dict[str, Any]:
    """What is judged of the units and of the record."""
    batch: Batch = build(**CASES[name][0])
    with patch("qc.judging.judge.weigh_causes", lambda *_, **__: CausesWeighed(causes=())):
        found = judge_batch(batch, book=rule_book(rules))
    tests = plain(found.tests)
    if name not in WORKED or rules:
        tests = [{key: one for key, one in test.items() if key not in ("working", "sample")} for test in tests]
    for test in tests:
        criteria = test.pop("criteria", ())
        test["criteria"] = [
            [one["what"], *(one.get(key) for key in ("figure", "bound", "met", "clause")), list(one["values"].values())]
            for one in criteria
        ]
    some = {
        **{key: getattr(found, key) for key in WHOLE},
        "tests": tests,
        "on the list": listed_of(found),
        "to assay": found.pour and found.pour.assay_list and found.pour.assay_list.random_units,
        "rules_used": [one.id for one in found.rules_used],
        "rows": found.unit_rows[2:3],
        "boundaries": len(found.boundaries),
        "assured": [[one.test, one.active, one.units_left, one.outside_at_most] for one in found.assurance],
    }
    return {key: one for key, one in plain(some).items() if one not in (None, [], {})}


def answer(name: str, rules: str | None) -> dict[str, Any]:
    """By another set than the usual one, what is different by it."""
    found, usual = judged(name, rules), judged(name, None) if rules else {}
    different = {key: one for key, one in found.items() if usual.get(key) != one or key == "verdict"}
    if rules and "tests" in different:
        different["tests"] = [one for one in found["tests"] if one not in usual["tests"]]
    return different


LIKELY: Mapping[str, tuple[str, ...]] = {
    "one": ("uneven-fill",),
    "two alike": ("active-lost", "assay-bias"),
    "a balance": ("balance-drift",),
    "a balance and settling": ("balance-scale", "settling-in-pour"),
    "within units": ("settling-in-unit", "poor-mixing"),
    "what is not modelled": ("something-else",),
    "a slip": ("slip-of-pen",),
    "sound": ("sound",),
}


def measurements(between: tuple[str, str]) -> tuple[NextMeasurement, ...]:
    ends, again = message("advice.assay_ends", units=("11", "24")), message("advice.weigh_again", units=("12", "17"))
    whats = ((message("advice.cut", units=("13",)), ("13",)), (again, ("12", "17")), (ends, ("11", "24")))
    told = {"bits": 0.4, "open_bits": 0.9, "effort": 2.0, "between": between}
    return tuple(
        NextMeasurement(what=replace(what, id=MEASURED[at - 1]) if at else what, units=units, **told)
        for at, (what, units) in enumerate(whats)
    )


def steps(name: str) -> dict[str, Any]:
    """What is to be done now, were other causes likely, with what could be measured and without."""
    with patch("qc.judging.judge.weigh_causes", lambda *_, **__: CausesWeighed(causes=())):
        found = judge_batch(build(**CASES[name][0]), book=rule_book(None))
    usual = {"verdict": found.verdict, "trend": found.pour_trend, "to_assay": ("1", "2")}
    outlier = message("causes.outlier", kind="mass", unit="3", typed="2.31", percent=15.0, spreads=9.0)
    answers = {}
    for likely, ids in LIKELY.items():
        causes = tuple(
            CauseFound(cause=id, probability=0.8 / len(ids), alike=tuple({*ids} - {id}), evidence=(outlier,))
            for id in ids
        )
        between = (ids[0], ids[-1])
        for ledger in (None, found.ledger):
            asked = {"ledger": ledger, "measurements": measurements(between), "inner_percent": Decimal(15)}
            answers[f"{likely}, {'counted' if ledger else 'not counted'}"] = [
                next_steps(found.tests, causes=causes, **usual, **more) for more in (asked, {"ledger": ledger})
            ]
    return answers


HOUSES: Mapping[str, tuple[str, str]] = {
    "a change that matters": ("[pour]\nimportant_change_percent = 2\n", "a drift"),
    "later units richer": ("[pour]\nlater_units_richer = true\n", "a drift"),
    **{
        f"a change of {percent} % that matters": (f"[pour]\nimportant_change_percent = {percent}\n", "no drift")
        for percent in ("1", "30")
    },
    **{
        f"a plan for major defects, {told}": (
            f'[[rule]]\nid = "plan"\nbuilds_on = "iso-2859-1"\nsource = "procedure 7"\naql_major_percent = {percent}\n',
            "seen, appearance entered",
        )
        for told, percent in (("of which none is allowed", "0"), ("of which a few are", "6.5"))
    },
}


def by_house(text: str, batch: str) -> Any:
    """A batch judged by a house file: what is followed, and the verdict, or what of the file is refused."""
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "house.toml"
        file.write_text(text, encoding="utf-8")
        try:
            book = rule_book(file)
        except InputProblems as refused:
            return [[one.cell, one.found, one.mend] for one in refused.problems]
        with patch("qc.judging.judge.weigh_causes", lambda *_, **__: CausesWeighed(causes=())):
            found = judge_batch(build(**CASES[batch][0]), book=book)
    trends = {} if found.pour_trend is None else {**found.pour_trend.content, "mass": found.pour_trend.mass}
    followed = {name: [one.flag, one.p_value, one.detectable_percent] for name, one in trends.items()}
    return [found.verdict, [[test.rule, test.verdict, test.missing] for test in found.tests], followed]


CONFIRMED: Mapping[str, Mapping[str, int]] = {
    "nothing wrong": {"sound": 12}, "two faults": {"sound": 12, "uneven-fill": 3, "balance-drift": 1},
}  # fmt: skip


def learnt(confirmed: Mapping[str, int]) -> list[Any]:
    """What is said of the priors where a history confirmed causes before."""
    with patch("qc.judging.judge.weigh_causes", lambda *_, **__: CausesWeighed(causes=())):
        found = judge_batch(build(**CASES["a drift"][0]), book=rule_book(None), confirmed=confirmed)
    return [one for one in found.notices if one.where == "Causes"]


ANSWERS: dict[str, Callable[[], Any]] = {
    f"{name}, by {rules or 'default'}": functools.partial(answer, name, rules)
    for name, (_, sets) in CASES.items()
    for rules in sets
} | {
    **{
        f"what to do: {name}": functools.partial(steps, name)
        for name in (
            "all complies", "a drift", "counts that close", "one content at 114", "24 masses, three beyond", "packed",
            "two units left",
        )
    },
    **{f"confirmed before: {name}": functools.partial(learnt, of) for name, of in CONFIRMED.items()},
    **{f"a house: {name}": functools.partial(by_house, *of) for name, of in HOUSES.items()},
}  # fmt: skip


@pytest.mark.parametrize("name", ANSWERS)
def test_a_kept_answer_has_not_changed(name: str) -> None:
    assert list(differences(plain(ANSWERS[name]()), kept_in(FILE).get(name))) == []


def test_no_answer_is_kept_that_nobody_asks_for() -> None:
    assert list(kept_in(FILE)) == list(ANSWERS)


if __name__ == "__main__":
    write_anew(FILE, ANSWERS)
