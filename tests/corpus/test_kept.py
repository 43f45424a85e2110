"""Every file of the kept corpus comes to what is expected of it, message for message."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from kept_outcome import outcome

HERE = Path(__file__).parent
EXPECTED = json.loads((HERE / "expected.json").read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", EXPECTED)
def test_a_kept_file_comes_to_what_is_expected(name: str) -> None:
    said = {key: value for key, value in EXPECTED[name].items() if key != "was"}
    assert outcome(HERE / "kept" / name) == said


def test_every_kept_file_is_expected_and_says_what_was_wrong() -> None:
    assert {path.name for path in (HERE / "kept").iterdir()} == set(EXPECTED)
    assert all(one["was"] for one in EXPECTED.values())
    assert all(one.get("refused") or one.get("read") for one in EXPECTED.values())


def test_what_the_tables_name_is_there() -> None:
    text = (HERE / "README.md").read_text(encoding="utf-8")
    root = HERE.parents[1]
    for name in re.findall(r"`([\w./-]+\.(?:py|json|md|txt|xlsx|ods)|kept/|tests/[\w/]+)`", text):
        places = (HERE / name, root / name)
        assert any(place.exists() for place in places), name
