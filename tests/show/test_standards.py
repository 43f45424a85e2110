"""What the standards ask of a report of results, item by item, looked for on the pages of one full record.

ISO/IEC 17025:2017, 7.8.2.1 (a to p) and 7.8.8; WHO Technical Report Series 1033 (2021), Annex 4, glossary: ALCOA+.
What is not held, and why, stands in DEVELOPERS.md under the same letters.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from html import unescape

from msgspec.structs import replace

from qc.results import JudgedBatch
from qc.show.pages_html import html_page
from qc.show.pieces import as_plain
from qc.show.write import compose

FACTS = {
    "expiry": "2026-12-20",
    "storage": "2 to 8 °C",
    "quantity_released": "14",
    "base_lot": "HF-7",
    "balance": "B-03",
    "balance_calibrated_on": "2026-11-01",
    "weighed_on": "2026-11-20",
    "assayed_on": "2026-11-21",
    "assayed_by": "K. Obi",
    "deviation": "DEV-12",
}
HELD = {
    "a title": "Batch report on moulded units",
    "d unique identification": "report 0123456789ab",
    "f method": "Ph. Eur. 2.9.5, 11.0 [checked]",
    "g item": "Paracetamol suppositories 250 mg Batch B-2026-117",
    "g lots": "Lots base HF-7",
    "h sample": "units beyond 5 % of the mean: 4 of 20",
    "i weighed on": "Weighed on 2026-11-20",
    "i assayed on": "date 2026-11-21",
    "l results relate to the sample": "This judges a sample; it releases no batch.",
    "m results with units": "sample of 20, mean: 2.0003 g",
    "n deviations": "Deviation DEV-12",
    "n left out": "Left out by the record: 4 (dropped on the bench).",
    "o who authorizes": "Decided by (pharmacist)",
    "equipment": "Balance B-03, calibrated 2026-11-01",
    "attributable": "Assay by K. Obi",
    "original": "9f86d081884c7d659a2feaa0c55ad015a3bf4f1b2b0b822cd15d6c15b0f00a08",
    "expiry": "Expiry 2026-12-20",
    "storage": "Storage 2 to 8 °C",
    "quantity": "Quantity released (allowed: none): 14",
}


def test_every_item_that_is_held_stands_on_the_pages_and_every_fact_on_page_one(
    batches: dict[str, Callable[[], JudgedBatch]],
) -> None:
    judged = batches["failing"]()
    judged = replace(judged, batch=replace(judged.batch, **FACTS))
    page = html_page(as_plain(compose(judged, digest="0123456789abcdef", document={})))
    text = re.sub(r"<(style|script|svg)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    said = re.sub(r"\s+([:.])", r"\1", " ".join(unescape(text).split()))
    assert [item for item, words in HELD.items() if words not in said] == []
    page_one, _, rest = said.partition("Contents What happened over the pour")
    assert rest
    assert [name for name, fact in FACTS.items() if fact not in page_one] == []
