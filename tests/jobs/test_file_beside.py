"""A file that appears only when the rest went well, wherever it is to go."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from qc.jobs.check import file_beside


def test_the_file_appears_when_the_rest_went_well(tmp_path: Path) -> None:
    path = tmp_path / "new" / "result.json"
    with file_beside(b"told", path):
        assert not path.exists()
    assert path.read_bytes() == b"told"
    assert os.listdir(path.parent) == ["result.json"]


def test_nothing_appears_and_nothing_is_lost_when_it_did_not(tmp_path: Path) -> None:
    path = tmp_path / "result.json"
    path.write_bytes(b"old")
    with pytest.raises(ValueError, match=r"^the report failed$"), file_beside(b"told", path):
        raise ValueError("the report failed")
    assert path.read_bytes() == b"old"
    assert os.listdir(tmp_path) == ["result.json"]


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_told_and_stays_a_pipe(tmp_path: Path) -> None:
    path = tmp_path / "pipe"
    os.mkfifo(path)
    heard: list[bytes] = []
    reader = threading.Thread(target=lambda: heard.append(path.read_bytes()))
    reader.start()
    with file_beside(b"told", path):
        assert os.listdir(tmp_path) == ["pipe"]
    reader.join(10)
    assert heard == [b"told"]
    assert path.is_fifo()


def test_a_link_goes_on_pointing_to_its_file(tmp_path: Path) -> None:
    real, link = tmp_path / "real.json", tmp_path / "link.json"
    real.write_bytes(b"old")
    link.symlink_to(real)
    with file_beside(b"told", link):
        pass
    assert link.is_symlink()
    assert real.read_bytes() == b"told"
