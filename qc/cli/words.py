"""How a command says that its input cannot be used, that a file is in the way, and that work is going on."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from functools import partial, wraps
from pathlib import Path
from typing import TYPE_CHECKING, NoReturn

import typer

from qc.problems import InputProblems, RefusedCall, told
from qc.readers.command import as_word
from qc.readers.guards import held_open

if TYPE_CHECKING:
    from qc.show.filing import Filing, Replace

UNUSABLE = 2
# The code that BSD's sysexits.h gives an internal software error; verdicts use 0 to 3.
FAULT = 70
# And an error of writing.
UNWRITTEN = 74
ANOTHER = "another folder with --report DIR"
FOLDER_MEND = "Give a folder that can be written to, with --report DIR"
DOCUMENT_MEND = "Give a file that can be written, or - for standard output"


def printable(text: str) -> str:
    """Text for a terminal: what a cell may hold to steer a terminal is shown as a stand-in, line breaks stay.

    Examples
    --------
    >>> printable("batch \\x1b[2J7")
    'batch \ufffd[2J7'
    """
    return "".join(letter if letter.isprintable() or letter == "\n" else "\ufffd" for letter in text)


def call_again(context: typer.Context) -> str:
    """The call as it was made, to be copied and given again with an option more; quoted for the shell."""
    said: list[str] = []
    for parameter in context.command.params:
        value = context.params.get(parameter.name or "")
        if value in (None, False, ()) or value == parameter.get_default(context):
            continue
        # What may be given several times stands behind its option each time.
        option = [] if parameter.param_type_name == "argument" else [parameter.opts[0]]
        every = value if isinstance(value, list | tuple) else [value]
        said += [word for one in every for word in (*option, *([] if one is True else [as_word(str(one))]))]
    return " ".join(["qc", context.info_name or "", *said])


def refuse_call(found: str, mend: str) -> NoReturn:
    """Say what is wrong with a call and how to mend it, and end with the exit code for unusable input."""
    typer.echo(printable(f"{found}. {mend}."), err=True)
    raise typer.Exit(UNUSABLE)


def refusing(command: Callable[..., None]) -> Callable[..., None]:
    """A command that prints every problem of its input on standard error and ends with the code for unusable input."""

    @wraps(command)
    def call(*words: object, **options: object) -> None:
        try:
            command(*words, **options)
        except RefusedCall as refused:
            (only,) = refused.problems
            refuse_call(only.found, only.mend)
        except InputProblems as unusable:
            count = len(unusable.problems)
            typer.echo(f"{'1 problem' if count == 1 else f'{count} problems'}; nothing was written.", err=True)
            for line in told(unusable.problems):
                typer.echo(f"  {printable(line)}", err=True)
            if unusable.noticed:
                typer.echo(f"  Noticed beside: {printable('; '.join(unusable.noticed))}.", err=True)
            raise typer.Exit(UNUSABLE) from None

    return call


@contextmanager
def usable(mend: str) -> Iterator[None]:
    """Refuse a call whose values cannot be used together; what a value is wrong in, the error says."""
    try:
        yield
    except InputProblems:
        raise
    except ValueError as unfit:
        refuse_call(str(unfit).rstrip("."), mend)


def os_is_windows() -> bool:
    """Whether names go by the rules of Windows."""
    return os.name == "nt"


@contextmanager
def writing(what: str, to: object, mend: str, *, report: str = "") -> Iterator[None]:
    """Refuse a call whose files cannot be written; `report` says how to mend that a report stands there already."""
    if os_is_windows():
        from qc.jobs.folder_name import unfit_part

        if part := unfit_part(str(to)):
            refuse_call(f'{what} cannot be written to {to}: Windows has no file or folder named "{part}"', mend)
    try:
        yield
    except OSError as failure:
        from qc.show.filing import ReportExists

        if isinstance(failure, ReportExists):
            refuse_call(str(failure).rstrip("."), report)
        if held_open(failure):
            found = f"{what} cannot be written to {to}: a file there is open in another program, or may not be changed"
            refuse_call(found, f"Close it in the spreadsheet program or PDF viewer and give the call again. {mend}")
        refuse_call(f"{what} cannot be written to {to} ({failure.strerror or failure})", mend)


def write_document(document: Mapping[str, object], target: str | None, *, inputs: tuple[Path, ...] = ()) -> bool:
    """Write a document where `--json` says; whether it took standard output, so that nothing else is printed there."""
    from qc.document import as_text

    if target == "-":
        # Bytes, because JSON is UTF-8 whatever the code page of the terminal.
        typer.echo(as_text(document).encode(), nl=False)
    elif target is not None:
        path = json_file(target, inputs=inputs)
        write_files([("The result document", path, as_text(document).encode(), DOCUMENT_MEND, False)])
    return target == "-"


def json_file(target: str, *, inputs: tuple[Path, ...], replace: bool | None = None) -> Path:
    """The file of `--json`: none of the inputs nor within one, and none that is there unless it is to be replaced.

    Parameters
    ----------
    target : str
    inputs : tuple of Path
        Files and folders that are read.
    replace : bool or None
        Whether a file may be written over; None where the command has no such option.
    """
    path, mend = Path(target), "Give another file, or - for standard output"
    real = Path(os.path.realpath(path))
    for one in (Path(os.path.realpath(one)) for one in inputs):
        if real == one:
            refuse_call(f"--json {target} is the input itself", mend)
        if one.is_dir() and one in real.parents:
            refuse_call(f"--json {target} lies in the folder that is read", mend)
    refuse_over_file("--json", path, replace=replace, own=is_result_document, called="a result document")
    return path


def refuse_over_file(name: str, path: Path, *, replace: bool | None, own: Callable[[Path], bool], called: str) -> None:
    """Refuse to write over a file without being asked to, and over any that qc did not write in its place before.

    Parameters
    ----------
    name : str
        The option.
    path : Path
    replace : bool or None
        None where a command has no such option.
    own : callable
        Whether a file is one of those that may be replaced.
    called : str
        What those are.
    """
    if os.path.isfile(path) and replace and not own(path):
        refuse_call(
            f"{name} {path} is not {called} that qc wrote, and --replace takes the place of nothing else",
            "Give another file, or move that one away first",
        )
    if os.path.isfile(path) and not replace:
        instead = "take that one away first" if replace is None else "--replace to write over it"
        refuse_call(f"{name} {path} exists already", f"Give another file, or {instead}")


def is_result_document(path: Path) -> bool:
    """Whether a file is a result document, of this version or another."""
    from qc.document import SCHEMA

    try:
        found = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return False
    family = SCHEMA.partition("/")[0] + "/"
    return isinstance(found, dict) and str(found.get("schema")).startswith(family)


def write_files(
    files: Iterable[tuple[str, Path, bytes, str, Replace]],
    *,
    write: Callable[[Sequence[Filing]], Path | None] | None = None,
) -> Path | None:
    """Write files whole, all or none: what each is, where, its content, how to mend a refusal, whether to replace.

    Parameters
    ----------
    files : iterable
    write : callable
        Writes them, and more; `file_together` where it is left out.

    Returns
    -------
    Path or None
        What `write` gives.
    """
    given = list(files)
    if not given and write is None:
        return None
    from qc.show.filing import file_together, one_file

    filings, streams = [], []
    for what, path, content, mend, replace in given:
        told = partial(writing, what, path, mend, report="Give another file, or --replace to write over it")
        if os.path.exists(path) and not os.path.isfile(path) and not os.path.isdir(path):
            # A device or a pipe takes no draft's name; it is told when the rest went well.
            streams.append((told, path, content))
        else:
            filings.append(one_file(path, content, replace=replace, told=told))
    done = (write or file_together)(filings)
    for told, path, content in streams:
        with told():
            path.write_bytes(content)
    return done


def progress(text: str) -> None:
    """Tell a person at a terminal what is going on; silent in a pipe."""
    if sys.stderr.isatty():
        typer.echo(text, err=True)
