"""How a heading is recognised.

A heading is matched without regard to case, to the kind and number of spaces, to a space before or inside its bracket,
to square or round brackets, and to a closing colon: "MASS[g]:" is "Mass (g)". Nothing else is matched; a heading that
is merely near a known one is ignored with a notice that names the known one.
"""

from __future__ import annotations

import difflib
import functools
import re
from collections.abc import Sequence

# Other ways to write a unit of measure.
SPELLED_OUT = {"gram": "g", "grams": "g", "milligrams": "mg", "% label": "%", "% of label": "%"}


# Every cell of a table is compared, and most hold what another one held.
@functools.lru_cache(maxsize=4096)
def plain(heading: str) -> str:
    """A heading in the form in which it is compared.

    Examples
    --------
    >>> plain("  MASS[g]: ")
    'mass (g)'
    """
    text = " ".join(heading.replace("[", "(").replace("]", ")").split()).casefold().rstrip(": ")
    return re.sub(r"\s*\(\s*(.*?)\s*\)", r" (\1)", text).strip()


def nearest(word: str, known: Sequence[str]) -> str | None:
    """The known word that is nearest to a word, as it is written; None when none is near.

    Examples
    --------
    >>> nearest("Mas (g)", ["Unit", "Mass (g)"])
    'Mass (g)'
    """
    spelled = {plain(name): name for name in known}
    near = difflib.get_close_matches(plain(word), list(spelled), n=1, cutoff=0.7)
    return spelled[near[0]] if near else None
