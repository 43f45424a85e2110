from __future__ import annotations

from collections import Counter

import pytest

from qc.rules.forms import all_forms, find_form, nearest_forms, stem


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("suppository", "suppositories"),
        ("Suppositories", "suppositories"),
        ("  RECTAL   suppository ", "suppositories"),
        ("pessary", "pessaries"),
        ("Vaginal-Pessaries", "pessaries"),
        ("ovules", "pessaries"),
        ("troche", "moulded lozenges"),
        ("Troches", "moulded lozenges"),
        ("lozenge", "moulded lozenges"),
        ("pastilles", "moulded lozenges"),
        ("moulded lozenge", "moulded lozenges"),
        ("tablets, uncoated", "uncoated tablets"),
        ("film coated tablets", "film-coated tablets"),
        ("Capsules (hard)", "hard capsules"),
        ("soft capsule", "soft capsules"),
        ("rectal capsule", "rectal capsules"),
        ("granules", "single-dose granules"),
        ("Powder for parenteral use", "powders for parenteral use"),
        ("powder for eye-drops", "powders for eye-drops and eye lotions"),
        ("patches", "transdermal patches"),
        ("Vaginalz\u00e4pfchen", "pessaries"),
        ("ZAPFCHEN", "suppositories"),
        ("\u00d3vulos", "pessaries"),
        ("ovuli vaginali", "pessaries"),
        ("czopki", "suppositories"),
    ],
)
def test_a_form_is_found_without_regard_to_case_spaces_hyphens_and_plural(text: str, name: str) -> None:
    form = find_form(text)
    assert form is not None
    assert form.name == name


@pytest.mark.parametrize("text", ["", "   ", "supository", "suppositories 2 g", "cream", "powder"])
def test_a_word_that_is_unknown_finds_none(text: str) -> None:
    assert find_form(text) is None


def test_no_word_stands_for_two_forms() -> None:
    owners: dict[str, set[str]] = {}
    for form in all_forms():
        for word in (form.name, *form.synonyms):
            owners.setdefault(stem(word), set()).add(form.name)
    assert {word: names for word, names in owners.items() if len(names) > 1} == {}


def test_every_name_is_its_own_synonym_and_stands_once() -> None:
    assert set(Counter(form.name for form in all_forms()).values()) == {1}
    for form in all_forms():
        assert find_form(form.name) is form


def test_moulded_lozenges_ask_for_a_limit_and_say_how_to_give_it() -> None:
    lozenges = find_form("moulded lozenges")
    assert lozenges is not None
    assert lozenges.note == (
        "No pharmacopoeia read here has a mass limit for moulded lozenges. "
        "Give a limit and its source in a house rule file."
    )


def test_the_nearest_forms_are_offered_the_likeliest_first() -> None:
    assert nearest_forms("supositry", most=1)[0].name == "suppositories"
    assert {form.name for form in nearest_forms("tablets, coated ones", most=4)} == {
        "tablets",
        "uncoated tablets",
        "film-coated tablets",
        "coated tablets",
    }


@pytest.mark.parametrize("word", ["tablets", "capsules"])
def test_a_word_that_covers_two_forms_is_a_form_of_its_own_that_says_what_it_is_taken_for(word: str) -> None:
    form = find_form(word)
    assert form is not None
    assert form.name == word
    assert form.note


def test_nothing_is_offered_for_a_text_that_looks_like_no_form() -> None:
    assert nearest_forms("qqqq") == ()
    assert nearest_forms("") == ()
