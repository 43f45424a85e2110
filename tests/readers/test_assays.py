from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest

from qc.readers.options import ReadOptions
from qc.readers.read import read_batch

Refused = Callable[..., list[str]]
Remarks = Callable[[Path], list[str]]
BookOf = Callable[..., Path]
UNITS = [["Unit", "Mass (g)"], *([number, 2.0] for number in range(1, 13))]
ACTIVES = [["Active", "Label claim (mg)"], ["Paracetamol", 125], ["Codeine", 10]]


@pytest.mark.parametrize(
    ("rows", "messages"),
    [
        (
            [["Unit", "Content (mg)"], [99, 125], [None, 125], [1, None]],
            [
                'A2: unit "99" does not stand in Units. Type the unit as it is named there, or add it there; '
                "did you mean 9?",
                'A3: the row has no unit, but "125" stands in B3. Type the name of the unit, or clear the row.',
                "B4: the determination has no content. Type the content, or clear the row.",
            ],
        ),
        (
            [["Unit", "Content (mg)", "Content (% of label)"], [1, 125, 100]],
            [
                'B2: the content stands twice, "125" here and "100" in C2. Keep the one that was determined, '
                "and clear the other; or give the label claim (--label-mg), by which one follows from the other."
            ],
        ),
        (
            [["Unit", "Part", "Stage", "Content (mg)"], [1, "tipp", 3, 125]],
            [
                'B2: part "tipp" is not known. Type whole, tip, middle or end; did you mean tip?',
                "C2: stage 3 is neither 1 nor 2 nor 0. Type 1 or 2 or 0, or leave it empty.",
            ],
        ),
        (
            [["Unit", "Stage", "Content (mg)"], [1, 2, 125], [2, 2, 125]],
            [
                "B2: the determinations of active are all stage 2, and stage 1 is missing. Stage 2 pools all "
                "thirty units: "
                "enter the first ten too, as stage 1."
            ],
        ),
        (
            [["Unit", "Content (% of label)"], [1, 99.7], [2, 99.8], [3, 0.997]],
            [
                "B4: content 0.997 % of unit 3 is about a hundredth of the others (median 99.7 %). Type 99.7 if that "
                "is what was measured."
            ],
        ),
        (
            [["Unit", "Content (% of label)"], [1, 0.997], [2, 0.998]],
            [
                "B1: the median content 0.9975 % of label looks like a fraction of one. Type them in percent, for "
                "example 99.7 for 0.997."
            ],
        ),
    ],
)
def test_a_determination_that_cannot_be_used_is_refused(
    book_of: BookOf, refused: Refused, rows: list[list[Any]], messages: list[str]
) -> None:
    assert refused(book_of(Units=UNITS, Assay=rows)) == [f"batch.xlsx, Assay!{message}" for message in messages]


def test_an_active_must_stand_in_actives_and_be_named_when_there_are_several(book_of: BookOf, refused: Refused) -> None:
    assay = [["Unit", "Active", "Content (mg)"], [1, "paracetamoll", 125], [2, None, 125], [3, " PARACETAMOL", 125]]
    assert refused(book_of(Units=UNITS, Assay=assay, Actives=ACTIVES)) == [
        'batch.xlsx, Assay!B2: active "paracetamoll" does not stand in Actives. Type the active as it is named '
        "there, or add "
        "it there; did you mean Paracetamol?",
        "batch.xlsx, Assay!B3: the determination names no active. Type which it is: Paracetamol, Codeine.",
    ]


def test_an_active_takes_the_spelling_of_actives_and_one_alone_need_not_be_named(book_of: BookOf) -> None:
    assay = [["Unit", "Active", "Content (mg)"], [1, "PARACETAMOL ", 125], [2, None, 125]]
    batch = read_batch(book_of(Units=UNITS, Assay=assay, Actives=ACTIVES[:2]))
    assert [one.active for one in batch.assays] == ["Paracetamol", "Paracetamol"]


def test_contents_a_thousand_times_the_claim_are_refused(book_of: BookOf, refused: Refused) -> None:
    assay = [["Unit", "Content (mg)"], [1, 0.125], [2, 0.126]]
    assert refused(book_of(Units=UNITS, Assay=assay, Actives=ACTIVES[:2])) == [
        "batch.xlsx, Assay!B1: the median content 0.1255 mg is about a thousand times off the label claim of "
        "Paracetamol, 125 mg. See which of the two is in the wrong unit, and mend its heading or its value."
    ]


@pytest.mark.parametrize(
    ("row", "messages"),
    [
        (
            [None, 125, None, None, None],
            ['A2: the row has no active, but "125" stands in B2. Type the name of the active, or clear the row.'],
        ),
        (
            ["a", 0, None, None, None],
            ["B2: label claim is 0. Type the label claim, for example 125, or leave the cell empty."],
        ),
        (["a", 125, 1.5, 0.67, None], []),
        (
            ["a", 125, 1.5, 1.5, None],
            [
                "C2: the displacement value 1.5 and the displacement factor 1.5 in D2 are not each other's "
                "inverse (1 / 1.5 is "
                "0.6667). Keep the one whose convention your source states, and clear the other."
            ],
        ),
        (
            ["a", 125, -1, None, None],
            ["C2: displacement value -1 is negative. Type what was measured, for example 1.5."],
        ),
        (
            ["a", 125, None, None, "solved"],
            ['E2: state "solved" is not known. Type suspended or dissolved; did you mean dissolved?'],
        ),
    ],
)
def test_an_active_that_cannot_be_used_is_refused(
    book_of: BookOf, refused: Refused, row: list[Any], messages: list[str]
) -> None:
    head = ["Active", "Label claim (mg)", "Displacement value", "Displacement factor", "State"]
    path = book_of(Units=UNITS, Actives=[head, row])
    if messages:
        assert refused(path) == [f"batch.xlsx, Actives!{message}" for message in messages]
    else:
        assert len(read_batch(path).actives) == 1


def test_facts_of_the_batch(book_of: BookOf, remarks: Remarks, refused: Refused) -> None:
    facts: list[list[Any]] = [
        ["Field", "Value"],
        ["Batch number", 12],
        ["Base", "Water soluble"],
        ["Units poured", 10],
        ["Made onn", "x"],
        ["balance readability [g]", "0.0010"],
    ]
    path = book_of(Batch=facts, Units=UNITS)
    batch = read_batch(path)
    assert (batch.number, str(batch.base), str(batch.balance_readability_g)) == ("12", "water-soluble", "0.0010")
    assert remarks(path) == [
        'Batch!A5: Ignored the field "Made onn"; did you mean "Made on"?',
        "Units!B2: Read the same figure throughout.",
        "Batch!B4: Units poured is 10, but 12 units are entered.",
    ]
    facts += [["Batch number", 13], ["Note", None]]
    facts[2][1] = "fat"
    assert refused(book_of(Batch=facts, Units=UNITS)) == [
        'batch.xlsx, Batch!B3: base "fat" is not known. Type fatty or water-soluble; did you mean fatty?',
        'batch.xlsx, Batch!A7: the field "Batch number" stands again, after A2. Keep one of A2 and A7.',
    ]


@pytest.mark.parametrize("active", [None, "zinc oxide"], ids=["unnamed", "named in its rows"])
def test_the_call_says_the_claim_of_one_active_that_only_the_assays_know(
    active: str | None, book_of: Callable[..., Path], refused: Callable[..., list[str]]
) -> None:
    rows = [("Unit", "Active", "Content (mg)"), ("1", active, 99.1), ("2", active, 101.3), ("3", active, 100.2)]
    path = book_of(Units=UNITS, Assay=rows)
    options = ReadOptions(label_mg=Decimal(100), displacement=Decimal("1.5"))
    (found,) = read_batch(path, options=options).actives
    assert (found.name, found.label_claim_mg, found.displacement_value) == (
        active or "active",
        Decimal(100),
        Decimal("1.5"),
    )
    assert "thousand" in refused(path, ReadOptions(label_mg=Decimal("0.1")))[0]
    two = book_of(Units=UNITS, Assay=[*rows, ("3", "another", 9.9)])
    assert refused(two, options)[0] == (
        "batch.xlsx: --label-mg is for one active without a row in Actives. Enter it there and leave it out."
    )


def test_a_stage_stands_beside_contents_on_the_sheet_of_the_units_too(
    book_of: BookOf, refused: Callable[..., list[str]]
) -> None:
    def book(*stages: int | None) -> Path:
        rows = [(n, 2.0, 100 + n, stage) for n, stage in enumerate(stages, start=1)]
        return book_of(Units=[("Unit", "Mass (g)", "Content (% of label)", "Stage"), *rows])

    assert [assay.stage for assay in read_batch(book(1, 1, 2, 0)).assays] == [1, 1, 2, 0]
    assert "a part of the units" in refused(book(1, None, 1))[0]


def test_a_stage_that_is_none_is_one_problem(book_of: BookOf, refused: Callable[..., list[str]]) -> None:
    rows = [(n, 100 + n, 3 if n == 4 else 1) for n in range(1, 6)]
    (only,) = refused(book_of(Units=UNITS, Assay=[("Unit", "Content (% of label)", "Stage"), *rows]))
    assert only.startswith("batch.xlsx, Assay!C5: ")
