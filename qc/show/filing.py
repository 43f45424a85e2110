"""Files put into a folder whole or not at all, with the list of their digests in the format of sha256sum.

`sha256sum -c SHA256SUMS` checks it without this tool. Format: GNU coreutils manual, "sha2 utilities": the digest in
hexadecimal digits, a space, a space for text, the name; one line a file.
"""

from __future__ import annotations

import hashlib
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

SUMS = "SHA256SUMS"
_LINE = re.compile(r"([0-9a-f]{64})  ([^\s/\\]+)")


class ReportExists(FileExistsError):
    """A report stands in the folder already; it was left as it is."""


def file_whole(directory: Path, files: Mapping[str, bytes]) -> None:
    """Put new files into a folder: all of them, or none and no trace.

    Parameters
    ----------
    directory : Path
        The target folder; made when it is not there.
    files : mapping
        Bytes by file name.

    Raises
    ------
    ReportExists
        When one of the files is there already.
    OSError
        When the disk is full or the folder cannot be written; nothing was left behind.
    """
    refuse_over(directory, files)
    file_anew(directory, files)


def refuse_over(directory: Path, names: Iterable[str]) -> None:
    """Refuse to write over files that stand in a folder.

    Raises
    ------
    ReportExists
        When one of them is there already.
    """
    found = [name for name in names if (directory / name).exists()]
    if found:
        raise ReportExists(
            f"{directory} already holds a report ({', '.join(found)}); it was left as it is. "
            "Choose another folder for this report, or move the old one away first."
        )


def file_anew(directory: Path, files: Mapping[str, bytes]) -> None:
    """Put files into a folder in place of those of the same names, which stay when the new ones cannot be put there.

    The files are written and forced to the disk in a folder beside the target, which then takes its name in one step.
    Where the target is a folder that holds other things, the finished files are moved in one by one; those moved are
    taken out again when one cannot be, and the old ones put back.

    Parameters
    ----------
    directory : Path
        The target folder; made when it is not there.
    files : mapping
        Bytes by file name.

    Raises
    ------
    OSError
        When the disk is full or the folder cannot be written; what stood there stands as it was.
    """
    old = [name for name in files if (directory / name).exists()]
    made = _make_parents(directory.parent)
    try:
        with _beside(directory) as fresh, _beside(directory) as kept:
            _write_all(Path(fresh), files)
            if directory.is_dir() and any(directory.iterdir()):
                _move_all(directory, Path(kept), old)
                try:
                    _move_all(Path(fresh), directory, list(files))
                except BaseException:
                    _move_all(Path(kept), directory, old)
                    raise
                _force_folder(directory)
            else:
                _take_name(Path(fresh), directory)
            _force_folder(directory.parent)
    except BaseException:
        # The folders that were made for this report go too, innermost first; one that is in use meanwhile stays.
        for folder in made:
            if not any(folder.iterdir()):
                folder.rmdir()
        raise


def _beside(target: Path) -> TemporaryDirectory[str]:
    """A folder beside the target, on the same disk, gone at the end whatever happens."""
    return TemporaryDirectory(
        prefix=f".{target.name}-", suffix=".unfinished", dir=target.parent, ignore_cleanup_errors=True
    )


def _make_parents(folder: Path) -> list[Path]:
    """Make a folder with those it stands in; returned are the new ones, innermost first."""
    made = [one for one in (folder, *folder.parents) if not one.exists()]
    folder.mkdir(parents=True, exist_ok=True)
    return made


def _write_all(folder: Path, files: Mapping[str, bytes]) -> None:
    for name, content in files.items():
        with (folder / name).open("xb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
    _force_folder(folder)


def _take_name(beside: Path, directory: Path) -> None:
    # A temporary folder is closed to others; a report is to be read like any folder of its owner's.
    mask = os.umask(0)
    os.umask(mask)
    beside.chmod(0o777 & ~mask)
    if directory.is_dir():
        directory.rmdir()
    beside.rename(directory)


def _move_all(origin: Path, target: Path, names: Sequence[str]) -> None:
    moved: list[str] = []
    try:
        for name in names:
            (origin / name).rename(target / name)
            moved.append(name)
    except BaseException:
        for name in moved:
            (target / name).rename(origin / name)
        raise


def _force_folder(folder: Path) -> None:
    # Only where the system lets a folder be opened (not on Windows, which writes its entries through).
    if hasattr(os, "O_DIRECTORY"):
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def sums_text(files: Mapping[str, bytes]) -> str:
    """The list for some files, in the order of their names.

    Parameters
    ----------
    files : mapping
        Bytes by plain file name.

    Examples
    --------
    >>> sums_text({"empty": b""})
    'e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855  empty\\n'
    """
    return "".join(f"{hashlib.sha256(files[name]).hexdigest()}  {name}\n" for name in sorted(files))


def read_sums(text: str) -> dict[str, str]:
    """The digest of each file of a list, by name.

    Raises
    ------
    ValueError
        When a line is not in the format, or a file stands twice; the message names the line.
    """
    found: dict[str, str] = {}
    for number, line in enumerate(text.splitlines(), start=1):
        match = _LINE.fullmatch(line)
        if match is None:
            raise ValueError(f"line {number} is not a digest, two spaces and a file name")
        digest, name = match.groups()
        if name in found:
            raise ValueError(f"line {number} names {name} again")
        found[name] = digest
    return found
