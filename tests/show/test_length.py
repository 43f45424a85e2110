"""How long a report is: two pages to sign and understand, an annex, and nothing said twice."""

from __future__ import annotations

import re
from pathlib import Path

SOUND = Path(__file__).parents[1] / "goldens" / "kept" / "sound" / "pdf.txt"
"""What pdftotext finds on the pages of a sound batch of 24 units, ten of them assayed; the goldens hold it."""
PAGES, WORDS = 6, 2_500
"""What was asked for, figures of tables and pictures included."""


def test_a_sound_batch_has_six_pages_and_few_words() -> None:
    text = SOUND.read_text(encoding="utf-8")
    assert text.count("Page ") <= PAGES
    assert len(text.split()) <= WORDS


def test_no_sentence_stands_twice() -> None:
    text = re.sub(r"\s+", " ", SOUND.read_text(encoding="utf-8"))
    sentences = [one.strip(" •") for one in re.split(r"(?<=[a-z)])\. |•", text)]
    long = [one for one in sentences if len(one.split()) > 7]
    assert len(long) > 40
    assert sorted({one for one in long if long.count(one) > 1}) == []


NOT_SAID = (
    *("judge again", "judge that again", "[seen]", "nothing wrong", "not on the list", "is cleared", "annot tell"),
    *("that differ", "the eye saw", "told apart", "tell them apart", "on no list"),
)
"""Words of ours that no pharmacist uses."""


def test_no_report_says_what_no_pharmacist_says() -> None:
    pages = [path for name in ("pdf.txt", "html.txt", "terminal.txt") for path in SOUND.parents[1].glob(f"*/{name}")]
    assert len(pages) > 30
    said = {path: re.sub(r"\s+", " ", path.read_text(encoding="utf-8")) for path in pages}
    assert [(path.parent.name, word) for path, text in said.items() for word in NOT_SAID if word in text] == []


def test_the_tray_and_the_pour_stand_on_page_one_of_every_sample() -> None:
    pages = {path.parent.name: path.read_text(encoding="utf-8") for path in SOUND.parents[1].glob("*/pdf.txt")}
    assert len(pages) > 10
    first = {name: text[: text.index("Page 1 of")] for name, text in pages.items()}
    assert [name for name, text in first.items() if "The tray" not in text or "order" not in text] == []
