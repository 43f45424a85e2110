"""The calls that judge many batches: as one frame, or frame by frame."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from contextlib import closing
from itertools import islice
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from qc.jobs.seal import SealedCall, call_of
from qc.readers.options import ReadOptions

if TYPE_CHECKING:
    import pandas as pd

Paths = str | Path | Iterable[str | Path]


def sweep(
    paths: Paths,
    *,
    out: str | Path | None = None,
    rules: str | Path | None = None,
    form: str | None = None,
    jobs: int | None = None,
    scheduler: str | None = None,
) -> pd.DataFrame:
    """Judge every batch below some paths, each in a process of its own, as `qc sweep` does.

    Parameters
    ----------
    paths : str, Path or several
        Folders, files and patterns.
    out : str or Path, optional
        The folder for the tables, the index page and the result documents, as `--out` of the command; what is judged
        there already and unchanged is not judged again. Nothing is kept when left out.
    rules, form : optional
        As for `judge` and `read`.
    jobs : int, optional
        Processes that judge; one a processor when left out.
    scheduler : str, optional
        The address of a Dask cluster that judges in their place.

    Returns
    -------
    pandas.DataFrame
        The columns of batches.csv, a row a batch found; one that could not be judged has no verdict, and its problem.
        A row takes some 5 kB until the frame is made; `sweep_frames` gives more than fits memory.

    Raises
    ------
    qc.InputProblems
        When no input is found or the rules cannot be used.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from qc import lesson
    >>> with TemporaryDirectory() as folder:
    ...     workbook, *_ = lesson("sound", seed=5).write(folder)
    ...     sweep(workbook).verdict.tolist()
    ['complies']
    """
    import pandas as pd

    from qc.jobs.sweep.rows import columns_of
    from qc.jobs.sweep.run import sweep as judge_all

    meant, call = _asked(paths, rules=rules, form=form)
    with TemporaryDirectory() as nowhere:
        folder = Path(nowhere if out is None else out)
        swept = judge_all(meant, out=folder, call=call, jobs=jobs, scheduler=scheduler, resume=True)
    return pd.DataFrame(columns_of(swept.rows))


def sweep_frames(
    paths: Paths,
    *,
    rows: int = 10_000,
    rules: str | Path | None = None,
    form: str | None = None,
    jobs: int | None = None,
    scheduler: str | None = None,
) -> Generator[pd.DataFrame, None, None]:
    """Judge every batch below some paths as `sweep` does, frame by frame, where all rows together outgrow memory.

    Each frame is made when it is asked for; whoever asks for no more ends the processes that judge.

    Parameters
    ----------
    paths : str, Path or several
        Folders, files and patterns.
    rows : int
        Rows of a frame; the last one may hold fewer.
    rules, form, jobs, scheduler : optional
        As for `sweep`.

    Yields
    ------
    pandas.DataFrame
        The columns of batches.csv but for `document`, which is kept nowhere. A frame has the columns of the tests that
        stand in its own rows; `pandas.concat` joins frames by their columns.

    Raises
    ------
    qc.InputProblems
        When no input is found or the rules cannot be used.
    ValueError
        When a frame is to hold less than a row.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from qc import lesson
    >>> with TemporaryDirectory() as folder:
    ...     workbook, *_ = lesson("sound", seed=5).write(folder)
    ...     [frame.verdict.tolist() for frame in sweep_frames(workbook, rows=100)]
    [['complies']]
    """
    import pandas as pd

    from qc.jobs.sweep.rows import columns_of
    from qc.jobs.sweep.run import judged_rows

    if rows < 1:
        raise ValueError(f"rows = {rows}, and a frame holds at least one row; give for example rows=10_000")
    meant, call = _asked(paths, rules=rules, form=form)
    with closing(judged_rows(meant, call=call, jobs=jobs, scheduler=scheduler)) as judged:
        while some := tuple(islice(judged, rows)):
            columns = columns_of(some)
            yield pd.DataFrame({name: column for name, column in columns.items() if name != "document"})


def _asked(paths: Paths, *, rules: str | Path | None, form: str | None) -> tuple[list[str | Path], SealedCall]:
    call = call_of(ReadOptions(form=form), rules=None if rules is None else str(rules))
    return [paths] if isinstance(paths, str | Path) else list(paths), call
