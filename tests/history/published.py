"""The published examples of `tests/reference/history`, by their id."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

_FILE = Path(__file__).parents[1] / "reference/history/history.json"
ITEMS: dict[str, dict[str, Any]] = {one["id"]: one for one in json.loads(_FILE.read_text())}


def item(id: str) -> tuple[Any, Any]:
    """Inputs and expected values of an example."""
    return ITEMS[id]["inputs"], ITEMS[id]["expected"]
