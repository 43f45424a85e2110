"""Nothing that the tool says of the samples changes without being looked at.

Our own answers, kept as they were; `capture.py` beside this file writes them anew after a change that is meant.
"""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path
from types import ModuleType

import pytest


def _capture() -> ModuleType:
    spec = importlib.util.spec_from_file_location("capture", Path(__file__).with_name("capture.py"))
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


capture = _capture()


@pytest.mark.skipif(shutil.which("pdftotext") is None, reason="pdftotext (poppler-utils) is not there")
@pytest.mark.parametrize("name", capture.captures())
def test_what_is_said_is_what_was_said(name: str) -> None:
    said, kept = capture.captures()[name](), capture.kept(name)
    assert said.keys() == kept.keys()
    for file, text in said.items():
        words, numbers = capture.numbers_apart(text)
        kept_words, kept_numbers = capture.numbers_apart(kept[file])
        assert words.splitlines() == kept_words.splitlines(), f"{name}/{file}"
        assert numbers == pytest.approx(kept_numbers, rel=1e-7, abs=1e-9), f"{name}/{file}"
