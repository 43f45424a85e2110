"""What keeps the house small: a budget a room, kinds of rules known in two rooms, words in one, a class name once."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest
from parsed import PACKAGE, modules, parsed

pytestmark = pytest.mark.xdist_group("parsed")
DOCUMENTED = (ast.Module, ast.ClassDef, ast.FunctionDef, ast.AsyncFunctionDef)
SILENT = {
    tokenize.COMMENT,
    tokenize.NL,
    tokenize.NEWLINE,
    tokenize.INDENT,
    tokenize.DEDENT,
    tokenize.ENDMARKER,
}

# Code lines a room, without docstrings, comments and blanks. A feature that needs more first finds what can go.
BUDGET = {
    "__init__.py": 35,
    "assurance": 979,
    "batch.py": 175,
    "causes": 3010,
    "cli": 1704,
    "contents.py": 66,
    "document.py": 124,
    "expr": 256,
    "fields": 863,
    "guide": 217,
    "history": 1601,
    "jobs": 3280,
    "judging": 2116,
    "patterns.py": 12,
    "pour": 1240,
    "problems.py": 115,
    "quantities.py": 41,
    "readers": 9270,
    "results": 600,
    "rules": 3278,
    "say": 2420,
    "show": 3013,
    "simulate": 388,
    "stats": 1117,
    "teach": 1041,
    "workbook": 2281,
}

# What is left of the former house, a count a room; none of these may grow.
SENTENCES_LEFT = {"rules": 4}
SENTENCES_READ_LEFT: dict[str, int] = {}
NUMBERS_WRITTEN_LEFT = {"judging": 1281, "rules": 18}

# Rooms that find and decide; what they find goes upward as messages and limits, and qc/say words it.
WORDLESS = ("stats", "rules", "simulate", "pour", "assurance", "causes", "judging")
# Where a class of rules may be told from another.
KNOWS_KINDS = ("rules", "judging")
# Rooms that may write a number for a reader.
FORMATS = ("say", "readers", "problems.py", "quantities.py", "fields", "expr")


def place(path: Path) -> str:
    return str(path.relative_to(PACKAGE))


def room(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0]


def docstrings(tree: ast.AST) -> Iterator[ast.Constant]:
    for node in ast.walk(tree):
        if isinstance(node, DOCUMENTED):
            for statement in node.body:
                if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
                    yield statement.value


def code_lines(source: str) -> int:
    """Lines that hold code: no docstring, no comment, no blank."""
    told = {
        line
        for text in docstrings(ast.parse(source))
        if isinstance(text.value, str)
        for line in range(text.lineno, (text.end_lineno or text.lineno) + 1)
    }
    lines: set[int] = set()
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type not in SILENT:
            lines.update(range(token.start[0], token.end[0] + 1))
    return len(lines - told)


def test_a_docstring_costs_nothing_and_code_costs_its_lines() -> None:
    head = '"""Head.\n\nMore.\n"""\n\n# why\nx = 1\n\n\n'
    assert code_lines(head + 'def f() -> int:\n    """What."""\n    return (\n        x\n    )\n') == 5


def test_each_room_keeps_to_its_budget() -> None:
    held = Counter[str]()
    for path in modules():
        held[room(path)] += code_lines(path.read_text(encoding="utf-8"))
    assert {name: lines for name, lines in held.items() if lines > BUDGET.get(name, 0)} == {}
    assert BUDGET.keys() == held.keys()


def test_no_class_name_is_used_twice() -> None:
    found: dict[str, list[str]] = {}
    for path in modules():
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.ClassDef):
                found.setdefault(node.name, []).append(place(path))
    twice = {name: places for name, places in found.items() if len(places) > 1}
    assert twice == {}


def rule_classes() -> set[str]:
    """Names of the classes below Rule."""
    parents: dict[str, set[str]] = {}
    for path in (PACKAGE / "rules").rglob("*.py"):
        for node in ast.walk(parsed(path)):
            if isinstance(node, ast.ClassDef):
                parents[node.name] = {base.id for base in node.bases if isinstance(base, ast.Name)}
    known = {"Rule"}
    while grown := {name for name, bases in parents.items() if bases & known} - known:
        known |= grown
    return known - {"Rule"}


def told_apart(tree: ast.AST, classes: set[str]) -> Iterator[str]:
    """Classes of rules in a `case` or an `isinstance`."""
    for node in ast.walk(tree):
        if isinstance(node, ast.MatchClass):
            named: Iterator[ast.AST] = ast.walk(node.cls)
        elif isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "isinstance":
            named = ast.walk(node.args[1])
        else:
            continue
        yield from (name.id for name in named if isinstance(name, ast.Name) and name.id in classes)


def test_classes_of_rules_are_told_apart_in_their_rooms_alone() -> None:
    classes = rule_classes()
    assert "MassRule" in classes
    found = {
        place(path): set(named)
        for path in modules()
        if room(path) not in KNOWS_KINDS and (named := list(told_apart(parsed(path), classes)))
    }
    assert found == {}


_SENTENCE = re.compile(r"[A-Za-z,;:]+ [a-z][\w,;:]* .*[a-z]+ .*\.$|^[A-Z][a-z]+ (?:\S+ ){4,}")


def prose(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Sentences in code: not docstrings, not what a raised error, a located problem or the hint of a field says."""
    silent = {id(text) for text in docstrings(tree)}
    for node in ast.walk(tree):
        error = isinstance(node, ast.Raise | ast.Assert)
        problem = isinstance(node, ast.Call) and re.search(
            r"(Problem|Error|Notice|note|add|refuse\w*|About)$", ast.unparse(node.func)
        )
        if error or problem:
            silent |= {id(inner) for inner in ast.walk(node)}
    for node in ast.walk(tree):
        if id(node) in silent:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(str(part.value) if isinstance(part, ast.Constant) else "X" for part in node.values)
            silent |= {id(inner) for inner in ast.walk(node)}
        elif isinstance(node, ast.Constant) and isinstance(node.value, str):
            text = node.value
        else:
            continue
        if _SENTENCE.search(text):
            yield node.lineno, text


def more_than(found: list[tuple[str, str]], left: dict[str, int]) -> list[str]:
    """What is found in rooms that hold more of it than was left there."""
    counts = Counter(name for name, _ in found)
    return [line for name, line in found if counts[name] > left.get(name, 0)]


def test_rooms_below_say_form_no_sentence() -> None:
    found = [
        (room(path), f"{place(path)}:{line}: {text[:70]}")
        for path in modules()
        if room(path) in WORDLESS
        for line, text in prose(parsed(path))
    ]
    assert more_than(found, SENTENCES_LEFT) == []


def reads_sentences(tree: ast.AST) -> Iterator[int]:
    """Lines where a text with a blank or a capital in it is looked for at an end, or a sentence is taken apart."""
    asked = {"startswith", "endswith", "partition", "rpartition", "removeprefix", "removesuffix", "split"}
    for node in ast.walk(tree):
        if (
            isinstance(node, ast.Call)
            and isinstance(node.func, ast.Attribute)
            and node.func.attr in asked
            and node.args
        ):
            texts = [text.value for text in ast.walk(node.args[0]) if isinstance(text, ast.Constant)]
            if any(isinstance(text, str) and re.search(r"[A-Za-z]{2,} |[A-Z][a-z]+", text) for text in texts):
                yield node.lineno


def test_no_room_reads_a_sentence_to_decide() -> None:
    found = [
        (room(path), f"{place(path)}:{line}")
        for path in modules()
        if room(path) not in ("readers", "fields")
        for line in reads_sentences(parsed(path))
    ]
    assert more_than(found, SENTENCES_READ_LEFT) == []


def formats(tree: ast.AST) -> Iterator[int]:
    """Lines where a number is rounded into a text."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FormattedValue) and node.format_spec is not None:
            spec = "".join(str(part.value) for part in ast.walk(node.format_spec) if isinstance(part, ast.Constant))
            if re.search(r"\.\d*[fge%]|[+,]?[fge%]$", spec):
                yield node.lineno


def test_numbers_are_written_in_one_room() -> None:
    found = [
        (room(path), f"{place(path)}:{line}")
        for path in modules()
        if room(path) not in FORMATS
        for line in formats(parsed(path))
    ]
    assert more_than(found, NUMBERS_WRITTEN_LEFT) == []


@pytest.mark.parametrize(
    ("source", "count"),
    [
        ("text = f'The mean of {n} units lies below the limit of the rule.'", 1),
        ("raise ValueError('The mean of the units lies below the limit of the rule.')", 0),
        ("id = 'mass-uniformity'", 0),
    ],
)
def test_a_sentence_in_code_is_noticed(source: str, count: int) -> None:
    assert len(list(prose(ast.parse(source)))) == count


def test_the_other_rules_notice_what_they_are_for() -> None:
    assert list(told_apart(ast.parse("match rule:\n    case MassRule():\n        pass"), {"MassRule"})) == ["MassRule"]
    assert list(told_apart(ast.parse("isinstance(rule, A | MassRule)"), {"MassRule"})) == ["MassRule"]
    assert list(reads_sentences(ast.parse("reason.startswith('The dose is')"))) == [1]
    assert list(formats(ast.parse("f'{share:.1f} %'"))) == [1]
