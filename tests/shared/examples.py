"""How many examples of a property are drawn where one costs much: a share of what the profile draws."""

from __future__ import annotations

from typing import Any

from hypothesis import settings


def examples(count: int, **more: Any) -> settings:
    """`count` examples in the suite, and more in the measure in which a profile draws more than fifty."""
    return settings(max_examples=count * settings.default.max_examples // 50, **more)
