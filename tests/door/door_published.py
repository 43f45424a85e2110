"""Published tables of weights, typed in as their authors set them; the numbers are those of tests/reference/acceptance.

Suppositories: laboratory worksheet in Indonesian, id.scribd.com/document/492044982, section II a. Capsules: laboratory
sheet in Spanish, es.scribd.com/document/562299353, page 1. Tablets: laboratory report, experiment 3,
ukmpharmacydppigroup2.blogspot.com. Isoniazid: thesis in French, memoireonline.com/12/21/12576, table VII, with its
letter O for a zero. Hourly tablets: exercise, wizedu.com/questions/328319. Layouts and headings of the first four were
seen on the pages; that of the hourly tablets follows from the text of the exercise.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

from door_sheets import Case, Rows, Sheet, Unit, listed, side_by_side, typed, units

FOLDER = Path(__file__).parents[1] / "reference" / "acceptance"
TABLETS, HARD, SUPPOSITORIES = {"form": "uncoated tablets"}, {"form": "hard capsules"}, {"form": "suppositories"}
OF_MEAN = "% en rapport avec la masse moyenne"


def inputs(name: str) -> tuple[list[Decimal], dict[str, Any]]:
    """The masses of a published example [g], and what is printed with them."""
    example = tomllib.loads((FOLDER / f"{name}.toml").read_text(), parse_float=Decimal)
    return example["inputs"]["masses_g"], example["printed"]


def published() -> Iterator[Case]:
    """A case a table."""

    def case(
        what: str, rows: Rows, truth: tuple[Unit, ...], writer: str, allowed: str, options: dict[str, Any]
    ) -> Case:
        return Case(f"published: {what}", {"Sheet1": Sheet(rows)}, truth, writer, allowed, options)

    weights, _ = inputs("mass-suppositories-20")
    worksheet = listed([typed(m, ",") for m in weights], ("NO", "BERAT SUPPOSITORIA"))
    melting = listed([f"{m} MENIT" for m in (28, 30, 29, 28, 30)], ("NO", "WAKTU YANG DIBUTUHKAN UNTUK MELARUT"))
    page = [*worksheet, [], *melting, ["Rata-Rata"]]
    yield case("suppositories", worksheet, units(weights), "csv de", "either", SUPPOSITORIES)
    yield case("suppositories, whole page", page, units(weights), "xlsxwriter", "either", SUPPOSITORIES)

    weights, _ = inputs("mass-capsules-20")
    heads = ("No. cápsula", "Peso (g)")
    halves = side_by_side(listed(weights[:10], heads), listed(weights[10:], heads, first=11), gap=0)
    sheet = [["ENSAYO DE UNIFORMIDAD DE PESO"], ["Datos experimentales."], [], *halves]
    results = [
        ["Promedio", "0.4251 g"],
        ["Desviación estándar", "0.0209 g"],
        ["Rango de confianza", "0.3826 g – 0.4676 g"],
        ["Datos fuera de rango", "Cápsula 1: 0.3488 g"],
    ]
    yield case("capsules", sheet, units(weights), "xlsxwriter", "read", HARD)
    yield case("capsules, ods", sheet, units(weights), "ods", "read", HARD)
    yield case("capsules, whole page", [*sheet, [], *results], units(weights), "openpyxl", "read", HARD)

    weights, printed = inputs("mass-paracetamol-tablets-20")
    average = ["(total net weight)/20\n= 7.7922/20\n=0.38916", *[None] * 19]
    tablets = listed(
        weights, ("Tablet", "Weight(G)", None, "Deviation(%)"), average, printed["absolute_deviation_percent"]
    )
    yield case("tablets", tablets, units(weights), "xlsxwriter", "read", TABLETS)
    yield case("tablets, csv", tablets, units(weights), "csv en", "read", TABLETS)

    brands = [inputs(f"mass-isoniazid-{brand}-20") for brand in (1, 2)]
    first = [f"{m:.4f}g" for m in brands[0][0]]
    first[15] = first[15].replace("0.", "O.")
    second = brands[1][0]
    heads = ("comprimé", "INH 1 (poids en g)", OF_MEAN, "INH 2 (poids en g)", OF_MEAN)
    percents = [printed["percent_of_mean"] for _, printed in brands]
    thesis = listed(first, heads, percents[0], second, percents[1])
    for at, row in enumerate(thesis[1:], 1):
        row[0] = f"C{at}"
    named = tuple(Unit(m, name=f"C{at}") for at, m in enumerate(second, 1))
    yield case("two brands", thesis, (), "xlsxwriter", "refuse", TABLETS)
    yield case("one brand", [[row[0], *row[3:]] for row in thesis], named, "openpyxl", "read", TABLETS)
    yield case("a letter for a zero", [row[:3] for row in thesis], (), "openpyxl", "refuse", TABLETS)

    weights, _ = inputs("mass-hourly-tablets-30")
    tops = ("Hour", "Tablet 1 (mg)", "Tablet 2 (mg)", "Tablet 3 (mg)")
    columns = [[m.scaleb(3) for m in weights[at::3]] for at in range(3)]
    yield case(
        "three tablets an hour",
        listed(columns[0], tops, *columns[1:]),
        units(weights, named=False),
        "xlsxwriter",
        "either",
        TABLETS,
    )
