"""Texts with all that is understood of each, in `kept_texts.txt`: our own answers, to see what a change moves.

They are texts of the small sheets, and known words put into phrases. What they should mean stands in the other tests
of this room; after a change that is meant, or for further texts that were written below the others,
`python tests/fields/test_kept_texts.py` writes them anew.
"""

from __future__ import annotations

from pathlib import Path

from qc.fields import days, remarks, words
from qc.fields.field import near_heading, near_name
from qc.fields.sheets import UNITS
from tests.shared.kept_texts import Asked, changed_lines, write_anew

FILE = Path(__file__).parent / "kept_texts.txt"
COUNT = 20
ASKED: Asked = {
    # What most texts give is not written down.
    "words": lambda text: () if [*words.plain_words(text)] == text.casefold().split() else words.plain_words(text),
    "heading": words.heading_of,
    "strange": words.not_understood,
    "named": lambda text: sorted(words.batch_or_place(words.plain_words(text))),
    "label": words.says_of_label,
    "content": words.says_content,
    "mass": words.says_mass,
    "summary": words.summary_of,
    "sign": words.balance_sign,
    "measure": words.measure_of,
    "others": lambda text: remarks.other_masses(text, count=COUNT),
    "no unit": lambda text: remarks.says_no_unit(text, count=COUNT),
    "tells": remarks.may_tell,
    "names": remarks.names_a_unit,
    "some": remarks.says_of_some,
    "measures": lambda text: sorted(remarks.measures_said(text)),
    "batch": remarks.batch_named,
    "parts": remarks.parts_groups,
    "same as 7": lambda text: remarks.same_batch(text, "7-A"),
    "days": lambda text: [str(day) for day in days.days_meant(text) or ()],
    "no day": days.is_no_day,
    "near": lambda text: near_heading(text, [field.heading for field in UNITS.fields]),
    "near name": lambda text: near_name(text, ["Zinc oxide", "Unit A1"]),
}


def test_all_that_is_understood_of_texts_is_as_before() -> None:
    assert changed_lines(FILE, ASKED) == []


if __name__ == "__main__":
    write_anew(FILE, ASKED)
