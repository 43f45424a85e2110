"""The modules of the package as syntax trees, parsed once for all tests that look into them (group "parsed")."""

from __future__ import annotations

import ast
from functools import cache
from pathlib import Path

import qc

PACKAGE = Path(qc.__file__).parent


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


@cache
def modules() -> tuple[Path, ...]:
    return tuple(sorted(PACKAGE.rglob("*.py")))
