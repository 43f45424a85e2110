"""Settings that hold for every test."""

from __future__ import annotations

import functools
import gc
import json
import os
import sys
from collections.abc import Generator, Iterator
from pathlib import Path

# As the command does: small matrices, one thread each. It counts before numpy is loaded.
for name in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(name, "1")
# What was compiled once is not compiled anew by every process that collects or is started: half a second each, though a
# container may ask for that. Where sources change within a second, an older compilation could be taken for theirs.
if "QC_SOURCES_CHANGE" not in os.environ:
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    sys.dont_write_bytecode = False

import pytest  # noqa: E402
from _pytest.doctest import DoctestModule  # noqa: E402
from hypothesis import settings  # noqa: E402
from hypothesis.internal.conjecture import providers  # noqa: E402

# No test asserts on wall time, so no example has a deadline; every run draws the same examples. New ones are sought
# with --hypothesis-profile search.
settings.register_profile("house", deadline=None, max_examples=50, derandomize=True)
settings.register_profile("search", deadline=None, max_examples=500)
settings.load_profile("house")
# Constants of the modules loaded so far are drawn too, and which are loaded differs between processes and runs.
providers.is_local_module_file = lambda _path: False


# How many new objects there are before cycles are sought [-].
FEW_CYCLES = 50_000


@pytest.fixture(scope="session")
def year_store(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample year as a history, which takes seconds: for tests of the group "year", to be read or copied."""
    import year

    place = tmp_path_factory.mktemp("year") / "year.db"
    assert year.main([str(place)]) == 0
    return place


@pytest.fixture(scope="session", autouse=True)
def samples_read_once() -> Iterator[None]:
    """The cells of a sample are read once in a process: nobody changes them, and hundreds of tests begin with one."""
    from qc.readers import xlsx

    samples = {path.read_bytes() for path in (Path(__file__).parents[1] / "sample_data").glob("*.xlsx")}
    plainly = xlsx.read_xlsx
    once = functools.lru_cache(plainly)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xlsx, "read_xlsx", lambda file: (once if file.data in samples else plainly)(file))
        yield


@pytest.fixture
def judged_here(monkeypatch: pytest.MonkeyPatch) -> None:
    """Sweep and watch judge in this process: for tests of what becomes of a batch, not of the processes that judge."""
    import msgspec

    from qc.jobs.sweep.judging import Answer, Judges, Task, as_line, judge_input

    def judged(_: Judges, task: Task) -> list[Answer]:
        return [msgspec.convert(json.loads(as_line(answer)), Answer) for answer in judge_input(task)]

    monkeypatch.setattr(Judges, "_taken", lambda _: None)
    monkeypatch.setattr(Judges, "judged", judged)


@pytest.fixture(scope="module")
def plain_pictures() -> Iterator[None]:
    """Every picture of a report is the same small one: for tests of filing and of texts, which no picture changes."""

    def drawn(*_: object, name: str, title: str, **__: object) -> str:
        head = f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 20 10" id="{name}" role="img">'
        return f'{head}<title>{title}</title><path d="M 0 0 h 9"/></svg>'

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("qc.show.figures.drawn", drawn)
        yield


@pytest.fixture(scope="module")
def drawn_once() -> Iterator[None]:
    """Whoever verifies draws the pages of one document, which holds all that they are drawn from, once."""
    from qc.document import as_text
    from qc.show.write import render_report

    kept: dict[str, dict[str, bytes]] = {}

    def drawn(judged: object, *, document: dict[str, object], **more: object) -> dict[str, bytes]:
        key = f"{as_text(document)}{more}"
        if key not in kept:
            kept[key] = dict(render_report(judged, document=document, **more))
        return kept[key]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("qc.jobs.verify.again.render_report", drawn)
        yield


@pytest.fixture
def plain_print(monkeypatch: pytest.MonkeyPatch) -> None:
    """The printed report is the same few bytes: for tests of what becomes of files, not of what stands on a page."""
    monkeypatch.setattr("qc.show.write.pdf_pages", lambda *_, **__: b"%PDF-1.7\n")


@pytest.hookimpl(wrapper=True)
def pytest_collect_file() -> Generator[None, list[pytest.Collector], list[pytest.Collector]]:
    """No examples are sought in the docstrings of tests, which have none: each file would be searched a second time."""
    return [one for one in (yield) if not isinstance(one, DoctestModule)]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the tests of a file in one process, so that what they share is made once; a group of its own goes before."""
    for item in items:
        if item.get_closest_marker("xdist_group") is None:
            item.add_marker(pytest.mark.xdist_group(item.nodeid.partition("::")[0]))


def pytest_collection_finish() -> None:
    """Search for cycles seldom, and never among what was collected: else that is a quarter of the work."""
    gc.freeze()
    gc.set_threshold(FEW_CYCLES)


def pytest_runtest_teardown() -> None:
    """Seek cycles as seldom as before a test that set it otherwise, as a folder that is watched does."""
    gc.set_threshold(FEW_CYCLES)
