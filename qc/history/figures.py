"""What the history keeps of each batch beside its whole result: what it is, its verdict, the figures of its charts.

They come from the result document alone, so that a batch that was judged and a report that was filed give the same.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from statistics import fmean, stdev
from typing import Any

from msgspec import Struct

from qc.fields.field import same_name
from qc.say.numbers import plain_limit

_SAID = ("number", "product", "made_on", "made_by", "base_lot")
DOSAGE_UNITS, CONTENT, MASS = "dosage-unit-uniformity", "content-uniformity", "mass-uniformity"


class WithinBatch(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """Mean and SD of one quantity within a batch, of n units: masses in g, contents in % of label.

    Parameters
    ----------
    mean, sd : float
        [g] or [% of label]
    n : int
    acceptance_value : float or None
        Of the dosage-unit test [-].
    outside : int
        Units outside the inner limit of their test.
    limit : float or None
        What the acceptance value may be [-].
    """

    n: int
    mean: float
    sd: float
    acceptance_value: float | None = None
    outside: int = 0
    limit: float | None = None


class BatchFigures(Struct, frozen=True, kw_only=True, omit_defaults=True):
    """One batch as the charts, the review and the data frame see it."""

    result_sha256: str
    verdict: str
    input_sha256: str = ""
    number: str = ""
    product: str = ""
    strength: str = ""
    form: str = ""
    made_on: str = ""
    judged_at: str = ""
    basis: str = ""
    planned_g: float | None = None
    mass: WithinBatch | None = None
    contents: dict[str, WithinBatch] = {}
    failed: tuple[str, ...] = ()
    causes: dict[str, float] = {}
    made_by: str = ""
    base_lot: str = ""
    active_lots: dict[str, str] = {}
    rules: dict[str, str] = {}
    qc_version: str = ""
    supersedes: str = ""
    because: str = ""
    released: str = ""
    report: str = ""
    entry: int = 0
    """Its number in the register; not kept there with the other figures."""

    @property
    def key(self) -> tuple[str, str]:
        """Product and strength, as two batches are of one product whatever the case and the blanks of its name."""
        return same_name(self.product), self.strength

    @property
    def day(self) -> str:
        """The day it was made on, or judged on where that is not known."""
        return self.made_on or self.judged_at[:10]

    @property
    def lots(self) -> str:
        """The lots of its actives in one text; empty where none was entered."""
        return ", ".join(lot for lot in self.active_lots.values() if lot)


def figures_of(document: Mapping[str, Any], *, report: str = "") -> BatchFigures:
    """The figures of a sealed result document.

    Parameters
    ----------
    document : mapping
        As `qc check` files it, with its seal.
    report : str
        Where its report stands.
    """
    batch, seal = document["batch"], document["seal"]
    claims = (batch.get("label_claims_mg") or {}).values()
    supersedes = document.get("supersedes") or {}
    counting = [unit for unit in document["units"] if not unit.get("left_out_because")]
    said: dict[str, Any] = {name: batch.get(name) or "" for name in _SAID}
    return BatchFigures(
        **said,
        result_sha256=seal["result_sha256"],
        verdict=document["verdict"],
        input_sha256=(document.get("input") or {}).get("sha256", ""),
        strength=" / ".join(f"{plain_limit(claim)} mg" for claim in claims if claim),
        form=batch.get("dosage_form") or "",
        judged_at=seal["judged_at"],
        basis=document["basis"],
        planned_g=(document["planned_mass"] or {}).get("planned_g"),
        mass=_masses([counting_g(unit) for unit in counting], tests=document["tests"]),
        contents=dict(_contents(document["tests"])),
        failed=tuple(one["id"] for one in document["tests"] if one["verdict"] == "does-not-comply"),
        causes={one["cause"]: one["probability"] for one in document["causes"] if one["probability"] >= 0.05},
        active_lots={name: lot for name, lot in (batch.get("active_lots") or {}).items() if lot},
        rules={id: rule["edition"] for id, rule in seal["rules"].items()},
        qc_version=document["qc_version"],
        supersedes=supersedes.get("result_sha256", ""),
        because=supersedes.get("because", ""),
        released=batch.get("quantity_released") or "",
        report=report,
    )


def counting_g(unit: Mapping[str, Any]) -> float | None:
    """The mass that counts, of two weighings the one that the judge took."""
    mass: float | None = unit["weighed_again_g"] if unit.get("second_mass_counts") else unit["mass_g"]
    return mass


def _masses(weighed: Sequence[float | None], *, tests: Sequence[Any]) -> WithinBatch | None:
    masses = [mass for mass in weighed if mass is not None]
    if len(masses) < 2:
        return None
    outside = max((len(test["outside"]) for test in tests if test["id"] == MASS), default=0)
    return WithinBatch(n=len(masses), mean=fmean(masses), sd=stdev(masses), outside=outside)


def _contents(tests: Sequence[Any]) -> list[tuple[str, WithinBatch]]:
    """By active the dosage-unit test, or where there is none the content test in % of label."""
    found: dict[str, WithinBatch] = {}
    for test in sorted(tests, key=lambda one: one["id"] != CONTENT):
        figures, active = test["figures"], test["active"]
        mean, sd = figures.get("mean_percent"), figures.get("sd_percent")
        if test["id"] not in (CONTENT, DOSAGE_UNITS) or active is None or mean is None or not sd:
            continue
        before = found.get(active)
        found[active] = WithinBatch(
            n=test["n"],
            mean=mean,
            sd=sd,
            acceptance_value=figures.get("acceptance_value"),
            outside=max(len(test["outside"]), before.outside if before else 0),
            limit=figures.get("l1_percent"),
        )
    return list(found.items())
