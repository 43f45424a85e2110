"""The sample batches show what their README says, by arithmetic of its own and by the judge.

All numbers are invented. The first half of this file reads the cells with openpyxl and calculates with fractions, apart
from the reader and the judge; the second half asks the judge.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from math import sqrt
from pathlib import Path
from typing import Any

import make
import pytest
from make import main, sample_files

import qc
from qc.problems import InputProblems
from qc.quantities import square_root

SAMPLES = Path(__file__).parents[1] / "sample_data"
WORKBOOKS = sorted(path.name for path in SAMPLES.glob("*.xlsx"))


@cache
def document_of(name: str) -> dict[str, Any]:
    """The result document of a sample; judged once, since several tests look at it."""
    return qc.judge(qc.read(SAMPLES / name, form="suppositories" if name.endswith(".csv") else None)).as_dict()


@dataclass(frozen=True, slots=True, kw_only=True)
class Figures:
    """What the cells of a workbook give: units of the sample beyond limits of mass, contents of the first stage."""

    beyond_five: int
    beyond_ten: int
    acceptance_value: float | None
    beyond_fifteen: int
    beyond_twenty_five: int


def table(book: Any, name: str, first: str) -> list[dict[str, Any]]:
    rows = [[cell.value for cell in row] for row in book[name].iter_rows()]
    top = next(place for place, row in enumerate(rows) if row[0] == first)
    return [dict(zip(rows[top], row, strict=True)) for row in rows[top + 1 :] if row[0] is not None]


def exact(value: float | int) -> Fraction:
    return Fraction(repr(value))


def mean_of(values: Sequence[Fraction]) -> Fraction:
    return sum(values, Fraction(0)) / len(values)


def figures_of(name: str) -> list[Figures]:
    """Mass figures, and with them those of each active, calculated from the cells alone."""
    from openpyxl import load_workbook

    book = load_workbook(SAMPLES / name, data_only=True)
    units = table(book, "Units", "Unit")
    sample = [exact(row["Mass (g)"]) for row in units if row["Test sample"] == "yes"]
    assert len(sample) == 20
    deviations = [
        abs(exact(row["Mass (g)"]) / mean_of(sample) - 1) * 100 for row in units if row["Test sample"] == "yes"
    ]
    found = []
    for active in table(book, "Actives", "Active"):
        claim = exact(active["Label claim (mg)"])
        rows = [row for row in table(book, "Assay", "Unit") if row["Active"] == active["Active"]]
        first = [row for row in rows if row["Stage"] in (None, "1")]
        contents = [
            exact(row["Content (% of label)"])
            if row["Content (mg)"] is None
            else exact(row["Content (mg)"]) / claim * 100
            for row in first
        ]
        assert len(contents) == 10
        centre = mean_of(contents)
        sd = sqrt(sum((content - centre) ** 2 for content in contents) / 9)
        reference = min(max(centre, Fraction("98.5")), Fraction("101.5"))
        shares = [abs(content / centre - 1) * 100 for content in contents]
        found.append(
            Figures(
                beyond_five=sum(deviation > 5 for deviation in deviations),
                beyond_ten=sum(deviation > 10 for deviation in deviations),
                acceptance_value=float(abs(reference - centre)) + 2.4 * sd,
                beyond_fifteen=sum(share > 15 for share in shares),
                beyond_twenty_five=sum(share > 25 for share in shares),
            )
        )
    return found


@pytest.mark.parametrize(
    "name",
    [
        "sound.xlsx",
        "two-actives.xlsx",
        "pour-drift.xlsx",
        "pour-poor-first.xlsx",
        "pour-rich-last.xlsx",
        "pour-step.xlsx",
    ],
)
def test_a_batch_that_complies_has_few_outside_and_a_small_acceptance_value(name: str) -> None:
    every = list(figures_of(name))
    assert every
    for figures in every:
        assert figures.beyond_five <= 2
        assert figures.beyond_ten == 0
        assert figures.beyond_fifteen <= 1
        assert figures.beyond_twenty_five == 0
        assert figures.acceptance_value is not None
        assert figures.acceptance_value < 15


def test_the_batch_that_fails_on_mass_has_three_beyond_and_one_far_beyond_while_contents_pass() -> None:
    (figures,) = figures_of("fails-on-mass.xlsx")
    assert figures.beyond_five >= 3
    assert figures.beyond_ten == 1
    assert figures.beyond_fifteen <= 1
    assert figures.acceptance_value is not None
    assert figures.acceptance_value < 15


def test_the_batch_that_fails_on_content_passes_on_mass() -> None:
    (figures,) = figures_of("fails-on-content.xlsx")
    assert figures.beyond_five == 0
    assert figures.beyond_twenty_five >= 1
    assert figures.acceptance_value is not None
    assert figures.acceptance_value > 25


def test_the_second_stage_batch_is_undecided_by_both_tests_of_content() -> None:
    (figures,) = figures_of("second-stage.xlsx")
    assert figures.beyond_five == 0
    assert figures.beyond_fifteen == 2
    assert figures.beyond_twenty_five == 0
    assert figures.acceptance_value is not None
    assert 15 < figures.acceptance_value < 25


@pytest.mark.parametrize(
    ("name", "verdict"),
    [
        ("sound.xlsx", "complies"),
        ("fails-on-mass.xlsx", "does-not-comply"),
        ("fails-on-content.xlsx", "does-not-comply"),
        ("second-stage.xlsx", "undecided"),
        ("two-actives.xlsx", "complies"),
        ("folder-of-csv", "complies"),
        ("weights-only.csv", "complies"),
        ("pour-drift.xlsx", "complies"),
        ("pour-poor-first.xlsx", "complies"),
        ("pour-rich-last.xlsx", "complies"),
        ("pour-step.xlsx", "complies"),
    ],
)
def test_the_judge_says_what_the_readme_says(name: str, verdict: str) -> None:
    assert document_of(name)["batch"]["units_weighed"] >= 24
    assert document_of(name)["verdict"] == verdict
    row = next(line for line in (SAMPLES / "README.md").read_text(encoding="utf-8").splitlines() if f"`{name}" in line)
    assert row.split("|")[3].strip() == verdict.replace("-", " ")


def test_each_failing_batch_fails_where_it_should() -> None:
    def failed(name: str) -> set[str]:
        return {test["id"] for test in document_of(name)["tests"] if test["verdict"] == "does-not-comply"}

    assert failed("fails-on-mass.xlsx") == {"mass-uniformity"}
    assert "content-uniformity" in failed("fails-on-content.xlsx")
    assert "mass-uniformity" not in failed("fails-on-content.xlsx")


@pytest.mark.parametrize(
    ("name", "mass", "content"),
    [
        ("pour-drift.xlsx", "clear", None),
        ("pour-step.xlsx", "clear", None),
        ("pour-poor-first.xlsx", None, "clear"),
        ("pour-rich-last.xlsx", None, "clear"),
        ("fails-on-content.xlsx", "clear", "clear"),
    ],
)
def test_the_pour_shows_in_the_series_that_it_was_put_into(name: str, mass: str | None, content: str | None) -> None:
    trend = document_of(name)["pour_trend"]
    assert (trend["mass"]["flag"] == "clear") == (mass == "clear")
    assert any(series["flag"] == "clear" for series in trend["content"].values()) == (content == "clear")


@pytest.mark.parametrize("name", ["sound.xlsx", "two-actives.xlsx", "weights-only.csv", "second-stage.xlsx"])
def test_a_level_pour_raises_no_flag(name: str) -> None:
    trend = document_of(name)["pour_trend"]
    assert {series["flag"] for series in (trend["mass"], *trend["content"].values())} <= {"none-seen", "cannot-tell"}


@pytest.mark.parametrize(
    ("name", "cause"),
    [
        ("sound.xlsx", "sound"),
        ("two-actives.xlsx", "sound"),
        ("fails-on-content.xlsx", "settling-in-pour"),
        ("second-stage.xlsx", "poor-mixing"),
        ("folder-of-csv", "settling-in-unit"),
        # One mould of three was filled short: its masses look like those of a mould that leaks.
        ("fails-on-mass.xlsx", "leaking-mould"),
    ],
)
def test_the_likeliest_cause_is_the_one_the_batch_was_made_with(name: str, cause: str) -> None:
    assert document_of(name)["causes"][0]["cause"] == cause


def test_every_slip_is_found_in_its_own_cell() -> None:
    with pytest.raises(InputProblems) as refusal:
        qc.read(SAMPLES / "typing-slips.xlsx")
    places = {f"{problem.sheet}!{problem.cell}" for problem in refusal.value.problems}
    assert places >= {
        "Batch!B8",
        "Actives!D5",
        "Units!E9",
        "Units!E13",
        "Units!E15",
        "Units!E17",
        "Units!E19",
        "Units!E21",
        "Units!A23",
        "Units!A25",
        "Units!B27",
        "Units!H28",
        "Assay!A7",
        "Assay!E9",
        "Assay!C11",
    }
    assert "Units!E11" not in places, "a unit of measure typed into the cell is read"


def test_the_settling_batch_is_poor_first_and_rich_last() -> None:
    batch = qc.read(SAMPLES / "fails-on-content.xlsx")
    orders = {unit.name: unit.pour_order for unit in batch.units}
    by_order = sorted(
        (order, assay.content_mg)
        for assay in batch.assays
        if (order := orders[assay.unit]) is not None and assay.content_mg is not None
    )
    contents = [content for _, content in by_order]
    assert contents == sorted(contents)


def test_two_moulds_or_more_six_to_twelve_cavities_and_a_calibration_of_each() -> None:
    for name in [*WORKBOOKS, "folder-of-csv"]:
        if name == "typing-slips.xlsx":
            continue
        batch = qc.read(SAMPLES / name)
        places = {(unit.mould, unit.cavity) for unit in batch.units}
        moulds = {mould for mould, _ in places}
        assert len(moulds) >= 2
        assert all(6 <= sum(mould == other for other, _ in places) <= 12 for mould in moulds)
        assert {(pour.mould, pour.cavity) for pour in batch.cavity_pours} == places


def test_masses_follow_from_fill_dose_and_displacement() -> None:
    """In the sound batch the mean lies within three standard errors of the planned mass."""
    batch = qc.read(SAMPLES / "sound.xlsx")
    assert batch.planned_mass_g is not None
    masses = [Fraction(unit.mass_g) for unit in batch.weighed if unit.mass_g is not None]
    centre = mean_of(masses)
    spread = square_root(sum(((mass - centre) ** 2 for mass in masses), Fraction(0)) / (len(masses) - 1))
    assert abs(float(centre - Fraction(batch.planned_mass_g))) < 3 * spread / sqrt(len(masses))


def cells_of(content: Path | bytes) -> dict[str, object]:
    from io import BytesIO

    from openpyxl import load_workbook

    book = load_workbook(content if isinstance(content, Path) else BytesIO(content))
    return {
        f"{sheet.title}!{cell.coordinate}": cell.value
        for sheet in book.worksheets
        for row in sheet.iter_rows()
        for cell in row
        if cell.value not in (None, "")
    }


def test_the_committed_samples_are_what_the_command_writes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Cell by cell for workbooks: their packing may differ between releases of the library that writes them."""
    assert main([str(tmp_path)]) == 0
    written = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    committed = {path.relative_to(SAMPLES).as_posix() for path in SAMPLES.rglob("*") if path.is_file()}
    committed = {name for name in committed if not name.endswith((".md", ".py", ".pyc", ".ipynb"))}
    assert committed == written
    assert len(capsys.readouterr().out.splitlines()) == len(written)
    for name in sorted(written):
        if name.endswith(".xlsx"):
            assert cells_of(tmp_path / name) == cells_of(SAMPLES / name), name
        else:
            assert (tmp_path / name).read_bytes() == (SAMPLES / name).read_bytes(), name


def test_the_same_bytes_every_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also on another day: nothing in a workbook comes from the clock."""
    two = {stem: recipe for stem, recipe in make.sample_recipes().items() if stem in ("sound", "typing-slips")}
    monkeypatch.setattr(make, "sample_recipes", lambda: two)
    first = sample_files()
    monkeypatch.setattr("time.time", lambda: 2_000_000_000.0)
    assert sample_files() == first
    assert set(first) == {"sound.xlsx", "typing-slips.xlsx"}


def test_the_command_asks_for_its_folder(capsys: pytest.CaptureFixture[str]) -> None:
    assert main([]) == 2
    asked = "Name the folder for the samples: python sample_data/make.py sample_data\n"
    assert capsys.readouterr().err == asked


def test_people_are_named_by_their_role() -> None:
    for name in WORKBOOKS:
        cells = cells_of(SAMPLES / name)
        for field, cell in cells.items():
            if field.startswith("Batch!A") and cell in ("Made by", "Weighed by", "Checked by"):
                person = str(cells[field.replace("!A", "!B")])
                assert re.fullmatch(r"technician [A-Z]", person)


def test_the_bare_table_holds_weights_alone() -> None:
    with (SAMPLES / "weights-only.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.reader(file))
    assert rows[0] == ["Unit", "Pour order", "Mould", "Cavity", "Mass (g)"]
    assert all(re.fullmatch(r"\d\.\d{3}", row[4]) for row in rows[1:])
