"""A batch of many actives: those whose test is not met are drawn, the others stand in the tables."""

from __future__ import annotations

import pandas as pd

import qc
from qc.show.pieces import Picture, Prose, Table
from qc.show.sections.evidence import MOST_DRAWN, sections
from qc.show.sections.front import page_one


def test_of_many_actives_the_first_are_drawn_and_the_tables_hold_all() -> None:
    names = [f"active {number}" for number in range(1, 10)]
    # The last one is far from uniform.
    contents = [
        {"Unit": str(unit), "Active": name, "Content (mg)": 10 + unit % 3 * (2.5 if name == names[-1] else 0.1)}
        for name in names
        for unit in range(1, 11)
    ]
    batch = qc.batch_from_frames(
        units=pd.DataFrame({"Unit": [str(n) for n in range(1, 21)], "Mass (g)": [2 + n / 1000 for n in range(1, 21)]}),
        assay=pd.DataFrame(contents),
        actives=pd.DataFrame({"Active": names, "Label claim (mg)": [10] * 9}),
        batch={"Dosage form": "suppositories"},
    )
    parts = {one.id: one for one in sections(qc.judge(batch).judged)}
    for id, most in (("contents", MOST_DRAWN), ("against", 2 * MOST_DRAWN)):
        pictures = [piece for piece in parts[id].pieces if isinstance(piece, Picture)]
        assert len(pictures) == most
        assert any(isinstance(piece, Prose) and "the first 6 are drawn" in piece.text for piece in parts[id].pieces)
    # The eight that are met share a row for each rule; the ninth stands by itself.
    rows = page_one(qc.judge(batch).judged).tests
    of_content = {row.title: row.of for row in rows if "active" in row.title}
    assert of_content == {
        "Uniformity of content: active 1, active 2, active 3, active 4, active 5, active 6, active 7 and active 8": 8,
        "Uniformity of content: active 9": 1,
        "Uniformity of dosage units: the same 8 actives": 8,
        "Uniformity of dosage units: active 9": 1,
    } | {title: of for title, of in of_content.items() if title.startswith("Assay of the batch")}
    drawn = " ".join(piece.title for piece in parts["against"].pieces if isinstance(piece, Picture))
    assert names[-1] in drawn
    captions = " ".join(piece.caption for piece in parts["units"].pieces if isinstance(piece, Table))
    assert all(name in captions for name in names)
