"""Judged batches made by hand, each one thing a report must be able to show."""

from __future__ import annotations

import statistics
from collections.abc import Callable, Sequence
from decimal import Decimal
from functools import cache
from typing import Any

import pytest
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from msgspec.structs import replace

from qc.batch import Active, Assay, Base, Batch, Check, Displacement, DisplacementConvention, Source, Unit
from qc.problems import Notice
from qc.results import (
    AcceptanceBoundary,
    Assurance,
    BatchVerdict,
    CauseFound,
    JudgedBatch,
    Limit,
    Message,
    Outside,
    Place,
    PlannedMass,
    PourAnalysis,
    PourTrend,
    RuleUsed,
    TestResult,
    Trend,
    TrendFlag,
    UnitContent,
    UnitRow,
    Verdict,
    message,
)
from qc.rules.looks import count_limit
from qc.rules.records import Clause, Mark
from qc.show.pages_html import html_page
from qc.show.pages_pdf import Paper, pdf_pages
from qc.show.pieces import as_plain
from qc.show.write import compose

SOUND_MASSES = [
    "2.013",
    "1.998",
    "2.021",
    "2.007",
    "1.987",
    "2.016",
    "2.004",
    "2.011",
    "1.993",
    "2.025",
    "2.002",
    "2.009",
    "1.996",
    "2.018",
    "2.005",
    "1.991",
    "2.012",
    "2.000",
    "2.014",
    "1.989",
    "2.008",
    "2.003",
    "2.019",
    "1.997",
]
SOUND_CONTENTS = ["99.2", "101.4", "98.7", "100.6", "99.9", "102.1", "98.3", "100.2", "101.0", "99.5"]


def clause(number: int, text: str) -> Message:
    return message("rules.clause", clause=Clause(number=str(number), text=text, mark=Mark.SEEN), mark="seen")


RULES = (
    RuleUsed(
        id="ph-eur-2.9.5",
        title="Uniformity of mass of single-dose preparations",
        work="European Pharmacopoeia",
        section="2.9.5",
        edition="11.0",
        mark="seen",
        clauses=(
            clause(1, "Weigh 20 units taken at random, one by one, and work out their mean mass."),
            clause(2, "Not more than 2 masses deviate from the mean by more than 5 %, and none by more than 10 %."),
        ),
    ),
    RuleUsed(
        id="ph-eur-2.9.6-b",
        title="Uniformity of content, test B",
        work="European Pharmacopoeia",
        section="2.9.6",
        edition="11.0",
        mark="seen",
        clauses=(
            clause(1, "Assay 10 units."),
            clause(2, "Not more than one lies outside 85 to 115 % of the mean, none outside 75 to 125 %."),
        ),
    ),
    RuleUsed(
        id="harmonised-udu",
        title="Uniformity of dosage units",
        work="European Pharmacopoeia",
        section="2.9.40",
        edition="11.0",
        mark="from memory",
        clauses=(clause(1, "The acceptance value of ten units is at most 15.0."),),
    ),
)


def boundary(active: str, n: int, k: float) -> AcceptanceBoundary:
    top = 15.0 / k
    return AcceptanceBoundary(active=active, n=n, points=((83.5, 0.0), (98.5, top), (101.5, top), (116.5, 0.0)))


def judged_batch(
    *,
    masses: Sequence[str | None] = tuple(SOUND_MASSES),
    contents: dict[str, Sequence[str]] | None = None,
    moulds: int = 2,
    product: str = "Paracetamol suppositories 250 mg",
    number: str = "B-2026-117",
    names: Sequence[str] | None = None,
    pour_order: bool = True,
    left_out: Sequence[int] = (),
    sample: int = 20,
    notices: Sequence[Notice] = (),
    verdict: BatchVerdict | None = None,
    content_verdict: Verdict | None = None,
    trend: bool = False,
    causes: bool = False,
    **facts: Any,
) -> JudgedBatch:
    """A judged batch; its figures are worked out here with the standard library."""
    contents = {"Paracetamol": SOUND_CONTENTS} if contents is None else contents
    names = names or [str(place) for place in range(1, len(masses) + 1)]
    a_mould = -(-len(masses) // moulds) if moulds else 0
    actives = tuple(
        Active(
            name=name,
            label_claim_mg=Decimal(250),
            displacement=Displacement(given=Decimal("1.5"), convention=DisplacementConvention.VALUE),
        )
        for name in contents
    )
    chosen = {name: {round(i * (len(masses) - 1) / max(len(found) - 1, 1)): text for i, text in enumerate(found)}
              for name, found in contents.items()}  # fmt: skip
    weighed = [float(mass) for mass in masses[:sample] if mass is not None]
    mean = statistics.fmean(weighed) if weighed else None
    means = {name: statistics.fmean(map(float, found)) for name, found in contents.items() if found}
    spreads = {name: statistics.stdev(map(float, found)) for name, found in contents.items() if len(found) > 1}
    units, rows = [], []
    for i, (name, mass) in enumerate(zip(names, masses, strict=True)):
        unit = Unit(
            name=name,
            pour_order=i + 1 if pour_order else None,
            mould="AB"[i // a_mould] if moulds else None,
            cavity=str(i % a_mould + 1) if moulds else None,
            mass_g=Decimal(mass) if mass else None,
            left_out_because="dropped on the bench" if i in left_out else None,
        )
        deviation = (float(mass) - mean) / mean * 100 if mass and mean else None
        units.append(unit)
        rows.append(
            UnitRow(
                unit=name,
                pour_order=unit.pour_order,
                mould=unit.mould,
                cavity=unit.cavity,
                mass_g=unit.mass_g,
                deviation_percent=deviation,
                in_mass_sample=i < sample,
                place=place_of(deviation, 5, 10),
                contents={
                    active: UnitContent(
                        mg=float(picked[i]) * 2.5,
                        percent_of_label=float(picked[i]),
                        percent_of_mean=float(picked[i]) / means[active] * 100,
                        concentration_mg_per_g=float(picked[i]) * 2.5 / float(mass) if mass else None,
                        place=place_of(float(picked[i]) / means[active] * 100 - 100, 15, 25),
                    )
                    for active, picked in chosen.items()
                    if i in picked
                },
                seen=("air bubble",) if i == 4 else (),
                left_out_because=unit.left_out_because,
            )
        )
    tests = [*mass_tests(rows, mean), *content_tests(rows, means, spreads, content_verdict)]
    if verdict is None:
        failed = any(test.verdict is Verdict.DOES_NOT_COMPLY for test in tests)
        open_ = any(test.verdict in (Verdict.SECOND_STAGE, Verdict.TOO_FEW_UNITS) for test in tests)
        verdict = BatchVerdict.DOES_NOT_COMPLY if failed else BatchVerdict.UNDECIDED if open_ else BatchVerdict.COMPLIES
    found_trend = None
    if trend and mean is not None:
        flag = Trend(
            flag=TrendFlag.CANNOT_TELL, n=len(weighed), sentence="The masses show no change that they could have shown."
        )
        active = next(iter(contents))
        line = tuple((names[i], 92.0 + 16.0 * i / len(names)) for i in sorted(chosen[active]))
        rising = Trend(
            flag=TrendFlag.CLEAR,
            n=10,
            p_value=0.0004,
            change_percent=16.0,
            change_low_percent=9.0,
            change_high_percent=23.0,
            detectable_percent=8.0,
            shape="drift",
            sentence="Content rises by 16 % from the first unit to the last (95 % interval 9 to 23 %).",
            fitted=line,
        )
        found_trend = PourTrend(mass=flag, content={active: rising})
    found_causes = (
        CauseFound(
            cause="settling-in-pour", probability=0.83, evidence=("Concentration rises 16 % from unit 1 to 24.",)
        ),
        CauseFound(cause="poor-mixing", probability=0.12, evidence=("Masses are steady while contents scatter.",)),
        CauseFound(cause="sound", probability=0.05),
    )
    return JudgedBatch(
        batch=Batch(
            units=tuple(units),
            assays=tuple(
                Assay(unit=names[i], active=active, content_percent=Decimal(text))
                for active, picked in chosen.items()
                for i, text in picked.items()
            ),
            actives=actives,
            number=number,
            product=product,
            dosage_form=facts.pop("dosage_form", "suppositories"),
            base=Base.FATTY,
            units_poured=len(masses),
            nominal_mass_g=Decimal("1.95"),
            made_on="2026-11-20",
            made_by=facts.pop("made_by", "R. Ansgar"),
            weighed_by=facts.pop("weighed_by", "L. Ortiz-Marín"),
            checked_by=facts.pop("checked_by", None),
            source=Source(name="batch.xlsx", sha256="9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08"),
            **facts,
        ),
        rule_set="default",
        verdict=verdict,
        tests=tuple(tests),
        planned_mass=PlannedMass(
            planned_g=Decimal("2.033"),
            working="1.95 g + 0.25 g × (1 − 1/1.5) = 2.033 g (value 1.5: g of active that displaces 1 g of base)",
            mean_g=mean,
            difference_percent=(mean - 2.033) / 2.033 * 100 if mean else None,
        ),
        pour=None if found_trend is None else PourAnalysis(trend=found_trend),
        causes=found_causes if causes else (),
        assurance=(
            Assurance(
                test="dosage-unit-uniformity",
                active=next(iter(contents)),
                confidence=0.95,
                pass_chance=0.99,
                pass_chance_low=0.93,
                coverage=0.9,
                tolerance_low_percent=95.1,
                tolerance_high_percent=105.0,
                said=("Another ten units of this batch would pass with a chance of at least 93 %.",),
            ),
        )
        if trend
        else (),
        notices=tuple(notices),
        next_steps=("File this report with the batch record.",),
        cannot_say=("Ten assays cannot show a change over the pour that is smaller than 8 % of the dose.",),
        unit_rows=tuple(rows),
        boundaries=tuple(b for name in contents for b in (boundary(name, 10, 2.4), boundary(name, 30, 2.0))),
        rules_used=RULES,
        mass_limits=(5.0, 10.0) if mean else (None, None),
        content_limits=(15.0, 25.0) if contents else (None, None),
        seed=20261125,
    )


def place_of(deviation: float | None, inner: float, outer: float) -> Place | None:
    if deviation is None:
        return None
    if abs(deviation) > outer:
        return Place.BEYOND_OUTER
    return Place.BEYOND_INNER if abs(deviation) > inner else Place.INSIDE


def mass_tests(rows: Sequence[UnitRow], mean: float | None) -> list[TestResult]:
    if mean is None:
        return [
            TestResult(
                id="mass-uniformity", rule="ph-eur-2.9.5", verdict=Verdict.NOT_ASSESSED, missing="no unit was weighed"
            )
        ]
    beyond = [row for row in rows if row.place in (Place.BEYOND_INNER, Place.BEYOND_OUTER)]
    outer = [row for row in rows if row.place is Place.BEYOND_OUTER]
    few = len(rows) < 20
    verdict = (
        Verdict.TOO_FEW_UNITS if few else Verdict.DOES_NOT_COMPLY if len(beyond) > 2 or outer else Verdict.COMPLIES
    )
    return [
        TestResult(
            id="mass-uniformity",
            rule="ph-eur-2.9.5",
            verdict=verdict,
            n=min(20, len(rows)),
            sample=tuple(row.unit for row in rows if row.in_mass_sample and row.mass_g is not None),
            figures={"mean_g": mean, "limit_percent": 5.0, "beyond_limit": len(beyond), "beyond_double": len(outer)},
            outside=tuple(
                Outside(
                    unit=row.unit,
                    deviation_percent=row.deviation_percent or 0.0,
                    beyond_outer=row.place is Place.BEYOND_OUTER,
                )
                for row in beyond
            ),
            reasons=(f"{len(beyond)} of {len(rows)} units deviate from the mean by more than 5 %.",),
            criteria=(
                counted("beyond_limit", beyond, of=20, allowed=2, met=None if few else len(beyond) <= 2, percent=5),
                counted("beyond_double", outer, of=20, allowed=0, met=None if few else not outer, percent=10),
            ),
            more_units=20 - len(rows) if few else 0,
            working=(f"mean = sum / n = {mean * 20:.3f} g / 20 = {mean:.4f} g", "5 % of the mean = 0.1002 g"),
        )
    ]


def counted(what: str, rows: Sequence[UnitRow], *, percent: int, **more: Any) -> Limit:
    return count_limit(what, [row.unit for row in rows], percent=Decimal(percent), centre="mean", **more)


def content_tests(
    rows: Sequence[UnitRow], means: dict[str, float], spreads: dict[str, float], verdict: Verdict | None
) -> list[TestResult]:
    found = []
    for active, mean in means.items():
        beyond = [r for r in rows if active in r.contents and r.contents[active].place is not Place.INSIDE]
        outer = [r for r in beyond if r.contents[active].place is Place.BEYOND_OUTER]
        n = sum(active in row.contents for row in rows)
        judged = verdict or (Verdict.DOES_NOT_COMPLY if outer or len(beyond) > 3 else
                             Verdict.SECOND_STAGE if len(beyond) > 1 else Verdict.COMPLIES)  # fmt: skip
        value = abs(mean - max(98.5, min(101.5, mean))) + 2.4 * spreads.get(active, 0.0)
        met = value <= 15.0
        found.append(
            TestResult(
                id="content-uniformity",
                rule="ph-eur-2.9.6-b",
                active=active,
                verdict=judged,
                n=n,
                sample=tuple(row.unit for row in rows if active in row.contents),
                figures={"mean_percent": mean, "beyond_inner": len(beyond), "beyond_outer": len(outer), "stage": 1},
                outside=tuple(
                    Outside(
                        unit=r.unit,
                        deviation_percent=(r.contents[active].percent_of_mean or 100.0) - 100.0,
                        beyond_outer=r.contents[active].place is Place.BEYOND_OUTER,
                    )
                    for r in beyond
                ),
                criteria=(
                    counted(
                        "beyond_inner",
                        beyond,
                        of=n,
                        allowed=1,
                        met=None if judged is Verdict.SECOND_STAGE else len(beyond) <= 1,
                        percent=15,
                        as_range=True,
                    ),
                ),
                more_units=20 if judged is Verdict.SECOND_STAGE else 0,
                next_units=("5", "9") if judged is Verdict.SECOND_STAGE else (),
                working=(f"mean = {mean:.2f} % of label", "85 % of the mean = 85.09 %, 115 % of the mean = 115.12 %"),
            )
        )
        found.append(
            TestResult(
                id="dosage-unit-uniformity",
                rule="harmonised-udu",
                active=active,
                verdict=Verdict.COMPLIES if met else Verdict.SECOND_STAGE,
                n=n,
                sample=tuple(row.unit for row in rows if active in row.contents),
                figures={
                    "mean_percent": mean,
                    "sd_percent": spreads.get(active),
                    "k": 2.4,
                    "acceptance_value": value,
                    "stage": 1,
                },
                criteria=(
                    Limit(
                        what="acceptance_value",
                        figure=Decimal(f"{value:.1f}"),
                        bound=Decimal("15.0"),
                        met=True if met else None,
                        values={"n": n, "unrounded": value},
                    ),
                ),
                working=(f"AV = |M − mean| + k s = 0.0 + 2.4 × {spreads.get(active, 0):.3f} = {value:.3f}",),
            )
        )
    return found


DRIFTING = ["88.0", "90.1", "93.5", "95.0", "97.2", "99.9", "101.5", "104.0", "108.8", "118.0"]
HOSTILE = "<script>alert(1)</script>"


def sound() -> JudgedBatch:
    return judged_batch(notices=(Notice(where="Units!F1", text='The column "Colour" is not known and was ignored.'),))


def failing() -> JudgedBatch:
    masses = list(SOUND_MASSES)
    masses[3], masses[7], masses[11], masses[12] = "1.790", "2.121", "2.127", "1.880"
    return replace(
        judged_batch(masses=masses, contents={"Paracetamol": DRIFTING}, trend=True, causes=True, left_out=(3,)),
        next_steps=("Do not release.", "Assay units 1 and 24 to see whether the active settled."),
    )


def second_stage() -> JudgedBatch:
    return judged_batch(
        contents={"Paracetamol": ["99.2", "81.0", "98.7", "100.6", "119.9", "102.1", "98.3", "100.2", "118.0", "99.5"]},
        content_verdict=Verdict.SECOND_STAGE,
    )


def masses_only() -> JudgedBatch:
    return replace(judged_batch(contents={}), boundaries=())


def contents_only() -> JudgedBatch:
    return replace(judged_batch(masses=[None] * 10, sample=0), planned_mass=None)


def no_moulds() -> JudgedBatch:
    return judged_batch(moulds=0, pour_order=False)


def two_actives() -> JudgedBatch:
    return judged_batch(contents={"Paracetamol": SOUND_CONTENTS, "Codeine phosphate hemihydrate": DRIFTING}, trend=True)


def six_units() -> JudgedBatch:
    return judged_batch(masses=SOUND_MASSES[:6], contents={"Paracetamol": SOUND_CONTENTS[:3]}, sample=6)


def sixty_units() -> JudgedBatch:
    masses = [f"{2.0 + 0.01 * ((i * 37) % 11 - 5):.3f}" for i in range(60)]
    contents = [f"{100 + ((i * 7) % 13 - 6) * 0.7:.1f}" for i in range(30)]
    return judged_batch(masses=masses, contents={"Paracetamol": contents}, left_out=(17, 40))


def hostile() -> JudgedBatch:
    names = [f"{HOSTILE} $x_{i}$" if i % 3 else f"Einheit Nr. {i} äöü שלום مرحبا" for i in range(24)]
    return replace(
        judged_batch(
            names=names,
            product=f'{HOSTILE} & \u202etxet\u202c #import("x") *bold* $a$ {"sehr langer Name " * 12}',
            number="B/<b>1</b>\x00",
            contents={f"{HOSTILE} Wirkstoff $\\alpha$": SOUND_CONTENTS},
            made_by='"><img src=x onerror=alert(1)>',
            notices=[Notice(where="Units!<i>A1</i>", text=f"{HOSTILE} stands here.")],
            checks=(Check(name=HOSTILE, result="5 min", limit="30 min"),),
        ),
        next_steps=(f"Look at unit {HOSTILE}.",),
    )


BATCHES: dict[str, Callable[[], JudgedBatch]] = {
    made.__name__: made
    for made in (
        sound,
        failing,
        second_stage,
        masses_only,
        contents_only,
        no_moulds,
        two_actives,
        six_units,
        sixty_units,
        hostile,
    )
}


@pytest.fixture(params=BATCHES)
def any_name(request: pytest.FixtureRequest) -> str:
    """The name of each of the batches in turn."""
    name: str = request.param
    return name


@pytest.fixture
def any_judged(any_name: str) -> JudgedBatch:
    """Each of the batches in turn."""
    return BATCHES[any_name]()


@pytest.fixture(scope="session")
def plain_report() -> Callable[[str], dict[str, Any]]:
    """The report of a batch before it is laid out, by the name of the batch; drawn once a run."""

    @cache
    def made(name: str) -> dict[str, Any]:
        plain: dict[str, Any] = as_plain(compose(BATCHES[name](), digest="0123456789abcdef", document={}))
        return plain

    return made


@pytest.fixture(scope="session")
def page_of(plain_report: Callable[[str], dict[str, Any]]) -> Callable[[str], str]:
    """The HTML page of a batch, by the name of the batch."""

    @cache
    def made(name: str) -> str:
        return html_page(plain_report(name))

    return made


@pytest.fixture(scope="session")
def pdf_of(plain_report: Callable[[str], dict[str, Any]]) -> Callable[[str, Paper], bytes]:
    """The PDF of a batch, by the name of the batch and the paper."""

    @cache
    def made(name: str, paper: Paper) -> bytes:
        return pdf_pages(plain_report(name), paper=paper)

    return made


@pytest.fixture
def batches() -> dict[str, Callable[[], JudgedBatch]]:
    """The batches by name."""
    return BATCHES


@pytest.fixture
def make_judged() -> Callable[..., JudgedBatch]:
    """Makes a judged batch of given masses and contents."""
    return judged_batch


@pytest.fixture
def ax() -> Axes:
    figure = Figure(figsize=(6.9, 2.6))
    FigureCanvasAgg(figure)
    return figure.add_axes((0.1, 0.19, 0.6, 0.73))
