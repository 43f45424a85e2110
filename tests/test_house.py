"""The house: imports go downward only, rooms on one floor do not see each other, heavy libraries wait until needed."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest
from parsed import PACKAGE, modules, parsed

pytestmark = pytest.mark.xdist_group("parsed")

# From the roof to the ground. Rooms named on one line do not see each other.
FLOORS: list[set[str]] = [
    {"cli"},
    {"jobs"},
    {"teach", "guide", "history"},
    {"show", "workbook"},
    {"document"},
    {"say"},
    {"judging"},
    {"causes"},
    {"pour", "assurance"},
    {"simulate"},
    {"rules"},
    {"readers", "stats"},
    {"fields"},
    {"results", "contents"},
    {"batch", "expr"},
    {"quantities", "problems"},
    {"patterns"},
]
FLOOR_OF = {room: height for height, rooms in enumerate(FLOORS) for room in rooms}
HEAVY = {"numpy", "scipy", "pandas", "matplotlib", "openpyxl", "xlsxwriter", "typst", "jinja2"}
MAY_LOAD_AT_TOP = {
    "stats": {"numpy"},
    "simulate": {"numpy"},
    "pour": {"numpy"},
    "causes": {"numpy"},
    "assurance": {"numpy"},
    "history": {"numpy"},
}


def in_rooms() -> list[Path]:
    return [path for path in modules() if path.parent != PACKAGE or path.stem != "__init__"]


def room_of(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def rooms_imported(tree: ast.AST) -> set[str]:
    """Rooms imported anywhere in a module, inside functions too."""
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {name.name.split(".")[1] for name in node.names if name.name.startswith("qc.")}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            if node.module == "qc":
                found |= {name.name for name in node.names} - {"__version__"}
            elif node.module and node.module.startswith("qc."):
                found.add(node.module.split(".")[1])
    return found


def test_imports_go_downward_only() -> None:
    rooms = {path: room_of(path) for path in in_rooms()}
    assert set(rooms.values()) <= FLOOR_OF.keys()
    upward = [
        f"{path.relative_to(PACKAGE)} imports {other}, which is not below it"
        for path, room in rooms.items()
        for other in rooms_imported(parsed(path)) - {room}
        if FLOOR_OF[other] <= FLOOR_OF[room]
    ]
    assert upward == []


def test_heavy_libraries_are_loaded_where_they_are_used() -> None:
    too_early: dict[str, set[str]] = {}
    for path in in_rooms():
        at_top: set[str] = set()
        for node in parsed(path).body:
            if isinstance(node, ast.Import):
                at_top |= {name.name.split(".")[0] for name in node.names}
            elif isinstance(node, ast.ImportFrom) and node.module:
                at_top.add(node.module.split(".")[0])
        too_early[str(path.relative_to(PACKAGE))] = (at_top & HEAVY) - MAY_LOAD_AT_TOP.get(room_of(path), set())
    assert {path: names for path, names in too_early.items() if names} == {}


def test_the_floor_test_catches_an_upward_import() -> None:
    assert rooms_imported(ast.parse("def f():\n    from qc.show import pages\n")) == {"show"}
    assert FLOOR_OF["show"] < FLOOR_OF["rules"]


def test_no_regular_expression_is_compiled_before_it_is_used() -> None:
    """All of them take 15 ms, a twentieth of a check, and one call uses less than half."""
    found = [
        f"{path.relative_to(PACKAGE)}:{node.lineno}"
        for path in modules()
        for statement in parsed(path).body
        if not isinstance(statement, ast.FunctionDef | ast.ClassDef)
        for node in ast.walk(statement)
        if isinstance(node, ast.Attribute) and ast.unparse(node) == "re.compile"
    ]
    assert found == []
