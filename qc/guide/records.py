"""What the guide shows of the code's own records: fields, rules, causes, messages, calls of Python, papers."""

from __future__ import annotations

import ast
import inspect
import re
import tomllib
from collections.abc import Iterator, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any

from msgspec import Struct

from qc.causes.priors import builtin_priors
from qc.fields.sheets import SHEETS
from qc.patterns import pattern
from qc.rules.built_in import load_rule, load_set, rule_ids, set_ids
from qc.say import messages
from qc.say.names import CAUSE, CAUSE_EFFECT
from qc.say.numbers import plain_limit
from qc.say.rule_pages import rule_page, set_page
from qc.say.telling_apart import TRACES, telling_apart

PACKAGE = Path(__file__).parents[1]
_REFERENCES = pattern(r"^References\n-+\n(.*?)(?:\n\n|\Z)", re.MULTILINE | re.DOTALL)
MANUAL, GLOSSARY = (Path(__file__).parent / name for name in ("manual.md", "glossary.toml"))


class Documented(Struct, frozen=True, kw_only=True):
    """Something with a name, how it is called, and what is said of it."""

    name: str
    call: str = ""
    text: str = ""


def records() -> dict[str, Any]:
    """Everything that a page may show, by name."""
    return {
        "sheets": [*SHEETS.values()],
        "rules": [Documented(name=id, call=load_rule(id).title, text=rule_page(load_rule(id))) for id in rule_ids()],
        "sets": [Documented(name=id, call=load_set(id).title, text=set_page(load_set(id))) for id in set_ids()],
        "causes": telling_apart(),
        "traces": TRACES,
        "cause_names": CAUSE,
        "cause_effects": CAUSE_EFFECT,
        "priors": {id: plain_limit(share) for id, share in builtin_priors().prior().items()},
        "messages": [*_sentences()],
        "papers": [*_papers()],
        "manual": _manual(),
        "glossary": tomllib.loads(GLOSSARY.read_text(encoding="utf-8")),
    }


def calls_of(calls: Mapping[str, Any]) -> list[Documented]:
    """Calls and classes with their signature and docstring; of a class its public methods too."""
    return [one for name, value in calls.items() for one in _called(name, value)]


def _called(name: str, value: Any) -> Iterator[Documented]:
    signature = "" if inspect.isclass(value) else str(inspect.signature(value))
    # Types are named without the rooms they stand in.
    yield Documented(name=name, call=f"qc.{name}{signature}", text=inspect.getdoc(value) or "")
    if inspect.isclass(value):
        for part, method in vars(value).items():
            documented = method.fget if isinstance(method, property) else method
            if not part.startswith("_") and inspect.isfunction(documented):
                call = part if isinstance(method, property) else f"{part}{inspect.signature(documented)}"
                yield Documented(name=f"{name}.{part}", call=call, text=inspect.getdoc(documented) or "")


def _manual() -> str:
    """The manual as HTML; commands as they are typed where qc is installed."""
    from markdown_it import MarkdownIt

    text = MANUAL.read_text(encoding="utf-8").replace(".venv/bin/qc", "qc")
    # Pictures stand in the checkout; of a page that is opened elsewhere their words are left.
    text = re.sub(r"!\[([^\]]*)\]\([^)]*\)", r"*(Picture: \1)*", text)
    return str(MarkdownIt("commonmark").enable("table").render(text))


def _sentences() -> Iterator[Documented]:
    """Every message by its id: the sentence with its values in braces, or what its function says that it words."""
    for path in sorted(Path(messages.__file__).parent.glob("[!_]*.py")):
        module = import_module(f"{messages.__name__}.{path.stem}")
        for name, sentence in getattr(module, "SENTENCES", {}).items():
            yield Documented(name=f"{path.stem}.{name}", text=sentence)
        for name, worded in inspect.getmembers(module, inspect.isfunction):
            if worded.__module__ == module.__name__ and not name.startswith("_"):
                yield Documented(name=f"{path.stem}.{name}", text=(inspect.getdoc(worded) or "").partition("\n\n")[0])


def _papers() -> Iterator[Documented]:
    """What every docstring of the package names under References, with the function that rests on it."""
    for path in sorted(PACKAGE.rglob("*.py")):
        module = ".".join(path.relative_to(PACKAGE.parent).with_suffix("").parts)
        # Few modules rest on a paper, and the syntax of all of them takes a second.
        source = path.read_text(encoding="utf-8")
        for node in ast.walk(ast.parse(source)) if "References\n" in source else ():
            if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef):
                text = ast.get_docstring(node) or ""
                if found := _REFERENCES.search(text):
                    name = module if isinstance(node, ast.Module) else f"{module}.{node.name}"
                    yield Documented(name=name, call=text.partition("\n")[0], text=found[1])
