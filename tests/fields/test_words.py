"""What people write over a column, before a row that sums up and beside a number, and what it means."""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Callable, Iterator
from importlib.resources import files
from typing import Any

import pytest

from qc.fields.field import near_heading, near_name, plain, same_name
from qc.fields.sheets import BARE_UNITS
from qc.fields.words import (
    Heading,
    balance_sign,
    batch_or_place,
    every_word,
    heading_of,
    meant_by,
    measure_of,
    not_understood,
    plain_words,
    says_content,
    says_mass,
    says_of_label,
    summary_of,
)

HEADINGS = {
    "Mass (g)": ("mass_g", "g"),
    "mass[mg]": ("mass_g", "mg"),
    "g": ("mass_g", "g"),
    "mg": ("mass_g", "mg"),
    "Net weight, mg": ("mass_g", "mg"),
    "Einzelmasse [g]": ("mass_g", "g"),
    "Masse mg/Stück": ("mass_g", "mg"),
    "Mass of each unit in g": ("mass_g", "g"),
    "Mass mg per suppository": ("mass_g", "mg"),
    "Suppository mass": ("mass_g", ""),
    "Suppository (g)": ("mass_g", "g"),
    "mass %": ("mass_g", "%"),
    "Brand 2 (poids en g)": ("mass_g", "g"),
    "B (mass in mg)": ("mass_g", "mg"),
    "Suppository": ("name", ""),
    "Unit no.": ("name", ""),
    "each": ("name", ""),
    "Gross weight (g)": ("other", "g"),
    "Weight with foil": ("other", ""),
    "Foil (g)": ("other", "g"),
    "With foil (mass in g)": ("other", "g"),
    "Unit mass deviation": ("other", ""),
    "Tare": ("other", ""),
    "Time": ("other", ""),
    "SD": ("other", ""),
    "Content": ("content_mg", ""),
    "Assay (mg)": ("content_mg", "mg"),
    "Content (%)": ("content_percent", "%"),
    "Gehalt (% Deklaration)": ("content_percent", "%"),
    "Teneur (% de la valeur déclarée)": ("content_percent", "%"),
    "Content found (% of label)": ("content_percent", "%"),
    "Purity (% of label)": ("other", ""),
    "Content of dimer (% of label)": ("other", ""),
    "L.p.": ("name", ""),
    "\u2116": ("name", ""),
    "Batch": ("batch", ""),
    "Lot No.": ("batch", ""),
    "Mould": ("mould", ""),
    "Cavity": ("cavity", ""),
    "": None,
    "kg": None,
    "%": None,
    "Two words 2 (mass)": None,
    "Brand 12345 (mass in g)": None,
    "INH 1 (hardness)": None,
    "Weight before trimming": None,
    "mg per dose today": None,
    "(g)": ("mass_g", "g"),
}


@pytest.mark.parametrize("text", HEADINGS)
def test_a_heading_means_what_people_mean_by_it(text: str) -> None:
    meant = HEADINGS[text]
    found = heading_of(text)
    assert found == (None if meant is None else Heading(*meant))
    assert meant_by(text) == ("" if meant is None else meant[0])


@pytest.mark.parametrize("heading", [field.heading for field in BARE_UNITS.fields])
def test_a_heading_of_our_own_sheets_means_its_column_however_it_is_spelt(heading: str) -> None:
    field = BARE_UNITS.columns[plain(heading)]
    for spelt in (heading, heading.upper(), heading.replace("(", "[").replace(")", "]") + ":"):
        assert heading_of(spelt) == Heading(field.attribute, field.unit)


SUMMARIES = {
    "mean": (
        "Mean",
        "mean:",
        "Mittelwert",
        "x\u0304",
        "Mean mass",
        "Average, mg",
        "The mean of the units",
        "Unit mean",
    ),
    "sd": ("\u03c3", "SD", "s", "Standard deviation"),
    "count": ("n", "N", "Number of units"),
    "least": ("Min", "min", "Minimum", "lightest"),
    "greatest": ("Max", "heaviest"),
    "sum": ("Sum", "Total (g)", "Summe"),
    "rsd": ("RSD", "CV (%)", "srel"),
    "figure": ("\u03a3", "\u03a3:", "median"),
    "reference": (
        *(
            "Average of 20",
            "Mean + 5 %",
            "Mean 1-10",
            "Mean 2.0 %",
            "Check weight",
            "Target",
            "Upper limit",
            "limit 5 %",
        ),
        *("-5 %", "\u00b1 5 %", "5%", "7,5 %", "+ 10 %"),
    ),
    "": (
        *("Unit X", "Unit 3", "S 1", "sd 2", "mw 3", "mean xyz", "5", "of the", "", "12 %%", "zinc"),
        # A sentence that holds a mass is no label of others.
        *("Mean 2.013", "Upper limit 2.1 g", "Target mass 2.0"),
    ),
}


@pytest.mark.parametrize(("meant", "text"), [(meant, text) for meant, texts in SUMMARIES.items() for text in texts])
def test_a_label_of_a_row_says_what_was_worked_out(meant: str, text: str) -> None:
    assert summary_of(text) == meant


@pytest.mark.parametrize(
    ("text", "strange"),
    [
        ("Mass with foil (g)", "with foil"),
        ("Weight of 10 units", "10"),
        ("Foil (g)", "foil"),
        ("cavity 3 wet mass (mg)", "wet"),
        ("mass xyz mould xy", "xyz mould xy"),
        ("Mass batch g", "batch"),
        *((text, "") for text in ("Masse lot 7, g", "Mass cavity B", "Mass batch 2026A (g)", "Mass lot 12 g")),
        # Of what says no mass there is nothing to understand.
        *((text, "") for text in ("Paracetamol 7", "with foil", "")),
    ],
)
def test_what_a_heading_of_masses_says_besides_is_told(text: str, strange: str) -> None:
    assert not_understood(text) == strange


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("batch 7", {"batch", "7"}),
        ("lot A12 of today", {"lot", "a12"}),
        ("mould b cavity 12", {"mould", "b", "cavity", "12"}),
        ("batch 2026", {"batch", "2026"}),
        # No number, a unit of measure, and a name too long for the number of a place.
        *((text, set()) for text in ("batch of", "batch g", "lot abcd1", "7 batch", "unit 7")),
    ],
)
def test_a_batch_or_a_place_is_named_by_its_number(text: str, named: set[str]) -> None:
    assert batch_or_place(plain_words(text)) == named


@pytest.mark.parametrize(
    ("sign", "meant"),
    [
        *(("ST", "rest"), ("st.", "rest"), ("OK", "rest"), ("US", "moving"), ("?", "moving"), ("N", "net")),
        *(("net:", "net"), ("G", "gross"), ("lordo", "gross"), ("T", "tare"), ("x", ""), ("", "")),
    ],
)
def test_the_signs_of_a_balance(sign: str, meant: str) -> None:
    assert balance_sign(sign) == meant


@pytest.mark.parametrize(
    ("text", "measure"),
    [
        *(
            ("g", "g"),
            ("Gramm", "g"),
            ("mg", "mg"),
            ("milligrams", "mg"),
            ("kg", "kg"),
            ("%", "%"),
            ("\u00b5g", "\u03bcg"),
        ),
        *(("mg g", ""), ("", ""), ("mass", "")),
    ],
)
def test_a_unit_of_measure_in_any_spelling(text: str, measure: str) -> None:
    assert measure_of(text) == measure


@pytest.mark.parametrize(
    ("text", "label", "content", "mass"),
    [
        ("Gehalt (% Deklaration)", True, True, False),
        ("Gehalt (%)", False, True, False),
        ("% of label", True, False, False),
        ("label", False, False, False),
        ("Net weight", False, False, True),
        ("", False, False, False),
    ],
)
def test_what_a_heading_speaks_of(text: str, label: bool, content: bool, mass: bool) -> None:
    assert (says_of_label(text), says_content(text), says_mass(text)) == (label, content, mass)


def phrases(lists: Any, *kinds: str) -> Iterator[tuple[tuple[str, ...], list[str]]]:
    """The lists of words with what they are lists of."""
    for kind, one in lists.items():
        yield from phrases(one, *kinds, kind) if isinstance(one, dict) else [((*kinds, kind), one.split(", "))]


WRITTEN = tomllib.loads(files("qc.fields").joinpath("data", "words.toml").read_text(encoding="utf-8"))
LISTS = dict(phrases(WRITTEN))
MEANS: dict[str, Callable[[str], str]] = {
    "summary": summary_of,
    "measure": measure_of,
    "balance": balance_sign,
    "heading": meant_by,
}


@pytest.mark.parametrize("kinds", LISTS, ids=".".join)
def test_every_phrase_is_written_as_it_is_compared_and_once(kinds: tuple[str, ...]) -> None:
    """A phrase in another form would never be found."""
    listed = LISTS[kinds]
    assert [phrase for phrase, many in Counter(listed).items() if many > 1] == []
    if kinds[0] != "balance":
        assert [phrase for phrase in listed if " ".join(plain_words(phrase)) != phrase] == []


@pytest.mark.parametrize(
    "kinds",
    [kinds for kinds in LISTS if kinds[0] in MEANS and (kinds[0] != "heading" or "whole" in kinds)],
    ids=".".join,
)
def test_every_phrase_means_what_it_is_listed_for(kinds: tuple[str, ...]) -> None:
    means = MEANS[kinds[0]]
    for phrase in LISTS[kinds]:
        assert means(phrase) == (phrase if kinds == ("measure", "other") else kinds[-1]), phrase


def test_every_word_of_every_list_is_known() -> None:
    words = every_word()
    assert {"foil", "kalibrierung", "mean", "lordo", "label", "mould"} <= words
    assert not any(" " in word for word in words)


def test_headings_are_compared_without_case_blanks_and_punctuation_and_names_without_case() -> None:
    spelt = ("Mass (g)", "MASS[g]:", "  M a s s_ ( g ) ", "mass, g")
    assert {plain(one) for one in spelt} == {"massg"}
    assert plain("Mass (%)") != plain("Mass")
    assert same_name("  Unit \t a1") == same_name("UNIT A1") != same_name("unita1")


def test_a_near_heading_is_told_as_it_is_written_and_a_far_one_is_not() -> None:
    known = ["Unit", "Mass (g)", "Cavity"]
    assert (near_heading("mas [G]", known), near_heading("Cavty", known)) == ("Mass (g)", "Cavity")
    assert near_heading("Colour", known) is None
    forms = ["Suppositories", "Pessaries"]
    assert (near_name("supository", forms), near_name("tablets", forms)) == ("Suppositories", None)


@pytest.mark.parametrize(
    ("text", "known", "near"),
    [
        # Alike from 0.7 on, counted as twice the letters in common over all letters.
        ("abcdefghij", "abcdefgxyz", "abcdefgxyz"),
        ("abcdefghij", "abcdefwxyz", None),
        ("ABCDEFG[HI]", "abcdefg (hi)", "abcdefg (hi)"),
    ],
)
def test_how_much_alike_a_near_heading_is(text: str, known: str, near: str | None) -> None:
    assert near_heading(text, [known]) == near


@pytest.mark.parametrize(("known", "near"), [("abcdefwxyz", "abcdefwxyz"), ("abcdevwxyz", None)])
def test_a_name_is_near_another_from_six_tenths_on(known: str, near: str | None) -> None:
    assert near_name("ABCDEFGHIJ", [known]) == near
