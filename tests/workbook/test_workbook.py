"""The results workbook as a file: words stay words, formulas are ours alone, the same batch gives the same bytes."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from decimal import Decimal
from io import BytesIO
from itertools import cycle
from pathlib import Path
from typing import Any
from zipfile import ZipFile

import pytest
from msgspec.structs import replace
from openpyxl import load_workbook

from qc.batch import Active, Assay, Batch, CavityPour, Check, Displacement, DisplacementConvention, Source, Unit
from qc.causes.weigh import CausesWeighed
from qc.judging.judge import judge_batch
from qc.rules.kinds.content.record import ContentRule
from qc.rules.kinds.dosage_units.record import DosageUnitRule
from qc.rules.kinds.mass.record import MassRule
from qc.rules.rule_books import load_rule, rule_book
from qc.workbook.page import MOST_LETTERS
from qc.workbook.recheck.write import results_workbook

HOSTILE = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    '=HYPERLINK("http://example.org","x")',
    "{=1}",
    "http://example.org",
    "1e5",
    "_x000D_",
    "line\nbreak &C&G 試験",
)

# Every function that a formula of ours may hold, and every word in quotes.
FUNCTIONS = {
    "ABS", "AND", "AVERAGE", "AVERAGEIFS", "BETAINV", "COUNT", "COUNTIF", "COUNTIFS", "EXACT", "IF", "INDEX",
    "ISNUMBER", "MATCH", "MAX", "MIN", "NOT", "OR", "ROUND", "SQRT", "STDEV", "SUM", "TINV",
}  # fmt: skip
WORDS = {
    "", "yes", "no", "NO", "complies", "does-not-comply", "second-stage", "too-few-units", "not-assessed", "undecided",
    "1", "2", "1 or 2", "other", "▲ yes", "▲ beside", "·",
}  # fmt: skip


def weigh_nothing(patch: pytest.MonkeyPatch) -> None:
    """Causes are weighed for the reader and never for a verdict; here they take time."""

    def weighed(batch: Batch, **asked: object) -> CausesWeighed:
        return CausesWeighed(causes=())

    patch.setattr("qc.judging.judge.weigh_causes", weighed)


@pytest.fixture(autouse=True)
def no_causes(monkeypatch: pytest.MonkeyPatch) -> None:
    weigh_nothing(monkeypatch)


def batch(**changes: Any) -> Batch:
    """Twenty units, ten of them assayed, one to be left out, pours and checks."""
    units = tuple(
        Unit(name=str(place), pour_order=place, mass_g=Decimal("2.050") + Decimal(place % 7) / 200)
        for place in range(1, 21)
    )
    return replace(
        Batch(
            number="0042",
            product="drug suppositories",
            dosage_form="suppositories",
            units=(*units[:-1], replace(units[-1], left_out_because="dropped")),
            assays=tuple(
                Assay(unit=str(place), active="drug", content_mg=Decimal(96 + place % 5)) for place in range(1, 11)
            ),
            actives=(
                Active(
                    name="drug",
                    label_claim_mg=Decimal(100),
                    displacement=Displacement(given=Decimal("1.5"), convention=DisplacementConvention.VALUE),
                ),
            ),
            nominal_mass_g=Decimal("2.00"),
            melt_prepared_g=Decimal("44.5"),
            units_obtained=20,
            cavity_pours=(CavityPour(mould="A", cavity="1", base_mass_g=Decimal("2.01")),),
            checks=(Check(name="softening time", result="9 min", limit="at most 15 min"),),
        ),
        **changes,
    )


def hostile_batch(words: Sequence[str]) -> Batch:
    """A batch with these words, one after the other, in every place that takes words."""
    plain, more = batch(), cycle(words)
    names = {unit.name: f"{next(more)}{unit.name}" for unit in plain.units}
    active = next(more)
    return replace(
        plain,
        number=next(more),
        product=next(more),
        made_on=next(more),
        made_by=next(more),
        weighed_by=next(more),
        checked_by=next(more),
        note=next(more),
        source=Source(name=f"{next(more)}.xlsx", sha256="0" * 64),
        units=tuple(
            replace(
                unit,
                name=names[unit.name],
                mould=next(more),
                cavity=next(more),
                seen=(next(more),),
                note=next(more),
                left_out_because=next(more) if place < 2 else None,
            )
            for place, unit in enumerate(plain.units)
        ),
        actives=(replace(plain.actives[0], name=active),),
        assays=tuple(replace(assay, unit=names[assay.unit], active=active) for assay in plain.assays),
        cavity_pours=(CavityPour(mould=next(more), cavity=next(more), base_mass_g=Decimal("2.01")),),
        checks=(Check(name=next(more), result=next(more), limit=next(more), done_by=next(more), note=next(more)),),
    )


def written(one: Batch, rules: str | None = None) -> bytes:
    book = rule_book(rules)
    return results_workbook(judge_batch(one, book=book), book=book)


def opened(content: bytes, *, values: bool = False) -> Any:

    return load_workbook(BytesIO(content), data_only=values)


def formulas(content: bytes) -> Iterator[str]:
    """Every formula of every sheet, as the file holds it."""
    with ZipFile(BytesIO(content)) as file:
        for name in file.namelist():
            if name.startswith("xl/worksheets/"):
                for formula in re.findall(r"<f[^>]*>(.*?)</f>", file.read(name).decode(), flags=re.S):
                    yield formula.replace("&quot;", '"').replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")


def without_strangers(formula: str) -> str:
    """What is left of a formula when our functions, words, sheets, addresses, numbers and signs are taken out."""
    for word in re.findall(r'"([^"]*)"', formula):
        assert word in WORDS, formula
    rest = re.sub(r'"[^"]*"', "", formula)
    rest = re.sub(r"'(Batch|Units|Assay|Plan|Balance|Results|Packing|Mass|Content|Dosage)( \d+)?( kept)?'!", "", rest)
    rest = re.sub(r"\$[A-Z]{1,2}\$\d+", "", rest)
    for function in re.findall(r"([A-Z]+)\(", rest):
        assert function in FUNCTIONS, formula
    rest = re.sub(r"\b(TRUE|FALSE|[A-Z]+(?=\())", "", rest)
    return re.sub(r"\d+(\.\d+)?(E-\d+)?|[-+*/(),:=<>]", "", rest)


def test_the_same_batch_gives_the_same_bytes() -> None:
    assert written(batch()) == written(batch())


def test_every_formula_is_made_of_our_functions_words_and_addresses() -> None:
    found = list(formulas(written(batch())))
    assert len(found) > 300
    assert {formula: without_strangers(formula) for formula in found if without_strangers(formula)} == {}


def test_a_strange_word_in_a_formula_is_noticed() -> None:
    assert without_strangers("SUM($A$1:$A$3)") == ""
    assert without_strangers("SUM(secret)") == "secret"
    with pytest.raises(AssertionError):
        without_strangers('IF($A$1="dropped",1,0)')
    with pytest.raises(AssertionError):
        without_strangers("WEBSERVICE($A$1)")


@pytest.mark.parametrize("first", range(0, len(HOSTILE), 4))
def test_no_typed_word_becomes_a_formula_a_link_or_a_number(first: int) -> None:
    content = written(hostile_batch((*HOSTILE[first:], *HOSTILE[:first])))
    assert list(formulas(content)) == list(formulas(written(hostile_batch(["word", "text", "note"]))))
    with ZipFile(BytesIO(content)) as file:
        assert not any("hyperlink" in file.read(name).decode().lower() for name in file.namelist() if "sheet" in name)
    book = opened(content)
    found: dict[str, set[str]] = {word: set() for word in HOSTILE}
    for sheet in book:
        for row in sheet.iter_rows():
            for cell in row:
                if cell.value in found:
                    found[cell.value].add(cell.data_type)
    assert found == {word: {"s"} for word in HOSTILE}
    assert book["Summary"].oddFooter.left.text == "&A"


def test_a_word_longer_than_a_cell_holds_is_cut_with_a_sign() -> None:
    book = opened(written(batch(note="x" * (MOST_LETTERS + 5))))
    notes = [row[1].value for row in book["Batch"].iter_rows(max_col=2) if row[0].value == "Note"]
    assert notes == ["x" * (MOST_LETTERS - 1) + "…"]


def test_words_that_a_search_would_take_for_a_pattern_name_units_all_the_same() -> None:
    """Unit names such as * and ? would match others if a formula looked units up by name."""
    plain = batch()
    names = {"1": "*", "2": "?", "3": "~*", "4": "<>", "5": ">2"}
    renamed = replace(
        plain,
        units=tuple(replace(unit, name=names.get(unit.name, unit.name)) for unit in plain.units),
        assays=tuple(replace(assay, unit=names.get(assay.unit, assay.unit)) for assay in plain.assays),
    )
    assert list(formulas(written(renamed))) == list(formulas(written(plain)))


def test_the_sheets_of_a_batch_with_everything() -> None:
    book = opened(written(batch()))
    assert book.sheetnames == [
        "Summary", "Batch", "Units", "Assay", "Cavities", "Checks", "Plan", "Balance", "Results",
        "Mass", "Mass kept", "Content", "Dosage", "Rules",
    ]  # fmt: skip


def test_the_sheets_of_masses_alone() -> None:
    book = opened(written(Batch(dosage_form="suppositories", units=batch().units[:-1])))
    assert book.sheetnames == ["Summary", "Batch", "Units", "Mass", "Rules"]


def test_a_batch_without_a_form_has_its_data_and_says_that_nothing_was_judged() -> None:
    book = opened(written(batch(dosage_form=None)), values=True)
    rows = [[cell.value for cell in row] for row in book["Summary"].iter_rows(min_row=5, max_col=8)]
    assert rows[0][:6] == ["The batch", None, "rule set default", "undecided", "undecided", "yes"]
    assert [row[3:5] for row in rows if row[0] == "mass-uniformity"] == [["not-assessed", "not-assessed"]]
    assert "Mass" not in book.sheetnames


def test_a_set_that_asks_for_nothing_of_this_form_has_a_summary_all_the_same() -> None:
    book = opened(written(batch(dosage_form="transdermal patches", checks=()), rules="chp"), values=True)
    rows = list(book["Summary"].iter_rows(min_row=5, max_col=6, values_only=True))
    assert rows[0][3:5] == ("undecided", "undecided")
    assert not any(row[0] == "mass-uniformity" for row in rows)


def test_every_limit_stands_as_a_cell_beside_its_rule() -> None:
    book = opened(written(batch()), values=True)
    mass, content, dosage = (load_rule(id) for id in ("ph-eur-2.9.5", "ph-eur-2.9.6-b", "harmonised-udu"))
    assert isinstance(mass, MassRule)
    assert isinstance(content, ContentRule)
    assert isinstance(dosage, DosageUnitRule)
    for sheet, label, value, id in (
        ("Mass", "Units the rule asks for", mass.sample_size, mass.id),
        ("Mass", "Beyond the limit, at most", mass.most_beyond_limit, mass.id),
        ("Content", "Inner limit (% of the average)", content.inner_percent, content.id),
        ("Content", "Outside inner: second stage up to", content.continues_with, content.id),
        ("Dosage", "Constant k, first stage", dosage.first_k, dosage.id),
        ("Dosage", "Greatest acceptance value L1", dosage.l1_percent, dosage.id),
        ("Dosage", "Reference range to (% of label)", dosage.reference_high_percent, dosage.id),
    ):
        found = [
            [cell.value for cell in row[place : place + 3]]
            for row in book[sheet].iter_rows()
            for place, cell in enumerate(row)
            if cell.value == label
        ]
        assert found == [[label, float(value), f"{id}; {load_rule(id).reference.mark.value}"]], (sheet, label)


def test_a_limit_of_the_house_stands_with_the_rule_it_builds_on(tmp_path: Path) -> None:
    house = tmp_path / "house.toml"
    house.write_text(
        '[[rule]]\nid = "house-mass"\nbuilds_on = "ph-eur-2.9.5"\nsource = "local procedure 7"\nlimit_percent = 4\n'
    )
    book = opened(written(batch(), rules=str(house)), values=True)
    assert book["Mass"]["A2"].value == (
        "house-mass: Uniformity of mass of single-dose preparations. local procedure 7 builds on ph-eur-2.9.5 "
        "(01/2008:20905, unchanged in the 11th edition); house rule. A rule of the house: sheet Rules says what it "
        "sets."
    )
    limits = [row for row in book["Summary"].iter_rows(min_row=5, values_only=True) if row[2] == "limit_percent"]
    assert [row[3:6] for row in limits] == [(4, 4, "yes")] * 2
    changes = [row[2] for row in book["Rules"].iter_rows(values_only=True) if row[1] == "builds on"]
    assert "limit_percent of suppositories, pessaries: 5 -> 4" in changes[0]


def test_numbers_are_shown_with_the_decimals_that_were_typed() -> None:
    book = opened(written(batch()))
    assert book["Units"]["E5"].number_format == "0.000"
    assert book["Mass"]["C5"].number_format == "0.000"


@pytest.mark.parametrize(
    ("content", "verdict"), [("94.9", "does-not-comply"), ("95", "complies"), ("105", "complies"), ("106", "complies")]
)
def test_a_mean_bounded_on_one_side_by_the_house_is_compared_in_the_workbook_too(
    content: str, verdict: str, tmp_path: Path
) -> None:
    house = tmp_path / "house.toml"
    house.write_text(
        '[[rule]]\nid = "st-mean"\nbuilds_on = "ph-eur-2.9.6-b"\nsource = "x"\nmean_low_percent = 95\n',
        encoding="utf-8",
    )
    one = batch()
    found = tuple(replace(assay, content_mg=None, content_percent=Decimal(content)) for assay in one.assays)
    book = opened(written(replace(one, assays=found), rules=str(house)), values=True)
    rows = book["Summary"].iter_rows(min_row=5, values_only=True)
    assert [row[3:5] for row in rows if row[0] == "content-uniformity"][:1] == [(verdict, verdict)]


def test_the_head_of_every_sheet_is_frozen_and_every_sheet_locked_without_a_password() -> None:
    for sheet in opened(written(batch())):
        assert sheet.freeze_panes == "B5", sheet.title
        assert sheet.print_title_rows == "$4:$4", sheet.title
        assert sheet.protection.sheet, sheet.title
        assert not sheet.protection.password, sheet.title


def test_the_note_says_how_a_figure_at_a_limit_is_compared() -> None:
    words = [str(row[0].value) for row in opened(written(batch()))["Summary"].iter_rows()]
    assert any("rounded to nine decimals: a unit at exactly the limit is inside" in text for text in words)


@pytest.mark.parametrize("assayed", [2, 5, 6, 7, 9, 11, 19])
def test_any_number_of_units_assayed_gives_a_workbook_that_agrees(assayed: int) -> None:
    """Six of thirty are where the bound on the mean of all units of a second stage turns from one side to the other."""
    assays = tuple(
        Assay(unit=str(place), active="drug", content_mg=Decimal(96 + place % 5)) for place in range(1, assayed + 1)
    )
    book = rule_book(None)
    judged = judge_batch(batch(assays=assays), book=book)
    sheet = load_workbook(BytesIO(results_workbook(judged, book=book)), data_only=True)["Summary"]
    rows = list(sheet.iter_rows(values_only=True))
    assert [row for row in rows if row[5] == "NO"] == []
    assert sum(row[5] == "yes" for row in rows) > 20
