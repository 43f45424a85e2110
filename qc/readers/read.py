"""The door of the readers: a path in, a batch out, or everything that is wrong with the input."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from pathlib import Path

from msgspec.structs import replace

from qc.batch import Batch
from qc.problems import InputProblems, Notice, quoted
from qc.readers.assemble import batch_from_book
from qc.readers.cells import Book, Noted
from qc.readers.guards import (
    LONGEST_TEXT,
    MOST_MERGED,
    MOST_SHEETS,
    SAVE_AGAIN,
    ZIP_SIGNATURE,
    UnusableFileError,
    held_open,
)
from qc.readers.ignored import without_ignored
from qc.readers.options import ReadOptions, dosage_form
from qc.readers.stored import TABLE_SUFFIXES, TEXT_SUFFIX, StoredFile, StoredInput, stored_input

WORKBOOK_SUFFIXES = (".xlsx", ".xlsm")
OLD_SUFFIX = ".xls"
LARGE_FILE = 1024 * 1024
_NOTHING_SAID = ReadOptions()
Read = Batch | InputProblems
"""A batch, or what is wrong with it."""


def read_batch(path: Path, *, options: ReadOptions = _NOTHING_SAID) -> Batch:
    """Read one batch from a workbook, a delimited file or a folder of delimited files.

    Parameters
    ----------
    path : Path
        An .xlsx, .xlsm, .xls, .ods, .csv, .tsv or .txt file, or a folder with a units.csv.
    options : ReadOptions
        What the call says about the input.

    Returns
    -------
    Batch
        With the notices of the input, and its name and SHA-256.

    Raises
    ------
    InputProblems
        With every problem of the input in one go.
    """
    findings = Noted()
    book = _opened(path, options, findings)
    return batch_from_book(book, options=options, findings=findings, source=book.source)


def read_batches(path: Path, *, options: ReadOptions = _NOTHING_SAID) -> Iterator[tuple[ReadOptions, Read]]:
    """Read every batch of an input, each as `read_batch` reads it once the call says which one is meant.

    Parameters
    ----------
    path, options
        As for `read_batch`.

    Yields
    ------
    tuple
        What a call for that batch alone says, and the batch, or what is wrong with it.
    """
    findings = Noted()
    try:
        book = _opened(path, options, findings)
    except InputProblems as unusable:
        yield options, unusable
        return
    yield from _each_batch(book, options, findings.notices)


def _each_batch(book: Book, options: ReadOptions, notices: list[Notice]) -> Iterator[tuple[ReadOptions, Read]]:
    found: Read
    try:
        found = batch_from_book(book, options=options, findings=Noted(notices=[*notices]), source=book.source)
    except InputProblems as unusable:
        found = unusable
    choices = () if isinstance(found, Batch) else found.choices
    # What the call says already did not pick one.
    if several := [(fact, said) for fact, said in choices if getattr(options, fact) is None]:
        for fact, said in several:
            yield from _each_batch(book, replace(options, **{fact: said}), notices)
    else:
        yield options, found


def _opened(path: Path, options: ReadOptions, findings: Noted) -> Book:
    findings.notices += _if_open(path)
    _say_that_it_takes_a_while(path)
    try:
        return read_book(path, options=options, findings=findings)
    except InputProblems:
        # A form that no rule names is told beside a file that cannot be opened, not after it.
        dosage_form(None, options, book=Book(file=path.name, tables=()), findings=findings)
        raise InputProblems(findings.problems) from None


def read_book(path: Path, *, options: ReadOptions, findings: Noted) -> Book:
    """The tables of an input as they lie in it, before anybody asks what they mean.

    Raises
    ------
    InputProblems
        When the file cannot be read at all.
    """
    try:
        stored = stored_input(path)
        book = _book(stored, separator=options.separator, findings=findings)
        _guard_extent(book)
        return without_ignored(replace(book, source=stored.source), options.ignore, findings)
    except OSError as error:
        found = f"the file cannot be opened ({error.strerror})"
        mend = "See whether you may read it and nobody has locked it"
        if held_open(error):
            found = "the file cannot be opened: another program holds it open, or you may not read it"
            mend = "Close it in the spreadsheet program, or save a copy under another name and give that"
        findings.refuse_input(path.name, found=found, mend=mend)
        raise InputProblems(findings.problems) from error
    except UnusableFileError as error:
        findings.refuse_input(path.name, found=str(error), mend=error.mend)
        raise InputProblems(findings.problems) from error


def _book(stored: StoredInput, *, separator: str | None, findings: Noted) -> Book:
    if stored.is_folder:
        from qc.readers.delimited import read_folder

        return read_folder(stored, separator, findings)
    (file,) = stored.files
    suffix = file.suffix
    if suffix in (*TABLE_SUFFIXES, TEXT_SUFFIX):
        from qc.readers.delimited import read_bare_table

        return read_bare_table(file, separator, findings)
    if suffix == OLD_SUFFIX:
        return _named_xls(file, separator, findings)
    if suffix in WORKBOOK_SUFFIXES:
        from qc.readers.xlsx import read_xlsx

        return read_xlsx(file)
    if suffix == ".ods":
        from qc.readers.ods import read_ods

        return read_ods(file)
    found = f"files of the kind {suffix} are not read" if suffix else "the file has no ending that tells its kind"
    mend = "Use .xlsx, .xlsm, .xls, .ods, .csv, .tsv, .txt, or a folder with units.csv"
    if suffix == ".xlsb":
        mend = "Save it as .xlsx in the spreadsheet program"
    raise UnusableFileError(found, mend=mend)


def _guard_extent(book: Book) -> None:
    """Refuse sheets, merged areas and texts that cost whoever reads them more time than they are worth."""
    if len(book.tables) > MOST_SHEETS:
        raise UnusableFileError(f"the file holds {len(book.tables)} sheets", mend="Keep one batch in a file")
    for table in book.tables:
        merged = sum((area.bottom - area.top + 1) * (area.right - area.left + 1) for area in table.merges)
        if merged > MOST_MERGED:
            found = f"the sheet {quoted(table.name)} merges more than {MOST_MERGED:,} cells"
            raise UnusableFileError(found, mend="Unmerge them, and save the file again")
        for cell in (cell for row in table.rows for cell in row.cells.values() if len(cell.text) > LONGEST_TEXT):
            found = f"the cell {cell.address} holds {len(cell.text):,} signs, more than a spreadsheet program takes"
            raise UnusableFileError(found, mend="Shorten it, and save the file again")


def _if_open(path: Path) -> Iterator[Notice]:
    """A notice where a spreadsheet program has left its lock file beside an input: it is open there."""
    for lock in (path.parent / f"~${path.name}", path.parent / f".~lock.{path.name}#"):
        if lock.exists():
            text = f"It seems to be open in a spreadsheet program ({lock.name} stands beside it), so it may hold "
            text += "changes that are not saved yet: what was read is what was saved last."
            yield Notice(where=path.name, text=text)


def _named_xls(file: StoredFile, separator: str | None, findings: Noted) -> Book:
    """A file called .xls: an old workbook, or a new one or a text that an instrument gave that name."""
    from qc.readers.xls import is_old_workbook, read_xls

    start = file.data[:512].lstrip()
    if is_old_workbook(file.data):
        return read_xls(file)
    if start.startswith(ZIP_SIGNATURE):
        from qc.readers.xlsx import read_xlsx

        return read_xlsx(file)
    if not start or start.startswith(b"<"):
        found = "the file is a web page that is called .xls" if start else "the file is empty"
        raise UnusableFileError(found, mend=SAVE_AGAIN)
    from qc.readers.delimited import read_bare_table

    return read_bare_table(file, separator, findings)


def _say_that_it_takes_a_while(path: Path) -> None:
    if path.is_file() and path.stat().st_size > LARGE_FILE and sys.stderr.isatty():
        print(f"Reading {path.name} ({path.stat().st_size / 1048576:.1f} MB) ...", file=sys.stderr, flush=True)
