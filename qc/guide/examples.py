"""The examples of the guide: each is run while the guide is written, in a folder of its own, and shows what it said."""

from __future__ import annotations

import shlex
import subprocess
import sys
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from msgspec import Struct

if TYPE_CHECKING:
    from markupsafe import Markup

COMMAND = "import sys; sys.argv[0] = 'qc'; from qc.cli.start import run; run()"
LONGEST_S = 300


class ExampleFailed(Exception):
    """An example of the guide does not do what the guide says it does."""


class Examples(Struct, frozen=True, kw_only=True):
    """What a page may call: files to be typed, commands and blocks of Python to be run, pictures of a batch.

    Parameters
    ----------
    folder : Path
        Where they are run, one after the other, as a reader would who follows the page.
    told : callable
        Told each example before it runs.
    """

    folder: Path
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
        said = self._done(command, [sys.executable, "-c", COMMAND, *shlex.split(command)[1:]], code=code, typed=typed)
        asked = "".join(f"> {line}\n" for line in typed.splitlines())
        return _shown(f"What {command} says", f"$ {command}\n{asked}{_cut(said, most)}[exit code {code}]\n")

    def python(self, block: str, *, most: int = 60) -> Markup:
        """Run a block of Python, and show it with what it printed."""
        block = block.strip() + "\n"
        said = self._done(block, [sys.executable, "-c", block], code=0)
        return _shown("A block of Python and what it prints", f"{block}\n{_cut(said, most)}")

    def pictures(self, name: str) -> Markup:
        """The tray and the pour order of a batch among the files, as in its report."""
        from markupsafe import Markup, escape

        from qc.judging.judge import judge_batch
        from qc.readers.options import ReadOptions
        from qc.readers.read import read_batch
        from qc.rules.rule_books import rule_book
        from qc.show.pieces import Picture
        from qc.show.series import content_picture, mass_picture
        from qc.show.tray import tray_picture

        judged = judge_batch(read_batch(self.folder / name, options=ReadOptions()), book=rule_book(None))
        contents = [content_picture(judged, one.name, place=at) for at, one in enumerate(judged.batch.actives)]
        drawn = [one for one in (tray_picture(judged), mass_picture(judged), *contents) if isinstance(one, Picture)]
        figures = [f"<figure>{one.svg}<figcaption>{escape(one.caption)}</figcaption></figure>" for one in drawn]
        return Markup(f'<div class="pictures">{"".join(figures)}</div>')

    def _done(self, what: str, call: list[str], *, code: int, typed: str = "") -> str:
        self.told(what.partition("\n")[0])
        done = subprocess.run(
            call,
            cwd=self.folder,
            text=True,
            input=typed,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            timeout=LONGEST_S,
            check=False,
        )
        said = done.stdout
        if done.returncode != code:
            raise ExampleFailed(f"{what} ended with {done.returncode}, and the guide says {code}:\n{said}")
        return said


def _cut(text: str, most: int) -> str:
    lines = text.splitlines(keepends=True)
    return "".join(lines if len(lines) <= most else [*lines[:most], f"... and {len(lines) - most} lines more\n"])


def _shown(what: str, text: str) -> Markup:
    from markupsafe import Markup, escape

    return Markup(f'<pre tabindex="0" role="region" aria-label="{escape(what)}">{escape(text)}</pre>')
