"""The results workbook, calculated anew by another spreadsheet program from nothing but its formulas.

The written values are wiped first, so that every figure compared here comes from a formula. The outside check is the
other program (LibreOffice): its functions know nothing of ours.
"""

from __future__ import annotations

import csv
import functools
import math
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from io import BytesIO
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from zipfile import ZipFile

import pytest
from msgspec.structs import replace
from office import needs_office, saved_again

from qc.batch import Active, Assay, Batch, Check, Displacement, DisplacementConvention, Part, State, Unit
from qc.causes.weigh import CausesWeighed
from qc.document import result_document
from qc.judging.judge import judge_batch
from qc.results import JudgedBatch
from qc.rules.rule_books import RuleBook, rule_book
from qc.workbook.recheck.write import results_workbook

pytestmark = [
    needs_office,
    # In one process, so that the other program is called once.
    pytest.mark.xdist_group("recalculated"),
]

DRUG = Active(
    name="drug",
    label_claim_mg=Decimal(100),
    displacement=Displacement(given=Decimal("1.6"), convention=DisplacementConvention.VALUE),
    state=State.SUSPENDED,
)
OTHER = Active(
    name="other",
    label_claim_mg=Decimal("12.5"),
    displacement=Displacement(given=Decimal("0.7"), convention=DisplacementConvention.FACTOR),
    target_percent=Decimal("103"),
)
MASSES = ("2.031", "2.044", "2.052", "2.018", "2.060", "2.039") * 4
CONTENTS = ("99.1", "101.3", "98.7", "100.4", "102.2", "99.9", "97.8", "100.9", "101.7", "98.4")


HOUSE_OF_WHAT_IS_SEEN = """
[[rule]]
id = "house-plan"
builds_on = "iso-2859-1"
source = "procedure 7"
aql_critical_percent = 0
aql_minor_percent = 6.5
"""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Case:
    """A batch with the rule set that judges it, and the verdict it is to have; each is judged and written once."""

    batch: Batch
    verdict: str
    rules: str | None = None
    house: str = ""
    """What a house file says, where one is used."""


def units(masses: Sequence[str], **changes: Mapping[str, Any]) -> tuple[Unit, ...]:
    made = [Unit(name=str(place), pour_order=place, mass_g=Decimal(mass)) for place, mass in enumerate(masses, start=1)]
    return tuple(replace(unit, **changes.get(f"unit_{unit.name}", {})) for unit in made)


def assays(
    contents: Sequence[str], *, active: str = "drug", mg: bool = False, first_unit: int = 1
) -> tuple[Assay, ...]:
    return tuple(
        Assay(
            unit=str(place),
            active=active,
            content_mg=Decimal(content) if mg else None,
            content_percent=None if mg else Decimal(content),
        )
        for place, content in enumerate(contents, start=1)
    )


def batch(
    masses: Sequence[str] = MASSES,
    contents: Sequence[str] = CONTENTS,
    *,
    actives: tuple[Active, ...] = (DRUG,),
    form: str = "suppositories",
    made: tuple[Unit, ...] | None = None,
    found: tuple[Assay, ...] | None = None,
    planned: str | None = None,
) -> Batch:
    return Batch(
        number="0042",
        product="drug suppositories",
        dosage_form=form,
        units=units(masses) if made is None else made,
        assays=assays(contents) if found is None else found,
        actives=actives,
        nominal_mass_g=Decimal("2.00"),
        planned_mass_g=None if planned is None else Decimal(planned),
    )


def marked_sample() -> tuple[Unit, ...]:
    """Twenty marked units, and one beyond the outer limit that the sample left out."""
    made = units((*MASSES[:23], "2.300"))
    return tuple(replace(unit, test_sample=place < 20) for place, unit in enumerate(made))


def marked(yes: range, *, no: bool = False) -> tuple[Unit, ...]:
    """Units of which some are marked as the test sample, or the others as not of it."""
    made = units((*MASSES[:18], "2.16", "2.11", "1.93", "2.30", *MASSES[22:24]))
    return tuple(
        replace(unit, test_sample=place in yes if not no or place not in yes else None)
        for place, unit in enumerate(made)
    )


SPREAD = ("80.1", "101.3", "118.4", "98.7", "99.9", "100.4", "102.6", "97.3", "96.8", "103.2", "112.5", "99.1")
WIDE = ("82.1", "117.3", *[str(Decimal("97.3") + Decimal(n * 7 % 31) / 5) for n in range(28)], "124.4", "98.1")


def in_stages(contents: Sequence[str], stages: Sequence[int]) -> tuple[Assay, ...]:
    return tuple(replace(one, stage=stage) for one, stage in zip(assays(contents), stages, strict=True))


def repeated() -> tuple[Assay, ...]:
    """Two determinations of some units, parts of others, mg beside % of label."""
    whole = assays(CONTENTS)
    again = (
        Assay(unit="3", active="drug", content_mg=Decimal("99.5")),
        Assay(unit="1", active="drug", content_mg=Decimal("98")),
    )
    parts = tuple(
        Assay(unit="12", active="drug", part=part, content_mg=Decimal("31.2"), part_mass_g=Decimal("0.66"))
        for part in (Part.TIP, Part.MIDDLE, Part.END)
    )
    return (*whole[:5], *parts, again[0], *whole[5:], again[1])


def staged(contents: Sequence[str], *, first: int = 10) -> tuple[Assay, ...]:
    return tuple(replace(assay, stage=1 if place < first else 2) for place, assay in enumerate(assays(contents)))


def beside(contents: Sequence[str]) -> tuple[Assay, ...]:
    """Thirty units of both stages, and others that were assayed beside the test."""
    return tuple(
        replace(assay, stage=1 if place < 10 else 2 if place < 30 else 0)
        for place, assay in enumerate(assays(contents))
    )


NEAR = ("83.2", "116.9", *CONTENTS[:8])
THIRTY = (*NEAR, *CONTENTS, *CONTENTS)
# Mean exactly 2 g; units at exactly 5 % and 10 % of it, and a hair beyond both.
AT_LIMIT = ("2.1", "1.9", "2.1", "1.9", "2.2", "1.8", *["2"] * 14)
BEYOND = ("2.100001", "1.899999", "2.100001", "1.899999", "2.2", "1.8", *["2"] * 14)
OUTER = ("2.1", "1.9", "2.1", "1.9", "2.200001", "1.799999", *["2"] * 14)
TWO_AT_LIMIT = ("2.1", "1.9", "2.200000", "1.8", *["2"] * 16)
# Mean exactly 100: units at exactly 15 % and 25 % of it.
AT_CONTENT_LIMITS = ("115", "85", "125", *["100"] * 5, "85", "90")

CASES: dict[str, Case] = {
    "sound": Case(batch=batch(), verdict="complies"),
    "fails-on-mass": Case(batch=batch(("2.31", "1.80", "1.85", *MASSES[3:])), verdict="does-not-comply"),
    "fails-on-content": Case(batch=batch(contents=("70.0", *CONTENTS[1:])), verdict="does-not-comply"),
    "second-stage-due": Case(batch=batch(contents=NEAR), verdict="undecided"),
    "thirty-pooled": Case(batch=batch(("2.031", "2.044", "2.052") * 10, THIRTY), verdict="complies"),
    "thirty-fail": Case(
        batch=batch(("2.031", "2.044", "2.052") * 10, (*THIRTY[:20], "70.0", *THIRTY[21:])), verdict="does-not-comply"
    ),
    "thirty-and-more": Case(
        batch=batch(MASSES[:20], found=beside((*THIRTY, "60.0", "101"))), verdict="does-not-comply"
    ),
    "stages-marked": Case(batch=batch(found=staged(THIRTY[:24])), verdict="undecided"),
    "two-actives": Case(
        batch=batch(
            actives=(DRUG, OTHER),
            found=(*assays(CONTENTS), *assays(("12.6", "12.9", "13.0", "12.7", "12.8") * 2, active="other", mg=True)),
        ),
        verdict="complies",
    ),
    "left-out": Case(
        batch=batch(
            made=units(
                ("2.500", *MASSES[1:]),
                unit_1={"left_out_because": "dropped"},
                unit_2={"left_out_because": "=1+1", "test_sample": None},
            ),
            contents=("70.0", *CONTENTS[:9]),
        ),
        verdict="does-not-comply",
    ),
    "target-above": Case(
        batch=batch(
            actives=(replace(DRUG, target_percent=Decimal("104")),),
            contents=("103.1", "102.6", "103.3", "102.2", "103.0", "102.5", "102.9", "103.6", "102.1", "103.4"),
        ),
        verdict="complies",
    ),
    "target-above-and-mean-higher": Case(
        batch=batch(
            actives=(replace(DRUG, target_percent=Decimal("103")),),
            contents=("118", "117", "119", "116", "118.5", "117.5", "118", "119", "117", "118"),
        ),
        verdict="does-not-comply",
    ),
    "low-mean": Case(batch=batch(contents=tuple(str(Decimal(one) - 6) for one in CONTENTS)), verdict="complies"),
    "check-fails": Case(
        batch=replace(
            batch(),
            checks=(
                Check(name="disintegration", result="41 min", limit="at most 30 min"),
                Check(name="softening time", result="9 min", limit="at most 15 min"),
                Check(name="odour", result="complies"),
            ),
        ),
        verdict="does-not-comply",
    ),
    "checks-and-packing": Case(
        batch=replace(
            batch(actives=(replace(DRUG, batch_assay_percent=Decimal("99.7"), assay_limits_percent="95.0 to 105.0"),)),
            checks=(
                Check(name="disintegration", result="12 min; 14 min; 800 s; 11 min; 20 min; 9 min", limit="< 1200 s"),
                Check(name="softening time", result="15 to 18 min", limit="at most 20 min"),
                Check(name="water", result="1.5 %", limit="0.5 to 1.5 %"),
                Check(name="each unit wrapped", result="yes"),
                Check(name="label: route of use, cautions", result="no"),
            ),
        ),
        verdict="does-not-comply",
    ),
    "balance": Case(
        batch=replace(
            batch(),
            units_poured=26,
            melt_prepared_g=Decimal("52.0"),
            melt_left_g=Decimal("1.1"),
            trimmings_g=Decimal("0.75"),
            units_obtained=25,
            units_rejected=1,
            units_sampled=10,
            units_released=14,
        ),
        verdict="complies",
    ),
    "balance-asked-for": Case(
        batch=replace(batch(), units_obtained=25, units_rejected=1, units_sampled=10, units_released=13),
        verdict="does-not-comply",
        rules="batch-balance",
    ),
    "balance-of-all-weighed": Case(
        batch=replace(batch(contents=()), units_poured=26, units_obtained=24, melt_prepared_g=Decimal("52.0")),
        verdict="undecided",
    ),
    "masses-only": Case(batch=batch(contents=()), verdict="undecided"),
    "masses-only-bare": Case(batch=Batch(dosage_form="pessaries", units=units(MASSES)), verdict="complies"),
    "too-few": Case(batch=batch(MASSES[:12], CONTENTS[:4]), verdict="undecided"),
    "one-unit": Case(batch=batch(MASSES[:1], CONTENTS[:1]), verdict="undecided"),
    "sample-not-marked": Case(batch=batch((*["2.000"] * 20, *["2.110"] * 3, "1.890")), verdict="undecided"),
    "sample-doubted": Case(
        batch=batch(
            made=tuple(
                replace(unit, test_sample=place < 20)
                for place, unit in enumerate(units((*["2.000"] * 20, *["2.110", "1.890"] * 3)))
            )
        ),
        verdict="undecided",
    ),
    "thirty-left-out": Case(
        batch=batch(
            made=units(("2.031", "2.044", "2.052") * 10, unit_1={"left_out_because": "dropped"}), contents=THIRTY
        ),
        verdict="complies",
    ),
    "hidden-outer": Case(batch=batch(made=marked_sample()), verdict="does-not-comply"),
    "repeated": Case(batch=batch(found=repeated()), verdict="complies"),
    "nothing-found": Case(batch=batch(contents=("0",) * 10), verdict="does-not-comply"),
    "in-percent-without-claim": Case(batch=batch(actives=()), verdict="complies"),
    "in-mg-without-claim": Case(
        batch=batch(actives=(Active(name="drug"),), found=assays(CONTENTS, mg=True)), verdict="complies"
    ),
    "by-mass": Case(
        batch=batch(
            contents=(),
            form="uncoated tablets",
            actives=(Active(name="drug", label_claim_mg=Decimal(900), batch_assay_percent=Decimal("98.2")),),
        ),
        # Without a planned mass the share of the dose is not known, and whether the route of mass is open.
        verdict="undecided",
        rules="harmonised",
    ),
    "by-mass-second-stage": Case(
        batch=batch(
            ("1.7", "2.3", "1.8", "2.2", *MASSES, "2.0", "2.1"),
            contents=(),
            form="uncoated tablets",
            actives=(Active(name="drug", label_claim_mg=Decimal(900), batch_assay_percent=Decimal("98.2")),),
        ),
        verdict="complies",
        rules="harmonised",
    ),
    "bands-by-mass": Case(
        batch=batch(("0.0799", "0.0801", "0.0800", "0.0805") * 5, (), form="tablets"), verdict="undecided"
    ),
    "labelled-mass": Case(batch=batch(MASSES[:10], (), planned="2.000"), verdict="complies", rules="chp"),
    "mean-against-plan": Case(batch=batch(contents=(), planned="2.16"), verdict="does-not-comply", rules="mean-mass-3"),
    "seen": Case(
        batch=batch(
            made=units(
                MASSES[:20],
                unit_1={"seen": ("chipped",)},
                unit_4={"seen": ("chipped",)},
                unit_7={"seen": ("foreign particle",)},
            ),
            contents=(),
        ),
        verdict="does-not-comply",
        house=HOUSE_OF_WHAT_IS_SEEN,
    ),
    "large-sample": Case(batch=batch(MASSES * 5, CONTENTS * 10), verdict="complies", rules="ph-eur-2.9.47"),
    "large-sample-fails": Case(
        batch=batch(MASSES * 5, (*CONTENTS * 9, *["60"] * 6, *CONTENTS[:4])),
        verdict="does-not-comply",
        rules="ph-eur-2.9.47",
    ),
    "mean-bounded": Case(batch=batch(form="transdermal patches"), verdict="complies", rules="ph-eur-2.9.6-c"),
    "at-the-limits": Case(batch=batch(TWO_AT_LIMIT, ("83.50",) * 10), verdict="complies"),
    "beyond-the-limits": Case(batch=batch(OUTER, AT_CONTENT_LIMITS), verdict="does-not-comply"),
    "at-the-mass-limit": Case(batch=batch(AT_LIMIT, ()), verdict="undecided"),
    "beyond-the-mass-limit": Case(batch=batch(BEYOND, ()), verdict="does-not-comply"),
    "at-the-content-limits": Case(batch=batch(contents=AT_CONTENT_LIMITS), verdict="undecided"),
    "acceptance-below": Case(batch=batch(contents=("83.46",) * 10), verdict="complies"),
    "acceptance-at-rounding": Case(batch=batch(contents=("83.45",) * 10), verdict="does-not-comply"),
    "acceptance-above": Case(batch=batch(contents=("83.44",) * 10), verdict="does-not-comply"),
}


# In every run; the others, most of them the same paths by another rule or scale, by hand with the benchmarks.
COMMON = (
    "sound",
    "fails-on-mass",
    "fails-on-content",
    "second-stage-due",
    "thirty-pooled",
    "thirty-and-more",
    "two-actives",
    "left-out",
    "target-above-and-mean-higher",
    "check-fails",
    "balance",
    "masses-only",
    "too-few",
    "sample-not-marked",
    "sample-doubted",
    "thirty-left-out",
    "hidden-outer",
    "by-mass-second-stage",
    "labelled-mass",
    "seen",
    "large-sample",
    "large-sample-fails",
    "mean-against-plan",
    "at-the-limits",
    "beyond-the-limits",
)
NAMES = [pytest.param(name, marks=() if name in COMMON else pytest.mark.benchmarks) for name in CASES]


# The batch that is written, and the one that is typed over it; the latter's verdict is not what is looked at.
TYPED_OVER: dict[str, tuple[Case, Case]] = {
    "stage-two-to-one": (
        CASES["thirty-pooled"],
        Case(batch=batch(("2.31", "1.80", "1.85", *["2.04"] * 27), CONTENTS * 3), verdict=""),
    ),
    "stage-two-fails": (CASES["thirty-pooled"], CASES["thirty-fail"]),
    "mass-band": (
        CASES["bands-by-mass"],
        Case(batch=batch(("0.300", "0.316", "0.283", "0.301") * 5, (), form="tablets"), verdict=""),
    ),
    "mean-above": (
        CASES["target-above"],
        Case(
            batch=replace(CASES["target-above"].batch, assays=assays(tuple(str(Decimal(one) + 9) for one in CONTENTS))),
            verdict="",
        ),
    ),
    "other-twenty": (
        Case(batch=batch(made=marked(range(20)), contents=()), verdict=""),
        Case(batch=batch(made=marked(range(4, 24)), contents=()), verdict=""),
    ),
    "fewer-marked": (
        Case(batch=batch(made=marked(range(20)), contents=()), verdict=""),
        Case(batch=batch(made=marked(range(3, 20)), contents=()), verdict=""),
    ),
    "more-marked": (
        Case(batch=batch(made=marked(range(17)), contents=()), verdict=""),
        Case(batch=batch(made=marked(range(20)), contents=()), verdict=""),
    ),
    "no-longer-left-out": (
        Case(batch=batch(made=marked(range(21), no=True), contents=()), verdict=""),
        Case(batch=batch(made=marked(range(22), no=True), contents=()), verdict=""),
    ),
    "other-ten": (
        Case(batch=batch(made=marked(range(10)), contents=SPREAD), verdict=""),
        Case(batch=batch(made=marked(range(2, 12)), contents=SPREAD), verdict=""),
    ),
    "assay-falls-out": (
        Case(batch=batch(actives=(replace(DRUG, assay_limits_percent="90 to 110"),)), verdict=""),
        Case(
            batch=batch(
                contents=[str(Decimal(one) - 12) for one in CONTENTS],
                actives=(replace(DRUG, assay_limits_percent="90 to 110"),),
            ),
            verdict="",
        ),
    ),
    "other-stages": (
        Case(batch=batch(("2.04",) * 32, found=in_stages(WIDE, [*[1] * 10, *[2] * 20, 0, 0])), verdict=""),
        Case(batch=batch(("2.04",) * 32, found=in_stages(WIDE, [0, 0, *[1] * 10, *[2] * 20])), verdict=""),
    ),
}


Rows = list[list[object]]

# The tests of single units and of their mean, and of what was seen and checked.
CALCULATED = {
    "mass-uniformity",
    "content-uniformity",
    "dosage-unit-uniformity",
    "mean-mass",
    "disintegration",
    "batch-assay",
}
CALCULATED |= {"packing-checklist", "softening-time", "release-check", "critical-defects", "visual-inspection"}
CALCULATED |= {"large-sample-uniformity"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Recalculated:
    """A case with its result document, the workbook as written, and the sheets as another program calculated them."""

    document: dict[str, Any]
    written: bytes
    anew: dict[str, Rows]


@pytest.fixture(scope="module")
def no_causes() -> Iterator[None]:
    """Causes are weighed for the reader and never for a verdict; here they take time."""

    def weigh_nothing(batch: Batch, **asked: object) -> CausesWeighed:
        return CausesWeighed(causes=())

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("qc.judging.judge.weigh_causes", weigh_nothing)
        yield


@functools.cache
def book_of(case: Case) -> RuleBook:
    if not case.house:
        return rule_book(case.rules)
    with TemporaryDirectory() as folder:
        path = Path(folder, "house.toml")
        path.write_text(case.house)
        return rule_book(path)


@functools.cache
def answered(case: Case) -> JudgedBatch:
    return judge_batch(case.batch, book=book_of(case))


@functools.cache
def document_of(case: Case) -> dict[str, Any]:
    return result_document(answered(case))


@functools.cache
def workbook_of(case: Case) -> bytes:
    return results_workbook(answered(case), book=book_of(case))


def judged(case: Case) -> tuple[dict[str, Any], bytes]:
    return document_of(case), workbook_of(case)


def wiped(content: bytes) -> bytes:
    """The workbook without the values of its formulas."""
    kept = BytesIO()
    with ZipFile(BytesIO(content)) as old, ZipFile(kept, "w") as new:
        for name in old.namelist():
            part = old.read(name)
            if name.startswith("xl/worksheets/sheet"):
                part = re.sub(rb"(</f>)<v>[^<]*</v>", rb"\1", part)
                assert b"</f><v>" not in part
            new.writestr(name, part)
    return kept.getvalue()


def recalculated_by_libreoffice(books: Mapping[str, bytes], folder: Path) -> dict[str, dict[str, Rows]]:
    """Every book, calculated anew in one go: the values of every sheet in full precision, by name."""
    for name, content in books.items():
        (folder / f"{name}.xlsx").write_bytes(content)
    saved = folder / "saved"
    # Comma, quotes, UTF-8, from row 1; values as they are and not as shown; every sheet to its own file.
    kind = "csv:Text - txt - csv (StarCalc):44,34,76,1,,0,false,true,false,false,false,-1"
    saved_again([folder / f"{name}.xlsx" for name in books], kind, saved)
    found: dict[str, dict[str, Rows]] = {name: {} for name in books}
    for path in saved.glob("*.csv"):
        name = max((name for name in books if path.stem.startswith(f"{name}-")), key=len)
        with path.open(encoding="utf-8", newline="") as file:
            found[name][path.stem.removeprefix(f"{name}-")] = [
                [plain(cell) for cell in row] for row in csv.reader(file)
            ]
    return found


@functools.cache
def as_written(content: bytes) -> dict[str, Rows]:
    from openpyxl import load_workbook

    book = load_workbook(BytesIO(content), data_only=True)
    return {sheet.title: [[plain(cell) for cell in row] for row in sheet.iter_rows(values_only=True)] for sheet in book}


def plain(cell: object) -> object:
    """A number where a cell reads as one, whether it was kept as a number or as words."""
    if cell is None or isinstance(cell, int | float):
        return cell
    try:
        return float(str(cell))
    except ValueError:
        return str(cell)


def typed_over(content: bytes, typed: Batch) -> bytes:
    """A workbook with the masses, marks and contents of another batch typed into its data sheets."""
    from openpyxl import load_workbook

    book = load_workbook(BytesIO(content))
    for sheet, records, columns in (
        ("Units", typed.units, {"Mass (g)": "mass_g", "Test sample": "test_sample"}),
        ("Assay", typed.assays, {"Content (% of label)": "content_percent", "Stage": "stage"}),
    ):
        headings = {cell.value: cell.column for cell in book[sheet][4]} if records else {}
        for row, record in enumerate(records, start=5):
            for heading, attribute in columns.items():
                value = getattr(record, attribute)
                value = {True: "yes", False: "no"}[value] if isinstance(value, bool) else value
                book[sheet].cell(row, headings[heading]).value = value
    kept = BytesIO()
    book.save(kept)
    return kept.getvalue()


@pytest.fixture(scope="module")
def recalculated(no_causes: None, tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Recalculated]:
    """A case calculated anew; all cases of its group go to the other program in one call."""
    done: dict[str, Recalculated] = {}

    def one(name: str) -> Recalculated:
        if name not in done:
            common = name in COMMON or name in TYPED_OVER
            pairs = {other: judged(CASES[other]) for other in CASES if (other in COMMON) == common}
            if common:
                for other, (over, typed) in TYPED_OVER.items():
                    pairs[other] = document_of(typed), typed_over(workbook_of(over), typed.batch)
            books = {other: wiped(content) for other, (_, content) in pairs.items()}
            anew = recalculated_by_libreoffice(books, tmp_path_factory.mktemp("books"))
            for other, (document, content) in pairs.items():
                done[other] = Recalculated(document=document, written=content, anew=anew[other])
        return done[name]

    return one


def same(one: object, other: object) -> bool:
    """Equal words, or numbers that differ by no more than 1e-9 of their size; an empty text is read as nothing."""
    one, other = one or None if isinstance(one, str) else one, other or None if isinstance(other, str) else other
    if isinstance(one, int | float) and isinstance(other, int | float):
        return math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-12)
    return one == other


def summary_rows(sheets: Mapping[str, Rows]) -> Rows:
    """The rows of the Summary below its header, eight cells each."""
    return [(row + [None] * 8)[:8] for row in sheets["Summary"][4:]]


def live_figures(sheets: Mapping[str, Rows]) -> dict[tuple[str, str, str], object]:
    """The column By formula of the Summary by test, active and figure or rule; the first of equal ones, of record."""
    found: dict[tuple[str, str, str], object] = {}
    for test, active, what, _, live, *_ in summary_rows(sheets):
        if test and what:
            found.setdefault((str(test), str(active or ""), str(what)), live)
    return found


def figures_of(document: Mapping[str, Any]) -> dict[tuple[str, str, str], object]:
    """Every figure and verdict of the tests of a result document, keyed as the Summary is."""
    found: dict[tuple[str, str, str], object] = {
        ("The batch", "", f"rule set {document['rule_set']}"): document["verdict"]
    }
    for test in document["tests"]:
        head = (test["id"], test["active"] or test["subject"] or "")
        found[(*head, test["rule"])] = test["verdict"]
        if test["id"] not in CALCULATED and test["rule"] != "batch-balance":
            continue
        found |= {(*head, name): figure for name, figure in test["figures"].items()}
        for unit in test["outside"]:
            found[(*head, f"deviation_percent of unit {unit['unit']}")] = unit["deviation_percent"]
    plan = document["planned_mass"]
    if plan is not None:
        for name in ("planned_g", "mean_g", "difference_percent"):
            found["planned mass", "", name] = plan[name]
    balance = document["reconciliation"]
    if balance is not None:
        for name in ("units_g", "unaccounted_g", "unaccounted_percent", "units_difference", "yield_percent"):
            found["reconciliation", "", name] = balance[name]
    return found


@pytest.mark.parametrize("name", NAMES)
def test_another_program_finds_every_cell_as_it_was_written(
    recalculated: Callable[[str], Recalculated], name: str
) -> None:
    case = recalculated(name)
    written = as_written(case.written)
    assert set(written) == set(case.anew)
    differing = [
        f"{sheet}, row {row}, column {column}: {one!r} against {other!r}"
        for sheet, rows in written.items()
        for row, (cells, others) in enumerate(zip_longest(rows, case.anew[sheet], fillvalue=[]), start=1)
        for column, (one, other) in enumerate(zip_longest(cells, others), start=1)
        if not same(one, other)
    ]
    assert differing == []


@pytest.mark.parametrize("name", NAMES)
def test_another_program_finds_every_figure_and_verdict_of_the_document(
    recalculated: Callable[[str], Recalculated], name: str
) -> None:
    case = recalculated(name)
    assert case.document["verdict"] == CASES[name].verdict
    live = live_figures(case.anew)
    assert {key: live.get(key) for key, one in figures_of(case.document).items() if not same(one, live.get(key))} == {}


@pytest.mark.parametrize("name", NAMES)
def test_nothing_disagrees_and_nothing_of_single_units_is_left_uncalculated(
    recalculated: Callable[[str], Recalculated], name: str
) -> None:
    case = recalculated(name)
    rows = summary_rows(case.anew)
    assert rows[1][0] == "Figures and verdicts that do not agree"
    assert rows[1][4] == 0
    assert [row for row in rows if row[5] == "NO"] == []
    assert {row[0] for row in rows if row[4] == "not calculated here"}.isdisjoint(CALCULATED)
    assert sum(row[5] == "yes" for row in rows) >= 5


def test_units_left_out_are_recalculated_beside_the_record(recalculated: Callable[[str], Recalculated]) -> None:
    case = recalculated("left-out")
    rows = summary_rows(case.anew)
    start = next(place for place, row in enumerate(rows) if str(row[0]).startswith("Without the units"))
    beside = {(row[0], row[2]): row[4] for row in rows[start:] if row[0]}
    assert len(case.document["tests"]) >= 3
    for test in case.document["tests"]:
        without = test["without_left_out"]
        if without is None and test["id"] == "batch-assay":
            continue
        assert beside[test["id"], f"{test['rule']}: verdict"] == without["verdict"] != test["verdict"]
        for figure, value in without["figures"].items():
            assert same(beside[test["id"], figure], value), figure


@pytest.mark.parametrize("name", TYPED_OVER)
def test_figures_typed_over_give_what_the_tool_says_of_that_other_batch(
    recalculated: Callable[[str], Recalculated], name: str
) -> None:
    case = recalculated(name)
    live = live_figures(case.anew)
    # Which units lie outside is listed as judged; their deviations stand on the sheet of the test.
    expected = {key: value for key, value in figures_of(case.document).items() if "of unit" not in key[2]}
    assert {key: live.get(key) for key, one in expected.items() if not same(one, live.get(key))} == {}
    disagreeing = summary_rows(case.anew)[1][4]
    assert isinstance(disagreeing, float)
    assert disagreeing > 0
