"""The calls of the package: read, judge, chances of passing, a batch of data frames, teaching batches, a pour."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec.structs import replace

from qc.batch import Batch
from qc.fields.sheets import UNITS
from qc.fields.words import MassUnit
from qc.jobs.chance import chance as chance
from qc.jobs.check import with_rule_words
from qc.jobs.judgement import Judgement as Judgement
from qc.jobs.superseded import superseded_input
from qc.judging.judge import judge_batch
from qc.readers import frames
from qc.readers.options import DecimalMark, ReadOptions, RowOrder
from qc.readers.read import read_batch
from qc.rules.rule_books import rule_book

if TYPE_CHECKING:
    import pandas as pd

    from qc.simulate.melt import Melt, Poured
    from qc.teach.lesson import Lesson

__all__ = ["Judgement", "batch_from_frames", "chance", "judge", "judge_many", "lesson", "pour_melt", "read"]


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
    ignore: Iterable[str] = (),
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
    ignore : iterable of str, optional
        Ranges of cells to leave out of account, such as "Week 3!D2:D21".

    Returns
    -------
    Batch

    Raises
    ------
    qc.InputProblems
        With every problem of the file, each with file, sheet, cell, what was found and how to mend it.
    ValueError
        When `label_mg` or `displacement` is not a number.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> with TemporaryDirectory() as folder:
    ...     workbook, *_ = lesson("sound", seed=5).write(folder)
    ...     batch = read(workbook)
    >>> len(batch.units), batch.dosage_form
    (24, 'suppositories')
    """
    if not isinstance(path, str | Path):
        raise TypeError(
            f"qc.read reads a file or folder by its path, and was given {type(path).__name__}; "
            "a data frame goes to qc.batch_from_frames(units=frame)"
        )
    options = ReadOptions(
        form=form,
        label_mg=_number("label_mg", label_mg),
        displacement=_number("displacement", displacement),
        decimal=decimal,
        sheet=sheet,
        order=order,
        mass_unit=mass_unit,
        batch=batch,
        ignore=tuple(ignore),
    )
    found = read_batch(Path(path), options=with_rule_words(options))
    return replace(found, superseded=superseded_input(found, path=Path(path)))


def _number(name: str, given: Decimal | float | str | None) -> Decimal | None:
    if given is None:
        return None
    try:
        return Decimal(str(given))
    except InvalidOperation:
        raise ValueError(f'{name} "{given}" is not a number; give it in digits, for example 250') from None


def batch_from_frames(
    *,
    units: pd.DataFrame,
    batch: Mapping[str, object] | pd.DataFrame | None = None,
    actives: pd.DataFrame | None = None,
    assay: pd.DataFrame | None = None,
    cavities: pd.DataFrame | None = None,
    checks: pd.DataFrame | None = None,
    form: str | None = None,
    label_mg: Decimal | float | str | None = None,
    displacement: Decimal | float | str | None = None,
) -> Batch:
    """Make a batch of data frames, one a sheet of the workbook, or of what `units_frame` gave.

    Parameters
    ----------
    units, actives, assay, cavities, checks : DataFrame
        Their column names are the headings of the workbook, such as "Mass (g)". The index is not read. `units` may be a
        frame as `units_frame` gives it: masses, order, places and contents in mg are then read from it.
    batch : mapping or DataFrame, optional
        Facts by field name, or a frame with the columns "Field" and "Value".
    form : str, optional
        Dosage form, where `batch` does not name it.
    label_mg, displacement : number or text, optional
        Label claim [mg] and displacement value [g of active that displaces 1 g of base] of the one active.

    Returns
    -------
    Batch

    Raises
    ------
    qc.InputProblems
        With every problem; `cell` names the column and the row, counted from 1.

    Examples
    --------
    >>> import pandas as pd
    >>> units = pd.DataFrame({"Unit": range(1, 21), "Mass (g)": [2.01, 2.03] * 10})
    >>> judge(batch_from_frames(units=units, form="suppositories")).verdict.value
    'complies'
    """
    label, displaced = _number("label_mg", label_mg), _number("displacement", displacement)
    options = with_rule_words(ReadOptions(form=form, label_mg=label, displacement=displaced))
    if "unit" in units.columns:
        assay = _contents_of(units) if assay is None else assay
        # Of two headings for one thing the first is in the unit of the frame.
        headings = {one.attribute: one.heading for one in reversed(UNITS.fields)} | {"unit": "Unit"}
        units = units[[name for name in units.columns if name in headings]].rename(columns=headings)
    return frames.batch_from_frames(
        units=units, batch=batch, actives=actives, assay=assay, cavities=cavities, checks=checks, options=options
    )


def _contents_of(units: pd.DataFrame) -> pd.DataFrame | None:
    """The contents in a frame of `units_frame` as rows of the sheet Assay; of one active without its name."""
    names = [name for name in units.columns if name.endswith(" mg")]
    contents = units.melt("unit", names, "Active", "Content (mg)").dropna(subset="Content (mg)")
    contents["Active"] = contents["Active"].str.removesuffix(" mg") if len(names) > 1 else None
    return contents.rename(columns={"unit": "Unit"}) if names else None


def lesson(
    fault: str,
    *,
    units: int = 24,
    seed: int = 1,
    strength: float = 1.0,
    physics: Mapping[str, float] | None = None,
) -> Lesson:
    """Draw a teaching batch that went wrong in a known way, as `qc lesson` does; nothing is written.

    Parameters
    ----------
    fault : str
        A cause id, two joined by a plus sign, or `any`.
    units, seed : int
        Units poured; the same seed gives the same batch.
    strength : float
        1 for the usual strength of the fault [-].
    physics : mapping of str to float, optional
        Of a melt that settles, by the names of `qc.Melt`; what is not set is drawn.

    Returns
    -------
    Lesson
        `.drawn.batch` to be judged, `.key()` with the truth, `.write(folder)`.

    Examples
    --------
    >>> lesson("settling-in-pour", seed=5, physics={"particle_um": 60}).key()["physics"]["particle_um"]
    60.0
    """
    from qc.teach.lesson import make_lesson

    return make_lesson(fault.split("+"), units=units, seed=seed, strength=strength, physics=physics)


def pour_melt(melt: Melt, *, units: int = 24) -> Poured:
    """Pour a settling melt into units: `.relative` is the content of each over that of an even melt [-].

    Examples
    --------
    >>> from qc.simulate.melt import Melt
    >>> poured = pour_melt(Melt(particle_um=60.0), units=6)
    >>> bool(poured.relative[-1] > poured.relative[0])
    True
    """
    from qc.simulate.melt import pour_settling_melt

    return pour_settling_melt(melt, units=units)


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
    qc.RuleProblem
        When no rule has that name or a rule file is not sound.
    TypeError
        When it is given something else than a batch.

    Examples
    --------
    >>> judge(lesson("sound", seed=5).drawn.batch, rules="ph-eur").verdict.value
    'complies'
    """
    if not isinstance(batch, Batch):
        raise TypeError(
            f"qc.judge judges a batch, and was given {type(batch).__name__} {str(batch)[:40]!r}; "
            "read a file with qc.read(path), or make a batch of data frames with qc.batch_from_frames(units=frame)"
        )
    meant = rules if rules is not None else batch.rules
    book = rule_book(meant)
    return Judgement(judge_batch(batch, book=book, seed=seed), book, meant)


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

    Examples
    --------
    >>> drawn = (lesson("sound", seed=seed).drawn.batch for seed in (5, 6))
    >>> [one.verdict.value for one in judge_many(drawn, rules="ph-eur")]
    ['complies', 'complies']
    """
    for batch in batches:
        yield judge(batch, rules=rules, seed=seed)
