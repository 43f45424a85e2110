"""What a house file says of the pour and of the causes reaches the book, strictly."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest

from qc.rules.rule_books import rule_book
from qc.rules.strict_records import RuleProblem


def house(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "house.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_settings_of_the_pour_and_the_causes_stand_in_the_book(tmp_path: Path) -> None:
    text = "[pour]\nimportant_change_percent = 7.5\nlater_units_richer = true\n[causes.prior]\nsound = 0.8\n"
    book = rule_book(house(tmp_path, text))
    assert book.pour is not None
    assert book.pour.important_change_percent == Decimal("7.5")
    assert book.pour.later_units_richer
    assert book.house_causes == {"prior": {"sound": Decimal("0.8")}}
    assert book.house_file == "house.toml"
    assert book.set.asks == rule_book(None).set.asks


def test_without_them_the_book_says_nothing_of_either() -> None:
    book = rule_book(None)
    assert (book.pour, book.house_causes) == (None, None)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "[pour]\nimportant_change_percent = 0\n",
            "house.toml, pour.important_change_percent: a change of 0 % cannot be the one that matters. "
            "Give a number above 0 and at most 100, for example 10.",
        ),
        (
            "[pour]\nimportant_change_percent = 101\n",
            "house.toml, pour.important_change_percent: a change of 101 % cannot be the one that matters. "
            "Give a number above 0 and at most 100, for example 10.",
        ),
        (
            "pour = 10\n",
            "house.toml, pour: 10 stands where a table is asked for. Write its keys under the line [pour].",
        ),
        (
            "causes = 1\n",
            "house.toml, causes: 1 stands where a table is asked for. Write its keys under the line [causes].",
        ),
    ],
)
def test_what_cannot_be_is_named(text: str, message: str, tmp_path: Path) -> None:
    with pytest.raises(RuleProblem) as refusal:
        rule_book(house(tmp_path, text))
    assert str(refusal.value) == message


def test_a_misspelt_setting_is_named_with_the_nearest(tmp_path: Path) -> None:
    with pytest.raises(RuleProblem, match="Did you mean important_change_percent"):
        rule_book(house(tmp_path, "[pour]\nimportant_chang_percent = 8\n"))
