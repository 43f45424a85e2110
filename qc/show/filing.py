"""Files put into folders whole or not at all, with the list of their digests in the format of sha256sum.

How it is done. Whoever files into a folder holds a lock there, which the system takes back when the process ends,
however that ends. The new files are written and forced to the disk in a hidden folder beside their places,
`.NAME.draft`. Its new name `.NAME.ready`, given in one step, decides: from then on each file moves to its place, what
stood there into the hidden folder, and whoever comes next finishes what is not finished. A draft that was never ready
is cleared away. Files that cannot all be moved go back, and the old ones with them. The draft notes what stood in each
place: a file that came there since is never lost. Whoever still files refuses; whoever finishes gives it another name
and says so. Only files and hidden folders change their names, each in one step on POSIX and on Windows; a folder that
people look into never does.

`sha256sum -c SHA256SUMS` checks the list without this tool. Format: GNU coreutils manual, "sha2 utilities": the digest
in hexadecimal digits, a space, a space for text, the name; one line a file.
"""

from __future__ import annotations

import errno
import hashlib
import json
import os
import shutil
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext, suppress
from pathlib import Path

from msgspec import Struct
from msgspec.structs import replace as changed

from qc.show.stopped_later import stopped_later

HTML = "report.html"
PDF = "report.pdf"
JSON = "result.json"
SUMS = "SHA256SUMS"
FILES = (HTML, PDF, JSON, SUMS)
MOST_WAITED_S = 60.0
PAUSE_S = 0.02
LONGEST_STEM = 60
AS_IT_STANDS = "whatever stands there stays"
Told = Callable[[], AbstractContextManager[None]]
Replace = bool | Callable[[Path], bool]
_HELD_BY_ANOTHER = (errno.EACCES, errno.EAGAIN, errno.EDEADLK)


class ReportExists(FileExistsError):
    """A report stands in the folder already; it was left as it is."""


class Filing(Struct, frozen=True, kw_only=True):
    """Files that go into one folder.

    Parameters
    ----------
    folder : Path
        Made when it is not there.
    files : mapping
        Bytes by file name; where None is given, a file of that name is taken away.
    replace : bool or callable
        Whether they take the place of files of the same names; asked of each, where it is a callable.
    if_none : mapping
        Further files, each put there only where none of its name stands.
    stem : str
        Of the hidden names; filings of one stem wait for each other.
    told : callable
        Gives a context in which each step is done, to tell an error of this filing from those of others.
    stood : mapping
        What stood in each place when the draft was made, as `standing` tells it; of a further file `AS_IT_STANDS`.
    """

    folder: Path
    files: Mapping[str, bytes | None]
    replace: Replace = False
    if_none: Mapping[str, bytes] = {}
    stem: str = "report"
    told: Told = nullcontext
    stood: Mapping[str, str | None] = {}

    def at(self, what: str, *names: str) -> Path:
        """A place below a hidden name: lock, draft or ready."""
        return Path(self.folder, f".{self.stem}.{what}", *names)


def one_file(path: Path, content: bytes, *, replace: Replace = False, told: Told = nullcontext) -> Filing:
    """The filing of a single file; where the path is a link, of the file that it points to."""
    path = Path(os.path.realpath(path))
    stem = path.name[-LONGEST_STEM:]
    return Filing(folder=path.parent, files={path.name: content}, replace=replace, stem=stem, told=told)


def file_whole(directory: Path, files: Mapping[str, bytes], *, replace: bool = False) -> None:
    """Put files into a folder: all of them, or none and no trace; as `file_together` with one filing."""
    file_together([Filing(folder=directory, files=files, replace=replace)])


def file_together(filings: Sequence[Filing], *, sure: Callable[[], None] | None = None) -> None:
    """Put the files of several folders there: all of them, or none and no trace.

    Ctrl-C waits until that is done. `sure` is asked once nobody else files there, and refuses by an error of its own.

    Raises
    ------
    ReportExists
        When a file is there already that is not to be replaced.
    OSError
        When the disk is full, a folder cannot be written, or another process files there and does not end; what stood
        there stands as it was.
    """
    taken = set[Path]()
    for one in filings:
        with one.told():
            for path in _places(one):
                if path in taken:
                    raise FileExistsError(errno.EEXIST, "two of the files would have this name", str(path))
                taken.add(path)
    until = time.monotonic() + MOST_WAITED_S
    while time.monotonic() < until:
        with stopped_later(), ExitStack() as held:
            if all(_held(held, one) for one in filings):
                if sure is not None:
                    sure()
                _put(filings)
                return
        time.sleep(PAUSE_S)
    with filings[0].told():
        raise OSError(errno.EBUSY, "another program is writing there", str(filings[0].folder))


def finish(folder: Path) -> None:
    """Finish a report whose filing was broken off after it had been decided.

    Raises
    ------
    OSError
        When the folder cannot be written.
    """
    nothing = Filing(folder=folder, files={})
    if nothing.at("ready").exists():
        file_together([nothing])


def refuse_over(directory: Path, names: Iterable[str]) -> None:
    """Refuse to write over files that stand in a folder.

    Raises
    ------
    ReportExists
        When one of them is there already.
    """
    found = [name for name in names if os.path.lexists(directory / name)]
    if found:
        raise ReportExists(
            f"{directory} already holds a report ({', '.join(found)}); it was left as it is. "
            "Choose another folder for this report, or move the old one away first."
        )


def _held(held: ExitStack, one: Filing) -> bool:
    with one.told():
        return held.enter_context(alone(one))


@contextmanager
def alone(one: Filing) -> Iterator[bool]:
    """Whether nobody else files there until the end; folders made for it go again where nothing was put into them."""
    made = [folder for folder in (one.folder, *one.folder.parents) if not folder.exists()]
    lock, got = one.at("lock"), False
    try:
        one.folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(lock, os.O_RDWR | os.O_CREAT, 0o666)
        try:
            # One who held it before may have taken the file away since it was opened here.
            got = _locked(handle) and lock.exists() and os.path.samestat(os.fstat(handle), lock.stat())
            yield got
        finally:
            # Windows takes no file away that is open.
            if got and sys.platform != "win32":
                lock.unlink(missing_ok=True)
            os.close(handle)
            if got and sys.platform == "win32":
                with suppress(OSError):
                    lock.unlink()
    finally:
        for folder in made:
            with suppress(OSError):
                folder.rmdir()


def _locked(handle: int) -> bool:
    try:
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as failure:
        if failure.errno in _HELD_BY_ANOTHER:
            return False
        raise
    return True


def _put(filings: Sequence[Filing]) -> None:
    drafted: list[Filing] = []
    try:
        for one in filings:
            with one.told():
                _finish(one)
                drafted.append(_draft(one))
        for one in drafted:
            with one.told():
                _publish(one)
    except BaseException:
        for one in reversed(drafted):
            # Where the old files cannot go back now, whoever comes next finishes the new report.
            with suppress(OSError):
                _take_back(one)
        for one in filings:
            shutil.rmtree(one.at("draft"), ignore_errors=True)
        raise
    for one in drafted:
        shutil.rmtree(one.at("ready"), ignore_errors=True)


def _places(one: Filing) -> list[Path]:
    return [Path(os.path.realpath(one.folder), name) for name in (*one.files, *one.if_none)]


def _finish(one: Filing) -> None:
    """Finish what a process before decided, and clear away what it did not."""
    if one.at("ready").is_dir():
        noted = one.at("ready", "stood.json")
        stood = json.loads(noted.read_bytes()) if noted.exists() else {}
        for new in sorted(one.at("ready", "new").glob("*")):
            place = one.folder / new.name
            found = standing(place)
            if found is not None and stood.get(new.name) == AS_IT_STANDS:
                continue
            if found is not None and found != stood.get(new.name):
                _put_aside(place)
            if new.is_dir():
                place.unlink(missing_ok=True)
            else:
                new.replace(place)
        _force_folder(one.folder)
        shutil.rmtree(one.at("ready"), ignore_errors=True)
    shutil.rmtree(one.at("draft"), ignore_errors=True)


def standing(place: Path) -> str | None:
    """What stands in a place: the digest of a file, or where a link points to; None where nothing stands there."""
    if not os.path.lexists(place):
        return None
    if place.is_symlink():
        return f"link to {os.readlink(place)}"
    return hashlib.sha256(place.read_bytes()).hexdigest() if place.is_file() else "no file"


def _put_aside(place: Path) -> None:
    """Give another name to what somebody put where a filing that was broken off has yet to put its own."""
    number = 1
    while os.path.lexists(aside := place.with_name(f"{place.stem[:40]} (put aside {number}){place.suffix}")):
        number += 1
    place.rename(aside)
    import logging

    found = "%s was changed after the filing of its folder was broken off, which is finished now; it is kept as %s"
    logging.getLogger(__name__).warning(found, place, aside.name)


def _draft(one: Filing) -> Filing:
    """Write the draft; returned is the filing with all the files that are to move."""
    for path in _places(one):
        if path.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR), str(path))
    if not one.replace:
        refuse_over(one.folder, one.files)
    further = {name: file for name, file in one.if_none.items() if not os.path.lexists(one.folder / name)}
    stood = dict.fromkeys(further, AS_IT_STANDS) | {name: standing(one.folder / name) for name in one.files}
    for name in one.files:
        if stood[name] is not None and callable(one.replace) and not one.replace(one.folder / name):
            raise _meanwhile(one.folder / name)
    one = changed(one, files={**further, **one.files}, stood=stood)
    one.at("draft", "old").mkdir(parents=True)
    one.at("draft", "new").mkdir()
    _write(one.at("draft", "stood.json"), json.dumps(stood).encode())
    for name, content in one.files.items():
        new = one.at("draft", "new", name)
        if content is None:
            # A folder stands for a file that goes.
            new.mkdir()
        else:
            _write(new, content)
    _force_folder(one.at("draft", "new"))
    _force_folder(one.at("draft"))
    return one


def _write(path: Path, content: bytes) -> None:
    with path.open("xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def _meanwhile(place: Path) -> FileExistsError:
    return FileExistsError(errno.EEXIST, "another file was put there meanwhile, and was left as it is", str(place))


def _publish(one: Filing) -> None:
    one.at("draft").rename(one.at("ready"))
    _force_folder(one.folder)
    for name, content in one.files.items():
        place = one.folder / name
        if os.path.lexists(place):
            if one.stood[name] == AS_IT_STANDS:
                continue
            if standing(place) != one.stood[name]:
                raise _meanwhile(place)
            place.rename(one.at("ready", "old", name))
        if content is not None:
            one.at("ready", "new", name).rename(one.folder / name)
    _force_folder(one.folder)
    _force_folder(one.folder.parent)


def _take_back(one: Filing) -> None:
    """Undo the moves, the last one first; at each moment a new file stands in its place or among the new ones."""
    if one.at("draft").exists():
        return
    for name in reversed(list(one.files)):
        if not one.at("ready", "new", name).exists():
            (one.folder / name).rename(one.at("ready", "new", name))
        if os.path.lexists(one.at("ready", "old", name)):
            one.at("ready", "old", name).rename(one.folder / name)
    one.at("ready").rename(one.at("draft"))


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
