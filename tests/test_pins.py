"""The pinned set with its digests is the one that the suite is run with."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).parents[1]
_LINE = re.compile(r"^([A-Za-z0-9._-]+)==(\S+)", re.MULTILINE)


def pins(name: str) -> dict[str, str]:
    text = (ROOT / name).read_text(encoding="utf-8")
    return {re.sub(r"[-_.]+", "-", package).lower(): version for package, version in _LINE.findall(text)}


def test_every_pin_has_digests_and_is_the_version_of_the_constraints() -> None:
    blocks = re.split(r"\n(?=\S)", (ROOT / ".ci/requirements.txt").read_text(encoding="utf-8").strip())
    assert all(re.search(r"--hash=sha256:[0-9a-f]{64}", block) for block in blocks)
    pinned, held = pins(".ci/requirements.txt"), pins("constraints.txt")
    assert {name: held.get(name) for name in pinned} == pinned


def test_every_dependency_is_pinned() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    asked = {re.split(r"[<>=!~\[; ]", one)[0].lower() for one in project["dependencies"]}
    assert asked <= pins(".ci/requirements.txt").keys()
