"""The command `qc`: every subcommand, none of their work."""

from __future__ import annotations

import atexit
import errno
import os
import sys
import traceback
from importlib import import_module
from typing import Annotated

import typer

from qc import __version__
from qc.cli import code_page, stopping
from qc.cli.words import FAULT, UNWRITTEN, refusing

COMMANDS = ("check", "sheet", "rules", "chance", "lesson", "guide", "history", "compare", "verify", "sweep", "watch")


def application(*names: str) -> typer.Typer:
    """The command line with the subcommands named, all of them when none is.

    To read the options of one subcommand takes as long as to read a workbook, so a call that names its subcommand gets
    only that one.
    """
    app = typer.Typer(
        name="qc",
        help="Quality control of medicines poured into moulds: judge a batch, find where in the pour it went wrong and "
        "why, write a report that can be signed. The tool judges a sample; a person releases a batch.",
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
        no_args_is_help=True,
        add_completion=False,
    )
    app.callback()(_options)
    for name in names or COMMANDS:
        command = getattr(import_module(f"qc.cli.{name}"), name)
        if isinstance(command, typer.Typer):
            app.add_typer(command, name=name)
        else:
            app.command(name)(refusing(command))
    return app


def _version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"qc {__version__}")
        raise typer.Exit


def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Print the version and end.")
    ] = False,
) -> None:
    """Hold the options that belong to no subcommand."""


def run() -> None:
    """Run the command line and end the process at once.

    To take the objects of a check apart one by one costs a tenth of its time, and nothing waits for it: what was
    written has been closed by those who wrote it.
    """
    try:
        code = call()
        # What libraries promised to clear away at the end.
        atexit._run_exitfuncs()
    except SystemExit as ended:
        # Stopped from the keyboard before the command began or after it ended.
        code = _code_of(ended)
    except BaseException:
        traceback.print_exc()
        code = FAULT
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as failure:
            code = _unwritten(failure)
    os._exit(stopping.STOPPED if stopping.was_stopped() else code)


def call() -> int:
    """Run the command line and answer its exit code.

    Text that a terminal's code page lacks is written with a stand-in, never a crash.
    """
    # The matrices of one batch are small: threads that wait for each other cost more than they bring.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    code_page.register()
    for name in ("stdout", "stderr"):
        # Whoever calls may have closed it; what is said there goes nowhere then, and the verdict stays what it is.
        if getattr(sys, name) is None:
            setattr(sys, name, os.fdopen(os.open(os.devnull, os.O_WRONLY), "w", encoding="utf-8"))
        reconfigure = getattr(getattr(sys, name), "reconfigure", None)
        if reconfigure is not None:
            reconfigure(errors=code_page.HANDLER)
    stopping.listen()
    try:
        application(*(name for name in sys.argv[1:2] if name in COMMANDS))()
    except SystemExit as ended:
        # Whoever reads may have gone; the library ends with 1 then, which would say that a batch does not comply.
        if isinstance(ended.__context__, OSError):
            return _unwritten(ended.__context__)
        return _code_of(ended)
    except Exception as fault:
        if isinstance(fault, OSError) and fault.filename is None and fault.errno in _NO_ROOM:
            return _unwritten(fault)
        if stopping.was_stopped():
            # What a library made of the exception that ends the command.
            return stopping.STOPPED
        # Exit code 1 says that a batch does not comply; a fault of ours must never say that.
        traceback.print_exc()
        sys.stderr.write("This is a fault of qc itself; the call did not end. Please report it with the lines above.\n")
        return FAULT
    return 0


def _code_of(ended: SystemExit) -> int:
    return ended.code if isinstance(ended.code, int) else 0


# A pipe whose reader has gone is an invalid argument to Windows.
_GONE = frozenset({errno.EPIPE, *((errno.EINVAL,) if os.name == "nt" else ())})
_NO_ROOM = frozenset({errno.ENOSPC, errno.EFBIG, errno.EIO, getattr(errno, "EDQUOT", errno.ENOSPC)}) | _GONE


def _unwritten(failure: OSError) -> int:
    """Say that the answer did not reach standard output, as far as that can be said."""
    if failure.errno in _GONE:
        # Who stopped reading asked for no more.
        return UNWRITTEN
    try:
        sys.stderr.write(
            f"The answer could not be written to standard output: {failure.strerror}. "
            "Make room there, or have it written to a file.\n"
        )
        sys.stderr.flush()
    except OSError:
        return UNWRITTEN
    return UNWRITTEN
