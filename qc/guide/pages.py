"""The guide as pages that need no network: walks with real output, and reference made from the code's own records."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

from qc import __version__
from qc.guide.examples import Examples
from qc.guide.records import Documented, calls_of, records
from qc.show.filing import file_whole, refuse_over

TEMPLATES = Path(__file__).parent / "templates"
PAGES = {
    "index": "Start here",
    "technician": "A walk for the technician",
    "pharmacist": "A walk for the pharmacist",
    "teacher": "A walk for the teacher",
    "scientist": "A walk for the scientist",
    "questions": "Questions people ask",
    "manual": "Manual",
    "commands": "Commands",
    "python": "Python reference",
    "fields": "Fields of the workbook",
    "rules": "Rules and clauses",
    "causes": "Causes, and how to distinguish them",
    "methods": "Methods, equations, papers",
    "messages": "Messages",
    "glossary": "Glossary and units",
    "limits": "Limits and cautions",
}
"""Pages by the name of their file, in the order of reading."""


def write_guide(
    out: Path,
    *,
    commands: Mapping[str, str],
    calls: Mapping[str, Any],
    called: Callable[[Sequence[str]], None],
    told: Callable[[str], None],
) -> tuple[Path, ...]:
    """Write the guide into a folder, whole or not at all.

    Parameters
    ----------
    out : Path
        Made when it is not there.
    commands : mapping of str to str
        Help of each command by its name.
    calls : mapping
        Calls and classes of the package by name.
    called : callable
        The command line, for the examples.
    told : callable
        Told each example before it runs.

    Raises
    ------
    qc.guide.examples.ExampleFailed
        When an example does not do what its page says.
    qc.show.filing.ReportExists
        When a guide stands there already.
    """
    names = [f"{name}.html" for name in PAGES]
    refuse_over(out, names)
    texts = guide_pages(commands=commands, calls=calls, called=called, told=told)
    file_whole(out, {name: texts[name].encode() for name in names})
    return tuple(out / name for name in names)


def guide_pages(
    *,
    commands: Mapping[str, str],
    calls: Mapping[str, Any],
    called: Callable[[Sequence[str]], None],
    told: Callable[[str], None] = lambda _: None,
) -> dict[str, str]:
    """Every page by the name of its file; the examples are run."""
    from qc.show.pages_html import pages

    environment = pages(TEMPLATES)
    shown = {
        **records(),
        "commands": [Documented(name=name, text=text) for name, text in commands.items()],
        "calls": calls_of(calls),
        "pages": PAGES,
        "version": __version__,
    }
    texts = {}
    for name, title in PAGES.items():
        with tempfile.TemporaryDirectory() as folder:
            examples = Examples(folder=Path(folder), called=called, told=told)
            template = environment.get_template(f"{name}.html")
            texts[f"{name}.html"] = template.render(page=name, title=title, **shown, **examples.for_pages())
    return texts
