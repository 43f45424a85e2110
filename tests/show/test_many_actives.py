"""A batch of many actives: those whose test is not met are drawn, the others stand in the tables."""

from __future__ import annotations

import subprocess

import pandas as pd

import qc
from qc.show.pieces import Picture, Prose, Table
from qc.show.sections.evidence import MOST_DRAWN, sections
from qc.show.sections.front import page_one
from qc.show.write import render_report


def test_of_twelve_actives_page_one_names_all_and_is_signed() -> None:
    names = [f"active {number} hydrochloride" for number in range(1, 13)]
    contents = [
        {"Unit": str(unit), "Active": name, "Content (mg)": 10 + unit % 3 * (5 + number) / 100}
        for number, name in enumerate(names)
        for unit in range(1, 11)
    ]
    batch = qc.batch_from_frames(
        units=pd.DataFrame({"Unit": [str(n) for n in range(1, 21)], "Mass (g)": [2 + n / 1000 for n in range(1, 21)]}),
        assay=pd.DataFrame(contents),
        actives=pd.DataFrame(
            {"Active": names, "Lot": [f"LOT-26-{n}" for n in range(12)], "Label claim (mg)": [10] * 12}
        ),
        batch={"Dosage form": "suppositories"},
    )
    judged = qc.judge(batch).judged
    rows = [row for row in page_one(judged).tests if row.of > 1]
    assert [row.title.partition(": ")[2] for row in rows] == ["the 12 actives, as listed"] * 3
    assert [row.lines[0].figure.count("; ") for row in rows[1:]] == [11, 11]
    pdf = render_report(judged, document={})["report.pdf"]
    first = subprocess.run(
        ["pdftotext", "-l", "1", "-", "-"], input=pdf, capture_output=True, check=True
    ).stdout.decode()
    assert all(f"LOT-26-{number}" in first for number in range(12))
    assert "Decided by (pharmacist)" in first


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
    # Of few they are named in the row; where they are all, the facts above name them.
    facts = dict(page_one(qc.judge(batch).judged).facts)
    assert facts["Strength"].endswith("active 9 10\xa0mg")
    drawn = " ".join(piece.title for piece in parts["against"].pieces if isinstance(piece, Picture))
    assert names[-1] in drawn
    captions = " ".join(piece.caption for piece in parts["units"].pieces if isinstance(piece, Table))
    assert all(name in captions for name in names)
