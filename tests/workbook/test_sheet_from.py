"""A workbook that is filled from another file holds what was read of that file, and reading it gives the same batch."""

from __future__ import annotations

import csv
from collections.abc import Callable
from decimal import Decimal
from pathlib import Path

import openpyxl
import pytest
from door_corpus import corpus
from door_sheets import write
from examples import examples
from hypothesis import HealthCheck, given
from hypothesis import strategies as st
from msgspec.structs import replace
from typer.testing import CliRunner

from qc.batch import Active, Assay, Base, Batch, CavityPour, Check, Displacement, DisplacementConvention, State, Unit
from qc.cli.main import application
from qc.fields.entries import Row, entries_of
from qc.jobs.check import with_rule_words
from qc.jobs.sheet import write_sheet
from qc.problems import InputProblems
from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

TEXTS = st.text("abcXYZ µß-/.;'\"=%", min_size=1, max_size=12).map(str.strip).filter(str.strip)
WORDS = st.none() | TEXTS.filter(lambda text: any(map(str.isalpha, text))).map(lambda text: f"of {text}")


def number(low: int, high: int, digits: int) -> st.SearchStrategy[Decimal]:
    return st.integers(low * 10**digits, high * 10**digits).map(lambda value: Decimal(value).scaleb(-digits))


@st.composite
def batches(draw: st.DrawFn) -> Batch:
    """A batch with facts of every sheet."""
    count = draw(st.integers(3, 14))
    orders = draw(st.none() | st.permutations(range(1, count + 1)))
    moulds = draw(st.none() | st.sampled_from(["A", "mould 2", "007"]))
    names = [f"{draw(st.sampled_from(['', 'U']))}{place}" for place in range(1, count + 1)]
    units = tuple(
        Unit(
            name=name,
            pour_order=None if orders is None else orders[place],
            mould=moulds,
            cavity=draw(st.none() | st.just(f"{place + 1}")) if moulds else None,
            mass_g=draw(number(2, 2, 3).map(lambda mass, place=place: mass + Decimal(place).scaleb(-3))),
            test_sample=draw(st.sampled_from([None, True, False])),
            seen=tuple(draw(st.sets(st.sampled_from(["chipped", "air bubble", "flash"])))),
            note=draw(WORDS),
        )
        for place, name in enumerate(names)
    )
    given = draw(st.sampled_from(["1.5", "0.72"]))
    convention = DisplacementConvention.VALUE if given == "1.5" else DisplacementConvention.FACTOR
    active = Active(
        name="zinc oxide",
        lot=draw(st.none() | st.just("000123")),
        label_claim_mg=draw(number(50, 300, 1)),
        displacement=Displacement(given=Decimal(given), convention=convention),
        state=draw(st.sampled_from([None, *State])),
        batch_assay_percent=draw(st.none() | number(95, 105, 2)),
    )
    assays = tuple(
        Assay(unit=name, active=active.name, content_percent=draw(number(90, 110, 2)))
        for name in draw(st.lists(st.sampled_from(names), unique=True, max_size=10))
    )
    pours = draw(st.lists(st.builds(CavityPour, mould=st.just("A"), cavity=st.just("3"), base_mass_g=number(2, 2, 3))))
    return Batch(
        units=units,
        actives=(active,),
        assays=assays,
        cavity_pours=tuple(pours[:5]),
        checks=tuple(draw(st.lists(st.builds(Check, name=st.just("appearance"), result=WORDS), max_size=1))),
        number=draw(st.none() | st.sampled_from(["0042", "26-03", "B 7/2"])),
        product=draw(WORDS),
        dosage_form="suppositories",
        base=draw(st.sampled_from([None, *Base])),
        units_poured=draw(st.none() | st.just(count + 2)),
        made_on=draw(st.none() | st.just("2026-03-14")),
        weighed_by=draw(WORDS),
        balance_readability_g=draw(st.none() | st.just(Decimal("0.001"))),
        expiry=draw(st.none() | st.just("2026-09-14")),
        storage=draw(WORDS),
        melt_prepared_g=draw(st.none() | number(60, 70, 1)),
        units_released=draw(st.none() | st.just(0)),
    )


def in_folder(batch: Batch, folder: Path) -> Path:
    """A batch as a folder of tables, put down by the csv module."""
    entries = entries_of(batch)
    facts: list[Row] = [{"Field": name, "Value": value} for name, value in entries.batch.items() if value is not None]
    sheets: dict[str, tuple[Row, ...] | list[Row]] = {
        "batch": facts,
        "actives": entries.actives,
        "units": entries.units,
        "assay": entries.assay,
        "cavities": entries.cavities,
        "checks": entries.checks,
    }
    folder.mkdir()
    for name, rows in sheets.items():
        if rows:
            with (folder / f"{name}.csv").open("w", encoding="utf-8", newline="") as file:
                writer = csv.DictWriter(file, list(rows[0]))
                writer.writeheader()
                writer.writerows(rows)
    return folder


def alone(batch: Batch) -> Batch:
    """A batch without what hangs on the file that it was read from."""
    return replace(batch, source=None, read=None, notices=())


@examples(8, suppress_health_check=[HealthCheck.too_slow])
@given(batch=batches())
def test_a_batch_is_the_same_after_it_went_through_the_workbook(
    tmp_path_factory: pytest.TempPathFactory, batch: Batch
) -> None:
    folder = tmp_path_factory.mktemp("from")
    read = read_batch(in_folder(batch, folder / "batch"))
    assert alone(read) == batch
    write_sheet(folder / "entered.xlsx", batch=read)
    again = alone(read_batch(folder / "entered.xlsx"))
    assert again == batch
    # To the zeros at the end: 2.050 g is no 2.05 g.
    assert repr(again) == repr(batch)


def test_what_was_read_of_files_that_people_made_is_kept(tmp_path: Path) -> None:
    """Every twentieth file of the corpus; figures set aside do not come back as units."""
    kept = 0
    for spot, case in enumerate(corpus()[::20]):
        path = write(case, tmp_path / f"file{spot}")
        options = with_rule_words(replace(ReadOptions(form="suppositories"), **case.options))
        try:
            read = read_batch(path, options=options)
        except InputProblems:
            continue
        write_sheet(tmp_path / f"entered{spot}.xlsx", batch=read)
        assert alone(read_batch(tmp_path / f"entered{spot}.xlsx", options=with_rule_words(ReadOptions()))) == alone(
            read
        )
        kept += 1
    assert kept > 5


@pytest.fixture
def call(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Callable[..., tuple[int, str]]:
    monkeypatch.chdir(tmp_path)
    Path("week.csv").write_text("\n".join(f"2.0{n:02d}" for n in range(10, 16)) + "\n")

    def made(*words: str) -> tuple[int, str]:
        result = CliRunner().invoke(application("sheet"), ["sheet", *words])
        return result.exit_code, result.output

    return made


def test_the_call_says_what_was_read(call: Callable[..., tuple[int, str]]) -> None:
    code, said = call("entered.xlsx", "--from", "week.csv", "--form", "suppositories")
    assert code == 0
    assert " ".join(said.split()).startswith(
        "Read week.csv, A1:A6: 6 units (numbered here), first 2.010 g, last 2.015 g, mean 2.0125 g"
    )
    assert said.endswith("Wrote entered.xlsx. Look it over, then: qc check entered.xlsx\n")
    assert [unit.name for unit in read_batch(Path("entered.xlsx")).units] == ["1", "2", "3", "4", "5", "6"]
    # It is written over as long as nobody typed into it, and only where that is asked for.
    again = ("entered.xlsx", "--from", "week.csv", "--form", "suppositories")
    assert (call(*again)[0], call(*again, "--replace")[0]) == (2, 0)
    book = openpyxl.load_workbook("entered.xlsx")
    (mass,) = (cell for row in book["Units"].iter_rows() for cell in row if cell.value == 2.01)
    mass.value = 2.02
    book.save("entered.xlsx")
    assert call(*again, "--replace")[0] == 2


def test_the_call_gives_the_facts_that_qc_check_takes(call: Callable[..., tuple[int, str]]) -> None:
    facts = ("--form", "suppositories", "--label-mg", "250", "--displacement", "1.39")
    assert call("entered.xlsx", "--from", "week.csv", *facts)[0] == 0
    (active,) = read_batch(Path("entered.xlsx")).actives
    assert (active.label_claim_mg, active.displacement_value) == (Decimal(250), Decimal("1.39"))
    code, told = call("b.xlsx", "--from", "week.csv", "--label-mg", "0", "--order", "backwards")
    assert (code, told.count("\n"), Path("b.xlsx").exists()) == (2, 3, False)
    assert "--label-mg" in told
    assert "--order" in told


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("a.xlsx", "--from", "week.csv", "--displacement", "x=1.4"), "A workbook is filled from a file or for a plan"),
        (("a.xlsx", "--from", "week.csv", "--mould", "A"), "A workbook is filled from a file or for a plan"),
        (("a.xlsx", "--sheet", "B"), "--batch, --decimal, --order and --ignore go with --from"),
        (("a.xlsx", "--from", "a.xlsx"), "a.xlsx is the file that is read"),
        (("a.xlsx", "--from", "none.csv"), "none.csv: there is no such file"),
    ],
)
def test_a_call_that_cannot_be_meant_is_refused(
    call: Callable[..., tuple[int, str]], words: tuple[str, ...], said: str
) -> None:
    code, told = call(*words)
    assert (code, said in told) == (2, True)
    assert not Path("a.xlsx").exists()
