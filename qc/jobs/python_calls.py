"""The calls of the package: `qc.read`, `qc.judge`, `qc.chance` and a batch made from data frames."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from decimal import Decimal, InvalidOperation
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from msgspec import Struct

from qc.batch import Batch
from qc.document import result_document
from qc.fields.words import MassUnit
from qc.jobs.chance import chance as chance
from qc.jobs.check import with_rule_words
from qc.judging.judge import judge_batch
from qc.problems import Notice
from qc.readers.frames import batch_from_frames as batch_from_frames
from qc.readers.options import DecimalMark, ReadOptions, RowOrder
from qc.readers.read import read_batch
from qc.results import BatchVerdict, JudgedBatch, Remark, TestResult
from qc.rules.rule_books import rule_book

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["Judgement", "batch_from_frames", "chance", "judge", "judge_many", "read", "sweep"]


class Judgement(Struct, frozen=True):
    """A judged batch.

    Parameters
    ----------
    judged : JudgedBatch
        The records: tests, trends, causes, assurance, rows of units.
    """

    judged: JudgedBatch

    @property
    def verdict(self) -> BatchVerdict:
        """What all tests together say of the batch."""
        return self.judged.verdict

    @property
    def tests(self) -> tuple[TestResult, ...]:
        """The tests, in the order of the rule set."""
        return self.judged.tests

    @property
    def notices(self) -> tuple[Notice | Remark, ...]:
        """Remarks of the reader and of the judge."""
        return self.judged.notices

    def as_dict(self) -> dict[str, object]:
        """The result document, without its `input` part."""
        return result_document(self.judged)

    def units_frame(self) -> pd.DataFrame:
        """One row a unit.

        Returns
        -------
        pandas.DataFrame
            Columns: unit, pour_order, weighing_order, mould, cavity, mass_g (of two the one that counts) [g],
            deviation_percent [% of the mean of the test sample], mass_place, in_mass_sample, seen,
            left_out_because; and for each active NAME: `NAME mg`, `NAME % of label`, `NAME % of mean`, `NAME mg/g`,
            `NAME place`.
        """
        import pandas as pd

        rows = []
        for row in self.judged.unit_rows:
            flat: dict[str, object] = {
                "unit": row.unit,
                "pour_order": row.pour_order,
                "weighing_order": row.weighing_order,
                "mould": row.mould,
                "cavity": row.cavity,
                "mass_g": None if row.counting_g is None else float(row.counting_g),
                "deviation_percent": row.deviation_percent,
                "mass_place": None if row.place is None else row.place.value,
                "in_mass_sample": row.in_mass_sample,
                "seen": "; ".join(row.seen),
                "left_out_because": row.left_out_because,
            }
            for active, content in row.contents.items():
                flat[f"{active} mg"] = content.mg
                flat[f"{active} % of label"] = content.percent_of_label
                flat[f"{active} % of mean"] = content.percent_of_mean
                flat[f"{active} mg/g"] = content.concentration_mg_per_g
                flat[f"{active} place"] = None if content.place is None else content.place.value
            rows.append(flat)
        frame = pd.DataFrame(rows)
        return frame.astype({"pour_order": "Int64", "weighing_order": "Int64"}) if rows else frame

    def _repr_html_(self) -> str:
        """Page one of the report, for a notebook."""
        from qc.show.pages_html import page_one_html

        return page_one_html(self.judged)


def read(
    path: str | Path,
    *,
    form: str | None = None,
    label_mg: Decimal | float | str | None = None,
    displacement: Decimal | float | str | None = None,
    decimal: DecimalMark | None = None,
    sheet: str | None = None,
    order: RowOrder | None = None,
    mass_unit: MassUnit | None = None,
    batch: str | None = None,
) -> Batch:
    """Read a batch from a workbook, a bare table or a folder of tables.

    Parameters
    ----------
    path : str or Path
        .xlsx, .xlsm, .ods, .csv, .tsv, or a folder of .csv files.
    form : str, optional
        Dosage form, for a bare table.
    label_mg, displacement : number or text, optional
        Label claim [mg] and displacement value [g of active that displaces 1 g of base] of the one active of a bare
        table.
    decimal : "comma" or "point", optional
        The decimal mark of numbers typed as text, where the file leaves it open.
    sheet : str, optional
        The sheet with the units, where several could be it.
    order : "pour", "weighing" or "both", optional
        As what the rows of the units stand; by itself the place of a row is no order.
    mass_unit : "g" or "mg", optional
        The unit of mass, where the file states none.
    batch : str, optional
        The batch to read, where a column names several.

    Returns
    -------
    Batch

    Raises
    ------
    qc.InputProblems
        With every problem of the file, each with file, sheet, cell, what was found and how to mend it.
    ValueError
        When `label_mg` or `displacement` is not a number.
    """
    options = ReadOptions(
        form=form,
        label_mg=_number("label_mg", label_mg),
        displacement=_number("displacement", displacement),
        decimal=decimal,
        sheet=sheet,
        order=order,
        mass_unit=mass_unit,
        batch=batch,
    )
    return read_batch(Path(path), options=with_rule_words(options))


def sweep(
    paths: str | Path | Iterable[str | Path],
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
        A row holds no document, so that a million of them fit into memory.

    Raises
    ------
    qc.InputProblems
        When no input is found or the rules cannot be used.
    """
    import pandas as pd

    from qc.jobs.seal import call_of
    from qc.jobs.sweep.rows import columns_of
    from qc.jobs.sweep.run import sweep as judge_all

    call = call_of(ReadOptions(form=form), rules=None if rules is None else str(rules))
    meant = [paths] if isinstance(paths, str | Path) else list(paths)
    with TemporaryDirectory() as nowhere:
        folder = Path(nowhere if out is None else out)
        swept = judge_all(meant, out=folder, call=call, jobs=jobs, scheduler=scheduler, resume=True)
    return pd.DataFrame(columns_of(swept.rows))


def _number(name: str, given: Decimal | float | str | None) -> Decimal | None:
    if given is None:
        return None
    try:
        return Decimal(str(given))
    except InvalidOperation:
        raise ValueError(f'{name} "{given}" is not a number; give it in digits, for example 250') from None


def judge(batch: Batch, *, rules: str | Path | None = None, seed: int | None = None) -> Judgement:
    """Judge a batch.

    Parameters
    ----------
    batch : Batch
    rules : str or Path, optional
        Id of a rule set or rule, or the path of a house rule file; what the batch names itself when left out, else the
        default set.
    seed : int, optional
        For everything drawn at random; from the digest of the input when left out.

    Returns
    -------
    Judgement

    Raises
    ------
    qc.rules.rule_books.RuleProblem
        When no rule has that name or a rule file is not sound.
    """
    return Judgement(judge_batch(batch, book=rule_book(rules if rules is not None else batch.rules), seed=seed))


def judge_many(
    batches: Iterable[Batch], *, rules: str | Path | None = None, seed: int | None = None
) -> Iterator[Judgement]:
    """Judge batches one after the other, each when it is asked for, so that more than fits memory can be judged.

    Parameters
    ----------
    batches : iterable of Batch
    rules, seed : optional
        As for `judge`.

    Yields
    ------
    Judgement
        In the order of the batches.
    """
    for batch in batches:
        yield judge(batch, rules=rules, seed=seed)
