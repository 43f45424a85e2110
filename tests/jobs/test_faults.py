"""A fault that leaves out one part, and a wish to end that a library has made a fault of."""

from __future__ import annotations

import pytest

from qc.jobs.faults import unless_it_fails


class _Named:
    def __init__(self, ended: BaseException) -> None:
        self.ended = ended

    def __set_name__(self, owner: type, name: str) -> None:
        raise self.ended


def _fails() -> None:
    raise RuntimeError("of our own")


def _fails_at_the_end() -> None:
    try:
        raise SystemExit(130)
    except SystemExit:
        _fails()


def test_a_fault_is_told_and_what_it_hit_is_missing(capsys: pytest.CaptureFixture[str]) -> None:
    missing: list[str] = []
    with unless_it_fails(missing, "report.pdf"):
        _fails()
    assert missing == ["report.pdf"]
    assert "of our own" in capsys.readouterr().err


def test_an_end_is_found_where_a_fault_came_while_it_was_dealt_with(capsys: pytest.CaptureFixture[str]) -> None:
    missing: list[str] = []
    with pytest.raises(SystemExit), unless_it_fails(missing, "report.pdf"):
        _fails_at_the_end()
    assert (missing, capsys.readouterr().err) == ([], "")


@pytest.mark.parametrize("ended", [SystemExit(130), KeyboardInterrupt()])
def test_an_end_that_somebody_asked_for_is_no_fault(ended: BaseException, capsys: pytest.CaptureFixture[str]) -> None:
    missing: list[str] = []
    with pytest.raises(type(ended)), unless_it_fails(missing, "report.pdf"):
        # Python 3.11 makes a RuntimeError of it here.
        type("Made", (), {"place": _Named(ended)})
    assert (missing, capsys.readouterr().err) == ([], "")
