"""The examples of the guide: each is run while the guide is written, in a folder of its own, and shows what it said."""

from __future__ import annotations

import io
import os
import shlex
import sys
import traceback
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import chdir, contextmanager, redirect_stderr, redirect_stdout
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from markupsafe import Markup


class ExampleFailed(Exception):
    """An example of the guide does not do what the guide says it does."""


class Examples(Struct, frozen=True, kw_only=True):
    """What a page may call: files to be typed, commands and blocks of Python to be run, pictures of a batch.

    Parameters
    ----------
    folder : Path
        Where they are run, one after the other, as a reader would who follows the page.
    called : callable
        The command line: runs the words behind `qc`, and ends by SystemExit.
    told : callable
        Told each example before it runs.
    """

    folder: Path
    called: Callable[[Sequence[str]], None]
    told: Callable[[str], None]

    def for_pages(self) -> Mapping[str, Callable[..., Markup]]:
        """What a template calls, by name."""
        return {"file": self.file, "run": self.run, "python": self.python, "pictures": self.pictures}

    def file(self, name: str, text: str, *, most: int = 60) -> Markup:
        """Write a file, and show it under its name, `most` lines of it."""
        (self.folder / name).write_text(text, encoding="utf-8")
        return _shown(f"The file {name}", f"{name}:\n{_cut(text, most)}")

    def run(self, command: str, code: int = 0, *, most: int = 60, typed: str = "") -> Markup:
        """Run a command, which must end with that code, and show it with what it said, `most` lines of it."""
        said = self._done(command, lambda: self.called(shlex.split(command)[1:]), code=code, typed=typed)
        asked = "".join(f"> {line}\n" for line in typed.splitlines())
        return _shown(f"What {command} says", f"$ {command}\n{asked}{_cut(said, most)}[exit code {code}]\n")

    def python(self, block: str, *, most: int = 60) -> Markup:
        """Run a block of Python, and show it with what it printed."""
        block = block.strip() + "\n"
        said = self._done(block, lambda: exec(compile(block, "<example>", "exec"), {"__name__": "__main__"}), code=0)
        return _shown("A block of Python and what it prints", f"{block}\n{_cut(said, most)}")

    def pictures(self, name: str) -> Markup:
        """The tray and the pour order of a batch among the files, as in its report."""
        from markupsafe import Markup, escape

        from qc.judging.judge import judge_batch
        from qc.readers.options import ReadOptions
        from qc.readers.read import read_batch
        from qc.rules.rule_books import rule_book
        from qc.show.pieces import Picture
        from qc.show.series_drawn import content_picture, mass_picture
        from qc.show.tray import tray_picture

        judged = judge_batch(read_batch(self.folder / name, options=ReadOptions()), book=rule_book(None))
        contents = [content_picture(judged, one.name, place=at) for at, one in enumerate(judged.batch.actives)]
        drawn = [one for one in (tray_picture(judged), mass_picture(judged), *contents) if isinstance(one, Picture)]
        figures = [f"<figure>{one.svg}<figcaption>{escape(one.caption)}</figcaption></figure>" for one in drawn]
        return Markup(f'<div class="pictures">{"".join(figures)}</div>')

    def _done(self, what: str, example: Callable[[], object], *, code: int, typed: str = "") -> str:
        """What an example says on either stream, in this process: to start one for each takes twice as long."""
        self.told(what.partition("\n")[0])
        said, ended = io.TextIOWrapper(io.BytesIO(), encoding="utf-8", write_through=True), 0
        with chdir(self.folder), redirect_stdout(said), redirect_stderr(said), _typing(typed):
            try:
                example()
            except SystemExit as end:
                ended = end.code if isinstance(end.code, int) else 0
            except Exception:
                traceback.print_exc()
                ended = 1
        said.seek(0)
        text = said.read()
        if ended != code:
            raise ExampleFailed(f"{what} ended with {ended}, and the guide says {code}:\n{text}")
        return text


@contextmanager
def _typing(text: str) -> Iterator[None]:
    """What is typed, and no terminal: as wide as one where there is none, in whatever terminal the guide is made."""
    stdin, before = sys.stdin, os.environ.get("COLUMNS")
    sys.stdin, os.environ["COLUMNS"] = io.StringIO(text), "80"
    try:
        yield
    finally:
        sys.stdin = stdin
        os.environ.pop("COLUMNS")
        if before is not None:
            os.environ["COLUMNS"] = before


def _cut(text: str, most: int) -> str:
    lines = text.splitlines(keepends=True)
    return "".join(lines if len(lines) <= most else [*lines[:most], f"... and {len(lines) - most} lines more\n"])


def _shown(what: str, text: str) -> Markup:
    from markupsafe import Markup, escape

    return Markup(f'<pre tabindex="0" role="region" aria-label="{escape(what)}">{escape(text)}</pre>')
