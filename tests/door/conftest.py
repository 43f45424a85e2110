"""The corpus as files, written and converted once for whoever reads it."""

from __future__ import annotations

import functools
from collections.abc import Iterator
from pathlib import Path

import pytest
from door_corpus import corpus
from door_sheets import CONVERTED, Case, write
from office import HERE, saved_again


@pytest.fixture(scope="session")
def written(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[Case, Path]]:
    """Each case with its file, converted where it is to be."""
    folder = tmp_path_factory.mktemp("corpus")
    cases = corpus()
    paths = [write(case, folder / f"file{at:03}") for at, case in enumerate(cases)]
    for writer, kind in CONVERTED.items():
        at = [place for place, case in enumerate(cases) if case.writer == writer]
        if not HERE:
            continue
        into = folder / kind
        into.mkdir()
        for place, path in zip(at, saved_again([paths[place] for place in at], kind, into), strict=True):
            paths[place] = path
    return list(zip(cases, paths, strict=True))


@pytest.fixture(scope="package", autouse=True)
def books_read_once() -> Iterator[None]:
    """The cells of a workbook are read once, whoever asks what they say."""
    from qc.readers import xlsx

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(xlsx, "read_xlsx", functools.lru_cache(maxsize=512)(xlsx.read_xlsx))
        yield
