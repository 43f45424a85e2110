"""The calls of the package: `qc.read`, `qc.judge`, `qc.chance` and a batch made from data frames."""

from __future__ import annotations

from decimal import Decimal, InvalidOperation
from pathlib import Path

from qc.batch import Batch
from qc.jobs.chance import chance as chance
from qc.jobs.judgement import Judgement
from qc.jobs.rule_words import with_rule_words
from qc.judging.judge import judge_batch
from qc.readers.frames import batch_from_frames as batch_from_frames
from qc.readers.options import DecimalMark, ReadOptions
from qc.readers.read import read_batch
from qc.rules.rule_books import rule_book

__all__ = ["Judgement", "batch_from_frames", "judge", "chance", "read"]


def read(
    path: str | Path,
    *,
    form: str | None = None,
    label_mg: Decimal | float | str | None = None,
    displacement: Decimal | float | str | None = None,
    decimal: DecimalMark | None = None,
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
    )
    return read_batch(Path(path), options=with_rule_words(options))


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
